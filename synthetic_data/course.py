"""The follow-up table: what became of the patients."""

from __future__ import annotations

import datetime
from pathlib import Path

import numpy as np

from synthetic_data import steps, tables
from synthetic_data.columns import NO_DAY, Columns, Rng, blank, code, draw, pick, stack
from synthetic_data.results import (
    BENIGN,
    COMPLETED,
    GUIDANCES,
    HIGH_RISK,
    IN_SITU,
    INVASIVE,
    NORMAL,
    is_malignant,
)
from synthetic_data.setting import EPOCH, Setting, day_of

_FIELDS = (
    "source",
    "modality",
    "imaging_outcome",
    "diagnosis",
    "same_site",
    "excision_kind",
    "neoadjuvant",
    "adjudication",
    "contact_result",
    "closure_reason",
)
_MODALITIES = {"stereotactic": "mammography"}
#: A linkage run covers whole calendar years and comes this long after the last of them.
_LINKAGE_DELAY_DAYS = 180
_CLOSED_AFTER_DAYS = 90


def _value(name: str, value: str) -> int:
    return code("followup", name, value)


def _diagnosis(number: np.ndarray) -> np.ndarray:
    """Code of a diagnosis in the list of follow-up, which begins with none."""
    return number + _value("diagnosis", "insufficient")


def _events(kind: str, chosen: np.ndarray, days: np.ndarray, **given: np.ndarray | int) -> Columns:
    """Rows of one kind for the chosen procedures; what is not given is empty."""
    number = np.flatnonzero(chosen)
    columns = {
        "procedure": number,
        "happened_on": days[number],
        "kind": np.full(number.shape[0], _value("kind", kind)),
    }
    for name in _FIELDS:
        value = given.get(name, -1)
        columns[name] = value[number] if isinstance(value, np.ndarray) else np.full(number.shape[0], value)
    return Columns(columns)


def excision_result(setting: Setting, rng: Rng, rows: Columns) -> np.ndarray:
    """Diagnosis at the excision that follows each procedure."""
    count, diagnosis = rows.rows, rows["diagnosis"]
    chance = rng.random(count)
    malignant = np.where(
        diagnosis == IN_SITU,
        np.where(chance < float(setting("step", "in_situ_upgraded")), INVASIVE, IN_SITU),
        diagnosis,
    )
    gone = rng.random(count) < float(setting("step", "malignant_then_benign"))
    malignant = np.where(gone & (malignant == diagnosis), BENIGN, malignant)
    found = np.where(rng.random(count) < float(setting("hidden", "in_situ_share")), IN_SITU, INVASIVE)
    stays = np.where(
        (diagnosis == HIGH_RISK) & (chance < 0.6), HIGH_RISK, np.where(chance < 0.9, BENIGN, NORMAL)
    )
    return np.where(is_malignant(diagnosis), malignant, np.where(rows["there"], found, stays))


def _excisions(setting: Setting, rng: Rng, rows: Columns) -> Columns:
    count = rows.rows
    result = excision_result(setting, rng, rows)
    malignant = is_malignant(rows["diagnosis"])
    gone = malignant & (result < IN_SITU)
    why = draw(
        rng,
        "followup",
        "adjudication",
        {"target_removed": 0.65, "site_missed": 0.10, "pathology_revised": 0.05, "unresolved": 0.20},
        count,
    )
    why = np.where(rows["neoadjuvant"], _value("adjudication", "therapy_response"), why)
    treated = np.where(
        rng.random(count) < float(setting("step", "mastectomy")),
        _value("excision_kind", "mastectomy"),
        _value("excision_kind", "therapeutic"),
    )
    looked = draw(rng, "followup", "excision_kind", {"diagnostic": 0.75, "vacuum": 0.25}, count)
    therapy = np.where(rows["neoadjuvant"], _value("neoadjuvant", "yes"), _value("neoadjuvant", "no"))
    return _events(
        "excision",
        rows["step"] == steps.EXCISION,
        rows["step_on"],
        source=draw(rng, "followup", "source", {"own": 0.86, "outside_report": 0.14}, count),
        diagnosis=_diagnosis(result),
        same_site=blank(
            rng, draw(rng, "followup", "same_site", {"yes": 0.965, "unknown": 0.035}, count), 0.03
        ),
        excision_kind=np.where(malignant, treated, looked),
        neoadjuvant=np.where(malignant, blank(rng, therapy, 0.03), -1),
        adjudication=np.where(gone, why, -1),
    )


