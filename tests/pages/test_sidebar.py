"""Filters that mean nothing on a page cannot be changed there, and are kept for the others."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from dashboards.app import PAGES

if TYPE_CHECKING:
    from collections.abc import Callable

    from streamlit.testing.v1 import AppTest

    from registry.store import Registry

NAMES = [name for pages in PAGES.values() for name in pages]
STILL = {
    "procedure_record": ["As of"],
    "yearly_table": ["As of"],
    "concordance_review": ["As of"],
    "follow_up_due": ["As of"],
    "operators_and_sites": ["Period of the procedures", "As of"],
    "completeness": ["Period of the procedures", "As of"],
    "timeliness": ["Period of the procedures", "As of"],
    "agreement": ["Period of the procedures", "As of"],
    "sources_and_constancy": ["Period of the procedures", "As of"],
    "intake": [],
    "entry": [],
    "in_the_room": [],
    "meetings": [],
    "measure_handbook": [],
    "targets": [],
    "trail": [],
    "people": [],
    "cohort_export": [],
}
ALL = ["Period of the procedures", "As of", "Split by", "Interval"]


def filters(page: AppTest) -> dict[str, bool]:
    """Label of each filter, and whether it can be changed."""
    found = [*page.sidebar.selectbox, *page.sidebar.date_input]
    return {one.label: not one.disabled for one in found}


@pytest.mark.parametrize("name", NAMES)
def test_only_filters_with_an_effect_can_be_changed(demo_page: Callable[[str], AppTest], name: str):
    wanted = STILL.get(name, ALL)
    assert filters(demo_page(name)) == {label: label in wanted for label in ALL}


@pytest.mark.parametrize("name", STILL)
def test_the_sidebar_says_why(demo_page: Callable[[str], AppTest], name: str):
    (said,) = [one.proto.body for one in demo_page(name).sidebar.get("html")]
    assert "kept" in said


def test_what_was_chosen_is_kept_over_a_page_where_it_means_nothing(
    served: Registry, open_page: Callable[..., AppTest]
):
    page = open_page("complications")
    page.sidebar.selectbox[0].select("From and to").run()
    page.sidebar.selectbox[1].select("approach").run()
    start = page.sidebar.date_input[1].value
    page.sidebar.date_input[1].set_value(start.replace(day=1)).run()
    for name in ("intake", "procedure_record", "complications"):
        page = page.switch_page(f"app_pages/{name}.py").run()
    assert [one.value for one in page.sidebar.selectbox] == ["From and to", "approach", "wilson"]
    assert page.sidebar.date_input[1].value == start.replace(day=1)
