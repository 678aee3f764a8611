"""The page for the medical physicist, as it is drawn."""

from __future__ import annotations

import re
from datetime import date

import pytest

from tests.pages.test_pages import text_of
from tests.pages.test_specimen_uptake import visible

NAME = "sources_and_constancy"


def test_sources_stand_with_the_share_left(demo_page):
    """Halved in every 270.95 d since its reference day, at the day that the page names."""
    shown = visible(demo_page(NAME))
    on = date.fromisoformat(re.search(r"As of (\S{10}), computed, not measured", shown)[1])
    row = re.search(
        r"LINE-A4\s+SITE-A\s+Ge-68\s+In\xa0use\s+([\d.]+)\s+(\S{10})\s+([\d.]+)\s+([\d.]+) %", shown
    )
    left = 0.5 ** ((on - date.fromisoformat(row[2])).days / 270.95)

    assert float(row[4]) == pytest.approx(100 * left, abs=0.051)
    assert float(row[3]) == pytest.approx(float(row[1]) * left, rel=0.005)


def test_tolerances_are_said_to_be_local(demo_page):
    assert "Local tolerances of this service, from site.toml: leak test every 182 days" in visible(
        demo_page(NAME)
    )


def test_the_loss_of_the_demo_lies_outside_and_the_sites_without_it_do_not(demo_page):
    """The generator takes 8 % from one site for 75 days: two or three monthly checks beyond 5 %."""
    found = re.search(r"(\d+) of (\d+) checks lie outside the local tolerance", visible(demo_page(NAME)))

    assert 2 <= int(found[1]) <= 3
    assert int(found[2]) > 100


def test_phantom_and_clock_stand_with_trend_and_effect(demo_page):
    shown = visible(demo_page(NAME))

    assert re.search(r"SC-A: \d+ checks, \d+ outside the local tolerance\. Mean error x", shown)
    assert re.search(r"which changes an F-18 activity corrected for decay by [+−]0\.\d+", shown)


def test_an_empty_registry_says_so(served_empty, open_page):
    page = open_page(NAME)
    shown = visible(page)

    assert [one.value for one in page.exception] == []
    for said in (
        "No radioactive source is recorded.",
        "No radioactive source in use or stored is recorded.",
        "No constancy check",
        "No check of targeting on a phantom is recorded.",
        "No comparison of a scanner clock",
        "has stated no tolerance of its own",
    ):
        assert said in shown


def test_no_decision_is_taken_from_a_mark(demo_page):
    assert "what follows is for the medical physicist to decide" in text_of(demo_page(NAME))
