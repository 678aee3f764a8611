"""The kept facts: refreshed one by one as if rebuilt, and an earlier day beside them."""

from __future__ import annotations

from random import Random
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from registry import facts
from registry.sqlfiles import folder
from tests.measures import random_rows
from tests.measures.build import TABLES, Drawn, day

if TYPE_CHECKING:
    from collections.abc import Callable

QUERY = "SELECT * EXCLUDE (patient_no) FROM procedure_facts ORDER BY procedure_id"


def refresh(drawn: Drawn, *ids: str) -> None:
    drawn.write()
    with drawn.cursor() as cursor:
        cursor.execute("BEGIN")
        facts.refresh(cursor, ids)
        cursor.execute("COMMIT")


def kept_and_rebuilt(drawn: Drawn) -> tuple[list[tuple[Any, ...]], list[tuple[Any, ...]]]:
    kept = drawn.run(QUERY)
    return kept, drawn.built().run(QUERY)


def without_reports(drawn: Drawn) -> None:
    drawn.rows["pathology"].clear()


def with_report(drawn: Drawn) -> None:
    drawn.report("second", "invasive", version=2)


def with_excision(drawn: Drawn) -> None:
    drawn.excision("second", 40, "invasive")


def with_death(drawn: Drawn) -> None:
    drawn.event("second", "death", 50)


def without_repeat(drawn: Drawn) -> None:
    drawn.rows["procedures"][1]["repeat_of"] = None


def withdrawn(drawn: Drawn) -> None:
    del drawn.rows["procedures"][1]
    drawn.rows["procedures"][1]["repeat_of"] = "first"


def of_another_patient(drawn: Drawn) -> None:
    drawn.rows["findings"][0]["patient"] = "other patient"


def at_another_finding(drawn: Drawn) -> None:
    drawn.rows["procedures"][1]["finding_id"] = "other finding"


def cancelled(drawn: Drawn) -> None:
    drawn.rows["procedures"][1]["status"] = "cancelled"


def seen_elsewhere(drawn: Drawn) -> None:
    drawn.rows["findings"][0]["correlate"] = "none"


@pytest.mark.parametrize(
    "change",
    [
        without_reports,
        with_report,
        with_excision,
        with_death,
        without_repeat,
        withdrawn,
        of_another_patient,
        at_another_finding,
        cancelled,
        seen_elsewhere,
    ],
)
def test_a_refresh_of_what_changed_is_a_rebuild(drawn: Drawn, change: Callable[[Drawn], None]):
    """A chain of three, of which the second changes, and the patient's other finding."""
    drawn.finding("finding", "patient")
    drawn.finding("other finding", "patient", correlate="mammography")
    drawn.patient("other patient")
    drawn.finding("third finding", "other patient")
    drawn.procedure("first", 0, finding="finding")
    drawn.procedure("second", 10, repeat_of="first")
    drawn.procedure("third", 20, repeat_of="second")
    drawn.procedure("elsewhere", 5, finding="other finding", status="cancelled")
    drawn.procedure("of the other patient", 5, finding="third finding")
    for key in ("first", "second", "third", "elsewhere"):
        drawn.report(key)
        drawn.imaging(key, 700, modality="mammography")
    drawn.built()
    change(drawn)
    refresh(drawn, "second", *(["first"] if change in (seen_elsewhere, of_another_patient) else []))
    kept, rebuilt = kept_and_rebuilt(drawn)

    assert kept == rebuilt


@settings(max_examples=10, suppress_health_check=[HealthCheck.too_slow, HealthCheck.function_scoped_fixture])
@given(seed=st.integers(min_value=0, max_value=10**9))
def test_refreshing_every_procedure_of_one_drawing_for_another_is_a_rebuild(scene: Drawn, seed: int):
    """One registry becomes another; all procedures of both are named as changed."""
    random = Random(seed)
    scene.rows = {table: [] for table in TABLES}
    random_rows.draw(scene, random)
    ids = {one["procedure_id"] for one in scene.built().rows["procedures"]}
    scene.rows = {table: [] for table in TABLES}
    random_rows.draw(scene, random)
    refresh(scene, *sorted(ids | {one["procedure_id"] for one in scene.rows["procedures"]}))
    kept, rebuilt = kept_and_rebuilt(scene)

    assert kept == rebuilt


