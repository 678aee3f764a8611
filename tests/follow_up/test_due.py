"""One line a patient: at the most urgent procedure, the others named beside it."""

from __future__ import annotations

import polars as pl

from registry.follow_up.due import one_a_patient


def lines(*rows: tuple[int, str]) -> pl.DataFrame:
    """Patient and procedure in the order of the worklist, most urgent first."""
    return pl.DataFrame(rows, schema={"patient_no": pl.Int64, "procedure_id": pl.String}, orient="row")


def test_the_order_of_the_list_is_kept_and_the_others_stand_beside_the_first():
    """Patient 7 with three lines, the most urgent first; 2 and 5 with one."""
    made = one_a_patient(lines((7, "P9"), (2, "P4"), (7, "P1"), (5, "P6"), (7, "P3")))

    assert made.rows() == [(7, "P9", "P1, P3"), (2, "P4", ""), (5, "P6", "")]


def test_many_patients_keep_their_order():
    """400 patients with two lines each, the second lines in the opposite order."""
    rows = [(number, f"P{number}") for number in range(400)]
    later = [(number, f"Q{number}") for number in reversed(range(400))]
    made = one_a_patient(lines(*rows, *later))

    assert made.rows() == [(number, f"P{number}", f"Q{number}") for number in range(400)]


def test_nobody_due_is_an_empty_list():
    assert one_a_patient(lines()).columns == ["patient_no", "procedure_id", "also"]
