"""Whatever page shows a measure lets the way from all procedures to its denominator be opened."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import pytest

from dashboards.app import PAGES
from registry.measures import exclusion_flow, load_measures, reason_in_words, standing_of

if TYPE_CHECKING:
    from collections.abc import Callable

    from streamlit.testing.v1 import AppTest

    from registry.store import Registry

#: Quality pages whose figures are no measures, each with its own account of what is left out.
NO_MEASURE = {
    "timeliness": "days between steps, each with the number that has both ends",
    "agreement": "pairs of decisions",
    "completeness": "fields of those procedures of which they are expected",
    "yearly_table": "counts, each with the list behind it",
    "sources_and_constancy": "checks of scanners",
}
SHOWING = ["overview", *(name for name in PAGES["Quality"] if name not in NO_MEASURE)]
TITLES = {one.title: one.id for one in load_measures().values()}


def html_of(page: AppTest) -> str:
    return " ".join(one.proto.body for one in page.get("html"))


def shown(page: AppTest) -> set[str]:
    """Measures with a row in a strip, or a panel of their own."""
    rows = set(re.findall(r'<th scope="row">([^<]+)</th>', html_of(page)))
    heads = {one.value for one in page.subheader}
    return {TITLES[title] for title in rows | heads if title in TITLES}


def flows(page: AppTest) -> list[str]:
    """Measures whose flow can be opened."""
    return [name for name in TITLES.values() if f"Exclusion flow {name}" in page.session_state]


def offered(page: AppTest) -> set[str]:
    """Measures that can be chosen on the page, whose flow then stands there."""
    return {TITLES[text] for box in page.main.selectbox for text in box.options if text in TITLES}


@pytest.mark.parametrize("name", SHOWING)
def test_a_page_that_shows_a_measure_offers_its_flow(demo_page: Callable[[str], AppTest], name: str):
    page = demo_page(name)

    assert flows(page)
    assert shown(page) <= {*flows(page), *offered(page)}


# Two steps of the page of timeliness bear the words of a measure; see below.
@pytest.mark.parametrize("name", [name for name in NO_MEASURE if name != "timeliness"])
def test_the_other_pages_show_no_measure(demo_page: Callable[[str], AppTest], name: str):
    assert not shown(demo_page(name))


def test_steps_say_how_many_lack_a_date_or_have_it_before(demo_page: Callable[[str], AppTest]):
    text = html_of(demo_page("timeliness"))

    assert all(re.search(f">{head}</th>", text) for head in ("Procedures", "Missing", "Faults"))


@pytest.mark.parametrize("name", SHOWING)
def test_the_flow_opens_with_pending_lost_best_and_worst_case(
    served: Registry, open_page: Callable[..., AppTest], name: str
):
    page = open_page(name)
    measure = next((one for one in flows(page) if load_measures()[one].kind == "proportion"), flows(page)[0])
    page.session_state[f"Exclusion flow {measure}"] = True
    text = html_of(page.run())
    reasons = [reason for reason, _, _ in exclusion_flow(served, measure, as_of=_as_of(page))[1:]]

    assert 'class="plain flow"' in text
    for reason in reasons:
        words = reason_in_words(reason)
        words = words[:1].upper() + words[1:]
        assert f'<th scope="row">{words}</th><td>{standing_of(reason)}</td>' in text
    if load_measures()[measure].kind == "proportion":
        assert re.search("est and worst case|no better or worse case", text)


def _as_of(page: AppTest):
    return next(one.value for one in page.sidebar.date_input if one.label == "As of")
