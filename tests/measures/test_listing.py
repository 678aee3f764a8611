"""The procedures behind a number, and the flow from all procedures to the denominator."""

from __future__ import annotations

from types import SimpleNamespace
from typing import TYPE_CHECKING, Any

import pytest

from registry.errors import Refused, UsageProblem
from registry.measures import exclusion_flow, procedures
from registry.people import Action, Actor, Role, acting
from tests.measures.build import day

if TYPE_CHECKING:
    from registry.audit import Entry
    from tests.measures.build import Drawn

AS_OF = day(1000)


def draw(drawn: Drawn) -> Drawn:
    drawn.procedure("later", 20, site="A", marker="placed")
    drawn.procedure("b", 10, site="B", marker="not_placed")
    drawn.procedure("a", 10, site="A", marker=None)
    drawn.procedure("cancelled", 30, site="B", status="cancelled")
    return drawn.built()


def test_the_list_says_of_every_procedure_what_the_measure_says(drawn: Drawn):
    rows = procedures(draw(drawn), "marker_placed", as_of=AS_OF)

    assert rows.select("procedure_id", "index_date", "excluded_because", "in_numerator").rows() == [
        ("a", day(10), "marker not recorded", None),
        ("b", day(10), None, False),
        ("later", day(20), None, True),
        ("cancelled", day(30), "not sampled", None),
    ]
    assert rows["stratum"].to_list() == ["all"] * 4


def test_the_list_of_one_stratum(drawn: Drawn):
    rows = procedures(draw(drawn), "marker_placed", as_of=AS_OF, by="site", stratum="A")

    assert rows.select("procedure_id", "stratum").rows() == [("a", "A"), ("later", "A")]


def test_the_list_of_a_period(drawn: Drawn):
    rows = procedures(
        draw(drawn), "marker_placed", as_of=AS_OF, start=day(11), end=day(29), within={"site": "A"}
    )

    assert rows["procedure_id"].to_list() == ["later"]


@pytest.mark.parametrize(
    ("asked", "listed"),
    [
        ({"within": {"site": "A"}}, ["a", "later"]),
        ({"start": day(20)}, ["later", "cancelled"]),
        ({"end": day(20)}, ["a", "b", "later"]),
    ],
)
def test_each_limit_of_the_list_holds_alone(drawn: Drawn, asked: dict[str, Any], listed: list[str]):
    rows = procedures(draw(drawn), "marker_placed", as_of=AS_OF, **asked)

    assert rows["procedure_id"].to_list() == listed


def test_whether_a_value_counts_as_missing_is_not_in_the_list(drawn: Drawn):
    rows = procedures(draw(drawn), "tip_clearance_mm", as_of=AS_OF)

    assert rows.columns[:5] == ["procedure_id", "index_date", "excluded_because", "measured", "stratum"]


@pytest.mark.parametrize(
    ("ask", "action"), [(procedures, Action.PROCEDURES), (exclusion_flow, Action.FIGURES)]
)
def test_that_a_list_was_refused_is_written_to_the_trail(ask: Any, action: Action):
    written: list[Entry] = []
    with acting(Actor("ines", frozenset({Role.ADMINISTRATOR}))), pytest.raises(Refused):
        ask(SimpleNamespace(write=True, record=written.append), "marker_placed", as_of=AS_OF)

    assert [(one.actor, one.action, one.outcome) for one in written] == [("ines", action, "refused")]


def test_the_list_holds_no_person(drawn: Drawn):
    assert "patient" not in procedures(draw(drawn), "marker_placed", as_of=AS_OF).columns


def test_the_list_of_a_quantity(drawn: Drawn):
    drawn.procedure("P", safe_margin_mm=30.0, aperture_mm=20.0, dead_tip_mm=7.0)
    drawn.procedure("Q")
    rows = procedures(drawn.built(), "tip_clearance_mm", as_of=AS_OF)

    assert rows.select("procedure_id", "excluded_because", "measured").rows() == [
        ("P", None, 13.0),
        ("Q", "any of it missing", None),
    ]


def test_the_flow_ends_at_the_denominator(drawn: Drawn):
    assert exclusion_flow(draw(drawn), "marker_placed", as_of=AS_OF) == [
        ("procedures", 0, 4),
        ("not sampled", 1, 3),
        ("marker not recorded", 1, 2),
    ]


def test_the_flow_of_a_period(drawn: Drawn):
    flow = exclusion_flow(draw(drawn), "marker_placed", as_of=AS_OF, start=day(20), within={"site": "B"})

    assert flow == [("procedures", 0, 1), ("not sampled", 1, 0), ("marker not recorded", 0, 0)]


@pytest.mark.parametrize("ask", [procedures, exclusion_flow])
def test_a_measure_that_does_not_exist(drawn: Drawn, ask: object):
    with pytest.raises(UsageProblem, match="there is no such measure"):
        ask(drawn, "markers", as_of=AS_OF)
