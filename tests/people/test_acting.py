"""Who acts: denied unless allowed, and every refusal is written down."""

from __future__ import annotations

import threading

import pytest

from registry.errors import Refused
from registry.people import Action, Actor, Role, acting, current, deny_by_default, require
from registry.people.acting import begin
from registry.people.roles import ALLOWED


@pytest.fixture
def denying():
    deny_by_default()
    yield
    deny_by_default(False)


def test_a_program_on_the_machine_acts_as_its_user_with_every_role():
    actor = current()

    assert actor.via == "machine"
    assert actor.roles == frozenset(Role)


def test_in_the_page_server_nobody_means_nobody(denying):
    assert current() is None
    with pytest.raises(Refused, match="not signed in"):
        require(Action.FIGURES)


def test_a_thread_does_not_inherit_who_acts(denying):
    seen = []
    with acting(Actor("ines", frozenset({Role.VIEWER}))):
        thread = threading.Thread(target=lambda: seen.append(current()))
        thread.start()
        thread.join()

    assert seen == [None]


def test_what_a_thread_begins_with_stays_in_it(denying):
    seen = []

    def run(name):
        begin(Actor(name, frozenset({Role.VIEWER})))
        threading.Event().wait(0.02)
        seen.append((name, current().name))

    threads = [threading.Thread(target=run, args=(f"person {number}",)) for number in range(8)]
    for one in threads:
        one.start()
    for one in threads:
        one.join()

    assert len(seen) == 8
    assert all(name == acted for name, acted in seen)


@pytest.mark.parametrize("role", Role)
@pytest.mark.parametrize("action", Action)
def test_each_role_may_what_its_row_says_and_nothing_else(role, action):
    with acting(Actor("ines", frozenset({role}))):
        if action in ALLOWED[role]:
            assert require(action).name == "ines"
        else:
            with pytest.raises(Refused, match="may not"):
                require(action)


@pytest.mark.parametrize(
    ("role", "action"),
    [
        (Role.VIEWER, Action.RECORD),
        (Role.RESEARCHER, Action.IDENTIFIERS),
        (Role.RESEARCHER, Action.RECORD),
        (Role.QUALITY, Action.IDENTIFIERS),
        (Role.ADMINISTRATOR, Action.RECORD),
        (Role.ADMINISTRATOR, Action.IDENTIFIERS),
        (Role.COORDINATOR, Action.SIGN),
        (Role.COORDINATOR, Action.OPERATORS),
        (Role.RADIOLOGIST, Action.EXPORT),
        (Role.QUALITY, Action.EXPORT),
        (Role.VIEWER, Action.AGGREGATES),
    ],
)
def test_what_a_role_must_never_do(role, action):
    """Common practice: who keeps the machine reads no record, who exports sees no name, who enters signs nothing."""
    assert action not in ALLOWED[role]


@pytest.mark.parametrize("role", [Role.QUALITY, Role.RESEARCHER])
def test_counts_without_rows_are_handed_on_by_the_committee_and_by_research(role):
    """A file of counts holds figures and no row of anybody (decision 0039)."""
    assert Action.AGGREGATES in ALLOWED[role]


def test_a_refusal_is_an_entry_of_the_trail(registry):
    with acting(Actor("ines", frozenset({Role.VIEWER}))), pytest.raises(Refused):
        require(Action.RECORD, registry, kind="procedure", key="P1")

    last = registry.rows(
        "SELECT actor, action, object_kind, object_key, outcome FROM audit_event ORDER BY seq DESC LIMIT 1"
    )
    assert last == [("ines", "open the record of a procedure", "procedure", "P1", "refused")]


def test_the_refusal_names_the_roles_that_are_held():
    with (
        acting(Actor("ines", frozenset({Role.VIEWER, Role.RESEARCHER}))),
        pytest.raises(Refused, match="roles held are researcher, viewer"),
    ):
        require(Action.SIGN)
