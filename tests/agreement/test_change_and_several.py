"""Shares of discordant judged twice, and three readers or more: published tables, arithmetic, drawn readings."""

from __future__ import annotations

from typing import TYPE_CHECKING

import polars as pl
import pytest
from scipy.stats import t

from registry.agreement import words
from registry.agreement.change import change
from registry.agreement.several import several
from tests.agreement.test_agreement import NO, YES, audit, judged

if TYPE_CHECKING:
    from tests.measures.build import Drawn


def test_the_difference_is_second_less_first_with_the_published_interval():
    """Tango 1998, Stat Med 17:891-908, Table VII: 4, 9, 3, 16 give -0.027 to 0.390 for (9 - 3) / 32."""
    made = change(both=4, first_only=3, second_only=9, neither=16, confidence=0.95)

    assert made.difference == pytest.approx(6 / 32)
    assert made.ci == pytest.approx((-0.027090464504, 0.389697487139), abs=1e-7)
    # 12 changed, P(X <= 3) = (1 + 12 + 66 + 220) / 4096, of which X = 3 counts once instead of twice
    assert made.p == pytest.approx((2 * 299 - 220) / 4096)
    assert made.changed == 12


def test_newcombes_interval_stands_beside():
    """Newcombe 1998, Stat Med 17:2635-2650: 20, 12, 2, 16 give 0.0562 to 0.3292 for (12 - 2) / 50."""
    made = change(both=20, first_only=2, second_only=12, neither=16, confidence=0.95)

    assert made.ci_newcombe == pytest.approx((0.0562, 0.3292), abs=5e-5)


def test_the_confidence_asked_for_is_that_of_both_intervals():
    """At 50 % both intervals lie inside those of 95 % (Tango 1998, Table VII: -0.027 to 0.390) and hold the estimate."""
    half = change(both=4, first_only=3, second_only=9, neither=16, confidence=0.5)
    whole = change(both=4, first_only=3, second_only=9, neither=16, confidence=0.95)

    for narrow, wide in ((half.ci, whole.ci), (half.ci_newcombe, whole.ci_newcombe)):
        assert None not in (*narrow, *wide)
        assert wide[0] < narrow[0] < 6 / 32 < narrow[1] < wide[1]  # type: ignore[operator]


def test_nothing_judged_twice_has_no_difference():
    assert change(0, 0, 0, 0, 0.95).difference is None
    assert change(0, 0, 0, 0, 0.95).p is None


def readings(*rows: tuple[int, int]) -> pl.DataFrame:
    return pl.DataFrame(
        [
            {"procedure_id": f"P{n}", "readers": d + c, "discordant": d, "concordant": c}
            for n, (d, c) in enumerate(rows)
        ]
    )


def test_three_readers_agree_as_worked_by_hand():
    """Two categories, three readers, procedures 3-0, 0-3, 2-1, 0-3.

    Pairs that agree: 3, 3, 1, 3 of 3, so po = 10/12. Discordant 5 of 12: Fleiss chance
    (5/12)^2 + (7/12)^2 = 74/144; Gwet chance 2 (5/12)(7/12) = 70/144.
    """
    made = several(readings((3, 0), (0, 3), (2, 1), (0, 3)), 0.95)

    assert (made.n, made.readings, made.discordant, made.unanimous) == (4, 12, 5, 3)
    assert made.po == pytest.approx(10 / 12)
    assert made.kappa == pytest.approx((10 / 12 - 74 / 144) / (1 - 74 / 144))
    assert made.ac1 == pytest.approx((10 / 12 - 70 / 144) / (1 - 70 / 144))


def test_numbers_of_readers_that_differ_leave_no_kappa():
    made = several(readings((3, 0), (0, 4), (2, 1)), 0.95)

    assert (made.fewest, made.most, made.kappa) == (3, 4, None)
    assert made.ac1 is not None
    assert "number of readers differs" in made.reason


def test_readers_of_one_opinion_alone_leave_no_kappa_and_say_why():
    """All nine readings discordant: agreement is 1, and chance alone would give it too."""
    made = several(readings((3, 0), (3, 0), (3, 0)), 0.95)

    assert (made.po, made.kappa, made.unanimous) == (1, None, 3)
    assert made.reason != ""


def test_the_interval_of_several_follows_the_confidence():
    """A t interval around one estimate: its half widths are in the ratio of t(3) at 0.9 and 0.975."""
    rows = readings((3, 0), (0, 3), (2, 1), (1, 2))
    wide, narrow = several(rows, 0.95), several(rows, 0.8)

    assert narrow.ac1 - narrow.ac1_ci[0] == pytest.approx(
        (wide.ac1 - wide.ac1_ci[0]) * t.ppf(0.9, 3) / t.ppf(0.975, 3)
    )


def test_without_readings_all_counts_are_nothing():
    made = several(readings((1, 1)), 0.95)

    assert (made.n, made.fewest, made.most, made.readings, made.discordant, made.unanimous) == (0,) * 6
    assert (made.po, made.ac1, made.kappa, made.reason) == (None, None, None, "")


def test_two_readers_are_not_several(drawn: Drawn):
    judged(
        drawn,
        "P",
        ("provisional", YES, 4, {"radiologist": "R1"}),
        ("provisional", NO, 5, {"radiologist": "R2"}),
    )

    assert audit(drawn).several.n == 0


def test_the_first_reading_of_each_radiologist_counts(drawn: Drawn):
    judged(
        drawn,
        "P",
        ("provisional", YES, 4, {"radiologist": "R1"}),
        ("provisional", NO, 5, {"radiologist": "R2"}),
        ("provisional", NO, 6, {"radiologist": "R3"}),
        ("provisional", NO, 8, {"radiologist": "R1"}),
    )
    made = audit(drawn).several

    assert (made.n, made.readings, made.discordant) == (1, 3, 1)


def test_words_give_counts_only_for_few():
    made = several(readings((3, 0), (0, 3)), 0.95)

    assert words.read_by_several(made, 10) == (
        "2 procedures read by 3 radiologists each: all of one opinion on 2 of 2; 3 of 6 readings discordant. "
        "Too few for more than counts."
    )


def test_words_of_a_change_name_counts_interval_and_test(drawn: Drawn):
    """Ten procedures, one judged discordant at first and not at the meeting: (0 - 1) / 10."""
    for number in range(10):
        first = YES if number == 0 else NO
        judged(drawn, f"P{number}", ("provisional", first, 5, {}), ("joint", NO, 9, {}))
    one = audit(drawn).pairs[0]

    assert words.changed(one, 10).startswith(
        "Provisional discordant: 1 of 10; joint discordant: 0 of 10 on the same procedures, 1 judged differently: "
        "\u221210.0 percentage points from the first to the second (95 % interval "
    )
    assert words.changed(one, 11) == ""
