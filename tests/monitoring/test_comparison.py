"""Periods and groups compared: drawn counts, figures of another program, sentences."""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

import pytest
from scipy.stats import binomtest, chi2_contingency
from typer.testing import CliRunner

from registry.cli import app
from registry.commands.monitoring import _period_of
from registry.errors import UsageProblem
from registry.monitoring import compare_groups, compare_periods
from registry.monitoring.comparison import _needed
from tests.measures.build import Drawn, day

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

AS_OF = date(2024, 6, 30)
FIRST, SECOND = (date(2020, 1, 1), date(2020, 12, 31)), (date(2021, 1, 1), date(2021, 12, 31))


def put(scene: Drawn, x: int, n: int, on: int, site: str) -> None:
    """n completed or abandoned attempts on one day, x of them with tissue."""
    for number in range(n):
        scene.procedure(scene.key("P"), on=on, site=site, **({} if number < x else {"status": "abandoned"}))


@pytest.fixture(scope="module")
def scene() -> Iterator[Drawn]:
    """Tissue obtained in 56 of 70 at A in 2020 and in 48 of 80 at B in 2021: the counts of a printed example."""
    made = Drawn()
    put(made, 56, 70, 100, "A")
    put(made, 48, 80, 500, "B")
    made.built()
    yield made
    made.close()


def test_the_difference_of_the_printed_example(scene):
    """Newcombe 1998, table II, 56/70 against 48/80: 0.0524 to 0.3339 (method 10); here the other way round."""
    made = compare_periods(scene, "tissue_obtained", FIRST, SECOND, as_of=AS_OF)

    assert made.pair is not None
    assert made.pair.newcombe.ci == pytest.approx((-0.3339, -0.0524), abs=5e-5)
    assert made.pair.difference.diff == pytest.approx(48 / 80 - 56 / 70)
    assert "lower by more than chance alone explains" in " ".join(made.sentences)


def test_groups_give_the_chi_square_of_another_program(scene):
    made = compare_groups(scene, "tissue_obtained", "site", as_of=AS_OF)
    other = chi2_contingency([[56, 14], [48, 32]], correction=False)

    assert made.same is not None
    assert made.same.chi2 == pytest.approx(other.statistic)
    # two groups in two quarters: trend and heterogeneity are the same test
    assert made.trend.chi2 == pytest.approx(other.statistic)
    assert made.pair is not None
    assert made.pair.names == ("A", "B")


def test_too_few_to_tell_says_how_many_would_be_needed(drawn):
    """98 % from 96 %, as 2 % from 4 %: 1141 in each group (Fleiss formula, elsewhere)."""
    put(drawn, 49, 50, 100, "A")
    put(drawn, 48, 50, 500, "B")
    drawn.built()
    made = compare_groups(drawn, "tissue_obtained", "site", as_of=AS_OF)

    assert (
        "Too few procedures to tell 98 % from 96 %: 1\u202f141 in each group would be needed"
        in made.sentences[2]
    )


@dataclass
class Rate:
    """What the planning of a pair reads of a result."""

    numerator: int
    denominator: int


def test_against_a_known_two_per_cent_four_needs_424():
    """First number with power 80 % by the exact test (independent search)."""
    needed = _needed(Rate(1, 50), Rate(2, 50))  # type: ignore[arg-type]

    assert needed is not None
    assert (needed.per_group, needed.against_known) == (1141, 424)


@pytest.mark.parametrize(("first", "second"), [((1, 50), (1, 50)), ((0, 50), (1, 50)), ((1, 50), (0, 50))])
def test_where_the_rates_give_nothing_to_plan_with_a_doubling_is_planned_for(first, second):
    """2 % from 4 %, as above."""
    needed = _needed(Rate(*first), Rate(*second))  # type: ignore[arg-type]

    assert needed is not None
    assert (needed.first, needed.second, needed.assumed) == (0.02, 0.04, True)
    assert (needed.per_group, needed.against_known) == (1141, 424)


