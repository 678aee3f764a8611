"""The specimens table: containers, mass, counts that follow from decay, and what the reader saw."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from synthetic_data import tables
from synthetic_data.columns import MINUTES_PER_DAY, NO_MINUTE, Columns, Rng, blank, code, pick
from synthetic_data.results import BENIGN, COMPLETED, DIAGNOSES, EXCISION_DEVICE
from synthetic_data.setting import Setting
from synthetic_data.verdicts import BY_CONTAINER
from synthetic_data.visits import is_tracer

_LIGHTEST_G = 0.02
_THINNEST_GAUGE = 25
_BETWEEN_SCANS_MINUTES = 5
YES, NO, EQUIVOCAL, NOT_SCANNED = (
    code("specimens", "uptake_seen", name) for name in ("yes", "no", "equivocal", "not_scanned")
)


def containers(setting: Setting, rows: Columns, done: Columns) -> Columns:
    """One row per container of the sampled procedures, in order.

    Returns
    -------
    ``procedure``, ``order`` from 1, ``count`` of the procedure, ``cores``, ``mass`` in g.
    """
    rng = setting.stream("containers")
    number = np.flatnonzero(rows["status"] == COMPLETED)
    wanted = 1 + pick(rng, setting("specimen", "containers"), number.shape[0]).astype(np.int64)
    wanted = np.where(rows["pattern"][number] == BY_CONTAINER, np.maximum(wanted, 2), wanted)
    count = np.minimum(wanted, done["cores"][number])
    row = np.repeat(np.arange(number.shape[0]), count)
    order = np.arange(row.shape[0]) - np.repeat(np.cumsum(count) - count, count)
    total, parts = done["cores"][number][row], count[row]
    cores = total // parts + (order < total % parts)
    procedure = number[row]
    gauge = done["gauge"][procedure]
    per_core = np.zeros(_THINNEST_GAUGE + 1)
    for name, milligrams in setting("specimen", "core_mg").items():
        per_core[int(name.removeprefix("gauge_"))] = milligrams / 1000.0
    spread = 0.55 + rng.gamma(9.0, 0.05, row.shape[0])
    whole = 1.5 + 3.0 * rng.random(row.shape[0])
    mass = np.where(rows["device"][procedure] == EXCISION_DEVICE, whole, per_core[gauge] * cores * spread)
    mass = np.maximum(np.round(mass, 2), _LIGHTEST_G)
    return Columns(procedure=procedure, order=order + 1, count=parts, cores=cores, mass=mass)


def uptake_chance(setting: Setting, rows: Columns, reader: np.ndarray) -> np.ndarray:
    """Chance that a scanned procedure has a specimen read as showing uptake."""
    by_diagnosis = np.array([float(setting("specimen", "uptake_read", name)) for name in DIAGNOSES])
    always = list(setting("specimen", "readers")).index(setting("specimen", "one_category_reader"))
    return np.where(reader == always, 1.0, by_diagnosis[np.maximum(rows["diagnosis"], 0)])


def scans(setting: Setting, rows: Columns, found: Columns) -> Columns:
    """Per procedure: scanned and read or not, by whom, whether uptake was seen, its chance.

    ``concentration`` is the tissue concentration over injected activity per body mass,
    g/g, both at injection.
    """
    rng, count = setting.stream("scans"), rows.rows
    scanned = is_tracer(rows["guidance"]) & (rows["status"] == COMPLETED)
    scanned &= rng.random(count) < float(setting("specimen", "scan_done"))
    reader = pick(rng, list(setting("specimen", "readers").values()), count)
    chance = uptake_chance(setting, rows, reader)
    seen = rng.random(count) < chance
    share = np.where(seen, 0.35 + 0.50 * rng.random(count), 0.08 + 0.10 * rng.random(count))
    together = rng.random(count) < float(setting("specimen", "scanned_together"))
    return Columns(
        scanned=scanned,
        reader=reader,
        uptake_chance=chance,
        uptake=seen,
        concentration=found["suv"][rows["finding"]] * share,
        together=together,
    )


def _mean_counts(
    setting: Setting,
    rows: Columns,
    done: Columns,
    box: Columns,
    *,
    mass: np.ndarray,
    minutes: np.ndarray,
    seconds: np.ndarray,
) -> np.ndarray:
    """Mean net counts of a scan of ``mass`` g that starts ``minutes`` after injection and lasts ``seconds``."""
    procedure = box["procedure"]
    site = np.array(list(setting("specimen", "calibration_cps_per_kbq").values()))[rows["site"][procedure]]
    half_lives = np.array([setting("half_life", "f18_minutes"), setting("half_life", "tc99m_minutes")])
    gamma = done["tracer"][procedure] == code("procedures", "tracer", "Tc-99m sestamibi")
    decay = np.log(2.0) / half_lives[gamma.astype(np.int8)]
    injected_kbq, body_g = 1000.0 * done["activity_mbq"][procedure], 1000.0 * done["weight_kg"][procedure]
    activity = box["concentration"] * mass * injected_kbq / body_g * np.exp(-decay * minutes)
    length = decay * seconds / 60.0
    return site * activity * seconds * (1.0 - np.exp(-length)) / length


def _counted(setting: Setting, rng: Rng, rows: Columns, done: Columns, box: Columns) -> Columns:
    """Scan time, duration and counts; where containers are scanned at once the first row carries them."""
    count, procedure = box.rows, box["procedure"]
    first = np.arange(count) - (box["order"] - 1)
    carries = (box["order"] == 1) | ~box["together"]
    low, high = setting("specimen", "minutes_to_scan")
    wait = rng.integers(low, high + 1, rows.rows)[procedure]
    apart = np.where(box["together"], 0, _BETWEEN_SCANS_MINUTES * (box["order"] - 1))
    at = done["sampling_end"][procedure] + wait + apart
    lengths = setting("specimen", "scan_seconds")
    seconds = np.array([int(text) for text in lengths])[pick(rng, list(lengths.values()), rows.rows)][
        procedure
    ]
    pooled = np.bincount(first, weights=box["mass"], minlength=count)
    mass = np.where(box["together"], pooled, box["mass"])
    known = box["scanned"] & carries & (done["tracer"][procedure] != code("procedures", "tracer", "other"))
    known &= rng.random(count) < 0.97
    minutes = at - done["injection"][procedure]
    mean = _mean_counts(setting, rows, done, box, mass=mass, minutes=minutes, seconds=seconds)
    background = float(setting("specimen", "background_cps")) * seconds
    mean = np.where(known, mean, 0.0)
    together = box["scanned"] & box["together"] & (box["order"] > 1)
    calibration = np.array(list(setting("specimen", "calibration_cps_per_kbq").values()))[
        rows["site"][procedure]
    ]
    return Columns(
        scanned_with=np.where(together, first, -1),
        scan_at=np.where(box["scanned"], at, NO_MINUTE),
        scan_seconds=np.where(known, seconds, -1),
        counts=np.where(known, rng.poisson(mean + background), -1),
        background_counts=np.where(known, rng.poisson(background), -1),
        background_kind=np.where(known, blank(rng, pick(rng, [0.8, 0.2], count), 0.03), -1),
        calibration_cps_per_kbq=np.where(
            known, blank(rng, calibration, float(setting("specimen", "calibration_missing"))), np.nan
        ),
    )


def _read(setting: Setting, rng: Rng, rows: Columns, box: Columns, scan_at: np.ndarray) -> Columns:
    """What the reader saw in each container and when; some read days later, after the report."""
    count, procedure = box.rows, box["procedure"]
    always = list(setting("specimen", "readers")).index(setting("specimen", "one_category_reader"))
    some = pick(rng, [0.8, 0.1, 0.1], count)
    further = np.where(
        (box["order"] == 1) | box["together"] | (box["reader"] == always),
        YES,
        np.array([YES, NO, EQUIVOCAL])[some],
    )
    unsure = rng.random(rows.rows)[procedure] < float(setting("specimen", "equivocal_of_not_yes"))
    seen = np.where(box["uptake"], further, np.where(unsure, EQUIVOCAL, NO))
    aside = np.where(
        is_tracer(rows["guidance"])[procedure], np.where(rng.random(count) < 0.5, NOT_SCANNED, -1), -1
    )
    later = setting.open_from(rows["day"] + rng.integers(1, 12, rows.rows))
    later_at = later * MINUTES_PER_DAY + 9 * 60 + 5 * rng.integers(0, 80, rows.rows)
    is_late = (rng.random(rows.rows) < 0.08) & (later <= setting.until)
    at = np.where(is_late[procedure], later_at[procedure], scan_at + 6 + rng.integers(0, 20, count))
    return Columns(
        uptake_seen=np.where(box["scanned"], seen, aside),
        reader=np.where(box["scanned"], box["reader"], -1),
        read_at=np.where(box["scanned"], at, NO_MINUTE),
    )


def _calcifications(setting: Setting, rng: Rng, rows: Columns, found: Columns, box: Columns) -> np.ndarray:
    """Specimen radiograph of the first container, for targets that are calcifications."""
    given, count = setting("specimen"), rows.rows
    target = found["finding_type"][rows["finding"]] == code("findings", "finding_type", "calcifications")
    names = ("yes", "no", "not_imaged")
    numbers = np.array([code("specimens", "calcifications_seen", name) for name in names])
    shares = [
        given["calcifications_absent"] * (1.0 - given["calcifications_not_imaged"]),
        given["calcifications_not_imaged"],
    ]
    seen = numbers[pick(rng, [1.0 - sum(shares), *shares], count)]
    other = blank(rng, np.full(count, code("specimens", "calcifications_seen", "not_applicable")), 0.5)
    value = np.where(target, seen, other)[box["procedure"]]
    return np.where(box["order"] == 1, value, -1)


@dataclass(frozen=True)
class Scanned:
    """What the table is made from: procedures, findings, containers and their scans."""

    rows: Columns
    done: Columns
    found: Columns
    box: Columns
    scan: Columns


def write(folder: Path, setting: Setting, given: Scanned) -> Columns:
    """specimens.csv.

    Returns
    -------
    ``radiograph`` per procedure: the specimens of a target that is calcifications were imaged.
    """
    rng, rows = setting.stream("specimens"), given.rows
    procedure = given.box["procedure"]
    box = Columns(given.box, **{name: array[procedure] for name, array in given.scan.items()})
    number = np.arange(box.rows)
    counted = _counted(setting, rng, rows, given.done, box)
    calcifications = _calcifications(setting, rng, rows, given.found, box)
    read = _read(setting, rng, rows, box, counted["scan_at"])
    tables.write(
        folder,
        "specimens",
        {
            **{name: array for name, array in counted.items() if name != "scanned_with"},
            "specimen_id": tables.identifiers("S", number),
            "procedure_id": tables.identifiers("B", procedure),
            "taken_order": box["order"],
            "cores": blank(rng, box["cores"], 0.04),
            "mass_g": blank(rng, box["mass"], float(setting("specimen", "mass_missing"))),
            "scanned_with": tables.identifiers("S", counted["scanned_with"]),
            "uptake_seen": read["uptake_seen"],
            "reader": tables.chosen(tuple(setting("specimen", "readers")), read["reader"]),
            "read_at": read["read_at"],
            "calcifications_seen": calcifications,
        },
    )
    imaged = np.zeros(rows.rows, dtype=bool)
    answers = [code("specimens", "calcifications_seen", name) for name in ("yes", "no")]
    imaged[procedure[np.isin(calcifications, answers)]] = True
    return Columns(radiograph=imaged)


def worst_container(setting: Setting, box: Columns, procedures: int) -> np.ndarray:
    """Row of the container that holds the worst diagnosis of each procedure; -1 without containers."""
    rng = setting.stream("worst container")
    first = np.full(procedures, -1)
    first[box["procedure"][box["order"] == 1]] = np.flatnonzero(box["order"] == 1)
    count = np.bincount(box["procedure"], minlength=procedures)
    return np.where(first >= 0, first + np.floor(rng.random(procedures) * count).astype(np.int64), -1)


def lesser(diagnosis: np.ndarray) -> np.ndarray:
    """Diagnosis of the containers that do not hold the worst one."""
    return np.where(diagnosis > BENIGN, BENIGN, diagnosis)
