"""Filled and expected fields: against the sentences of the record, by site and month, and the change."""

from __future__ import annotations

from collections import Counter
from datetime import date
from typing import TYPE_CHECKING

import polars as pl
import pytest
from typer.testing import CliRunner

from registry.cli import app
from registry.quality import by_field, by_month, completeness
from registry.record import procedure_record
from registry.store import Registry
from tests.build import TODAY
from tests.measures.build import day

if TYPE_CHECKING:
    from pathlib import Path

    from tests.measures.build import Drawn

AS_OF = day(400)


def filled(found: pl.DataFrame, words: str) -> tuple[int, int]:
    rows = found.filter(pl.col("words") == words)
    return rows.get_column("filled").sum(), rows.get_column("expected").sum()


def test_a_field_is_expected_under_its_condition_only(drawn: Drawn):
    """Weight is asked where a tracer was given: of two procedures one, and it is filled."""
    drawn.procedure("A", 0, tracer="F-18 FDG", weight_kg=60.0)
    drawn.procedure("B", 1, guidance="stereotactic")

    assert filled(completeness(drawn.built(), as_of=AS_OF), "body weight") == (1, 1)


def test_a_field_of_a_record_that_is_not_there_is_not_asked(drawn: Drawn):
    drawn.procedure("A", 0)
    drawn.specimen("A", mass_g=1.0)
    drawn.procedure("B", 1)
    found = completeness(drawn.built(), as_of=AS_OF)

    assert filled(found, "specimen record") == (1, 2)
    assert filled(found, "tissue mass") == (1, 1)


def test_one_container_answers_for_the_procedure(drawn: Drawn):
    drawn.procedure("A", 0)
    drawn.specimen("A")
    drawn.specimen("A", mass_g=1.0)

    assert filled(completeness(drawn.built(), as_of=AS_OF), "tissue mass") == (1, 1)


def test_only_the_last_placement_answers(drawn: Drawn):
    drawn.procedure("A", 0)
    drawn.target("A", 1, aperture_judgement="within")
    drawn.target("A", 2)

    assert filled(completeness(drawn.built(), as_of=AS_OF), "target against the aperture") == (0, 1)


def test_a_retracted_report_does_not_answer(drawn: Drawn):
    drawn.procedure("A", 0)
    drawn.report("A", b_category="B2", version=1)
    drawn.report("A", b_category="B2", version=2, status="retracted")
    drawn.report("A", report_id="other")

    assert filled(completeness(drawn.built(), as_of=AS_OF), "B category") == (0, 1)


@pytest.mark.parametrize(("on", "expected"), [(370, 1), (371, 0)])
def test_a_report_is_due_after_thirty_days(drawn: Drawn, on: int, expected: int):
    drawn.procedure("A", on)

    assert filled(completeness(drawn.built(), as_of=AS_OF), "pathology report") == (0, expected)


@pytest.mark.parametrize(("on", "expected"), [(386, 1), (387, 0)])
def test_a_joint_review_is_due_fourteen_days_after_the_report(drawn: Drawn, on: int, expected: int):
    drawn.procedure("A", 0)
    drawn.report("A", on=on)

    assert filled(completeness(drawn.built(), as_of=AS_OF), "joint review") == (0, expected)


def test_sites_and_months_are_told_apart(drawn: Drawn):
    """Day 30 is 2020-01-31, day 31 is 2020-02-01."""
    drawn.procedure("A", 30, site="X", approach="lateral")
    drawn.procedure("B", 31, site="Y")
    found = completeness(drawn.built(), as_of=AS_OF).filter(pl.col("words") == "approach")

    assert found.select("site", "month", "expected", "filled").rows() == [
        ("X", date(2020, 1, 1), 1, 1),
        ("Y", date(2020, 2, 1), 1, 0),
    ]


RECORDS = {"targeting record", "specimen record", "pathology report", "joint review"}


def test_what_is_missing_agrees_with_the_sentences_of_the_records(tmp_path: Path):
    """On an invented registry: the words of every record, counted, field by field."""
    folder = tmp_path / "demo"
    made = CliRunner().invoke(app, ["demo", str(folder), "--procedures", "60"])
    assert made.exit_code == 0, made.output
    with Registry.open(folder) as registry:
        keys = [key for (key,) in registry.rows("SELECT procedure_id FROM procedure_facts")]
        said = Counter(words for key in keys for words in procedure_record(registry, key).missing)
        found = completeness(registry, as_of=TODAY)
    missing = found.group_by("words").agg(empty=(pl.col("expected") - pl.col("filled")).sum())
    counted = {words: number for words, number in missing.iter_rows() if number and words not in RECORDS}

    assert counted == {words: number for words, number in said.items() if words not in RECORDS}
    assert len(counted) > 5


# -- the change -----------------------------------------------------------------------------------


def counted(*months: tuple[date, int, int]) -> pl.DataFrame:
    """month, expected, filled of one field at one site."""
    rows = [("procedures", "approach", "X", month, expected, got) for month, expected, got in months]
    return pl.DataFrame(rows, schema=["table", "words", "site", "month", "expected", "filled"], orient="row")


def test_the_last_twelve_months_against_those_before():
    """As of 2026-06-30 they begin on 2025-07-01; 45 of 50 against 30 of 40: 0.90 - 0.75."""
    found = counted(
        (date(2024, 6, 1), 100, 0),
        (date(2024, 7, 1), 40, 30),
        (date(2025, 7, 1), 20, 18),
        (date(2026, 6, 1), 30, 27),
    )
    (one,) = by_field(found, as_of=date(2026, 6, 30))

    assert (one.recent, one.before) == ((45, 50), (30, 40))
    assert one.difference == pytest.approx(0.15)
    # Newcombe from Wilson 45/50 (0.7864, 0.9565) and 30/40 (0.5981, 0.8581).
    assert (one.difference_lower, one.difference_upper) == pytest.approx((-0.0068, 0.3121), abs=1e-4)


def test_an_unfinished_month_does_not_begin_the_last_twelve():
    """As of 2026-06-15 the twelve months begin on 2025-06-16: June 2025 is left to the year before."""
    (one,) = by_field(
        counted((date(2025, 6, 1), 10, 5), (date(2025, 7, 1), 10, 9)), as_of=date(2026, 6, 15), minimum=1
    )

    assert (one.recent, one.before) == ((9, 10), (5, 10))


def test_too_few_have_no_proportion_and_no_change():
    (one,) = by_field(counted((date(2026, 1, 1), 9, 9)), as_of=date(2026, 6, 30), minimum=10)

    assert (one.x, one.n, one.proportion, one.difference) == (9, 9, None, None)


def test_by_month_a_month_without_expected_fields_has_no_share():
    found = by_month(counted((date(2026, 1, 1), 0, 0), (date(2026, 2, 1), 4, 3)))

    assert found.select("month", "missing").rows() == [("2026-01", None), ("2026-02", 0.25)]