def _elsewhere(setting: Setting, rng: Rng, rows: Columns) -> Columns:
    """Excisions elsewhere in the breast; they say nothing about the target."""
    count = rows.rows
    chosen = (rows["status"] == COMPLETED) & (rng.random(count) < float(setting("step", "elsewhere")))
    days = setting.open_from(rows["day"] + rng.integers(20, 600, count))
    result = np.array([BENIGN, HIGH_RISK, IN_SITU, INVASIVE])[pick(rng, [0.6, 0.1, 0.1, 0.2], count)]
    return _events(
        "excision",
        chosen,
        days,
        source=_value("source", "outside_report"),
        diagnosis=_diagnosis(result),
        same_site=_value("same_site", "no"),
        excision_kind=draw(rng, "followup", "excision_kind", {"diagnostic": 0.6, "therapeutic": 0.4}, count),
    )


def _linkages(setting: Setting, rng: Rng, rows: Columns) -> list[Columns]:
    """Cancers that only the cancer registry knew, cancers elsewhere, and linkages that found none."""
    count, sampled = rows.rows, rows["status"] == COMPLETED
    year = (EPOCH + datetime.timedelta(days=setting.until - _LINKAGE_DELAY_DAYS)).year
    complete = day_of(EPOCH.replace(year=year)) - 1
    source = _value("source", "registry")
    found = np.where(
        rng.random(count) < 0.96, np.where(rng.random(count) < 0.3, IN_SITU, INVASIVE), INVASIVE + 1
    )
    site = blank(rng, draw(rng, "followup", "same_site", {"yes": 0.85, "unknown": 0.15}, count), 0.05)
    linked = (rng.random(rows["patient"].max() + 1) < float(setting("follow_up", "linkage")))[rows["patient"]]
    cancer = np.bincount(rows["patient"], weights=is_malignant(rows["diagnosis"]) | rows["there"]) > 0
    other = sampled & ~cancer[rows["patient"]] & ~linked & (rng.random(count) < 0.006)
    clear = linked & ~cancer[rows["patient"]] & (rows["day"] + 30 <= complete)
    return [
        _events(
            "registry_linkage",
            rows["step"] == steps.LINKAGE,
            rows["step_on"],
            source=source,
            diagnosis=_diagnosis(found),
            same_site=site,
        ),
        _events(
            "registry_linkage",
            clear,
            np.full(count, complete),
            source=source,
            diagnosis=_value("diagnosis", "none"),
        ),
        _events(
            "registry_linkage",
            other,
            rows["day"] + rng.integers(60, 1500, count),
            source=source,
            diagnosis=_diagnosis(np.full(count, INVASIVE)),
            same_site=_value("same_site", "no"),
        ),
    ]


def attendance_factor(setting: Setting, rows: Columns) -> np.ndarray:
    """How much likelier or less likely a patient comes, by what the review decided."""
    factor = np.where(rows["discordant"] == 1, float(setting("follow_up", "factor_discordant")), 1.0)
    return np.where(rows["discordant"] < 0, float(setting("follow_up", "factor_not_reviewed")), factor)


def _modality(setting: Setting, rng: Rng, rows: Columns) -> np.ndarray:
    listed = [code("followup", "modality", _MODALITIES.get(name, name)) for name in GUIDANCES]
    same = rng.random(rows.rows) < float(setting("follow_up", "same_modality"))
    other = draw(
        rng, "followup", "modality", {"mammography": 0.6, "ultrasound": 0.3, "clinical": 0.1}, rows.rows
    )
    return blank(
        rng,
        np.where(same, np.array(listed)[rows["guidance"]], other),
        float(setting("follow_up", "modality_empty")),
    )


