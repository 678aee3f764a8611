"""The targeting table: plan, verification scan, and where the aperture really was."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from synthetic_data import equipment, tables
from synthetic_data.columns import Columns, Rng, blank, code, codes, draw, draw_by, pick
from synthetic_data.results import CANCELLED, COMPLETED, FAMILIES, family
from synthetic_data.setting import Setting
from synthetic_data.visits import is_tracer

_AXES = "xyz"
#: Needle axis and sense by approach, in a frame with x medial, y cranial, z posterior.
_ALONG: dict[str, tuple[str, str]] = {
    "lateral": ("x", "plus"),
    "medial": ("x", "minus"),
    "craniocaudal": ("y", "minus"),
    "caudocranial": ("y", "plus"),
    "oblique": ("oblique", ""),
}
_LATERAL_LIMITS_MM = (5.0, 7.5)
_EDGE_MM = 2.0
_NEAREST_WALL_MM = 10.0


def error_root(setting: Setting) -> np.ndarray:
    """Lower triangular root of the covariance of the targeting error, mm: root @ root.T."""
    sd_x, sd_y, sd_z = setting("targeting", "sd_mm")
    along = float(setting("targeting", "correlation_xy"))
    return np.array([[sd_x, 0.0, 0.0], [along * sd_y, np.sqrt(1.0 - along**2) * sd_y, 0.0], [0.0, 0.0, sd_z]])


def is_biased(setting: Setting, rows: Columns) -> np.ndarray:
    """Tracer-guided vacuum-assisted biopsies of the site whose aim is off."""
    site = setting.sites.index(setting("targeting", "biased_site"))
    vacuum = rows["device"] == code("procedures", "device", "vacuum_assisted")
    return (rows["site"] == site) & is_tracer(rows["guidance"]) & vacuum


def _errors(setting: Setting, rng: Rng, rows: Columns, last: np.ndarray) -> np.ndarray:
    given, count = setting("targeting"), rows.rows
    # Written out: a matrix product may round differently from machine to machine.
    root, chance = error_root(setting), rng.normal(0.0, 1.0, (count, 3))
    spread = np.stack(
        [sum(root[axis, k] * chance[:, k] for k in range(axis + 1)) for axis in range(3)], axis=1
    )
    bias = np.where(is_biased(setting, rows)[:, None], given["biased_site_bias_mm"], given["bias_mm"])
    return np.where(last[:, None], spread + bias, chance * float(given["misplaced_sd_mm"]))


def _plan(rng: Rng, rows: Columns, done: Columns) -> np.ndarray:
    """Planned target, x y z, inside the compressed breast where y is the axis of compression."""
    count = rows.rows
    thickness = np.where(np.isnan(done["compression_mm"]), 60.0, done["compression_mm"])
    high = np.where(done["compression_axis"] == 1, thickness - _NEAREST_WALL_MM, 60.0)
    x = -50.0 + 95.0 * rng.random(count)
    y = _NEAREST_WALL_MM + rng.random(count) * (high - _NEAREST_WALL_MM)
    z = 6.0 + 74.0 * rng.random(count)
    return np.round(np.stack([x, y, z], axis=1), 1)


def _judgement(rng: Rng, share: float, rows: Columns, error: np.ndarray, known: np.ndarray) -> np.ndarray:
    """Reader's view: from the error along the needle and across it, where somebody looked."""
    along = np.abs(error[np.arange(rows.rows), np.maximum(rows["axis"], 0)])
    across = np.sqrt(np.maximum((error**2).sum(axis=1) - along**2, 0.0))
    half = rows["aperture_mm"] / 2.0
    within = (along <= half - _EDGE_MM) & (across <= _LATERAL_LIMITS_MM[0])
    outside = (along > half + _EDGE_MM) | (across > _LATERAL_LIMITS_MM[1])
    names = [code("targeting", "aperture_judgement", name) for name in ("within", "edge", "outside")]
    view = np.select([within, outside], [names[0], names[2]], default=names[1])
    looked = ~known | (rng.random(rows.rows) < share)
    aside = np.where(rng.random(rows.rows) < 0.5, code("targeting", "aperture_judgement", "not_judged"), -1)
    return np.where(looked, view, aside)


