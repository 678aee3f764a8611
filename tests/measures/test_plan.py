"""How many procedures a question needs: the numbers through the command, the pace from drawn rows.

The sizes are published or come from R; the pace is counted by hand in each test.
"""

from __future__ import annotations

import json
from datetime import date
from typing import TYPE_CHECKING

import pytest
from typer.testing import CliRunner

from registry.cli import app
from registry.errors import UsageProblem
from registry.planning import plan, volume_of
from tests.measures.build import FIRST_DAY

if TYPE_CHECKING:
    from pathlib import Path

    from tests.measures.build import Drawn


def number(year: int, month: int, day_of_month: int = 1) -> int:
    """Number of a calendar day, as the drawing counts them."""
    return (date(year, month, day_of_month) - FIRST_DAY).days


def asked(folder: Path, *options: str, measure: str = "insufficient_sample") -> dict:
    run = CliRunner().invoke(app, ["plan", str(folder), measure, *options, "--format", "json"])
    assert run.exit_code == 0, run.output
    return json.loads(run.output)


def needed(folder: Path, *options: str) -> list[int | None]:
    return [one["procedures"] for one in asked(folder, *options)["needs"]]


# -- the numbers ---------------------------------------------------------------------------


def test_half_a_rate_to_five_points(folder: Path):
    """385 in textbooks, 381 for the Wilson interval (R and Python searches)."""
    assert needed(folder, "--rate", "0.5", "--half-width", "0.05")[:2] == [381, 385]


def test_two_per_cent_to_one_point(folder: Path):
    assert needed(folder, "--rate", "0.02", "--half-width", "0.01")[0] == 792


def test_a_doubling_of_two_per_cent(folder: Path):
    """424 is the first number with power 80 %, 507 the one from which it is kept (independent search)."""
    said = asked(folder, "--rate", "0.02")

    assert [one["procedures"] for one in said["needs"]][2:4] == [424, 507]
    assert said["needs"][2]["note"] == "shown from 14 events on"


@pytest.mark.parametrize(("power", "each"), [("0.8", 1141), ("0.9", 1527)])
def test_two_groups(folder: Path, power: str, each: int):
    """R power.prop.test: per group; the answer is for both together."""
    said = asked(folder, "--rate", "0.02", "--power", power)["needs"][-1]

    assert (said["procedures"], said["note"]) == (2 * each, f"{each} in each group")


def test_the_table_ends_in_plain_sentences_with_their_assumptions(folder: Path):
    run = CliRunner().invoke(app, ["plan", str(folder), "insufficient_sample", "--rate", "0.02"])
    text = " ".join(run.output.split())

    assert "power 80 % is reached for the first time with 424 procedures (no volume to say" in text
    assert "stays above 80 % only from 507 procedures" in text
    assert "exact binomial test, one-sided error 5 %" in text


# -- what cannot be answered ---------------------------------------------------------------


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["tissue_mass_g", "--rate", "0.1"], "is no proportion"),
        (["nothing_like_it"], "there is no such measure"),
        (["cancellation"], "There are no procedures yet. Give the rate to plan for"),
        (["cancellation", "--rate", "2"], "Rate 2 does not lie between 0 and 1. Write 2 % as 0.02."),
        (["cancellation", "--rate", "0.1", "--half-width", "2"], "Write two percentage points as 0.02."),
        (["cancellation", "--rate", "0.1", "--factor", "1"], "Factor 1 is no rise. Write a doubling as 2."),
        (["cancellation", "--rate", "0.1", "--power", "80"], "Power 80 does not lie between 0 and 1."),
    ],
)
def test_what_cannot_be_answered_is_said_in_a_sentence(folder: Path, options: list[str], said: str):
    run = CliRunner().invoke(app, ["plan", str(folder), *options])

    assert isinstance(run.exception, UsageProblem)
    assert said in str(run.exception)


def test_a_rise_beyond_certainty_has_no_number_but_the_interval_has(folder: Path):
    said = asked(folder, "--rate", "0.6")["needs"]

    assert said[0]["procedures"] > 0
    assert (said[2]["procedures"], said[2]["note"]) == (
        None,
        "60 % times 2 is 100 % or more; choose a smaller factor",
    )


@pytest.mark.parametrize(
    ("cancelled", "said"),
    [(0, "None of 12 procedures counted"), (12, "All of 12 procedures counted")],
)
def test_no_rate_is_taken_where_none_or_all_counted(drawn: Drawn, cancelled: int, said: str):
    for place in range(12):
        drawn.procedure(f"{place}", place, status="cancelled" if place < cancelled else "completed")

    with pytest.raises(UsageProblem, match=said):
        plan(drawn.built(), "cancellation", as_of=date(2020, 12, 31))


def test_no_rate_is_taken_from_too_few(drawn: Drawn):
    for place in range(9):
        drawn.procedure(f"{place}", place, status="cancelled" if place < 3 else "completed")

    with pytest.raises(UsageProblem, match="3 of 9 procedures are too few"):
        plan(drawn.built(), "cancellation", as_of=date(2020, 12, 31))


