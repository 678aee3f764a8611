"""Sentences beside the charts: the figures in them, where their wording turns, and how numbers are written."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from math import inf

import pytest

from registry.monitoring import comparison_words, words
from registry.monitoring.comparison import Needed, Pair
from registry.monitoring.cumulative import Signal
from registry.monitoring.periods import about_the_median, point
from registry.stats.comparison import Difference

MINUS = "\N{MINUS SIGN}"
NARROW = "\N{NARROW NO-BREAK SPACE}"


@pytest.mark.parametrize(
    ("p", "said"),
    [
        (0.00099, "below 0.001"),
        (0.001, "0.001"),
        (0.01234, "0.012"),
        (0.0994, "0.099"),
        (0.1, "0.10"),
        (0.256, "0.26"),
    ],
)
def test_a_p_value_has_two_figures(p: float, said: str):
    assert comparison_words.p_value(p) == said


def test_no_test_is_said_where_all_outcomes_are_the_same():
    assert comparison_words.of_test(None) == "no test: all outcomes are the same"
    assert comparison_words.of_test(0.03) == "score test, p 0.03"


@pytest.mark.parametrize(
    ("limits", "said"),
    [
        ((-0.012, 0.0345), f"{MINUS}1.2 to +3.5 points"),
        ((None, 0.1), "no interval"),
        ((0.1, None), "no interval"),
    ],
)
def test_limits_of_a_difference_are_in_points(limits, said: str):
    assert comparison_words.points(limits) == said


@pytest.mark.parametrize(
    ("limits", "said"),
    [
        ((0.5, 2.256), "0.50 to 2.26 times"),
        ((0.5, inf), "0.50 to any number times"),
        ((None, 2.0), "no interval"),
        ((0.5, None), "no interval"),
    ],
)
def test_limits_of_a_ratio_may_have_no_end(limits, said: str):
    assert comparison_words.times(limits) == said


@pytest.mark.parametrize(
    ("procedures", "per_year", "said"),
    [
        (851, None, "851 procedures"),
        (12345, None, f"12{NARROW}345 procedures"),
        # a tenth of a year of 365.25 days
        (10, 100, "10 procedures (37 days)"),
        # two months and more are counted in months, two years and more in years
        (50, 300, "50 procedures (2 months)"),
        (199, 100, "199 procedures (24 months)"),
        (200, 100, "200 procedures (2.0 years)"),
        (9990, 10, f"9{NARROW}990 procedures (999.0 years)"),
        (10_000, 10, f"10{NARROW}000 procedures (more than 1000 years)"),
    ],
)
def test_a_number_of_procedures_and_the_time_they_take(procedures: float, per_year: float | None, said: str):
    assert words.time_of(procedures, per_year) == said


def quarters(counts, n=20):
    """Points from 2020-Q1 on, ``counts`` events of n procedures each."""
    return [
        point(f"{2020 + i // 4}-Q{i % 4 + 1}", date(2020 + i // 4, i % 4 * 3 + 1, 1), x, n, 0.2)
        for i, x in enumerate(counts)
    ]


@pytest.mark.parametrize(
    ("wider", "alike"), [((None, None), False), ((1.1, 1.1), False), ((1.0, 1.2), True), ((1.2, None), True)]
)
def test_a_pair_says_that_patients_are_alike_from_a_tenth_wider(wider, alike: bool):
    """As the command of a measure says: more than 10 % wider in one of the groups."""
    nothing = dict.fromkeys(("first", "second", "difference", "newcombe", "ratio", "koopman", "p", "needed"))
    assert Pair(**nothing, names=("A", "B"), wider=wider).is_clustered is alike


@dataclass
class Counted:
    """What the words read of a group."""

    numerator: int
    denominator: int


class TestMeaning:
    NEEDED = Needed(0.02, 0.04, 1141, 424, False)

    def said(self, low: float, high: float, sizes=(50, 2000), needed: Needed | None = None) -> list[str]:
        first, second = (Counted(1, n) for n in sizes)
        nothing = dict.fromkeys(("newcombe", "ratio", "koopman"))
        difference = Difference((low + high) / 2, (low, high), "")
        pair = Pair(
            first, second, ("A", "B"), difference, p=0.04, needed=needed, wider=(None, None), **nothing
        )
        return comparison_words.meaning(pair)

    @pytest.mark.parametrize(("limits", "more"), [((0.01, 0.2), "higher"), ((-0.2, -0.01), "lower")])
    def test_a_difference_has_a_side(self, limits, more: str):
        (told,) = self.said(*limits, needed=self.NEEDED)
        assert told.startswith(f"The rate of B is {more} by more than chance alone explains")

    def test_without_a_difference_the_limits_say_what_is_not_excluded(self):
        assert self.said(-0.1, 0.125) == [
            "No difference is shown, and none is excluded: the figures agree with anything from "
            f"{MINUS}10.0 to +12.5 points."
        ]

    def test_the_smaller_group_decides_whether_there_are_enough(self):
        assert self.said(-0.1, 0.1, (1140, 2000), self.NEEDED)[1] == (
            "Too few procedures to tell 2 % from 4 %: 1\u202f141 in each group would be needed (power 80 %, two-sided "
            "error 5 %); 424 would be needed if the lower rate were known."
        )
        assert self.said(-0.1, 0.1, (2000, 1141), self.NEEDED)[1] == (
            "There are enough procedures to tell 2 % from 4 % in four of five such comparisons."
        )

    def test_a_planned_doubling_is_called_one_and_an_unknown_size_is_left_out(self):
        told = self.said(-0.1, 0.1, needed=Needed(0.02, 0.04, 1141, None, True))[1]
        assert told == (
            "Too few procedures to tell 2 % from 4 % (a doubling; the rates seen give nothing to plan with): "
            "1\u202f141 in each group would be needed (power 80 %, two-sided error 5 %)."
        )


class TestRoughLimits:
    """Fewer than five expected events: 49 procedures at 10 %, 50 have just five."""

    @pytest.mark.parametrize("accepted", [0.1, 0.9])
    def test_periods_with_too_few_expected_are_counted(self, accepted: float):
        found = [
            point("2020-Q1", date(2020, 1, 1), 3, 50, accepted),
            point("2020-Q2", date(2020, 4, 1), 3, 49, accepted),
        ]
        assert words.rough(found, accepted).startswith("In 1 of 2 periods fewer than 5 events are expected")

    def test_nothing_is_said_where_enough_are_expected(self):
        assert words.rough([point("2020-Q1", date(2020, 1, 1), 3, 50, 0.1)], 0.1) == ""

    def test_periods_below_the_minimum_are_not_looked_at(self):
        small, shown = (point("2020-Q1", date(2020, 1, 1), 1, n, 0.1) for n in (9, 10))
        assert words.rough([small], 0.1, minimum=10) == ""
        assert words.rough([shown], 0.1, minimum=10).startswith("In 1 of 1 periods")


class TestRuns:
    """Of 12 points a run of up to log2(12) + 3 = 7 is usual, of 20 of up to 7; of 11 sides that could
    change 3 crossings or more are usual (P(at most 2) = 67/2048 = 3.3 %, at most 3 11.3 %)."""

    def said(self, counts) -> str:
        found = quarters(counts)
        return words.runs(about_the_median(found), found, "quarter")

    def test_few_crossings(self):
        """Six quarters of 10 %, then six of 20 %: the median 15 % is crossed once."""
        assert self.said([2] * 6 + [4] * 6) == (
            "Run chart, 12 quarters about their median of 15 %: longest run 6 (up to 7 is usual), "
            "1 crossings (3 or more are usual). Unusual: 1 crossings, where 3 or more are usual. "
            "Worth a look; it may still be chance."
        )

    def test_nothing_unusual(self):
        assert self.said([2, 4] * 6) == (
            "Run chart, 12 quarters about their median of 15 %: longest run 1 (up to 7 is usual), "
            "11 crossings (3 or more are usual). Nothing unusual."
        )

    def test_a_long_run_says_when_it_was(self):
        """Nine quarters below the median from the third on, the other eleven to both sides."""
        counts = [4, 4, *[2] * 9, 4, 4, 4, 4, 2, 4, 4, 4, 4]
        assert "Unusual: a run of 9 quarters on one side of it, 2020-Q3 to 2022-Q3" in self.said(counts)

    def test_too_few_points(self):
        assert self.said([2, 4, 2, 4]) == (
            "Runs about the median are not judged: 4 quarters with enough procedures lie off it, too few."
        )


def test_a_signal_in_a_phrase():
    """Of a proportion with its events, of a quantity without."""
    held = ("P1", "P2", "P3")
    counted = Signal("P3", date(2026, 3, 2), date(2026, 1, 5), held, ("P1", "P3"))
    measured = Signal("P3", date(2026, 3, 2), date(2026, 1, 5), held, ())

    assert words.signal(counted, 2) == "Signal 2 on 2026-03-02: 2 events in 3 procedures since 2026-01-05"
    assert words.signal(measured, 1) == "Signal 1 on 2026-03-02: 3 procedures since 2026-01-05"
