"""What of each target was really sampled: the truth that a probability can be held against.

A recorded place is only the middle of where it may be: the target and the aperture lie
anywhere in the slices on which they were marked, a little off across them, the target may
have moved since the plan, and a source of another length does not mark the aperture. Here
those are drawn, and what lay in the volume is summed up over chords. Nothing in the tables
depends on it.
"""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np

from synthetic_data import tables
from synthetic_data.attempts import HOURS, HOURS_SHARES
from synthetic_data.columns import Columns, Rng, code, codes, pick
from synthetic_data.results import COMPLETED
from synthetic_data.setting import Setting

FILE = "sampling_truth.json"
#: Neighbours in Fibonacci's series: points and step of a lattice.
_POINTS, _STEP = 610, 377
_CHUNK = 1000
_DECIMALS = 4
_HALF_HOUR = np.radians(15.0)
_CRANIAL, _POSTERIOR = 1, 2


def _chords() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Chords of a ball of radius 1 along the needle: two coordinates across it, half length; all stand for as much."""
    number = np.arange(_POINTS)
    outside, turn = (number + 0.5) / _POINTS, 2.0 * np.pi * ((number * _STEP % _POINTS) / _POINTS)
    half = np.cbrt(outside)
    distance = np.sqrt(1.0 - half**2)
    return distance * np.cos(turn), distance * np.sin(turn), half


def _true_offset(setting: Setting, rng: Rng, aim: Columns) -> np.ndarray:
    """Centre of the target seen from the centre of the aperture, x y z."""
    given, count = setting("targeting"), aim.rows
    recorded = np.stack([aim[f"error_{axis}"] for axis in "xyz"], axis=1)
    in_slice = (rng.random((count, 3)) - rng.random((count, 3))) * float(given["slice_mm"])
    across = (rng.normal(size=(count, 3)) - rng.normal(size=(count, 3))) * float(given["measurement_sd_mm"])
    is_coarse = aim["compression_axis"][:, None] == np.arange(3)
    motion = rng.normal(0.0, float(given["motion_sd_mm"]), (count, 3))
    slipped = rng.normal(0.0, float(given["unmatched_sd_mm"]), count)
    offset = -recorded + np.where(is_coarse, in_slice, across)
    offset += np.where(aim["seen_again"][:, None], 0.0, motion)
    along = aim["axis"][:, None] == np.arange(3)
    return offset + np.where(along & ~aim["matched"][:, None], slipped[:, None], 0.0)


def _across(aim: Columns, left: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Hour 3, hour 12 and the needle as axis numbers and senses, in the frame x medial, y cranial, z posterior.

    Stand beside the left breast and look medially, head up: posterior is to the right. From
    the medial side, or at the right breast, it is to the left. A needle along y has its
    hour 12 towards posterior, which the frame does not say.
    """
    upright = aim["axis"] == 0
    up = np.where(upright, _CRANIAL, _POSTERIOR)
    right = np.where(upright, _POSTERIOR, 0)
    return right, np.where(left, 1.0, -1.0) * aim["sense"], up


def _share(offset: np.ndarray, shape: Columns) -> np.ndarray:
    """Share of each target inside its cylinder and its hours, by chords along the needle."""
    rows, (first, second, half) = np.arange(offset.shape[0]), _chords()
    radius = shape["radius"][:, None]
    right = (offset[rows, shape["right"]] * shape["right_sense"])[:, None] + radius * first
    up = offset[rows, shape["up"]][:, None] + radius * second
    along, end = offset[rows, shape["axis"]][:, None], shape["aperture"][:, None] / 2.0
    chord = radius * half
    length = np.maximum(np.minimum(chord, end - along) - np.maximum(-chord, -end - along), 0.0)
    distance = np.sqrt(right**2 + up**2)
    inside = distance <= shape["reach"][:, None]
    part = np.flatnonzero(~shape["hours"].all(axis=1))
    inside[part] &= _in_hours(right[part], up[part], distance[part], shape["hours"][part])
    return (np.where(inside, length, 0.0) / (2.0 * chord)).mean(axis=1)


def _in_hours(right: np.ndarray, up: np.ndarray, distance: np.ndarray, hours: np.ndarray) -> np.ndarray:
    swept = np.zeros(right.shape, dtype=bool)
    for hour in range(12):
        towards = np.sin(hour * np.pi / 6.0) * right + np.cos(hour * np.pi / 6.0) * up
        swept |= hours[:, hour][:, None] & (towards >= np.cos(_HALF_HOUR) * distance)
    return swept


def _hours(texts: tuple[str, ...], chosen: np.ndarray) -> np.ndarray:
    """Whether each hour (12 first) was sampled."""
    known = np.array(
        [[text == "all" or str(hour or 12) in text.split(";") for hour in range(12)] for text in texts]
    )
    return known[chosen]


def truth(setting: Setting, rows: Columns, done: Columns, found: Columns, aim: Columns) -> Columns:
    """Number and true share of the targets that were sampled by suction and whose position is recorded.

    Parameters
    ----------
    aim
        Last placements, as :func:`synthetic_data.aiming.write` returns them.
    """
    rng = setting.stream("sampled")
    offset = _true_offset(setting, rng, aim)
    number = aim["procedure"]
    drawn = pick(rng, HOURS_SHARES, aim.rows).astype(np.int64)
    recorded = done["sampled_hours"][number]
    gauge = done["gauge"][number]
    diameter = setting("targeting", "outer_diameter_mm")
    listed = np.full(int(max(gauge.max(initial=0), 14)) + 1, np.nan)
    for name, millimetres in diameter.items():
        listed[int(name.removeprefix("gauge_"))] = millimetres
    left = found["laterality"][rows["finding"][number]] == code("findings", "laterality", "L")
    right, sense, up = _across(aim, left)
    shape = Columns(
        radius=found["size_mm"][rows["finding"][number]] / 2.0,
        reach=listed[gauge] / 2.0 + float(setting("targeting", "tissue_reach_mm")),
        aperture=done["aperture_mm"][number],
        axis=aim["axis"],
        right=right,
        right_sense=sense,
        up=up,
        hours=_hours(HOURS, np.where(recorded >= 0, recorded, drawn)),
    )
    vacuum = codes("procedures", "device").index("vacuum_assisted")
    whole = (rows["status"][number] == COMPLETED) & (done["device"][number] == vacuum) & (aim["axis"] >= 0)
    for name in ("radius", "reach", "aperture"):
        whole &= ~np.isnan(shape[name])
    whole &= ~np.isnan(offset).any(axis=1)
    kept = np.flatnonzero(whole)
    shares = [
        _share(offset[part], shape.at(part))
        for part in np.split(kept, range(_CHUNK, kept.shape[0], _CHUNK))
        if part.size
    ]
    return Columns(procedure=number[kept], share=np.concatenate([np.empty(0), *shares]))


def write(folder: Path, setting: Setting, made: Columns) -> None:
    """sampling_truth.json: one share per procedure, in the order of the keys."""
    keys = tables.identifiers("B", made["procedure"]).to_list()
    document = {
        "about": "Invented data. Share of each target, a sphere, that really lay in what was sampled.",
        "tissue_reach_mm": setting("targeting", "tissue_reach_mm"),
        "share": {
            key: round(float(share), _DECIMALS) for key, share in zip(keys, made["share"], strict=True)
        },
    }
    text = json.dumps(document, indent=0, ensure_ascii=False)
    (folder / FILE).write_text(text + "\n", encoding="utf-8", newline="\n")
