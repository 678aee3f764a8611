"""Complications: of the procedure itself, by grade, on day 0 to 30."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from tests.measures.build import Drawn

AS_OF = 1000


@pytest.mark.parametrize(("measure", "from_grade"), [("complication", 2), ("severe_complication", 3)])
def test_grade(drawn: Drawn, measure: str, from_grade: int):
    for grade in range(1, 6):
        drawn.procedure(f"grade {grade}")
        drawn.complication(f"grade {grade}", 1, grade)
    drawn.procedure("none")
    drawn.procedure("two of them")
    drawn.complication("two of them", 1, 1)
    drawn.complication("two of them", 2, 4)

    assert drawn.built().said(measure, AS_OF) == {
        **{f"grade {grade}": grade >= from_grade for grade in range(1, 6)},
        "none": False,
        "two of them": True,
    }


@pytest.mark.parametrize("measure", ["complication", "severe_complication"])
def test_onset_on_day_0_to_30_in_an_attempted_procedure(drawn: Drawn, measure: str):
    for onset in (0, 30, 31):
        drawn.procedure(f"onset on day {onset}")
        drawn.complication(f"onset on day {onset}", onset, 4)
    for status in ("abandoned", "cancelled"):
        drawn.procedure(status, status=status)
        drawn.complication(status, 1, 4)
    for age in (29, 30):
        drawn.procedure(f"{age} days old", AS_OF - age)
        drawn.complication(f"{age} days old", AS_OF - age, 4)

    assert drawn.built().said(measure, AS_OF) == {
        "onset on day 0": True,
        "onset on day 30": True,
        "onset on day 31": False,
        "abandoned": True,
        "cancelled": "cancelled",
        "29 days old": "started fewer than 30 days before as_of",
        "30 days old": True,
    }


def test_a_complication_of_the_chain_is_not_the_procedures_own(drawn: Drawn):
    drawn.procedure("first")
    drawn.procedure("second", 5, repeat_of="first")
    drawn.complication("second", 6, 3)

    assert drawn.built().said("complication", AS_OF) == {"first": False, "second": True}


def test_a_severe_one_too_late_does_not_lend_its_grade(drawn: Drawn):
    drawn.procedure("P")
    drawn.complication("P", 3, 2)
    drawn.complication("P", 31, 5)
    drawn.built()

    assert (drawn.said("complication", AS_OF), drawn.said("severe_complication", AS_OF)) == (
        {"P": True},
        {"P": False},
    )


def test_a_complication_exists_from_its_day_on(drawn: Drawn):
    drawn.procedure("P")
    drawn.complication("P", 30, 3)
    drawn.procedure("keeps the record going", 40)
    drawn.built()

    assert drawn.asked("SELECT grade_30_days FROM procedure_facts WHERE procedure_id = 'P'", 29) == [(None,)]
    assert drawn.asked("SELECT grade_30_days FROM procedure_facts WHERE procedure_id = 'P'", 30) == [(3,)]
