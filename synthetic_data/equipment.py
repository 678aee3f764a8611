"""Radioactive sources, constancy checks, meetings and the list of operators."""

from __future__ import annotations

import datetime
from pathlib import Path

import numpy as np
import polars as pl

from synthetic_data import tables
from synthetic_data.columns import MINUTES_PER_DAY, NO_DAY, NO_MINUTE, Columns, blank, code, pick, stack
from synthetic_data.setting import EPOCH, MEETING_WEEKDAY, Setting, weekday

LINE, STAND_IN = 0, 1
_DAYS_PER_MONTH = 30.4375
_LEAK_TEST_EVERY = 180
_CHECK_MINUTE = 8 * 60
_DAYS_BEFORE_USE = 20
_TABLES = ("site_a", "site_b", "site_c")


def _life(setting: Setting) -> int:
    return round(setting("constancy", "source_life_months") * _DAYS_PER_MONTH)


def _generations(setting: Setting) -> int:
    return (setting.until - setting.start) // _life(setting) + 1


def source_number(setting: Setting, site: np.ndarray, kind: int, day: np.ndarray) -> np.ndarray:
    """Number of the source of a kind that was in use at a site on a day."""
    generation = np.maximum(day - setting.start, 0) // _life(setting)
    return (site * 2 + kind) * _generations(setting) + generation


def source_codes(setting: Setting) -> tuple[str, ...]:
    """Keys of the sources in the order of their numbers."""
    kinds = ("LINE", "ROD")
    return tuple(
        f"{kind}-{site[-1]}{generation + 1}"
        for site in setting.sites
        for kind in kinds
        for generation in range(_generations(setting))
    )


def _activity(setting: Setting, kind: int, generation: np.ndarray) -> np.ndarray:
    """Activity on the reference day, MBq, as written: the generations differ a little."""
    name = ("line_source_mbq", "stand_in_source_mbq")[kind]
    return np.round(float(setting("constancy", name)) * (1.0 + 0.02 * (generation % 3)), 1)