def _stand_in(setting: Setting, rng: Rng, rows: Columns, verified: np.ndarray) -> Columns:
    """What stood in the needle's place, and which point of it was marked."""
    weights = [setting("targeting", "stand_in"), {"obturator": 0.85, "needle": 0.15}]
    mri = family(rows["guidance"]) == FAMILIES.index("mri")
    stand_in = draw_by(rng, "targeting", "stand_in", weights, mri.astype(np.int8))
    radioactive = stand_in == code("targeting", "stand_in", "radioactive_source")
    unmatched = rng.random(rows.rows) < float(setting("targeting", "not_length_matched"))
    matched = np.where(radioactive, unmatched, code("targeting", "length_matched", "not_applicable"))
    tip = rng.random(rows.rows) < 0.5
    named = [code("targeting", "marked_point", name) for name in ("source_centre", "tip", "aperture_centre")]
    point = np.where(radioactive, named[0], np.where(tip, named[1], named[2]))
    to_aperture = np.where(point == named[1], rows["aperture_mm"] / 2.0 + rows["dead_tip_mm"], 0.0)
    source = equipment.source_number(setting, rows["site"], equipment.STAND_IN, rows["day"])
    return Columns(
        stand_in=np.where(verified, stand_in, -1),
        length_matched=np.where(verified, matched, -1),
        marked_point=np.where(verified, blank(rng, point, 0.05), -1),
        point_to_aperture_mm=np.where(verified & (point != named[2]), to_aperture, np.nan),
        source=np.where(verified & radioactive, source, -1),
    )


def _placements(setting: Setting, rng: Rng, rows: Columns, done: Columns) -> Columns:
    """One row per attempt of the procedures that have a targeting record."""
    recorded = (rows["status"] != CANCELLED) & (family(rows["guidance"]) < FAMILIES.index("ultrasound"))
    recorded &= rng.random(rows.rows) < float(setting("targeting", "recorded"))
    number = np.flatnonzero(recorded)
    attempts = 1 + pick(rng, setting("targeting", "attempts"), number.shape[0]).astype(np.int64)
    plan = _plan(rng, rows.at(number), done.at(number))
    row = np.repeat(np.arange(number.shape[0]), attempts)
    first = np.repeat(np.cumsum(attempts) - attempts, attempts)
    attempt = np.arange(row.shape[0]) - first
    procedure = number[row]
    needed = ("compression_axis", "aperture_mm", "dead_tip_mm", "placed_from")
    kept = {name: rows[name][procedure] for name in ("guidance", "device", "site", "day", "status")}
    approach = codes("procedures", "approach")
    axis = np.array([_AXES.find(_ALONG[name][0]) for name in approach])
    return Columns(
        **kept,
        **{name: done[name][procedure] for name in needed},
        procedure=procedure,
        attempt=attempt + 1,
        last=attempt + 1 == attempts[row],
        axis=axis[done["placed_from"][procedure]],
        x=plan[row, 0],
        y=plan[row, 1],
        z=plan[row, 2],
    )


def _positions(setting: Setting, rng: Rng, rows: Columns, verified: np.ndarray) -> dict[str, np.ndarray]:
    """Planned, seen and achieved coordinates and the judgement, each rounded as read off a screen."""
    given, count = setting("targeting"), rows.rows
    plan = np.stack([rows["x"], rows["y"], rows["z"]], axis=1)
    known = verified & (rng.random(count) < float(given["position_recorded"]))
    seen_again = known & (rng.random(count) < float(given["seen_again"]))
    motion = rng.normal(0.0, float(given["motion_sd_mm"]), (count, 3))
    seen = np.where(seen_again[:, None], np.round(plan + motion, 1), plan)
    error = _errors(setting, rng, rows, rows["last"])
    achieved = seen + error
    judgement = _judgement(rng, float(given["judged"]), rows, error, known)
    columns = {"aperture_judgement": np.where(verified, judgement, -1)}
    for axis, name in enumerate(_AXES):
        columns[f"planned_{name}_mm"] = plan[:, axis]
        columns[f"achieved_{name}_mm"] = np.where(known, achieved[:, axis], np.nan)
        columns[f"seen_{name}_mm"] = np.where(seen_again, seen[:, axis], np.nan)
    return columns


