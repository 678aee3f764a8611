"""The generating truth, written beside the data: what intervals should cover.

The rate of a measure is the mean, over the procedures of its denominator, of the chance
with which each of them was drawn into the numerator. It is a property of the generator
and not of the outcome, so an interval from the outcome can be asked to cover it.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from synthetic_data import complications, results, tissue
from synthetic_data.columns import NO_DAY, NO_MINUTE, Columns, code
from synthetic_data.results import (
    CANCELLED,
    COMPLETED,
    GUIDANCES,
    HIGH_RISK,
    IN_SITU,
    INSUFFICIENT,
    NORMAL,
    is_malignant,
    per_guidance,
)
from synthetic_data.setting import EPOCH, Setting
from synthetic_data.verdicts import meeting_from
from synthetic_data.visits import is_tracer

_REPORT_WINDOW, _REVIEW_WINDOW, _YEAR, _TWO_YEARS = 30, 14, 365, 730
_DECIMALS = 6


@dataclass(frozen=True)
class Parts:
    """What the writers of the tables handed over."""

    rows: Columns
    done: Columns
    found: Columns
    scan: Columns
    radiograph: np.ndarray
    events: Columns


#: Denominator (mask) and chance of the numerator, one value per procedure.
Pair = tuple[np.ndarray, np.ndarray]


def _everywhere(rows: Columns, chance: float) -> np.ndarray:
    return np.full(rows.rows, chance)


def _attempts(setting: Setting, parts: Parts) -> dict[str, Pair]:
    rows, done = parts.rows, parts.done
    cancelled = per_guidance(setting("procedure", "cancelled"))[rows["guidance"]]
    abandoned = float(setting("procedure", "abandoned"))
    unseen = sum(
        setting("procedure", "status_reason", "cancelled")[name]
        for name in ("target_not_seen", "no_uptake", "resolved")
    )
    tracer = is_tracer(rows["guidance"])
    seen_recorded = tracer & (done["target_seen"] >= 0)
    return {
        "tissue_obtained": (rows["status"] != CANCELLED, (1.0 - cancelled - abandoned) / (1.0 - cancelled)),
        "cancellation": (np.ones(rows.rows, dtype=bool), cancelled),
        "target_seen": (seen_recorded, 1.0 - cancelled * unseen),
    }


def _diagnoses(setting: Setting, parts: Parts) -> dict[str, Pair]:
    rows, shares = parts.rows, results.shares(setting)[parts.rows["guidance"]]
    sampled = rows["status"] == COMPLETED
    reported = sampled & (setting.until - rows["day"] >= _REPORT_WINDOW) & rows["reported"]
    index = reported & rows["index"]
    malignant = shares[:, IN_SITU:].sum(axis=1)
    insufficient = np.where(rows["device"] == results.EXCISION_DEVICE, 0.0, shares[:, INSUFFICIENT])
    decided = reported & (rows["decided_on"] > NO_DAY)
    benign = (rows["diagnosis"] == NORMAL) | (rows["diagnosis"] == NORMAL + 1)
    return {
        "insufficient_sample": (reported, insufficient),
        "cancer_at_biopsy": (index, malignant),
        "high_risk_yield": (index, shares[:, HIGH_RISK]),
        "in_situ_share": (index & is_malignant(rows["diagnosis"]), shares[:, IN_SITU] / malignant),
        "discordance": (decided, rows["discordance_chance"]),
        "discordant_benign": (decided & benign, rows["discordance_chance"]),
    }


def _reviews(setting: Setting, parts: Parts) -> dict[str, Pair]:
    """Chance of a joint review at all, and within 14 days, from the days of the meetings."""
    rows = parts.rows
    first = rows["reported_on"]
    due = (rows["status"] == COMPLETED) & rows["reported"] & (setting.until - first >= _REVIEW_WINDOW)
    up_to = np.cumsum(setting("review", "weeks_of_delay"))
    earliest = meeting_from(first, rows["site"])
    covered = float(setting("review", "covered"))

    def by(last: np.ndarray | int) -> np.ndarray:
        weeks = np.clip((last - earliest) // 7, 0, up_to.shape[0] - 1)
        return np.where(earliest <= last, covered * up_to[weeks], 0.0)

    return {
        "review_coverage": (due, by(setting.until)),
        "timely_review": (due, by(first + _REVIEW_WINDOW)),
    }


def _procedures(setting: Setting, parts: Parts) -> dict[str, Pair]:
    rows, done = parts.rows, parts.done
    sampled = rows["status"] == COMPLETED
    marker = setting("procedure", "marker")
    placed = sampled & (done["marker"] == code("procedures", "marker", "placed"))
    fdg = (
        sampled
        & (done["tracer"] == code("procedures", "tracer", "F-18 FDG"))
        & (done["injected_at"] > NO_MINUTE)
    )
    by_scanner = sampled & (
        is_tracer(rows["guidance"]) | (rows["guidance"] == code("procedures", "guidance", "mri"))
    )
    verified = float(setting("targeting", "recorded")) * float(setting("targeting", "verified"))
    near = marker["within_5_mm"] + marker["from_6_to_10_mm"]
    return {
        "safe_margin_kept": (
            sampled & ~np.isnan(done["safe_margin_mm"]),
            _everywhere(rows, setting("procedure", "margin", "kept_20_mm")),
        ),
        "marker_placed": (sampled & (done["marker"] >= 0), _everywhere(rows, marker["placed"])),
        "marker_documented": (placed & (done["post_mammogram"] >= 0), _everywhere(rows, marker["mammogram"])),
        "marker_within_10mm": (placed & ~np.isnan(done["marker_shift_x_mm"]), _everywhere(rows, near)),
        "uptake_time_kept": (fdg, _everywhere(rows, setting("procedure", "tracer", "uptake_time_kept"))),
        "verification_done": (by_scanner, _everywhere(rows, verified)),
    }


def _specimens(setting: Setting, parts: Parts) -> dict[str, Pair]:
    rows = parts.rows
    tracer = (rows["status"] == COMPLETED) & is_tracer(rows["guidance"])
    return {
        "specimen_scan_done": (tracer, _everywhere(rows, setting("specimen", "scan_done"))),
        "specimen_uptake": (
            tracer & parts.scan["scanned"],
            tissue.uptake_chance(setting, rows, parts.scan["reader"]),
        ),
        "calcification_retrieval": (
            parts.radiograph,
            _everywhere(rows, 1.0 - setting("specimen", "calcifications_absent")),
        ),
    }


def _outcomes(setting: Setting, parts: Parts) -> dict[str, Pair]:
    rows, events = parts.rows, parts.events
    mature = (rows["status"] != CANCELLED) & (setting.until - rows["day"] >= _REPORT_WINDOW)
    chances = complications.chances(setting)
    excision = (events["kind"] == code("followup", "kind", "excision")) & (
        events["same_site"] != code("followup", "same_site", "no")
    )
    excision &= events["happened_on"] - rows["day"][events["procedure"]] <= _YEAR
    excised = np.zeros(rows.rows, dtype=bool)
    excised[events["procedure"][excision]] = True
    in_situ = (
        rows["index"]
        & rows["reported"]
        & (setting.until - rows["day"] >= _YEAR)
        & (rows["diagnosis"] == IN_SITU)
    )
    return {
        "complication": (mature, _everywhere(rows, sum(chances.values()))),
        "severe_complication": (mature, _everywhere(rows, chances[3] + chances[4])),
        "upgrade_in_situ": (in_situ & excised, _everywhere(rows, setting("step", "in_situ_upgraded"))),
    }


_GROUPS: tuple[Callable[[Setting, Parts], dict[str, Pair]], ...] = (
    _attempts,
    _diagnoses,
    _reviews,
    _procedures,
    _specimens,
    _outcomes,
)


def _mean(mask: np.ndarray, chance: np.ndarray) -> dict[str, float | int | None]:
    n = int(mask.sum())
    return {"n": n, "rate": round(float(chance[mask].mean()), _DECIMALS) if n else None}


def measures(setting: Setting, parts: Parts) -> dict[str, Any]:
    """Per measure: true rate and number of procedures, overall and by guidance, site and operator."""
    rows = parts.rows
    strata = {"guidance": GUIDANCES, "site": setting.sites, "operator": setting.operators}
    found: dict[str, Any] = {}
    for group in _GROUPS:
        for name, (mask, chance) in group(setting, parts).items():
            found[name] = _mean(mask, chance)
            found[name]["by"] = {
                field: {
                    value: _mean(mask & (rows[field] == number), chance)
                    for number, value in enumerate(listed)
                }
                for field, listed in strata.items()
            }
    return found


def _doubled(setting: Setting, parts: Parts) -> dict[str, Any]:
    rows = parts.rows
    operator, since, factor = setting.doubled
    mask, chance = _diagnoses(setting, parts)["discordance"]
    own = mask & (rows["operator"] == operator)
    return {
        "operator": setting.operators[operator],
        "measure": "discordance",
        "from": str(EPOCH + np.timedelta64(since, "D").astype(object)),
        "factor": factor,
        "before": _mean(own & (rows["day"] < since), chance),
        "after": _mean(own & (rows["day"] >= since), chance),
    }


def _left_behind(setting: Setting, parts: Parts) -> dict[str, Any]:
    """Cancers that the first biopsy left behind among benign results old enough for two years of follow-up."""
    rows = parts.rows
    benign = (
        rows["index"] & rows["reported"] & ((rows["diagnosis"] == NORMAL) | (rows["diagnosis"] == NORMAL + 1))
    )
    benign &= setting.until - rows["day"] >= _TWO_YEARS
    return {
        "benign_results": int(benign.sum()),
        "with_cancer_left": int((benign & rows["there"]).sum()),
        "chance_concordant": setting("hidden", "concordant_benign"),
        "chance_discordant": setting("hidden", "discordant"),
        "chance_by_high_risk_lesion": setting("hidden", "high_risk"),
    }


def _situations(setting: Setting) -> dict[str, Any]:
    """What was put in on purpose, from the parameters alone."""
    aim, follow_up = setting("targeting"), setting("follow_up")
    sd, along = aim["sd_mm"], aim["correlation_xy"] * aim["sd_mm"][0] * aim["sd_mm"][1]
    return {
        "within_patient_correlation": setting("service", "within_patient_correlation"),
        "targeting": {
            "axes": ["x", "y", "z"],
            "covariance_mm2": [[sd[0] ** 2, along, 0.0], [along, sd[1] ** 2, 0.0], [0.0, 0.0, sd[2] ** 2]],
            "bias_mm": {
                site: aim["biased_site_bias_mm"] if site == aim["biased_site"] else aim["bias_mm"]
                for site in setting.sites
            },
            "bias_applies_to": "tracer-guided vacuum-assisted biopsies, last attempt",
            "motion_sd_mm": aim["motion_sd_mm"],
        },
        "single_procedure_operator": setting("operators", "special", "single_procedure"),
        "one_category": {
            "specimen_reader": {"reader": setting("specimen", "one_category_reader"), "uptake_seen": "yes"},
            "reviewer": {
                "radiologist": setting("review", "one_category_radiologist"),
                "determination": "concordant",
            },
        },
        "no_events": {"device": "excision_device", "measures": ["insufficient_sample", "discordance"]},
        "all_events": {"assessment": "6", "measure": "cancer_at_biopsy"},
        "follow_up": {
            "visit_days": follow_up["visit_days"],
            "attendance": [follow_up[name] for name in ("month_6", "month_12", "month_24")],
            "attendance_factor": {
                "concordant": 1.0,
                "discordant": follow_up["factor_discordant"],
                "not_reviewed": follow_up["factor_not_reviewed"],
            },
        },
        "deaths_per_year": {
            "with_cancer": setting("patient", "deaths_per_year_with_cancer"),
            "without": setting("patient", "deaths_per_year"),
        },
        "half_life": setting("half_life"),
        "constancy": {
            name: setting("constancy", name)
            for name in ("loss_site", "loss_share", "loss_from_days_before_end", "loss_for_days")
        },
    }


def _rounded(node: Any) -> Any:
    if isinstance(node, dict):
        return {name: _rounded(below) for name, below in node.items()}
    if isinstance(node, list):
        return [_rounded(below) for below in node]
    return round(node, _DECIMALS) if isinstance(node, float) else node


def write(folder: Path, setting: Setting, parts: Parts, asked: dict[str, Any]) -> None:
    """truth.json: the request, the true rates, and the situations put in on purpose."""
    document = {
        "about": "Invented data. A rate is the mean chance with which the procedures of the denominator were drawn.",
        **asked,
        "measures": measures(setting, parts),
        "doubled_operator": _doubled(setting, parts),
        "cancer_left_behind": _left_behind(setting, parts),
        **_situations(setting),
    }
    text = json.dumps(_rounded(document), indent=1, ensure_ascii=False)
    (folder / "truth.json").write_text(text + "\n", encoding="utf-8", newline="\n")
