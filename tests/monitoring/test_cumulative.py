"""What a running sum starts from, and what lies behind each of its signals; its sentences."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from registry.errors import UsageProblem
from registry.monitoring import words
from registry.monitoring.adjusted import _lowest
from registry.monitoring.cumulative import Accepted, Cumulative, accepted_rate, signals_of
from registry.stats.cusum import LatticeStep
from registry.stats.risk_cusum import risk_adjusted_arl
from registry.stats.run_length import RunLength
from tests.monitoring.test_periods import watched

FIRST = date(2025, 1, 1)


def days(number: int) -> list[date]:
    return [FIRST + timedelta(days=place) for place in range(number)]


class TestAcceptedRate:
    def test_a_rate_that_is_given_is_taken(self):
        assert accepted_rate(watched([]), 0.02, 10) == Accepted(0.02)

    @pytest.mark.parametrize("given", [0.0, 1.0, 2.0])
    def test_a_rate_at_its_ends_is_refused(self, given: float):
        with pytest.raises(UsageProblem, match="does not lie between 0 and 1"):
            accepted_rate(watched([]), given, 10)

    @pytest.mark.parametrize("events", [1, 9])
    def test_without_a_first_day_the_watched_procedures_give_it(self, events: int):
        seen = watched(days(10), [1] * events + [0] * (10 - events))
        assert accepted_rate(seen, None, 10) == Accepted(
            events / 10, events, 10, FIRST, date(2025, 1, 10), True
        )

    def test_with_one_it_is_that_of_the_procedures_before(self):
        """2 of 10 before; all of those watched have the event."""
        before = watched(days(10), [1, 1] + [0] * 8).during
        seen = replace(watched([date(2025, 2, 1)] * 12, [1] * 12, date(2025, 2, 1)), before=before)
        assert accepted_rate(seen, None, 10) == Accepted(0.2, 2, 10, FIRST, date(2025, 1, 10), False)

    @pytest.mark.parametrize(("events", "size"), [(1, 9), (0, 10), (10, 10)])
    def test_too_few_procedures_and_nothing_or_nothing_else_seen(self, events: int, size: int):
        seen = watched(days(size), [1] * events + [0] * (size - events))
        with pytest.raises(
            UsageProblem, match=f"{size} procedures are there, {events} with the event: too few"
        ):
            accepted_rate(seen, None, 10)


class TestSignals:
    """One up for each event, one down otherwise, a signal at 3."""

    def said(
        self, events: list[int], path: list[float], at: list[int]
    ) -> list[tuple[str, date, tuple[str, ...]]]:
        found = signals_of(watched(days(len(events)), events).during, path, at)  # type: ignore[arg-type]
        return [(one.procedure_id, one.since, one.procedures) for one in found]

    def test_a_signal_is_made_of_those_since_the_sum_stood_at_nothing(self):
        path = [1, 0, 1, 2, 1, 2, 3, 0]
        assert self.said([1, 0, 1, 1, 0, 1, 1, 0], path, [7]) == [
            ("P006", date(2025, 1, 3), ("P002", "P003", "P004", "P005", "P006"))
        ]

    def test_the_events_are_those_among_them(self):
        (one,) = signals_of(
            watched(days(5), [0, 1, 1, 0, 1]).during,
            [0, 1, 2, 1, 3],  # type: ignore[arg-type]
            [5],
        )
        assert (one.on, one.events) == (date(2025, 1, 5), ("P001", "P002", "P004"))

    def test_the_next_begins_after_the_one_before(self):
        """Six events: signals at the third and the sixth."""
        assert [one[2] for one in self.said([1] * 6, [1, 2, 3, 1, 2, 3], [3, 6])] == [
            ("P000", "P001", "P002"),
            ("P003", "P004", "P005"),
        ]

    def test_a_sum_that_never_stood_at_nothing_began_with_the_first(self):
        assert [one[2] for one in self.said([1] * 3, [1, 2, 3], [3])] == [("P000", "P001", "P002")]


class TestSentences:
    """Eleven procedures in ten days are 402 in a year of 365.25 days."""

    def made(self, **cells: object) -> Cumulative:
        seen = watched([FIRST] * 10 + [date(2025, 1, 10)], [1, 1] + [0] * 9)
        given = {
            "watched": seen,
            "accepted": Accepted(0.02),
            "factor": 2.0,
            "step": LatticeStep(34, 0.04123),
            "limit": 90,
            "in_control": RunLength(851.0, 600),
            "after_rise": RunLength(161.0, 120),
            "path": (),
            "signals": (),
        }
        return Cumulative(**{**given, **cells})  # type: ignore[arg-type]

    def test_design_and_run_lengths(self):
        said = words.cumulative(self.made())
        assert said[0] == (
            "Watched: all procedures in the denominator, 2025-01-01 to 2025-01-10: 11, 2 with the event, 402 a year."
        )
        assert said[1] == "Accepted rate 2 %, as given. Looked for: a rise by a factor of 2, to 4 %."
        assert said[2] == (
            "Each event adds 33, each procedure without takes 1 off; the sum signals at 90 "
            "(steps are the likelihood's own for a rise to 4.12 %)."
        )
        assert said[3] == (
            "While the rate stays as accepted, a false signal comes after 851 procedures (2.1 years) on average, half of "
            "them before 600 procedures (18 months). After a rise to 4 %, the signal comes after 161 procedures "
            "(5 months) on average, in half of all rises before 120 procedures (4 months)."
        )
        assert said[4:] == (words.RESET, words.CAN)

    def test_without_medians_there_are_means_only(self):
        made = self.made(in_control=RunLength(851.0, None), after_rise=RunLength(161.0, None))
        assert words.cumulative(made)[3] == (
            "While the rate stays as accepted, a false signal comes after 851 procedures (2.1 years) on average. "
            "After a rise to 4 %, the signal comes after 161 procedures (5 months) on average."
        )

    @pytest.mark.parametrize(
        ("same", "where"),
        [
            (True, "of the watched procedures themselves, so that only a change within them can show"),
            (False, "before the watch"),
        ],
    )
    def test_an_observed_rate_says_where_it_was_seen(self, same: bool, where: str):
        seen = Accepted(0.02, 4, 200, date(2023, 1, 1), date(2024, 12, 31), same)
        assert words.cumulative(self.made(accepted=seen))[1] == (
            f"Accepted rate 2 %: 4 of 200 procedures 2023-01-01 to 2024-12-31, {where}; taken as known, although it is "
            "not. Looked for: a rise by a factor of 2, to 4 %."
        )

    def test_what_falls_short_is_watched_where_more_is_better(self):
        seen = replace(watched(days(1)), watches_rest=True, within={"site": "A", "operator": "OP1"})
        assert words.cumulative(self.made(watched=seen))[0] == (
            "Watched: site=A, operator=OP1 procedures in the denominator, 2025-01-01 to 2025-01-01: 1, 0 with the event. "
            "More is better in this measure, so what falls short is watched."
        )


@pytest.mark.parametrize("wanted", [20.0, 60.0])
def test_the_lowest_limit_of_an_adjusted_sum_is_just_enough(wanted: float):
    """In tenths: the mean run length reaches what is wanted, and a tenth lower it does not."""
    risks = np.array([0.05, 0.1, 0.2, 0.1])
    limit = _lowest(risks, 2.0, wanted)

    assert limit * 10 == pytest.approx(round(limit * 10))
    assert risk_adjusted_arl(risks, 2.0, limit) >= wanted > risk_adjusted_arl(risks, 2.0, limit - 0.1)