def write_sources(folder: Path, setting: Setting) -> None:
    """sources.csv: at each site a line source and a rod for targeting, replaced in turn."""
    generations = _generations(setting)
    number = np.arange(len(source_codes(setting)))
    kind, generation = number // generations % 2, number % generations
    reference = setting.start - _DAYS_BEFORE_USE + generation * _life(setting)
    tests = (
        np.maximum(np.minimum(setting.until, reference + _life(setting)) - reference, 0) // _LEAK_TEST_EVERY
    )
    leak = np.where(tests > 0, reference + tests * _LEAK_TEST_EVERY, NO_DAY)
    states = [code("sources", "state", name) for name in ("disposed", "in_use")]
    tables.write(
        folder,
        "sources",
        {
            "source_id": pl.Series(source_codes(setting)),
            "site": tables.chosen(setting.sites, number // (2 * generations)),
            "nuclide": np.full(number.shape[0], code("sources", "nuclide", "Ge-68")),
            "activity_mbq": np.where(
                kind == LINE, _activity(setting, LINE, generation), _activity(setting, STAND_IN, generation)
            ),
            "reference_on": reference,
            "leak_test_on": leak,
            "state": np.array(states)[(generation == generations - 1).astype(int)],
        },
    )


def _months(setting: Setting) -> np.ndarray:
    """One working day in each month of the span."""
    first = EPOCH + datetime.timedelta(days=setting.start)
    months = np.arange(
        np.datetime64(first, "M"), np.datetime64(EPOCH + datetime.timedelta(days=setting.until), "M") + 1
    )
    days = setting.open_from(months.astype("datetime64[D]").astype(np.int64) + 3)
    return days[(days >= setting.start) & (days <= setting.until)]


def _checks(setting: Setting) -> Columns:
    days, sites = _months(setting), len(setting.sites)
    kinds = [code("constancy", "kind", name) for name in ("counts", "targeting", "clock")]
    site, day, kind = (grid.ravel() for grid in np.meshgrid(np.arange(sites), days, kinds, indexing="ij"))
    return Columns(site=site, day=day, kind=kind)


def expected_counts(setting: Setting, site: np.ndarray, day: np.ndarray) -> np.ndarray:
    """Mean counts of the line source on a day, the known loss of one site included."""
    given = setting("constancy")
    age = (np.maximum(day - setting.start, 0) % _life(setting)) + _DAYS_BEFORE_USE
    generation = np.maximum(day - setting.start, 0) // _life(setting)
    activity = _activity(setting, LINE, generation)
    remaining = np.exp(-np.log(2.0) * age / float(setting("half_life", "ge68_days")))
    low = setting.until - given["loss_from_days_before_end"]
    lost = (
        (site == setting.sites.index(given["loss_site"]))
        & (day >= low)
        & (day < low + given["loss_for_days"])
    )
    return (
        given["cps_per_mbq"]
        * activity
        * remaining
        * given["seconds"]
        * np.where(lost, 1.0 - given["loss_share"], 1.0)
    )


def write_constancy(folder: Path, setting: Setting) -> None:
    """constancy.csv: each month and site counts of the line source, a phantom, the clock."""
    rng, checks = setting.stream("constancy"), _checks(setting)
    rows, given = checks.rows, setting("constancy")
    counts, phantom, clock = (
        checks["kind"] == code("constancy", "kind", name) for name in ("counts", "targeting", "clock")
    )
    measured = rng.poisson(expected_counts(setting, checks["site"], checks["day"]))
    error = rng.normal(0.0, 1.0, (rows, 3)) * np.array(given["phantom_sd_mm"])
    offset = np.round(rng.normal(0.0, given["clock_sd_s"], rows))
    source = source_number(setting, checks["site"], LINE, checks["day"])
    columns: dict[str, tables.Column] = {
        "check_id": tables.identifiers("K", np.arange(rows), 6),
        "site": tables.chosen(setting.sites, checks["site"]),
        "scanner": tables.chosen(("SC-A", "SC-B", "SC-C"), checks["site"]),
        "done_at": checks["day"] * MINUTES_PER_DAY + _CHECK_MINUTE + 10 * checks["kind"],
        "kind": checks["kind"],
        "source_id": tables.chosen(source_codes(setting), np.where(counts, source, -1)),
        "counts": np.where(counts, measured, -1),
        "seconds": np.where(counts, given["seconds"], -1),
        "clock_offset_s": np.where(clock, offset, np.nan),
    }
    for axis, name in enumerate("xyz"):
        columns[f"error_{name}_mm"] = np.where(phantom, error[:, axis], np.nan)
    tables.write(folder, "constancy", columns)


def meetings(setting: Setting) -> Columns:
    """The weekly meetings of each site: ``site`` and ``day``, ordered by site and day."""
    parts = []
    for site in range(len(setting.sites)):
        first = setting.start + (MEETING_WEEKDAY[site] - weekday(np.array(setting.start))) % 7
        day = np.arange(first, setting.until + 1, 7)
        parts.append(Columns(site=np.full(day.shape[0], site), day=day))
    return stack(parts)


def meeting_number(setting: Setting, site: np.ndarray, day: np.ndarray) -> np.ndarray:
    """Number of the meeting of a site on one of its meeting days; -1 for no day."""
    held = meetings(setting)
    begins = np.searchsorted(held["site"], np.arange(len(setting.sites)))
    number = begins[site] + (day - held["day"][begins][site]) // 7
    return np.where(day > NO_DAY, number, -1)


def write_meetings(folder: Path, setting: Setting) -> None:
    """meetings.csv; the minutes of the last two weeks are not signed yet."""
    rng, held = setting.stream("meetings"), meetings(setting)
    closed = held["day"] * MINUTES_PER_DAY + 16 * 60 + 5 * rng.integers(0, 15, held.rows)
    signed = (held["day"] <= setting.until - 14) & (rng.random(held.rows) < 0.98)
    teams = (
        "radiology;pathology;surgery;coordination",
        "radiology;pathology",
        "radiology;pathology;nuclear_medicine;coordination",
    )
    tables.write(
        folder,
        "meetings",
        {
            "meeting_id": tables.identifiers("M", np.arange(held.rows), 5),
            "held_on": held["day"],
            "site": tables.chosen(setting.sites, held["site"]),
            "chair": tables.chosen(("CHAIR-A", "CHAIR-B", "CHAIR-C"), held["site"]),
            "attendees": tables.chosen(teams, blank(rng, pick(rng, [0.5, 0.3, 0.2], held.rows), 0.02)),
            "closed_at": np.where(signed, closed, NO_MINUTE),
        },
    )


def write_operators(folder: Path, setting: Setting) -> None:
    """operators.csv: the first of each site leads, the last is in training."""
    listed = setting.operators
    site_of = {operator: table for table in _TABLES for operator in setting("operators", table, "shares")}
    trainees = {list(setting("operators", table, "shares"))[-1] for table in _TABLES}
    experience = [
        8 if operator in trainees else 60 + 35 * (number % 6) for number, operator in enumerate(listed)
    ]
    since = [
        setting.start - (100 if operator in trainees else 900 + 60 * number)
        for number, operator in enumerate(listed)
    ]
    roles = [
        "trainee" if operator in trainees else "radiologist" if operator in site_of else "visiting"
        for operator in listed
    ]
    tables.write(
        folder,
        "operators",
        {
            "operator": pl.Series(listed),
            "role": pl.Series(roles),
            "experience_before": np.array(experience),
            "since": np.array(since),
        },
    )
