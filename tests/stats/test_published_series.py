"""Counts, percentages and limits as printed in published biopsy series.

Each row of published_series.csv names its paper; counts, percentages and limits in it
were read there. The columns cp_ and wilson_ were computed with statsmodels 0.15. A row
whose printed percentage does not follow from its own counts is marked NO and says in
its note what the counts give instead.
"""

from __future__ import annotations

import csv
import re
from decimal import ROUND_HALF_UP, Decimal
from fractions import Fraction
from pathlib import Path

import pytest

from registry.stats.proportions import exact_interval, wilson_interval

Row = dict[str, str]

PLACE = Path(__file__).parents[1] / "published" / "published_series.csv"
ROWS: list[Row] = list(csv.DictReader(PLACE.read_text("utf-8").splitlines()))
METHODS = {"CP": exact_interval, "Wilson": wilson_interval}


def _label(row: Row) -> str:
    return f"{row['id']}-{row['source'][:40]}"


def _half_up(per_cent: Fraction, printed: str) -> str:
    """Per cent rounded half up to as many decimals as the print has."""
    exact = Decimal(per_cent.numerator) / Decimal(per_cent.denominator)
    return str(exact.quantize(Decimal(printed), rounding=ROUND_HALF_UP))


def _per_cent(row: Row) -> Fraction:
    return Fraction(100 * int(row["x"]), int(row["n"]))


def _limits(row: Row, method: str) -> tuple[float, float]:
    lower, upper = METHODS[method](int(row["x"]), int(row["n"]))
    return 100 * lower, 100 * upper


def test_all_rows_are_driven() -> None:
    assert len(ROWS) == 109


@pytest.mark.parametrize("row", ROWS, ids=_label)
def test_two_decimals_follow_from_the_counts(row: Row) -> None:
    assert float(_per_cent(row)) == pytest.approx(float(row["recomputed_pct"]), abs=0.005000001)


@pytest.mark.parametrize("row", [row for row in ROWS if row["match"] == "yes"], ids=_label)
def test_printed_percentage_follows_from_the_counts(row: Row) -> None:
    assert _half_up(_per_cent(row), row["printed_pct"]) == row["printed_pct"]


@pytest.mark.parametrize("row", [row for row in ROWS if row["match"] == "NO"], ids=_label)
def test_misprint_recomputes_to_what_its_note_says(row: Row) -> None:
    stated = re.search(r"recomputes to ([\d.]+)", row["note"])
    assert stated is not None, f"{row['id']} has no note on what its counts give"
    recomputed = _half_up(_per_cent(row), row["printed_pct"])
    assert recomputed == stated.group(1)
    assert recomputed != row["printed_pct"]


def test_three_percentages_are_misprints() -> None:
    assert [row["id"] for row in ROWS if row["match"] == "NO"] == ["A07", "U28", "Q11"]


def test_numerator_that_counts_excision_upgrades_is_seen_in_the_counts() -> None:
    """Row G13: printed as cancers at biopsy, 9 invasive + 6 in situ + 2 found at excision."""
    row = next(row for row in ROWS if row["id"] == "G13")
    at_biopsy = Fraction(100 * (9 + 6), int(row["n"]))
    assert _half_up(_per_cent(row), "0.0") == row["printed_pct"] == "16.3"
    assert _half_up(at_biopsy, "0.0") == "14.4"


@pytest.mark.parametrize("row", ROWS, ids=_label)
@pytest.mark.parametrize(("method", "column"), [("CP", "cp"), ("Wilson", "wilson")])
def test_derived_limits(row: Row, method: str, column: str) -> None:
    expected = float(row[f"{column}_lo"]), float(row[f"{column}_hi"])
    assert _limits(row, method) == pytest.approx(expected, abs=0.005000001)


def _reproduces(row: Row, method: str) -> bool:
    printed = row["printed_lo"], row["printed_hi"]
    return printed == tuple(
        _half_up(Fraction(limit), text) for limit, text in zip(_limits(row, method), printed, strict=True)
    )


@pytest.mark.parametrize("row", [row for row in ROWS if row["printed_lo"]], ids=_label)
@pytest.mark.parametrize("method", METHODS)
def test_printed_limits_come_from_the_method_named_and_no_other(row: Row, method: str) -> None:
    assert _reproduces(row, method) == (method in row["ci_method_match"].split("/"))
