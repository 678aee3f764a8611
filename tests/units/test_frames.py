"""What a funnel is drawn from: names, marks, lines and the axis."""

from __future__ import annotations

from dataclasses import replace

import polars as pl
import pytest

from registry.units.frames import around, axis, limit_lines, marks, name_of, unit_frame
from registry.units.rows import Background
from tests.units.test_words import funnel, unit

LINES = ((10, 0.0, 0.02, 0.4, 0.6), (20, 0.01, 0.03, 0.3, 0.5), (40, 0.02, 0.04, 0.2, 0.35))


def test_a_unit_is_named_where_it_may_be():
    own = replace(unit("OP1", 1, 20), own=True)

    assert name_of(unit("OP2", 1, 20)) == "OP2"
    assert name_of(own) == "OP1 (you)"
    assert name_of(unit(None, 1, 20)) == "not named"


def test_a_row_has_everything_of_a_unit():
    known = Background("radiologist", 36, 40, 38, 5, ("OP2", "OP3"))
    shown = {
        "proportion": 0.05,
        "lower": 0.01,
        "upper": 0.2,
        "expected": 1.5,
        "ratio": 0.67,
        "ratio_lower": 0.1,
        "ratio_upper": 2.1,
        "tail": 0.0005,
        "p": 0.03,
        "adjusted": 0.06,
        "flagged": True,
        "deviation": 2.5,
        "deviation_spread": 1.5,
        "shrunken": 0.06,
        "shrunken_lower": 0.03,
        "shrunken_upper": 0.09,
        "shrunken_otherwise": 0.07,
        "background": known,
    }
    left_out = {"cancelled": 2, "not sampled": 1}
    made = funnel(replace(unit("OP1", 1, 20, **shown), excluded=left_out))

    assert unit_frame(made).to_dicts() == [
        {
            "operator": "OP1",
            "x": 1,
            "n": 20,
            "left_out": 3,
            "rate": 0.05,
            "lower": 0.01,
            "upper": 0.2,
            "expected": 1.5,
            "observed_over_expected": 0.67,
            "observed_over_expected_lower": 0.1,
            "observed_over_expected_upper": 2.1,
            "outside": "99.8 %",
            "p_exact": 0.03,
            "p_adjusted": 0.06,
            "worth_a_look": True,
            "deviation": 2.5,
            "deviation_with_spread": 1.5,
            "shrunken": 0.06,
            "shrunken_lower": 0.03,
            "shrunken_upper": 0.09,
            "shrunken_logit_normal": 0.07,
            "role": "radiologist",
            "experience_before": 36,
            "supervised": 5,
            "supervisors": "OP2; OP3",
        }
    ]


def test_without_a_background_its_columns_are_empty():
    (row,) = unit_frame(funnel(unit("OP1", 1, 20))).to_dicts()

    assert [row[name] for name in ("role", "experience_before", "supervised", "supervisors")] == [None] * 4


def test_a_figure_that_only_a_late_unit_has_keeps_its_kind():
    """More units without a proportion than a frame looks at to guess a type."""
    units = [unit(f"OP{number}", 0, 1) for number in range(150)]
    made = unit_frame(funnel(*units, unit("OP999", 1, 20, proportion=0.05)))

    assert made.get_column("rate").dtype == pl.Float64


def test_marks_are_of_those_looked_at():
    seen = {"proportion": 0.1, "lower": 0.05, "upper": 0.2}
    own = replace(unit("OP1", 2, 20, **seen, flagged=True), own=True)
    made = marks(
        funnel(own, unit(None, 2, 20, **seen, flagged=True), unit("OP3", 2, 20, **seen), unit("OP4", 0, 9))
    )

    assert made.select("name", "kind").rows() == [("OP1 (you)", "own"), ("", "flagged"), ("OP3", "other")]
    assert made.select("n", "rate", "lower", "upper").rows()[0] == (20, 0.1, 0.05, 0.2)


def test_limit_lines_have_a_column_for_each_limit():
    made = limit_lines(funnel(lines=LINES))

    assert made.columns == ["n", "low_998", "low_95", "high_95", "high_998"]
    assert made.rows() == list(LINES)


def test_the_axis_holds_intervals_and_the_outer_limits_where_the_units_are():
    """From n = 20 on: 0.01 to 0.5, room 0.08 x 0.49; the limits at n = 10 would reach 0.6."""
    units = pl.DataFrame({"n": [40, 20], "lower": [0.05, 0.1], "upper": [0.2, 0.3]})

    assert axis(units, limit_lines(funnel(lines=LINES))) == pytest.approx((0, 0.5 + 0.08 * 0.49))


def test_the_axis_without_lines_holds_the_intervals():
    """0.1 to 0.3: room 0.08 x 0.2 on either side."""
    units = pl.DataFrame({"n": [40, 20], "lower": [0.15, 0.1], "upper": [0.2, 0.3]})

    assert axis(units, limit_lines(funnel())) == pytest.approx((0.1 - 0.016, 0.3 + 0.016))


@pytest.mark.parametrize(
    ("seen", "expected"),
    [
        # one rate alone: five points on either side
        ([0.5], (0.45, 0.55)),
        ([0.5, 0.53], (0.48, 0.55)),
        # never beyond what a share can be
        ([0.0, 0.5], (0.0, 0.54)),
        ([0.5, 1.0], (0.46, 1.0)),
    ],
)
def test_there_is_room_around_what_is_drawn(seen, expected):
    assert around(seen) == pytest.approx(expected)