# -- the pace ------------------------------------------------------------------------------


def test_the_pace_is_that_of_the_last_twelve_complete_months(drawn: Drawn):
    """As of 15 March 2021 they run from 1 March 2020 to 28 February 2021; both ends count, their neighbours not."""
    drawn.procedure("before", number(2020, 2, 29))
    drawn.procedure("first day", number(2020, 3, 1))
    drawn.procedure("within", number(2020, 9, 9))
    drawn.procedure("last day", number(2021, 2, 28))
    drawn.procedure("month not complete", number(2021, 3, 1))
    pace = volume_of(drawn.built(), "cancellation", date(2021, 3, 15))

    assert (pace.procedures, pace.months) == (3, 12)
    assert (pace.start, pace.end) == (date(2020, 3, 1), date(2021, 2, 28))
    # 3 in 12 months are 1 in 4 months: 7 take 28.
    assert pace.months_for(7) == 28


def test_a_month_that_ends_on_the_day_is_complete(drawn: Drawn):
    drawn.procedure("one", number(2020, 1, 1))
    pace = volume_of(drawn.built(), "cancellation", date(2020, 6, 30))

    assert (pace.months, pace.end) == (6, date(2020, 6, 30))


def test_a_record_that_began_within_a_month_counts_from_the_next(drawn: Drawn):
    for place in range(4):
        drawn.procedure(f"{place}", number(2020, 11, 10) + 20 * place)
    pace = volume_of(drawn.built(), "cancellation", date(2021, 1, 31))

    # 10 and 30 November, 20 December, 9 January: December and January are complete.
    assert (pace.procedures, pace.months, pace.start) == (2, 2, date(2020, 12, 1))


def test_months_whose_windows_have_not_passed_do_not_slow_the_pace(drawn: Drawn):
    """repeat_biopsy waits 365 days: as of 31 December 2022 the last complete month is December 2021."""
    for month in range(36):
        drawn.procedure(f"{month}", number(2020 + month // 12, month % 12 + 1, 5))
    pace = volume_of(drawn.built(), "repeat_biopsy", date(2022, 12, 31))

    assert (pace.start, pace.end) == (date(2021, 1, 1), date(2021, 12, 31))
    assert (pace.procedures, pace.months) == (12, 12)


@pytest.mark.parametrize("as_of", [date(2020, 1, 20), date(2019, 6, 1)])
def test_without_a_complete_month_there_are_no_months(drawn: Drawn, as_of: date):
    drawn.procedure("one", number(2020, 1, 10))
    made = plan(drawn.built(), "cancellation", as_of=as_of, rate=0.02)

    assert made.volume.per_month is None
    assert [one.months for one in made.needs] == [None] * 5
    assert "the number of months cannot be given" in " ".join(made.sentences)


def two_hundred_a_year(drawn: Drawn) -> Drawn:
    """200 procedures in the twelve months of 2020, 4 of them cancelled."""
    for place in range(200):
        drawn.procedure(f"{place}", int(place * 1.8), status="cancelled" if place % 50 == 7 else "completed")
    return drawn.built()


def test_one_year_of_two_hundred_cannot_show_a_doubling_of_two_per_cent(drawn: Drawn):
    """The exact test of 200 rejects from 8 events: P(X >= 8 | 4 %) = 55 % by the binomial distribution (R pbinom)."""
    made = plan(two_hundred_a_year(drawn), "cancellation", as_of=date(2020, 12, 31))
    text = " ".join(made.sentences)

    assert (made.rate, made.volume.per_year) == (0.02, 200)
    # 424 / (200 / 12) = 25.44, 507 / (200 / 12) = 30.42: the months that are begun count.
    assert [one.months for one in made.needs][2:4] == [26, 31]
    assert "One year cannot show a doubling: the power is 55 %" in text
    # 1 - 0.05^(1/200) = 1.49 %
    assert "the rate lies below 1.49 % (one-sided 95 % bound)" in text
    assert "observed, 4 of 200 procedures; 95 % interval" in text


def test_where_more_is_better_what_falls_short_is_watched(drawn: Drawn):
    """196 of 200 without the 4 abandoned: a doubling of the 2 % that fall short needs what 2 % needs."""
    for place in range(200):
        drawn.procedure(f"{place}", int(place * 1.8), status="abandoned" if place % 50 == 7 else "completed")
    made = plan(drawn.built(), "tissue_obtained", as_of=date(2020, 12, 31))

    assert made.watches_rest
    assert made.rate == pytest.approx(0.02)
    assert [one.procedures for one in made.needs][2:4] == [424, 507]
    assert "share of procedures that do not count of 2 % (observed, 4 of 200 procedures" in made.sentences[0]


def test_the_period_bounds_the_rate_and_not_the_pace(drawn: Drawn):
    made = plan(two_hundred_a_year(drawn), "cancellation", as_of=date(2020, 12, 31), start=date(2020, 7, 1))

    assert made.seen is not None and made.seen.denominator < 150
    assert made.volume.procedures == 200
