"""Sentences on pairs and on several readers: counts for few, figures for enough, nothing where there is none."""

from __future__ import annotations

from dataclasses import replace

import pytest

from registry.agreement import Agreement
from registry.agreement.change import Change
from registry.agreement.several import Several
from registry.agreement.words import changed, read_by_several

MINUS = "\N{MINUS SIGN}"

NOTHING = dict.fromkeys(("po", "p_pos", "p_neg", "kappa", "ac1"))
#: 12 procedures: 3 discordant by both, 1 by the first alone, 4 by the second alone.
PAIR = Agreement(
    pair="stages",
    words="",
    first="provisional discordant",
    second="joint discordant",
    n=12,
    unpaired=0,
    both=3,
    first_only=1,
    second_only=4,
    neither=4,
    kappa_ci=(None, None),
    ac1_ci=(None, None),
    change=Change(0.25, (-0.05, 0.5), (-0.04, 0.49), 0.21875, 5),
    reason="",
    **NOTHING,
)
#: 10 procedures read by three or four each.
READ = Several(10, 3, 4, 33, 9, 7, 0.84, 0.715, (0.4, 1.0), None, None, "no kappa")


def test_a_change_is_said_with_both_counts_and_its_interval():
    assert changed(PAIR, 12) == (
        "Provisional discordant: 4 of 12; joint discordant: 7 of 12 on the same procedures, 5 judged differently: "
        f"+25.0 percentage points from the first to the second (95 % interval {MINUS}5.0 to +50.0 points, Tango); "
        "p 0.22 (McNemar, mid-P)."
    )


def test_without_a_procedure_judged_differently_there_is_no_test():
    same = replace(
        PAIR,
        both=4,
        first_only=0,
        second_only=0,
        neither=8,
        change=Change(0.0, (-0.24, 0.24), (-0.2, 0.2), 1.0, 0),
    )
    assert changed(same, 12) == (
        "Provisional discordant: 4 of 12; joint discordant: 4 of 12 on the same procedures, 0 judged differently: "
        f"no difference (95 % interval {MINUS}24.0 to +24.0 points, Tango)."
    )


@pytest.mark.parametrize(
    "other",
    [
        replace(PAIR, pair="flags"),
        replace(PAIR, n=11),
        replace(PAIR, change=replace(PAIR.change, difference=None)),
        replace(PAIR, change=replace(PAIR.change, p=None)),
    ],
)
def test_nothing_is_said_of_flags_of_few_and_of_no_difference(other: Agreement):
    assert changed(other, 12) == ""


def test_readings_by_several_are_said_with_counts_and_figures():
    assert read_by_several(READ, 10) == (
        "10 procedures read by 3 to 4 radiologists each: all of one opinion on 7 of 10; 9 of 33 readings discordant. "
        "Two of the readers of a procedure agree in 84 %. AC1 0.71 (0.40 to 1.00). No kappa."
    )


def test_few_are_counted_only():
    assert read_by_several(READ, 11).endswith("readings discordant. Too few for more than counts.")


def test_the_same_number_of_readers_gives_a_kappa():
    """Agreement below chance has a minus sign, not a hyphen; without limits none are written."""
    made = replace(READ, most=3, ac1=-0.125, ac1_ci=(None, None), kappa=-0.204, reason="")
    assert read_by_several(made, 10) == (
        "10 procedures read by 3 radiologists each: all of one opinion on 7 of 10; 9 of 33 readings discordant. "
        f"Two of the readers of a procedure agree in 84 %. AC1 {MINUS}0.12. Kappa (Fleiss) {MINUS}0.20."
    )


@pytest.mark.parametrize("limits", [(None, 1.0), (0.4, None)])
def test_half_an_interval_is_none(limits):
    assert "AC1 0.71. " in read_by_several(replace(READ, ac1_ci=limits), 10)


def test_what_cannot_be_said_is_left_out():
    made = replace(READ, po=None, ac1=None, ac1_ci=(None, None), reason="all readers used one category")
    assert read_by_several(made, 10).endswith("readings discordant. All readers used one category.")


def test_no_readings_by_several_are_said_so():
    none = Several(0, 0, 0, 0, 0, 0, None, None, (None, None), None, None, "")
    assert read_by_several(none, 10) == "No procedure was read by three radiologists or more."
