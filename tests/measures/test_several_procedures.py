"""Patients of several procedures in one scan: told apart by their numbers and their strata."""

from __future__ import annotations

import duckdb
import pytest

from registry.measures import conditions, one_scan
from registry.measures.strata import ALL, Question
from tests.measures.build import day

AS_OF = day(400)


@pytest.mark.parametrize("number", [0, 1, 2**40])
def test_a_patient_of_several_procedures_may_have_any_number(number: int):
    with duckdb.connect(":memory:") as connection:
        connection.execute(
            f"CREATE TABLE procedure_facts AS SELECT CAST({number} AS BIGINT) AS patient_no, "
            "2 AS patient_procedures, DATE '2020-01-01' AS started_on FROM range(2)"
        )
        found = one_scan.Scan(connection, Question(AS_OF), [conditions.Parts((), ())])

    assert found.patients_of_several() == [{ALL: 1}]


def test_few_patients_in_many_strata_are_told_apart():
    """Three patients, each with one procedure in each of five groups."""
    with duckdb.connect(":memory:") as connection:
        connection.execute(
            "CREATE TABLE procedure_facts AS SELECT patient_no, 5 AS patient_procedures, 'g' || g AS guidance, "
            "DATE '2020-01-01' AS started_on FROM range(3) AS p(patient_no), range(5) AS t(g)"
        )
        found = one_scan.Scan(connection, Question(AS_OF, by="guidance"), [conditions.Parts((), ())])

    assert found.patients_of_several() == [dict.fromkeys(("g0", "g1", "g2", "g3", "g4"), 3)]