def write(folder: Path, setting: Setting, rows: Columns, done: Columns) -> Columns:
    """targeting.csv.

    Returns
    -------
    The last placement of each procedure with a recorded position: ``procedure``, ``axis``
    (0 x, 1 y, 2 z, -1 oblique) and ``sense`` of the needle, ``compression_axis``,
    ``error_x`` to ``error_z`` in mm (aperture minus target), ``seen_again`` and ``matched``
    (what was marked stands for the aperture).
    """
    rng = setting.stream("targeting")
    placed = _placements(setting, rng, rows, done)
    count, chance = placed.rows, rng.random(placed.rows)
    seen_by_scanner = family(placed["guidance"]) <= FAMILIES.index("mri")
    share = np.where(placed["last"], float(setting("targeting", "verified")), 1.0)
    verified = seen_by_scanner & (chance < share)
    approach = codes("procedures", "approach")
    axes = np.array([code("targeting", "needle_axis", _ALONG[name][0]) for name in approach])
    named = [_ALONG[name][1] for name in approach]
    senses = [code("targeting", "needle_direction", sense) if sense else -1 for sense in named]
    stand_in = _stand_in(setting, rng, placed, verified)
    depth = np.where(rng.random(count) < 0.7, np.round(12.0 + rng.gamma(4.0, 9.0, count)), np.nan)
    actions = [code("targeting", "action", name) for name in ("sampled", "moved", "withdrawn")]
    sampled = placed["status"] == COMPLETED
    given_up = np.where(sampled, actions[0], actions[2])
    sense = np.array(senses)[placed["placed_from"]]
    columns: dict[str, tables.Column] = {
        **_positions(setting, rng, placed, verified),
        **{name: array for name, array in stand_in.items() if name != "source"},
        "procedure_id": tables.identifiers("B", placed["procedure"]),
        "attempt": placed["attempt"],
        "frame": tables.chosen(
            (setting("targeting", "frame"),), blank(rng, np.zeros(count, dtype=np.int8), 0.02)
        ),
        "needle_axis": axes[placed["placed_from"]],
        "needle_direction": blank(rng, sense, float(setting("targeting", "direction_empty"))),
        "compression_axis": placed["compression_axis"],
        "slice_mm": np.where(seen_by_scanner, float(setting("targeting", "slice_mm")), np.nan),
        "verification": np.where(
            verified, code("targeting", "verification", "done"), code("targeting", "verification", "not_done")
        ),
        "measurement_sd_mm": np.where(
            verified & (rng.random(count) < 0.6), float(setting("targeting", "measurement_sd_mm")), np.nan
        ),
        "target_depth_mm": np.minimum(depth, 140.0),
        "depth_datum": np.where(
            np.isnan(depth), -1, draw(rng, "targeting", "depth_datum", {"guide": 0.8, "skin": 0.2}, count)
        ),
        "action": np.where(placed["last"], given_up, actions[1]),
        "source_id": tables.chosen(equipment.source_codes(setting), stand_in["source"]),
    }
    tables.write(folder, "targeting", columns)
    return _last(placed, columns, np.array([-1.0 if name == "minus" else 1.0 for name in named]))


def _last(placed: Columns, columns: dict[str, tables.Column], sense: np.ndarray) -> Columns:
    """What is known of the last placements, for what was really sampled."""
    written = {name: np.asarray(columns[name]) for name in columns if name.endswith("_mm")}
    seen_again = ~np.isnan(written["seen_x_mm"])
    error = {
        f"error_{axis}": written[f"achieved_{axis}_mm"]
        - np.where(seen_again, written[f"seen_{axis}_mm"], written[f"planned_{axis}_mm"])
        for axis in _AXES
    }
    kept = placed["last"] & ~np.isnan(error["error_x"])
    unmatched = columns["length_matched"] == code("targeting", "length_matched", "no")
    return Columns(
        procedure=placed["procedure"],
        axis=placed["axis"],
        sense=sense[placed["placed_from"]],
        compression_axis=placed["compression_axis"],
        seen_again=seen_again,
        matched=~np.asarray(unmatched),
        **error,
    ).at(kept)
