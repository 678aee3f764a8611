"""Each role on each page: what is listed runs without a refusal, what is not says so."""

from __future__ import annotations

import pytest
from streamlit.testing.v1 import AppTest

from dashboards.app import OPENED_BY, PAGES
from dashboards.launch import APP
from registry.people import Action, Actor, Role, ask
from registry.people.roles import may

NAMES = [name for pages in PAGES.values() for name in pages]
PATIENCE = 60


@pytest.fixture
def look_as():
    """Open one page as somebody."""

    def look(actor, name):
        ask(lambda: actor)
        page = AppTest.from_file(str(APP), default_timeout=PATIENCE)
        page.run()
        if f"app_pages/{name}.py" != first_of(actor):
            page.switch_page(f"app_pages/{name}.py").run()
        return page

    yield look
    ask(None)


def opens(actor, name):
    action = OPENED_BY.get(name, Action.FIGURES)
    return action is None or actor.may(action)


def first_of(actor):
    return f"app_pages/{next(name for name in NAMES if opens(actor, name))}.py"


def person(role, **more):
    return Actor("ines", frozenset({role}), **more)


CASES = [(role, name) for role in Role for name in NAMES if opens(person(role), name)]


@pytest.mark.parametrize(("role", "name"), CASES)
def test_a_page_that_is_listed_refuses_nothing(served, look_as, role, name):
    page = look_as(person(role), name)

    assert [one.value for one in page.exception] == []
    assert [one.value for one in page.error] == []


def test_every_role_opens_something():
    assert {role for role, _ in CASES} == set(Role)


def test_a_viewer_is_not_shown_what_waits(served, look_as):
    headings = {one.value for one in look_as(person(Role.VIEWER), "overview").header}

    assert "Waiting" not in headings
    assert "The service" in headings


def test_a_viewer_gets_no_list_of_procedures(served, look_as):
    page = look_as(person(Role.VIEWER), "complications")

    assert "Procedures behind it" not in {one.label for one in page.expander}
    assert "Definition" in {one.label for one in page.expander}


def operators_shown(page):
    import re

    html = " ".join(one.proto.body for one in page.get("html"))
    return set(re.findall(r'<th scope="row">(OP\d+)</th>', html)), html


def test_the_quality_committee_sees_every_operator(served, look_as):
    page = look_as(person(Role.QUALITY), "complications")
    page.sidebar.selectbox[1].select("operator").run()

    assert len(operators_shown(page)[0]) > 3


def test_who_performs_biopsies_sees_the_own_results_and_is_told(served, look_as):
    actor = person(Role.RADIOLOGIST, operator="OP02")
    page = look_as(actor, "complications")
    page.sidebar.selectbox[1].select("operator").run()

    shown, html = operators_shown(page)
    assert shown == {"OP02"}
    assert "Shown is OP02 only" in html


def test_what_was_kept_for_the_committee_is_not_handed_to_others(served, look_as):
    """The same page, filters and revision, one after the other."""
    page = look_as(person(Role.QUALITY), "complications")
    page.sidebar.selectbox[1].select("operator").run()
    page = look_as(person(Role.VIEWER), "complications")
    page.sidebar.selectbox[1].select("operator").run()

    shown, html = operators_shown(page)
    assert shown == set()
    assert "None is shown" in html


@pytest.mark.parametrize("by", ["operator"])
def test_targeting_by_operator_is_one_s_own(served, look_as, by):
    page = look_as(person(Role.RADIOLOGIST, operator="OP02"), "targeting")
    page.main.selectbox[1].select(by).run()

    shown, _ = operators_shown(page)
    assert shown <= {"OP02"}


def test_the_matrix_of_pages_is_that_of_roles():
    """Common practice: figures for all but who keeps the machine, records for clinicians, the trail for control."""
    assert {role for role in Role if may(frozenset({role}), Action.FIGURES)} == set(Role) - {
        Role.ADMINISTRATOR
    }
    assert {role for role in Role if may(frozenset({role}), Action.TRAIL)} == {
        Role.QUALITY,
        Role.ADMINISTRATOR,
    }