def _visits(setting: Setting, rng: Rng, rows: Columns) -> list[Columns]:
    """Imaging at 6, 12 and 24 months; what was missed leads to contacts and in the end to closure."""
    count, spread = rows.rows, int(setting("follow_up", "spread_days"))
    followed = (rows["diagnosis"] >= NORMAL) & ~is_malignant(rows["diagnosis"])
    # A later step ends the follow-up of this procedure; what is detected shows at the visit before it.
    ends = np.where(rows["step"] != steps.NOTHING, rows["step_on"], setting.until + 1)
    factor, parts = attendance_factor(setting, rows), []
    lost = np.zeros(count, dtype=bool)
    chances = [float(setting("follow_up", name)) for name in ("month_6", "month_12", "month_24")]
    for due, chance in zip(setting("follow_up", "visit_days"), chances, strict=True):
        day = setting.open_from(rows["day"] + due + rng.integers(-spread, spread + 1, count))
        open_ = followed & ~lost & (day < ends) & (day <= setting.until)
        comes = open_ & (rng.random(count) < chance * factor)
        outcome = draw(rng, "followup", "imaging_outcome", setting("follow_up", "outcome"), count)
        source = draw(rng, "followup", "source", {"own": 0.85, "outside_report": 0.15}, count)
        parts.append(
            _events(
                "imaging",
                comes,
                day,
                source=source,
                modality=_modality(setting, rng, rows),
                imaging_outcome=outcome,
            )
        )
        missed = open_ & ~comes
        parts += _after_missed(setting, rng, rows, missed, day)
        lost |= missed & (rng.random(count) < float(setting("follow_up", "lost_after_missed")))
        parts.append(_closure(setting, rng, lost & missed, day))
    shown = rows["detected"] & (rows["status"] == COMPLETED)
    before = setting.open_until(rows["step_on"] - 3)
    parts.append(
        _events(
            "imaging",
            shown & (before > rows["day"]),
            before,
            source=_value("source", "own"),
            modality=_modality(setting, rng, rows),
            imaging_outcome=_value("imaging_outcome", "progressed"),
        )
    )
    return parts


def _after_missed(
    setting: Setting, rng: Rng, rows: Columns, missed: np.ndarray, day: np.ndarray
) -> list[Columns]:
    """Attempts to reach those who did not come."""
    tried = missed & (rng.random(rows.rows) < float(setting("follow_up", "contact_after_missed")))
    result = draw(rng, "followup", "contact_result", setting("follow_up", "contact_result"), rows.rows)
    on = setting.open_from(day + rng.integers(14, 45, rows.rows))
    return [_events("contact", tried, on, source=_value("source", "own"), contact_result=result)]


def _closure(setting: Setting, rng: Rng, lost: np.ndarray, day: np.ndarray) -> Columns:
    reason = draw(rng, "followup", "closure_reason", setting("follow_up", "closure_reason"), lost.shape[0])
    return _events(
        "lost",
        lost,
        setting.open_from(day + _CLOSED_AFTER_DAYS),
        source=_value("source", "own"),
        closure_reason=reason,
    )


def _deaths(rows: Columns, people: Columns) -> Columns:
    """Deaths that came to be known in follow-up, on the last procedure of the patient."""
    last = np.zeros(people.rows, dtype=np.int64)
    np.maximum.at(last, rows["patient"], np.arange(rows.rows))
    chosen = np.zeros(rows.rows, dtype=bool)
    chosen[last[people["in_followup"]]] = True
    return _events(
        "death", chosen, people["died_on"][rows["patient"]], source=_value("source", "outside_report")
    )


def followup(setting: Setting, rows: Columns, people: Columns) -> Columns:
    """All events up to the end and before the death of the patient, in the order of procedure and day."""
    rng = setting.stream("followup")
    parts = [_excisions(setting, rng, rows), _elsewhere(setting, rng, rows)]
    parts += [*_linkages(setting, rng, rows), *_visits(setting, rng, rows), _deaths(rows, people)]
    events = stack(parts)
    died = people["died_on"][rows["patient"][events["procedure"]]]
    is_death = events["kind"] == _value("kind", "death")
    happened = (events["happened_on"] <= setting.until) & (
        (died == NO_DAY) | (events["happened_on"] < died) | is_death
    )
    happened &= events["happened_on"] >= rows["day"][events["procedure"]]
    events = events.at(happened)
    return events.at(np.lexsort((events["kind"], events["happened_on"], events["procedure"])))


def write(folder: Path, events: Columns) -> None:
    """followup.csv."""
    own: dict[str, tables.Column] = {name: array for name, array in events.items() if name != "procedure"}
    keys = {
        "event_id": tables.identifiers("E", np.arange(events.rows)),
        "procedure_id": tables.identifiers("B", events["procedure"]),
    }
    tables.write(folder, "followup", {**own, **keys})
