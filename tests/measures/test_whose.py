"""To what a question is narrowed for whoever asks it, and who gets the procedures behind a number."""

from __future__ import annotations

from types import SimpleNamespace
from typing import TYPE_CHECKING

import pytest

from registry.errors import Refused
from registry.measures import exclusion_flow, procedures
from registry.measures.whose import permitted
from registry.people import Action, Actor, Role, acting
from tests.measures.build import day

if TYPE_CHECKING:
    from registry.audit import Entry
    from tests.measures.build import Drawn

AS_OF = day(100)
OWN = Actor("ines", frozenset({Role.RADIOLOGIST}), "OP1")
NOBODY = Actor("ines", frozenset({Role.RADIOLOGIST}))
COMMITTEE = Actor("ines", frozenset({Role.QUALITY}))
VIEWER = Actor("ines", frozenset({Role.VIEWER}))
SITE_A = {"site": "A"}


@pytest.mark.parametrize(
    ("actor", "by", "within", "narrowed"),
    [
        (COMMITTEE, "operator", None, None),
        (COMMITTEE, "operator", {"operator": "OP2"}, {"operator": "OP2"}),
        (OWN, None, None, None),
        (OWN, "site", SITE_A, SITE_A),
        (OWN, None, {"operator": "OP1"}, {"operator": "OP1"}),
        (OWN, "operator", None, {"operator": "OP1"}),
        (OWN, "operator", SITE_A, {"site": "A", "operator": "OP1"}),
        (NOBODY, "operator", SITE_A, {"site": "A", "operator": ""}),
    ],
)
def test_a_question_by_operator_is_narrowed_to_who_asks_it(actor, by, within, narrowed):
    with acting(actor):
        assert permitted(None, by, within) == narrowed


@pytest.mark.parametrize("actor", [OWN, NOBODY])
@pytest.mark.parametrize("by", [None, "operator"])
def test_the_results_of_another_operator_are_refused(actor, by):
    said = (
        r"^Results of one operator are shown to that operator and to the quality committee only\. "
        r"Ask the quality committee\.$"
    )
    with acting(actor), pytest.raises(Refused, match=said):
        permitted(None, by, {"operator": "OP2"})


def test_what_is_asked_for_must_be_allowed_at_all():
    with acting(VIEWER):
        assert permitted(None, None, SITE_A) == SITE_A
        with pytest.raises(Refused):
            permitted(None, None, SITE_A, Action.PROCEDURES)


def test_what_is_not_allowed_is_written_to_the_trail():
    written: list[Entry] = []
    registry = SimpleNamespace(write=True, record=written.append)
    with acting(VIEWER), pytest.raises(Refused):
        permitted(registry, None, SITE_A, Action.PROCEDURES)

    assert [(one.actor, one.action, one.outcome) for one in written] == [
        ("ines", "see the procedures behind a figure", "refused")
    ]


# -- the procedures behind a number --------------------------------------------------------


def draw(drawn: Drawn) -> Drawn:
    drawn.procedure("own", 10, operator="OP1", site="A", marker="placed")
    drawn.procedure("other", 11, operator="OP2", site="A", marker="placed")
    return drawn.built()


def test_the_list_by_operator_is_that_of_who_asks(drawn: Drawn):
    registry = draw(drawn)
    with acting(OWN):
        assert procedures(registry, "marker_placed", as_of=AS_OF, by="operator")[
            "procedure_id"
        ].to_list() == ["own"]
        assert procedures(registry, "marker_placed", as_of=AS_OF)["procedure_id"].to_list() == [
            "own",
            "other",
        ]


def test_who_sees_figures_only_gets_no_list_of_procedures(drawn: Drawn, monkeypatch: pytest.MonkeyPatch):
    registry = draw(drawn)
    # A registry that is open for reading: the refusal is written nowhere.
    monkeypatch.setattr(registry, "write", False)
    with acting(VIEWER):
        assert exclusion_flow(registry, "marker_placed", as_of=AS_OF)[0] == ("procedures", 0, 2)
        with pytest.raises(Refused):
            procedures(registry, "marker_placed", as_of=AS_OF)


def test_the_flow_of_another_operator_is_refused(drawn: Drawn):
    registry = draw(drawn)
    with acting(OWN), pytest.raises(Refused, match="Results of one operator"):
        exclusion_flow(registry, "marker_placed", as_of=AS_OF, within={"operator": "OP2"})


def test_the_list_ends_with_the_context_of_each_procedure(drawn: Drawn):
    """What the measure says of the unknown outcomes of those left out is not in the list."""
    rows = procedures(draw(drawn), "discordance", as_of=AS_OF)

    assert rows.columns == [
        *("procedure_id", "index_date", "excluded_because", "in_numerator", "stratum"),
        *("site", "operator", "guidance", "assessment", "finding_type", "status", "diagnosis"),
    ]
    assert rows.select("site", "operator", "status").rows() == [
        ("A", "OP1", "completed"),
        ("A", "OP2", "completed"),
    ]


def test_the_flow_ends_on_the_last_day_of_its_period(drawn: Drawn):
    flow = exclusion_flow(draw(drawn), "marker_placed", as_of=AS_OF, end=day(10))

    assert flow == [("procedures", 0, 1), ("not sampled", 0, 1), ("marker not recorded", 0, 1)]
