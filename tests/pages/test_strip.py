"""The strip: what is drawn, where, and what is not drawn."""

import re

import pytest

from dashboards.components.lane import StripRow, Target, axis_end
from dashboards.components.strip import figures, strip_table
from tests.pages.results import proportion

MINIMUM = 10


def row(x, n, low=None, high=None, *, quarters=(), target=None, name="Discordance", heading="", **more):
    return StripRow(
        name,
        proportion(x, n, low=low, high=high, **more),
        tuple(quarters),
        (target,) if target else (),
        heading,
    )


def marks(drawn, kind):
    """Style of every mark of one kind, in the order in which they are drawn."""
    return re.findall(rf'<i class="{kind}" style="([^"]*)"', strip_table([drawn], MINIMUM, "caption", 1.0))


def test_the_dot_stands_at_the_rate_and_the_span_covers_the_interval():
    drawn = row(25, 100, 0.175, 0.343)

    assert marks(drawn, "dot") == ["left:25.00%"]
    assert marks(drawn, "span") == ["left:17.50%;width:16.80%"]


def test_too_few_are_not_drawn():
    drawn = row(3, 7, 0.158, 0.750)

    assert marks(drawn, "dot") + marks(drawn, "span") == []
    assert "3 of 7" in strip_table([drawn], MINIMUM, "caption", 1.0)


def test_no_events_are_hollow_and_reach_to_the_upper_bound():
    drawn = row(0, 24, 0.0, 0.138, upper_bound_no_events=0.1173)

    assert marks(drawn, "dot hollow") == ["left:0.00%"]
    assert marks(drawn, "span open") == ["left:0.00%;width:11.73%"]


def test_the_newest_quarter_is_on_top():
    quarters = [("2026-Q1", proportion(2, 20)), ("2026-Q2", proportion(4, 20))]

    drawn = row(6, 40, 0.07, 0.29, quarters=quarters)

    assert marks(drawn, "quarter age0")[0].startswith("left:20.00%")
    assert marks(drawn, "quarter age1")[0].startswith("left:10.00%")
    tops = [
        float(re.search(r"top:([\d.]+)px", marks(drawn, f"quarter age{age}")[0]).group(1)) for age in (0, 1)
    ]
    assert tops[0] < tops[1]


def test_a_quarter_with_too_few_is_left_out():
    drawn = row(6, 40, 0.07, 0.29, quarters=[("2026-Q1", proportion(1, 9)), ("2026-Q2", None)])

    assert marks(drawn, "quarter age0") + marks(drawn, "quarter age1") == []


def test_a_target_is_drawn_only_where_one_is_given():
    assert marks(row(25, 100, 0.17, 0.34), "target") == []
    assert marks(row(25, 100, 0.17, 0.34, target=Target(0.05, "site protocol")), "target") == ["left:5.00%"]


def test_unknown_outcomes_are_drawn_as_a_range():
    drawn = row(1, 10, 0.02, 0.4, bounds={"lower": 0.05, "upper": 0.55, "unknown": 10})

    assert marks(drawn, "unknown") == ["left:5.00%;width:50.00%"]


@pytest.mark.parametrize(
    ("high", "end"), [(0.04, 0.05), (0.05, 0.05), (0.051, 0.1), (0.31, 0.5), (0.93, 1.0)]
)
def test_the_axis_ends_at_the_next_usual_value(high, end):
    assert axis_end([row(1, 100, 0.001, high)], MINIMUM) == end


def test_a_target_beyond_the_intervals_is_still_on_the_axis():
    assert axis_end([row(1, 100, 0.001, 0.04, target=Target(0.18, "site"))], MINIMUM) == 0.2


def test_rows_keep_the_order_they_came_in():
    table = strip_table(
        [row(9, 10, 0.6, 0.98, name="B"), row(1, 10, 0.02, 0.4, name="A")], MINIMUM, "caption", 1.0
    )

    assert table.index(">B<") < table.index(">A<")


def test_the_drawing_is_said_in_words():
    table = strip_table([row(25, 100, 0.175, 0.343)], MINIMUM, "caption", 1.0)

    assert (
        'role="img" aria-label="25.0\u202f%, 25 of 100; 95\u202f% interval 17.5 to 34.3\u202f% (Wilson)."'
        in table
    )


def test_what_was_left_out_stands_beside_the_count():
    assert "5 left out" in strip_table([row(25, 100, 0.175, 0.343)], MINIMUM, "caption", 1.0)


def test_the_file_holds_counts_interval_and_provenance():
    flat = figures([row(25, 100, 0.175, 0.343)]).to_dicts()[0]

    assert (flat["numerator"], flat["denominator"], flat["lower"], flat["as_of"]) == (
        25,
        100,
        0.175,
        "2026-06-30",
    )
    assert flat["excluded"] == "not sampled: 3; no conclusive review: 2"
