"""An invented registry in the native form: a folder of CSV files and the truth behind them."""

from __future__ import annotations

import datetime
from pathlib import Path

from synthetic_data import (
    aiming,
    attempts,
    cohort,
    complications,
    course,
    decisions,
    equipment,
    people,
    reports,
    sampled,
    setting,
    tissue,
    truth,
)

PROCEDURES = 3000
SEED = 20260630
UNTIL = datetime.date(2026, 6, 30)
YEARS = 6
_LARGEST = 5_000_000
#: The small set that is kept in ``example/``.
EXAMPLE_PROCEDURES, EXAMPLE_SEED, EXAMPLE_YEARS = 60, 7, 2


def write(
    folder: Path,
    procedures: int = PROCEDURES,
    seed: int = SEED,
    until: datetime.date = UNTIL,
    years: int = YEARS,
) -> Path:
    """Write one CSV file per table and the truth behind them; the same request gives the same bytes.

    Parameters
    ----------
    folder
        Made where it does not exist; files of the same names are replaced.
    procedures
        Rows of procedures.csv, 1 to 5,000,000.
    seed
        Start of the stream of chance, 0 or more.
    until
        Last day of the registry; nothing is dated after it.
    years
        Span before it, 1 to 50.

    Returns
    -------
    The folder.

    Raises
    ------
    ValueError
        A number is outside its range.
    """
    for name, value, low, high in (
        ("procedures", procedures, 1, _LARGEST),
        ("years", years, 1, 50),
        ("seed", seed, 0, 2**63),
    ):
        if not low <= value <= high:
            raise ValueError(f"{name} must lie in {low:,} to {high:,}; got {value:,}")
    folder.mkdir(parents=True, exist_ok=True)
    service = setting.make(seed, until, years)
    rows = cohort.procedures(service, procedures)
    persons = people.patients(service, rows)
    found = people.findings(service, rows, persons)
    done = attempts.attempts(service, rows, persons, found)
    people.write_patients(folder, persons)
    people.write_findings(folder, found)
    attempts.write(folder, service, rows, done)
    aim = aiming.write(folder, service, rows, done)
    sampled.write(folder, service, sampled.truth(service, rows, done, found, aim))
    box = tissue.containers(service, rows, done)
    scan = tissue.scans(service, rows, found)
    radiograph = tissue.write(folder, service, tissue.Scanned(rows, done, found, box, scan))["radiograph"]
    reports.write(folder, service, rows, found, box)
    decisions.write(folder, service, rows)
    events = course.followup(service, rows, persons)
    course.write(folder, events)
    complications.write(folder, service, rows, persons)
    equipment.write_sources(folder, service)
    equipment.write_constancy(folder, service)
    equipment.write_meetings(folder, service)
    equipment.write_operators(folder, service)
    parts = truth.Parts(rows, done, found, scan, radiograph, events)
    asked = {"procedures": procedures, "seed": seed, "until": until.isoformat(), "years": years}
    truth.write(folder, service, parts, asked)
    return folder


def write_example(folder: Path) -> Path:
    """Write the small set of ``example/``: sixty procedures over two years."""
    return write(folder, EXAMPLE_PROCEDURES, EXAMPLE_SEED, UNTIL, EXAMPLE_YEARS)