@pytest.mark.parametrize("events", [0, 25, 30, 50])
def test_nothing_is_planned_for_where_no_double_exists(events):
    """Of none, of half, of more and of all: the double is none, or 100 % and more."""
    assert _needed(Rate(events, 50), Rate(events, 50)) is None  # type: ignore[arg-type]


def alike(made: Drawn, on: int, ill: int, site: str = "A") -> None:
    """Ten patients with two attempts each on one day; both of so many patients without tissue."""
    for patient in range(10):
        for _ in range(2):
            at = made.key("F")
            made.finding(at, patient=f"{site}{on} {patient}")
            status = {"status": "abandoned"} if patient < ill else {}
            made.procedure(made.key("P"), on=on, finding=at, site=site, **status)


@pytest.fixture(scope="module")
def doubled() -> Iterator[Drawn]:
    """Patients with two attempts that end alike: A on days 100 and 500, B on days 100 and 500, and later ones alone."""
    made = Drawn()
    for site, day_100, day_500 in (("A", 5, 8), ("B", 2, 6)):
        alike(made, 100, day_100, site)
        alike(made, 500, day_500, site)
    put(made, 30, 40, 900, "A")
    made.built()
    yield made
    made.close()


def test_periods_are_tested_with_the_patients_of_each(doubled):
    """At A in m = 10 patients a period: the ratio estimator's design effect is 2 m / (m - 1) = 20/9."""
    made = compare_periods(doubled, "tissue_obtained", FIRST, SECOND, as_of=AS_OF, within={"site": "A"})
    plain = chi2_contingency([[10, 10], [4, 16]], correction=False)

    assert made.by_patient.deff == pytest.approx((20 / 9, 20 / 9))
    assert made.by_patient.chi2 == pytest.approx(plain.statistic * 9 / 20)
    (told,) = [one for one in made.sentences if "Rao and Scott" in one]
    assert told.endswith(f"p {made.by_patient.p:.2f}: no difference between the groups is shown.")


def test_groups_are_tested_with_the_patients_of_the_period(doubled):
    """Of 2020 and of 2021 alone, ten patients at either site."""
    for start, end in (FIRST, SECOND):
        made = compare_groups(doubled, "tissue_obtained", "site", as_of=AS_OF, start=start, end=end)
        assert made.by_patient.deff == pytest.approx((20 / 9, 20 / 9))


def test_the_later_period_may_be_named_first(doubled):
    """Names stand as asked for; the quarters run over both, the later year of 2022 left out."""
    made = compare_periods(doubled, "tissue_obtained", SECOND, FIRST, as_of=AS_OF)

    assert made.names == ("2021-01-01 to 2021-12-31", "2020-01-01 to 2020-12-31")
    assert [(one.stratum, one.denominator) for one in made.quarters] == [("2020-Q2", 40), ("2021-Q2", 40)]
    assert "Trend over 2 quarters with procedures, 2020-Q2 to 2021-Q2" in " ".join(made.sentences)


def test_each_group_has_the_interval_that_is_asked_for(doubled):
    """A has 10 + 4 of the 40 of 2020 and 2021 with tissue, and Clopper-Pearson's limits of them."""
    made = compare_groups(
        doubled, "tissue_obtained", "site", as_of=AS_OF, end=SECOND[1], interval="exact", confidence=0.9
    )
    expected = binomtest(14, 40).proportion_ci(0.9, method="exact")

    assert (made.groups[0].lower, made.groups[0].upper) == pytest.approx((expected.low, expected.high))


def test_three_groups_have_no_pair_until_it_is_named(drawn):
    for site in "ABC":
        put(drawn, 8, 10, 100, site)
    drawn.built()

    assert compare_groups(drawn, "tissue_obtained", "site", as_of=AS_OF).pair is None
    named = compare_groups(drawn, "tissue_obtained", "site", as_of=AS_OF, pair=("C", "A"))
    assert named.pair is not None
    written = json.loads(json.dumps(named.to_dict()))
    assert (written["pair"]["first"], written["pair"]["second"]) == ("C", "A")
    assert [one["group"] for one in written["rows"]] == ["A", "B", "C"]