@settings(max_examples=5, suppress_health_check=[HealthCheck.too_slow, HealthCheck.function_scoped_fixture])
@given(seed=st.integers(min_value=0, max_value=10**9))
def test_a_refresh_of_one_procedure_that_did_not_change_gives_its_row_again(scene: Drawn, seed: int):
    """Most patients have one procedure, and their rows are derived by a shorter statement."""
    scene.rows = {table: [] for table in TABLES}
    random_rows.draw(scene, Random(seed))
    built = scene.built().run(QUERY)
    for one in scene.rows["procedures"]:
        refresh(scene, one["procedure_id"])

    assert scene.run(QUERY) == built


@pytest.mark.parametrize("column", ["diagnosis", "b_category"])
def test_the_rank_of_a_code_in_a_statement_is_that_of_the_list(drawn: Drawn, column: str):
    ranks = dict(drawn.run("SELECT code, rank FROM code_rank WHERE list = ?", [column]))
    drawn.procedure("P")
    for code in ranks:
        drawn.report("P", report_id=code, **{column: code})
    drawn.built()
    place = {"diagnosis": "diagnosis_rank", "b_category": "b_rank"}[column]
    found = drawn.run(
        f"WITH {facts.relations()} SELECT report_id, {place} FROM current_report_facts",
        {"as_of": day(9999)},
    )

    assert ranks
    assert dict(found) == ranks


def test_patients_keep_apart_after_a_refresh(drawn: Drawn):
    for key in ("one", "two", "three"):
        drawn.procedure(key)
    drawn.built()
    refresh(drawn, "two")

    assert drawn.run("SELECT count(DISTINCT patient_no) FROM procedure_facts") == [(3,)]


def test_a_refresh_of_nothing_changes_nothing(drawn: Drawn):
    drawn.procedure("P")
    before = drawn.built().run(QUERY)
    refresh(drawn)

    assert drawn.run(QUERY) == before


def latest(drawn: Drawn) -> Any:
    return drawn.run("SELECT latest_on FROM facts_state")[0][0]


def test_the_latest_day_is_that_of_the_newest_record(drawn: Drawn):
    assert latest(drawn.built()) is None
    drawn.procedure("P", 10)
    assert latest(drawn.built()) == day(10)
    dated: list[Callable[[], object]] = [
        lambda: drawn.report("P", on=20),
        lambda: drawn.review("P", "concordant", 30),
        lambda: drawn.event("P", "contact", 40),
        lambda: drawn.complication("P", 50, 1),
        lambda: drawn.patient("other", died=60),
        lambda: drawn.procedure("Q", 70),
    ]
    for number, add in enumerate(dated, start=2):
        add()
        refresh(drawn, "P")
        assert latest(drawn) == day(10 * number)


def test_an_earlier_day_hides_what_came_after_and_leaves_the_kept_facts(drawn: Drawn):
    drawn.procedure("P", 10)
    drawn.report("P", on=20)
    drawn.built()

    assert drawn.asked("SELECT is_reported FROM procedure_facts", 19) == [(False,)]
    assert drawn.asked("SELECT is_reported FROM procedure_facts", 20) == [(True,)]
    assert drawn.asked("SELECT count(*) FROM procedure_facts", 9) == [(0,)]
    assert drawn.run("SELECT is_reported FROM procedure_facts") == [(True,)]


def test_another_cursor_does_not_see_the_earlier_day(drawn: Drawn):
    drawn.procedure("P", 10)
    drawn.built()
    with facts.at(drawn, day(9)) as cursor:
        assert cursor.execute("SELECT count(*) FROM procedure_facts").fetchall() == [(0,)]
        assert drawn.run("SELECT count(*) FROM procedure_facts") == [(1,)]


def test_facts_are_current_until_what_defines_them_changes(drawn: Drawn):
    drawn.built()
    with drawn.cursor() as cursor:
        assert facts.is_current(cursor)
        cursor.execute("UPDATE tracer_half_life SET half_life_min = half_life_min + 1")
        assert not facts.is_current(cursor)
        cursor.execute("UPDATE tracer_half_life SET half_life_min = half_life_min - 1")


def test_facts_that_were_never_built_are_not_current():
    fresh = Drawn()
    with fresh.cursor() as cursor:
        assert not facts.is_current(cursor)
    fresh.close()


def test_every_statement_of_the_folder_is_used():
    found = {one.name.removesuffix(".sql") for one in folder("facts").iterdir() if one.name.endswith(".sql")}

    assert found == set(facts.STEPS)


def test_every_column_of_the_facts_is_explained(drawn: Drawn):
    rows = drawn.run(
        "SELECT column_name, comment FROM duckdb_columns() "
        "WHERE table_name IN ('procedure_facts', 'code_rank', 'tracer_half_life')"
    )

    assert rows
    assert [name for name, comment in rows if not comment] == []
