"""Monitoring, comparison and targets as the pages draw them."""

from __future__ import annotations

import re

import pytest

from dashboards.components import words
from dashboards.components.lane import Target
from dashboards.components.strip import StripRow, strip_table
from dashboards.components.target_list import ticks
from registry.monitoring import notes
from tests.pages.results import proportion
from tests.pages.test_pages import text_of

PER = f"{words.NARROW}%"


def box(page, label):
    return next(one for one in page.main.selectbox if one.label == label)


@pytest.fixture
def watched(served, open_page):
    """The page on tissue obtained, all of it watched against 2 %: several signals in the small demo."""
    page = open_page("monitoring", measure="insufficient_sample")
    page.main.date_input[0].set_value(page.main.date_input[0].value.replace(year=2020)).run()
    box(page, "False signals rarer than one in").select(1).run()
    page.main.number_input[0].set_value(0.5).run()
    return page


def test_the_page_states_run_lengths_resets_and_what_it_cannot_show(watched):
    page = text_of(watched)

    assert [one.value for one in watched.exception] == []
    assert f"Accepted rate 0.5{PER}, as given. Looked for: a rise by a factor of 2, to 1{PER}." in page
    assert re.search(
        r"a false signal comes after [\d\u202f]+ procedures \([\d.]+ (years|months)\) on average", page
    )
    assert re.search(
        r"the signal comes after [\d\u202f]+ procedures \([\d.]+ (years|months)\) on average", page
    )
    assert "begins again at 0 after each signal" in page
    assert "It cannot say why" in page


def test_every_period_stands_with_exact_limits_and_how_many_were_looked_at(watched):
    assert re.search(r"\d+ periods were looked at; outside the outer limits: ", text_of(watched))


def test_where_more_is_better_the_drawing_says_that_it_shows_what_falls_short(served, open_page):
    """Its axis holds a few per cent, where the measure of that name is more than nine tenths."""
    page = text_of(open_page("monitoring", measure="sampling_confirmed"))

    assert "Sampling of the target confirmed: what falls short, by quarter" in page
    assert "Sampling of the target confirmed: what falls short: running sum" in page


def test_the_limits_of_a_p_chart_can_be_chosen_and_are_said_to_be_rough(watched):
    """Of 0.5 % no quarter of the small demo expects five events."""
    assert "exact binomial limits around it" in text_of(watched)
    (choice,) = (one for one in watched.main.radio if one.label == "Limits of chance")
    choice.set_value(choice.options[1]).run()

    assert "three standard errors around it for so many procedures (p-chart)" in text_of(watched)
    assert "periods fewer than 5 events are expected" in text_of(watched)


def test_runs_about_the_median_are_told(watched):
    assert re.search(
        r"Run chart, \d+ quarters about their median of [\d.]+|Runs about the median are not judged",
        text_of(watched),
    )


def test_a_signal_opens_its_procedures_and_is_answered_with_a_note_that_is_kept(served, watched):
    assert box(watched, "Signal to open").options
    assert "Not answered yet." in text_of(watched)
    watched.main.text_area[0].set_value("Cores were lost in transport.")
    next(one for one in watched.main.button if one.label == "Keep this answer").click().run()

    assert [one.value for one in watched.error] == ["Choose what was found, or that it is being looked into."]
    assert notes(served, "insufficient_sample") == ()
    box(watched, "Answer").select("looking")
    assert watched.main.text_area[0].value == "Cores were lost in transport."
    next(one for one in watched.main.button if one.label == "Keep this answer").click().run()

    assert [one.value for one in watched.exception] == []
    assert watched.main.text_area[0].value == ""
    assert "Cores were lost in transport." in text_of(watched)
    (kept,) = notes(served, "insufficient_sample")
    assert (kept.chart, kept.stratum, kept.answer) == ("cusum", "all", "looking")
    assert kept.design.startswith("accepted 0.005, rise 2 times, limit ")


def test_too_few_events_for_a_model_are_said(watched):
    watched.session_state["adjusted sum"] = True

    assert "a model of the risk needs at least 10" in text_of(watched.run())


def test_a_quantity_has_a_weighted_mean(served, open_page):
    page = open_page("monitoring", measure="biopsy_to_report_days")

    assert [one.value for one in page.exception] == []
    assert "Each new value weighs 5" in text_of(page)
    assert "a false signal comes after 500 procedures" in text_of(page)


def test_the_split_chooses_which_procedures_are_watched(served, open_page):
    page = open_page("monitoring")
    page.sidebar.selectbox[1].select("site").run()
    only = box(page, "Only of one site")
    only.select(only.options[1]).run()
    page.main.number_input[0].set_value(3.0).run()

    assert f"Watched: site={only.options[1]} procedures" in text_of(page)


def test_an_empty_registry_says_what_is_missing(served_empty, open_page):
    for name in ("monitoring", "comparison"):
        page = open_page(name)
        assert [one.value for one in page.exception] == []
    assert "too few to take an accepted rate from" in text_of(open_page("monitoring"))


# -- comparison ----------------------------------------------------------------------------


def test_two_periods_are_compared_in_words_and_figures(demo_page):
    page = text_of(demo_page("comparison"))

    assert "by the score test, which agrees with both" in page or "All outcomes are the same" in page
    assert "Trend over" in page
    assert "A difference says nothing about its reason" in page


def test_groups_follow_the_split(served, open_page):
    page = open_page("comparison", measure="cancer_at_biopsy")
    page.sidebar.selectbox[1].select("site").run()

    assert [one.value for one in page.exception] == []
    assert "groups with procedures together: chi-square" in text_of(page)
    assert "Miettinen-Nurminen score" in text_of(page)


def test_periods_that_overlap_end_in_a_sentence(served, open_page):
    page = open_page("comparison")
    page.main.date_input[1].set_value(page.main.date_input[3].value).run()

    assert [one.value for one in page.exception] == []
    assert "would stand on both sides" in text_of(page)


# -- targets -------------------------------------------------------------------------------


def test_every_target_says_why_it_is_not_drawn(demo_page):
    page = text_of(demo_page("targets"))

    assert "the service has not switched it on" in page
    assert "known only as another source quotes it" in page
    assert "context, no pass mark" in page
    assert "Switched on by the service: none." in page
    assert "Drawn: " not in page


def test_a_target_that_is_switched_on_is_a_tick_at_each_end(monkeypatch):
    monkeypatch.setattr("dashboards.session.targets_on", lambda: ("ppv3-mammography-screen",))
    (tick,) = ticks("ppv3")

    assert (tick.value, tick.until) == (0.20, 0.45)
    assert ticks("discordance") == ()
    drawn = strip_table(
        [StripRow("PPV3", proportion(30, 100, low=0.2, high=0.4), targets=(tick,))], 10, "x", 1.0
    )
    assert drawn.count('class="target" style="left:20.00%"') == 1
    assert drawn.count('class="target" style="left:45.00%"') == 1
    assert 'class="target-range" style="left:20.00%;width:25.00%"' in drawn


def test_a_target_of_one_value_has_no_range():
    row = StripRow("one", proportion(30, 100, low=0.2, high=0.4), targets=(Target(0.2, "ours"),))

    assert "target-range" not in strip_table([row], 10, "x", 1.0)
