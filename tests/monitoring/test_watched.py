"""What is watched: its name, its pace, and periods that must not share a day."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from registry.errors import UsageProblem
from registry.monitoring.watched import Watched, apart, known, watch
from tests.measures.build import Drawn, day
from tests.monitoring.test_periods import MEASURE, watched

FIRST, LAST = date(2025, 1, 1), date(2025, 12, 31)


def test_the_pace_is_that_of_the_watched_days():
    """Three in 365 days: 3 x 365.25 / 365 a year."""
    assert watched([FIRST, FIRST, LAST]).per_year == pytest.approx(3 * 365.25 / 365)


def test_the_pace_counts_from_the_first_watched_day():
    """The first procedure comes on the 91st of 365 days."""
    seen = watched([date(2025, 4, 1), LAST], since=FIRST)

    assert seen.per_year == pytest.approx(2 * 365.25 / 365)


def test_the_pace_counts_from_the_first_procedure_where_no_day_is_given():
    assert watched([FIRST, date(2025, 4, 1), LAST]).per_year == pytest.approx(3 * 365.25 / 365)


def test_two_on_one_day_are_two_a_day():
    assert watched([FIRST, FIRST]).per_year == pytest.approx(2 * 365.25)


def test_one_procedure_has_no_pace():
    assert watched([FIRST]).per_year is None


@pytest.mark.parametrize(
    ("within", "said"),
    [({}, "all"), ({"site": "A"}, "site=A"), ({"site": "A", "operator": "OP1"}, "site=A, operator=OP1")],
)
def test_which_procedures_are_watched(within, said):
    assert replace(watched([FIRST]), within=within).stratum == said


@pytest.mark.parametrize(("rest", "added"), [(False, ""), (True, ": what falls short")])
def test_the_title_says_where_what_falls_short_is_watched(rest, added):
    assert replace(watched([FIRST]), watches_rest=rest).title == MEASURE.title + added


@pytest.mark.parametrize(
    ("measure", "kind", "said"),
    [
        ("no_such", "proportion", "no_such: there is no such measure"),
        ("tissue_mass_g", "proportion", "is no proportion; this is for proportions only"),
        ("discordance", "quantity", "is no quantity; this is for quantities only"),
    ],
)
def test_a_measure_of_another_kind_is_not_watched(measure, kind, said):
    with pytest.raises(UsageProblem, match=said):
        known(measure, kind)


def keys(found: Watched, name: str) -> tuple[list[object], list[object]]:
    """Procedures and what is said of them, before the watch and during it."""
    before, during = (part.select("procedure_id", name).rows() for part in (found.before, found.during))
    return before, during


def test_procedures_are_parted_at_the_first_watched_day(drawn: Drawn):
    """Tissue is better obtained, so its lack is the event; a cancelled procedure is left out."""
    drawn.procedure("early", 9)
    drawn.procedure("on the day", 10, status="abandoned")
    drawn.procedure("late", 20)
    drawn.procedure("cancelled", 15, status="cancelled")
    found = watch(drawn.built(), "tissue_obtained", kind="proportion", as_of=day(100), watched_from=day(10))

    assert found.watches_rest
    assert keys(found, "event") == ([("early", 0)], [("on the day", 1), ("late", 0)])
    assert (found.watched_from, found.as_of, dict(found.within)) == (day(10), day(100), {})


def test_without_a_first_day_everything_is_watched(drawn: Drawn):
    """Neither more nor fewer cancellations are better: the event is what the measure counts."""
    drawn.procedure("kept", 0)
    drawn.procedure("cancelled", 1, status="cancelled")
    found = watch(drawn.built(), "cancellation", kind="proportion", as_of=day(100))

    assert not found.watches_rest
    assert keys(found, "event") == ([], [("kept", 0), ("cancelled", 1)])


def test_a_quantity_is_watched_as_it_is(drawn: Drawn):
    drawn.specimen(drawn.procedure("P", 0), mass_g=1.5)
    found = watch(drawn.built(), "tissue_mass_g", kind="quantity", as_of=day(100))

    assert not found.watches_rest
    assert keys(found, "value") == ([], [("P", 1.5)])


@pytest.mark.parametrize(
    ("asked", "seen"),
    [
        ({"start": day(10)}, ["B 10", "A 20", "A 200"]),
        ({"end": day(10)}, ["A 0", "B 10"]),
        ({"within": {"site": "A"}}, ["A 0", "A 20", "A 200"]),
        ({"as_of": day(20)}, ["A 0", "B 10", "A 20"]),
    ],
)
def test_the_question_narrows_what_is_watched(drawn: Drawn, asked, seen):
    for site, on in (("A", 0), ("B", 10), ("A", 20), ("A", 200)):
        drawn.procedure(f"{site} {on}", on, site=site)
    found = watch(drawn.built(), "cancellation", kind="proportion", **{"as_of": day(300), **asked})

    assert found.during["procedure_id"].to_list() == seen
    assert dict(found.within) == asked.get("within", {})


YEAR = (date(2025, 1, 1), date(2025, 12, 31))


@pytest.mark.parametrize(
    "other", [(date(2025, 12, 31), date(2026, 6, 30)), (date(2024, 1, 1), date(2025, 1, 1)), YEAR]
)
def test_periods_that_share_a_day_are_refused(other):
    for first, second in ((YEAR, other), (other, YEAR)):
        with pytest.raises(UsageProblem, match="overlap"):
            apart(first, second)


@pytest.mark.parametrize(
    "other", [(date(2026, 1, 1), date(2026, 6, 30)), (date(2024, 1, 1), date(2024, 12, 31))]
)
def test_periods_may_follow_one_another(other):
    # A refusal would be an exception; what is let through has nothing to say.
    assert [apart(first, second) for first, second in ((YEAR, other), (other, YEAR))] == [None, None]
