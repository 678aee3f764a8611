"""The line of a procedure as it is drawn."""

from datetime import date

from dashboards.components.line import line_list
from registry.record import Station

DAY = date(2025, 3, 10)


def test_a_station_says_its_day_and_the_days_before_it():
    drawn = line_list([Station("Needle", DAY, "recorded", ("PET tracer",), days=17)])

    assert '<time datetime="2025-03-10">2025-03-10</time>' in drawn
    assert '<span class="days">17 days</span>' in drawn


def test_what_is_missing_is_said_and_not_only_drawn():
    drawn = line_list([Station("Decision", None, "missing", ("no joint review",))])

    assert 'class="station missing"' in drawn
    assert "(missing)" in drawn
    assert "no date" in drawn


def test_a_change_after_the_decision_is_said_and_marked():
    drawn = line_list(
        [Station("Pathology", DAY, "recorded", ("benign",), changed="Report version 2 came later")]
    )

    assert "station recorded changed" in drawn
    assert "changed after the decision" in drawn


def test_recorded_words_cannot_become_markup():
    assert "<b>" not in line_list([Station("Needle", DAY, "recorded", ("<b>bold</b>",))])


def test_an_event_before_the_station_before_it_is_said_so():
    assert "3 days before" in line_list([Station("Decision", DAY, "recorded", (), days=-3)])