def test_ten_in_each_group_are_enough_to_say_what_is_needed(drawn):
    put(drawn, 8, 10, 100, "A")
    put(drawn, 6, 10, 100, "B")
    drawn.built()
    made = compare_groups(drawn, "tissue_obtained", "site", as_of=AS_OF)

    assert made.is_shown
    assert made.pair is not None
    assert made.pair.needed is not None


def test_below_the_minimum_there_are_counts_only(drawn):
    put(drawn, 5, 9, 100, "A")
    put(drawn, 20, 40, 500, "B")
    drawn.built()
    made = compare_groups(drawn, "tissue_obtained", "site", as_of=AS_OF)

    assert "A: 5 of 9; B: 20 of 40. Fewer than 10 procedures in a group: counts only" in made.sentences[0]
    assert not made.is_shown


def test_overlapping_periods_are_refused(scene):
    with pytest.raises(UsageProblem, match="would stand on both sides"):
        compare_periods(scene, "tissue_obtained", FIRST, (date(2020, 12, 31), AS_OF), as_of=AS_OF)


def test_a_group_that_nobody_has_is_refused(scene):
    with pytest.raises(UsageProblem, match="no procedure has this site"):
        compare_groups(scene, "tissue_obtained", "site", as_of=AS_OF, pair=("A", "Z"))


@pytest.mark.parametrize(
    ("text", "period"),
    [
        ("2025", (date(2025, 1, 1), date(2025, 12, 31))),
        ("2025-Q1", (date(2025, 1, 1), date(2025, 3, 31))),
        ("2024-Q4", (date(2024, 10, 1), date(2024, 12, 31))),
        ("2025-01-05:2025-02-01", (date(2025, 1, 5), date(2025, 2, 1))),
    ],
)
def test_a_period_as_it_is_written(text, period):
    assert _period_of(text) == period


def test_the_command_says_what_to_write(folder: Path):
    runner = CliRunner()
    neither = runner.invoke(app, ["compare", str(folder), "discordance"])
    wrong = runner.invoke(app, ["compare", str(folder), "discordance", "--periods", "2025", "last-year"])
    quantity = runner.invoke(app, ["compare", str(folder), "tissue_mass_g", "--periods", "2025", "2026"])

    assert "either --periods A B or --by STRATUM" in str(neither.exception)
    assert "is no period" in str(wrong.exception)
    assert "is no proportion" in str(quantity.exception)


def test_the_command_gives_the_pair_as_json(folder: Path):
    run = CliRunner().invoke(
        app, ["compare", str(folder), "discordance", "--periods", "2025", "2026", "--format", "json"]
    )

    assert run.exit_code == 0, run.output
    found = json.loads(run.output)
    assert found["pair"]["p"] is None
    assert [one["denominator"] for one in found["rows"]] == [0, 0]


def test_day_zero_of_the_drawing_lies_in_the_first_period():
    assert FIRST[0] == day(0)


def test_groups_are_tested_with_the_procedures_of_a_patient_held_together():
    """Rao and Scott 1992, counts over design effects; every patient has two procedures that end alike.

    Then the ratio estimator's design effect is 2 m / (m - 1) of m patients: at A 10 of 20 in m = 10,
    at B 4 of 20 in m = 10, so 20 / 9 for both, and the chi-square is 9 / 20 of the plain one.
    """
    made = Drawn()
    for site, ill in (("A", 5), ("B", 2)):
        for patient in range(10):
            for _ in range(2):
                status = {} if patient < ill else {"status": "abandoned"}
                at = made.key("F")
                made.finding(at, patient=f"{site}{patient}")
                made.procedure(made.key("P"), on=100, finding=at, site=site, **status)
    made.built()
    try:
        found = compare_groups(made, "tissue_obtained", "site", as_of=AS_OF)
    finally:
        made.close()
    plain = chi2_contingency([[10, 10], [4, 16]], correction=False)

    assert found.by_patient.deff == pytest.approx((20 / 9, 20 / 9))
    assert found.by_patient.chi2 == pytest.approx(plain.statistic * 9 / 20)
    assert any("Rao and Scott" in one for one in found.sentences)
