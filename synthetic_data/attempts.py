"""The procedures table: how each biopsy was done."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from synthetic_data import markers, people, tables
from synthetic_data.columns import (
    MINUTES_PER_DAY,
    NO_MINUTE,
    Columns,
    Rng,
    blank,
    code,
    codes,
    draw,
    draw_by,
    pick,
    pick_by,
)
from synthetic_data.results import CANCELLED, COMPLETED, FAMILIES, family, per_guidance
from synthetic_data.setting import Setting
from synthetic_data.visits import is_tracer

_LATEST_END = 17 * 60 + 30
HOURS = ("all", "12;1;2;3", "3;4;5;6", "6;7;8;9", "9;10;11;12", "2;3;4")
HOURS_SHARES = (0.70, 0.06, 0.06, 0.06, 0.06, 0.06)
_GAUGES = {
    "vacuum_assisted": {7: 0.1, 8: 0.2, 9: 0.5, 10: 0.2},
    "core_needle": {14: 0.8, 16: 0.2},
    "excision_device": {7: 1.0},
}
_CORES = {"vacuum_assisted": (6, 16), "core_needle": (3, 7), "excision_device": (1, 2)}
_APERTURES = {"vacuum_assisted": (20.0, 12.0), "core_needle": (22.0, 15.0), "excision_device": (20.0, 15.0)}
_TIPS = {"vacuum_assisted": 7.0, "core_needle": 4.0, "excision_device": 6.0}
_SHORT_TIP = 5.0
_LIMIT_MM = 20.0
#: Thickness (mean, sd) and force (from, to) under compression, by family of guidance.
_THICKNESS = {
    "tracer": (58.0, 10.0),
    "mri": (60.0, 11.0),
    "mammography": (52.0, 12.0),
    "ultrasound": (0.0, 0.0),
}
_FORCE = {"tracer": (30, 80), "mammography": (60, 140)}
_THINNEST, _THICKEST = 26.0, 110.0


def _by_device(table: dict[str, float], device: np.ndarray) -> np.ndarray:
    listed = codes("procedures", "device")
    return np.array([table.get(name, np.nan) for name in listed])[np.maximum(device, 0)]


def _needle(rng: Rng, rows: Columns, short: np.ndarray) -> Columns:
    """Gauge, aperture, dead tip and cores of the device; a short aperture where the margin is small."""
    device, count = rows["device"], rows.rows
    used = rows["status"] != CANCELLED
    names = codes("procedures", "device")
    sizes = sorted({size for table in _GAUGES.values() for size in table})
    weights = [[_GAUGES.get(name, {7: 1.0}).get(size, 0.0) for size in sizes] for name in names]
    gauge = np.array(sizes)[pick_by(rng, weights, device)]
    least = _by_device({name: pair[0] for name, pair in _CORES.items()}, device)
    most = _by_device({name: pair[1] for name, pair in _CORES.items()}, device)
    cores = np.floor(least + rng.random(count) * (most - least)).astype(np.int64)
    aperture = np.where(
        short,
        _by_device({name: pair[1] for name, pair in _APERTURES.items()}, device),
        _by_device({name: pair[0] for name, pair in _APERTURES.items()}, device),
    )
    tip = np.where(short, _SHORT_TIP, _by_device(_TIPS, device))
    hours = np.where(used & (rng.random(count) < 0.9), pick(rng, HOURS_SHARES, count), -1)
    return Columns(
        device=np.where(used, device, -1),
        gauge=np.where(used, gauge, -1),
        aperture_mm=np.where(used, aperture, np.nan),
        dead_tip_mm=np.where(used, tip, np.nan),
        sampled_hours=hours,
        cores=np.where(rows["status"] == COMPLETED, cores, -1),
    )


def _margin(setting: Setting, rng: Rng, rows: Columns) -> Columns:
    """Safe margin; too small wherever it is the reason of a cancellation."""
    count = rows.rows
    refused = rows["status_reason"] == code("procedures", "status_reason", "safe_margin")
    kept = (rng.random(count) < float(setting("procedure", "margin", "kept_20_mm"))) & ~refused
    wide = _LIMIT_MM + 0.5 + np.minimum(rng.gamma(3.0, 9.0, count), 70.0)
    narrow = np.where(refused, 4.0 + 9.0 * rng.random(count), 14.0 + 5.5 * rng.random(count))
    recorded = (rng.random(count) >= float(setting("procedure", "margin", "not_recorded"))) | refused
    recorded &= family(rows["guidance"]) <= FAMILIES.index("mammography")
    return Columns(short=~kept, safe_margin_mm=np.where(recorded, np.where(kept, wide, narrow), np.nan))


def _compression(rng: Rng, rows: Columns) -> Columns:
    group, count = family(rows["guidance"]), rows.rows
    mean = np.array([_THICKNESS[name][0] for name in FAMILIES])[group]
    sd = np.array([_THICKNESS[name][1] for name in FAMILIES])[group]
    thickness = np.clip(np.round(rng.normal(mean, sd)), _THINNEST, _THICKEST)
    low = np.array([_FORCE.get(name, (0, 0))[0] for name in FAMILIES])[group]
    high = np.array([_FORCE.get(name, (0, 0))[1] for name in FAMILIES])[group]
    force = np.round(low + rng.random(count) * (high - low))
    return Columns(
        compression_mm=np.where(mean > 0, thickness, np.nan),
        compression_force_n=np.where(high > 0, blank(rng, force, 0.3), np.nan),
    )


def _axis_of_compression(rng: Rng, rows: Columns, approach: np.ndarray) -> np.ndarray:
    """0 x, 1 y, 2 z: along the needle for MRI from the side, else mostly cranio-caudal."""
    sideways = (approach == code("procedures", "approach", "lateral")) | (
        approach == code("procedures", "approach", "medial")
    )
    mri = family(rows["guidance"]) == FAMILIES.index("mri")
    return np.where(mri & sideways & (rng.random(rows.rows) < 0.9), 0, 1)


def _tracer(setting: Setting, rng: Rng, rows: Columns) -> Columns:
    """What was injected for the visit and when; the same for all targets of one visit."""
    given = setting("procedure", "tracer")
    _, first, visit = np.unique(
        rows["patient"] * 100_000 + rows["day"], return_index=True, return_inverse=True
    )
    count = first.shape[0]
    earliest = np.full(count, rows["start"].max())
    np.minimum.at(earliest, visit, rows["start"])
    scan = earliest - 10 - 5 * rng.integers(0, 4, count)
    low, high = given["uptake_minutes"]
    late = np.where(rng.random(count) < 0.8, rng.integers(91, 116, count), rng.integers(38, 44, count))
    minutes = np.where(
        rng.random(count) < given["uptake_time_kept"], rng.integers(low, high + 1, count), late
    )
    recorded = rng.random(count) >= given["injection_not_recorded"]
    other = rng.random(count) < given["other_than_fdg"]
    spread = 1.0 + 0.10 * np.clip(rng.normal(0.0, 1.0, count), -2.5, 2.5)
    weight = np.clip(np.round(rng.normal(68.0, 12.0, count)), 38.0, 130.0)
    glucose = np.clip(rng.normal(5.6, 0.9, count), 3.6, 11.0)
    tracer, pet = (
        is_tracer(rows["guidance"]),
        rows["guidance"] == code("procedures", "guidance", "pet_tracer"),
    )
    mean = np.where(pet, given["fdg_mbq"], given["sestamibi_mbq"])
    kind = np.where(pet, np.where(other[visit], 2, 0), 1)
    timed = tracer & recorded[visit]
    return Columns(
        tracer=np.where(tracer, kind, -1),
        activity_mbq=np.where(tracer, np.round(mean * spread[visit], 1), np.nan),
        injection=(scan - minutes)[visit],
        injected_at=np.where(timed, (scan - minutes)[visit], NO_MINUTE),
        first_scan_at=np.where(timed, scan[visit], NO_MINUTE),
        weight_kg=np.where(tracer, weight[visit], np.nan),
        glucose_mmol_l=np.where(tracer & pet, blank(rng, glucose, 0.05)[visit], np.nan),
        pregnancy_check=np.where(tracer, pick(rng, [0.35, 0.64, 0.01], count)[visit], -1),
        antithrombotic=blank(rng, pick(rng, [0.80, 0.09, 0.07, 0.01, 0.03], count), 0.05)[visit],
    )


def _target(setting: Setting, rng: Rng, rows: Columns, found: Columns) -> Columns:
    """Whether the target was seen again, its ratio on the day, and what was left of it."""
    count, tracer = rows.rows, is_tracer(rows["guidance"])
    listed = codes("procedures", "status_reason")
    unseen = np.isin(
        rows["status_reason"], [listed.index(name) for name in ("target_not_seen", "no_uptake", "resolved")]
    )
    given = setting("procedure", "target")
    faint = (rng.random(count) < given["faint"]).astype(np.int8)
    seen = np.where(unseen, code("procedures", "target_seen", "no"), faint)
    seen = np.where(
        tracer,
        blank(rng, seen, given["seen_not_recorded"]),
        code("procedures", "target_seen", "not_applicable"),
    )
    ratio = np.maximum(found["uptake_ratio"][rows["finding"]] * (0.8 + 0.4 * rng.random(count)), 1.0)
    residual = draw(rng, "procedures", "residual", given["residual"], count)
    adequate = (rng.random(count) >= float(setting("procedure", "tracer", "uptake_check_adequate"))).astype(
        np.int8
    )
    return Columns(
        target_seen=seen,
        day_uptake_ratio=np.where(tracer & ~unseen, ratio, np.nan),
        residual=np.where(rows["status"] == COMPLETED, blank(rng, residual, 0.04), -1),
        uptake_check=np.where(tracer, blank(rng, adequate, 0.05), -1),
    )


def _times(setting: Setting, rng: Rng, rows: Columns) -> Columns:
    """End and length: a procedure given up early is short."""
    usual = per_guidance(setting("procedure", "minutes"))[rows["guidance"]]
    length = np.round(usual * (0.6 + rng.gamma(4.0, 0.1, rows.rows))).astype(np.int64)
    length = np.where(rows["status"] == COMPLETED, length, length // 3)
    end = np.minimum(rows["minute"] + np.maximum(length, 5), _LATEST_END)
    end = rows["day"] * MINUTES_PER_DAY + np.maximum(end, rows["minute"])
    known = (rows["status"] != CANCELLED) & (rng.random(rows.rows) < 0.97)
    return Columns(sampling_end=end, ended_at=np.where(known, end, NO_MINUTE))


def _supervisor(setting: Setting, rng: Rng, rows: Columns) -> np.ndarray:
    """The first operator of the site stands beside its trainees."""
    listed = setting.operators
    heads = np.array(
        [
            listed.index(next(iter(setting("operators", table, "shares"))))
            for table in ("site_a", "site_b", "site_c")
        ]
    )
    trainees = [
        listed.index(list(setting("operators", table, "shares"))[-1])
        for table in ("site_a", "site_b", "site_c")
    ]
    helped = np.isin(rows["operator"], trainees) & (
        rng.random(rows.rows) < float(setting("operators", "special", "supervised"))
    )
    return np.where(helped, heads[rows["site"]], -1)


def attempts(setting: Setting, rows: Columns, people_: Columns, found: Columns) -> Columns:
    """Columns of procedures.csv by name (codes as numbers), with a few that other tables need.

    Returns
    -------
    Among them ``compression_axis`` (0 x, 1 y, 2 z), ``sampling_end`` and ``injection`` in
    minutes since 1970-01-01 whether recorded or not, and ``supervisor`` as operator numbers.
    """
    rng = setting.stream("attempts")
    count, kind = rows.rows, family(rows["guidance"])
    approach = draw_by(
        rng, "procedures", "approach", [setting("procedure", "approach", name) for name in FAMILIES], kind
    )
    position = draw_by(
        rng, "procedures", "position", [setting("procedure", "position", name) for name in FAMILIES], kind
    )
    axis = _axis_of_compression(rng, rows, approach)
    margin = _margin(setting, rng, rows)
    age = people.age_years(people_["born"][rows["patient"]], rows["day"])
    stated = ~people_["born_known"][rows["patient"]] | (rng.random(count) < 0.3)
    return Columns(
        approach=np.where(rows["status"] == CANCELLED, -1, approach),
        position=np.where(rows["status"] == CANCELLED, -1, position),
        placed_from=approach,
        compression_axis=axis,
        age_years=np.where(stated, age, -1),
        indication=blank(rng, people_["indication"][rows["patient"]], 0.02),
        supervisor=_supervisor(setting, rng, rows),
        safe_margin_mm=margin["safe_margin_mm"],
        **_times(setting, rng, rows),
        **_needle(rng, rows, margin["short"]),
        **_compression(rng, rows),
        **markers.markers(setting, rows, found, axis),
        **_tracer(setting, rng, rows),
        **_target(setting, rng, rows, found),
    )


def write(folder: Path, setting: Setting, rows: Columns, done: Columns) -> None:
    """procedures.csv."""
    number = np.arange(rows.rows)
    aside = ("placed_from", "compression_axis", "sampling_end", "injection")
    own: dict[str, tables.Column] = {name: array for name, array in done.items() if name not in aside}
    text = {
        "procedure_id": tables.identifiers("B", number),
        "finding_id": tables.identifiers("F", rows["finding"]),
        "accession": tables.identifiers("X", np.where(number % 50 == 49, -1, number), 8),
        "site": tables.chosen(setting.sites, rows["site"]),
        "operator": tables.chosen(setting.operators, rows["operator"]),
        "supervisor": tables.chosen(setting.operators, done["supervisor"]),
        "sampled_hours": tables.chosen(HOURS, done["sampled_hours"]),
        "marker_shape": tables.chosen(markers.SHAPES, done["marker_shape"]),
        "repeat_of": tables.identifiers("B", rows["parent"]),
    }
    drawn = {name: rows[name] for name in ("status", "status_reason", "guidance")}
    reason = np.where(rows["parent"] >= 0, rows["reason"], -1)
    tables.write(
        folder, "procedures", {**own, **drawn, **text, "started_at": rows["start"], "repeat_reason": reason}
    )
