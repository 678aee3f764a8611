"""All measures counted in one scan, against each statement run by itself and counted in Python."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field, replace
from datetime import datetime
from random import Random
from typing import TYPE_CHECKING, Any

import duckdb
import polars as pl
import pytest

from registry import facts
from registry.measures import conditions, counting, load_measures, one_scan
from registry.measures.strata import ALL, NOT_RECORDED, Question
from tests.measures import random_rows
from tests.measures.build import TABLES, Drawn, day
from tests.measures.statements import PLAIN

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import date

    from registry.measures.definition import Measure

MEASURES = load_measures()
SEED = 1
RECORDED = {"recorded_at": datetime(2026, 1, 1), "author": "test", "batch_id": 1}
COUNTED = [one for one in MEASURES.values() if one.kind in ("proportion", "quantity")]
#: Measure -> why it is put to the facts by itself.
BY_ITSELF = {
    "sampling_probability": "it reads a table beside the facts",
    "uptake_time_kept": "it reads a table beside the facts",
}


@pytest.fixture(scope="module")
def dense() -> Iterator[Drawn]:
    """Some six hundred patients, most of them with several procedures, on and beside every window."""
    made = Drawn()
    random, rows = Random(SEED), made.rows
    for number in range(300):
        made.rows = {table: [] for table in TABLES}
        random_rows.draw(made, random)
        for table, drawn in made.rows.items():
            rows[table] += [{name: _apart(value, number) for name, value in row.items()} for row in drawn]
    made.rows = rows
    for row in rows["procedures"]:
        row["root_id"] = made.root(row["procedure_id"])
    with made.cursor() as cursor:
        for table, drawn in rows.items():
            frame = pl.DataFrame([{**row, **RECORDED} for row in drawn], infer_schema_length=None)
            cursor.register("drawn_rows", frame.to_arrow())
            cursor.execute(f"INSERT INTO main.{table} BY NAME SELECT * FROM drawn_rows")
            cursor.unregister("drawn_rows")
        cursor.execute("BEGIN")
        facts.rebuild(cursor)
        cursor.execute("COMMIT")
    yield made
    made.close()


def _apart(value: Any, number: int) -> Any:
    """Names of patients, findings and procedures are the same in each drawing."""
    return (
        f"{number}, {value}"
        if isinstance(value, str) and value.startswith(("patient ", "finding "))
        else value
    )


@dataclass
class Loop:
    """What is counted of one measure in one stratum."""

    denominator: int = 0
    numerator: int = 0
    missing: int = 0
    people: set[str] = field(default_factory=set)
    excluded: Counter[str] = field(default_factory=Counter)
    unknown: Counter[str] = field(default_factory=Counter)
    values: list[float] = field(default_factory=list)


def rows_of(scene: Drawn, sql: str, as_of: date) -> list[dict[str, Any]]:
    with facts.at(scene, as_of) as cursor:
        told = cursor.execute(sql, {"as_of": as_of} if "$as_of" in sql else None)
        names = [str(one[0]) for one in told.description or ()]
        return [dict(zip(names, row, strict=True)) for row in told.fetchall()]


def stratum_of(fact: dict[str, Any], by: str | None) -> str:
    started = fact["started_on"]
    if by is None:
        return ALL
    if by == "quarter":
        return f"{started.year}-Q{(started.month + 2) // 3}"
    value = started.year if by == "year" else fact[by]
    return NOT_RECORDED if value is None else str(value)


def facts_of(scene: Drawn, as_of: date) -> dict[str, dict[str, Any]]:
    return {one["procedure_id"]: one for one in rows_of(scene, "SELECT * FROM procedure_facts", as_of)}


def by_loops(
    scene: Drawn, measure: Measure, question: Question, known: dict[str, dict[str, Any]]
) -> dict[str, Loop]:
    """Stratum -> what the rows of the statement as it stands come to, one by one."""
    found: dict[str, Loop] = {} if question.by else {ALL: Loop()}
    for told in rows_of(scene, measure.body, question.as_of):
        fact = known[told["procedure_id"]]
        if (
            fact["started_on"] < (question.start or fact["started_on"])
            or fact["started_on"] > (question.end or fact["started_on"])
            or any(stratum_of(fact, name) != value for name, value in question.within.items())
            or told["procedure_id"] not in (question.among or told["procedure_id"])
        ):
            continue
        loop = found.setdefault(stratum_of(fact, question.by), Loop())
        reason = told["excluded_because"]
        if reason is None:
            loop.denominator += 1
            loop.people.add(fact["patient"])
            loop.numerator += told.get("in_numerator") is True
            if measure.kind == "quantity":
                loop.values.append(told["measured"])
            continue
        loop.excluded[reason] += 1
        if measure.bounds and told["unknown"] is not None:
            loop.unknown[told["unknown"]] += 1
        if reason not in ("not sampled", "repeat procedure") and told.get("counts_as_missing") is True:
            loop.missing += 1
    return found


def assert_same(scene: Drawn, measures: list[Measure], question: Question) -> None:
    with counting.classified(scene, question) as units:
        counts, values = counting.count_and_measure(units, measures)
    known = facts_of(scene, question.as_of)
    for measure in measures:
        loops = by_loops(scene, measure, question, known)
        assert {stratum for name, stratum in counts if name == measure.id} == set(loops), measure.id
        for stratum, loop in loops.items():
            wanted = counting.Counts(
                loop.denominator,
                loop.numerator,
                len(loop.people),
                loop.missing,
                dict(loop.excluded),
                dict(loop.unknown),
            )
            assert (measure.id, stratum, counts[measure.id, stratum]) == (measure.id, stratum, wanted)
            measured = sorted(values.get((measure.id, stratum), ()))
            assert (measure.id, stratum, measured) == (measure.id, stratum, sorted(loop.values))


AS_OF = day(random_rows.AS_OF)
QUESTIONS = {
    "everything": Question(AS_OF),
    "an earlier day": Question(day(random_rows.AS_OF - 400)),
    "before the first procedure": Question(day(-1000)),
    "by guidance": Question(AS_OF, by="guidance"),
    "by a number that is sometimes missing": Question(AS_OF, by="gauge"),
    "by quarter, in a period": Question(AS_OF, day(100), day(640), by="quarter"),
    "by year on an earlier day": Question(day(random_rows.AS_OF - 400), by="year"),
    "at one site, by device": Question(AS_OF, by="device", within={"site": "A"}),
    "where nothing is": Question(AS_OF, by="site", within={"site": "elsewhere"}),
}


@pytest.mark.parametrize("question", QUESTIONS.values(), ids=[*QUESTIONS])
def test_one_scan_counts_what_each_statement_says(dense: Drawn, question: Question):
    assert_same(dense, COUNTED, question)


def test_one_scan_counts_among_some_procedures(dense: Drawn):
    some = [row["procedure_id"] for row in dense.rows["procedures"][::3]]

    assert_same(dense, COUNTED, Question(AS_OF, by="site", among=some))


def test_parts_of_the_rows_add_up(dense: Drawn, monkeypatch: pytest.MonkeyPatch):
    """Seven rows at a time: patients and strata are spread over the parts."""
    monkeypatch.setattr(one_scan, "_ROWS", 7)

    assert_same(dense, COUNTED, Question(AS_OF, by="guidance"))


def test_each_by_itself_counts_the_same(dense: Drawn, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(counting, "parts_of", lambda *_: "none is taken apart here")

    assert_same(dense, COUNTED, Question(AS_OF, by="gauge"))


def test_the_dense_registry_leaves_nothing_out(dense: Drawn):
    """Every measure has kept procedures, and each of its reasons and signs is met; else the others prove little."""
    known = facts_of(dense, AS_OF)
    for measure in COUNTED:
        (loop,) = by_loops(dense, measure, Question(AS_OF), known).values()
        assert loop.denominator, measure.id
        assert set(loop.excluded) == set(measure.reasons), measure.id
        assert bool(loop.unknown) == bool(measure.bounds), measure.id
        assert len(loop.people) < loop.denominator or loop.denominator < 50, measure.id


def test_all_measures_but_those_with_a_reason_are_counted_in_one_scan(dense: Drawn):
    with counting.classified(dense, Question(AS_OF)) as units:
        told = {one.id: units.parts(one) for one in MEASURES.values()}

    assert {name: why for name, why in told.items() if isinstance(why, str)} == BY_ITSELF


# -- statements that are not of the form ---------------------------------------------------


def stated(sql: str) -> Measure:
    """A measure of one's own: its header is that of another."""
    return replace(MEASURES["cancer_at_biopsy"], id="stated", sql=sql, exclusions=())


def told_of(scene: Drawn, sql: str) -> conditions.Parts | str:
    with counting.classified(scene, Question(AS_OF)) as units:
        return units.parts(stated(sql))


def test_the_plain_form_is_taken_apart(dense: Drawn):
    told = told_of(dense, PLAIN)

    assert not isinstance(told, str)
    assert [reason for reason, _ in told.reasons] == ["not sampled", "site b"]


@pytest.mark.parametrize(
    ("before", "after"),
    [
        ("SELECT procedure_id", "SELECT DISTINCT procedure_id"),
        ("AS DATE)\n", "AS DATE)\nLIMIT 5\n"),
        ("AS DATE)\n", "AS DATE) AND site = 'A'\n"),
        ("started_on <=", "started_on <"),
        ("WHERE started_on <= CAST($as_of AS DATE)", "WHERE $as_of IS NOT NULL"),
        (
            "AS DATE)\n",
            "AS DATE)\nQUALIFY row_number() OVER (PARTITION BY patient ORDER BY procedure_id) = 1\n",
        ),
        ("FROM procedure_facts", "FROM procedure_facts JOIN patients USING (patient)"),
        ("FROM procedure_facts", "FROM procedures"),
        ("FROM procedure_facts", "FROM procedure_facts TABLESAMPLE 50 PERCENT (bernoulli)"),
        ("is_index AS", "row_number() OVER () = 1 AS"),
        ("is_index AS", "(SELECT count(*) FROM patients) = 1 AS"),
        ("is_index AS", "EXISTS (SELECT 1 FROM site_setting) AS"),
        ("is_index AS", "is_index AND excluded_because IS NULL AS"),
        ("'site b'", "site"),
        ("'site b' END", "'site b' ELSE 'other' END"),
        ("SELECT procedure_id", "SELECT 'P' || procedure_id AS procedure_id"),
    ],
)
def test_another_form_is_put_to_the_facts_as_it_stands(dense: Drawn, before: str, after: str):
    assert before in PLAIN
    assert isinstance(told_of(dense, PLAIN.replace(before, after)), str)


@pytest.mark.parametrize("tail", ["WHERE site = 'A'", "ORDER BY procedure_id LIMIT 3", "GROUP BY ALL"])
def test_a_second_step_that_changes_the_rows_is_another_form(dense: Drawn, tail: str):
    columns = "procedure_id, index_date, excluded_because, in_numerator"
    two_steps = f"WITH unit AS ({PLAIN.replace('SELECT', 'SELECT site,', 1)}) SELECT {columns} FROM unit"

    assert not isinstance(told_of(dense, two_steps), str)
    assert isinstance(told_of(dense, f"{two_steps} {tail}"), str)


def test_a_reason_for_everybody_is_another_form(dense: Drawn):
    before, _, after = PLAIN.partition("CASE")
    told = told_of(dense, f"{before}'nobody' {after[after.index('AS excluded_because') :]}")

    assert told == "what it says is no CASE"


def test_three_steps_are_another_form(dense: Drawn):
    """The third leaves procedures out, which the first two would not tell."""
    columns = "procedure_id, index_date, excluded_because, in_numerator"
    steps = f"WITH unit AS ({PLAIN}), kept AS (SELECT * FROM unit WHERE in_numerator)"

    assert told_of(dense, f"{steps} SELECT {columns} FROM kept") == "it has more than two steps"


def test_more_reasons_than_a_byte_holds_are_another_form(dense: Drawn):
    cases = " ".join(f"WHEN gauge = {number} THEN 'gauge {number}'" for number in range(20))

    assert (
        told_of(dense, PLAIN.replace("WHEN site = 'B' THEN 'site b'", cases))
        == "it says more than a byte holds"
    )


def test_what_is_null_does_not_hold_and_the_first_decides(dense: Drawn):
    """Conditions that are NULL, hold together, or ask two things of an unknown outcome."""
    body = """
        WITH unit AS (
            SELECT procedure_id, started_on, gauge,
                CASE
                    WHEN gauge = 8 THEN 'eight'
                    WHEN gauge IS NULL AND site = 'A' THEN 'none at a'
                    WHEN NOT (gauge = 8) AND residual <> 'none' THEN 'residual'
                    WHEN coalesce(target_seen = 'yes', NULL) THEN 'seen'
                END AS excluded_because,
                marker = 'placed' AS in_numerator
            FROM procedure_facts
            WHERE started_on <= CAST($as_of AS DATE)
        )
        SELECT procedure_id, started_on AS index_date, excluded_because, in_numerator,
            CASE
                WHEN excluded_because IN ('eight', 'seen') AND in_numerator THEN 'u'
                WHEN excluded_because = 'eight' THEN 'v'
                WHEN gauge IS NULL THEN 'u'
            END AS unknown
        FROM unit
    """
    exclusions = tuple(
        replace(MEASURES["cancer_at_biopsy"].exclusions[0], reason=one)
        for one in ("eight", "none at a", "residual", "seen")
    )
    measure = replace(MEASURES["discordance"], id="stated", sql=body, exclusions=exclusions)
    assert not isinstance(told_of(dense, body), str)

    assert_same(dense, [measure], Question(AS_OF, by="guidance"))
    (loop,) = by_loops(dense, measure, Question(AS_OF), facts_of(dense, AS_OF)).values()
    assert set(loop.excluded) == {"eight", "none at a", "residual", "seen"}
    assert set(loop.unknown) == {"u", "v"}


def test_what_the_engine_raises_amid_the_rows_keeps_its_kind():
    """By its kind the store knows whether the file is damaged or the memory too small."""
    with duckdb.connect(":memory:") as connection:
        connection.execute(
            "CREATE TABLE procedure_facts AS SELECT number, number AS patient_no, 1 AS patient_procedures, "
            "DATE '2020-01-01' AS started_on FROM range(400000) AS t(number)"
        )
        parts = conditions.Parts(
            (("broken", "CASE WHEN number < 300000 THEN FALSE ELSE CAST(error('broken') AS BOOLEAN) END"),),
            (),
        )

        with pytest.raises(duckdb.InvalidInputException, match="broken"):
            one_scan.Scan(connection, Question(AS_OF), [parts])


@pytest.mark.parametrize(
    ("reasons", "signs", "fits"), [(14, 3, True), (15, 0, False), (0, 4, False), (0, 0, True)]
)
def test_what_a_byte_holds(reasons: int, signs: int, fits: bool):
    """16 numbers less kept and counted are 14 reasons; 64 / 16 less none are 3 signs."""
    sign = conditions.Sign("u", None, ())

    assert one_scan.fits(conditions.Parts((("reason", "true"),) * reasons, (sign,) * signs)) is fits


@pytest.mark.parametrize(("each", "several"), [(1, 0), (2, 2)])
def test_patients_of_several_procedures_are_counted_once(each: int, several: int):
    """Two patients with one procedure each, and with two: of the first patient both are kept, of the other one."""
    with duckdb.connect(":memory:") as connection:
        connection.execute(
            f"CREATE TABLE procedure_facts AS SELECT patient_no, {each} AS patient_procedures, number, "
            f"DATE '2020-01-01' AS started_on FROM range(2) AS p(patient_no), range({each}) AS t(number)"
        )
        parts = conditions.Parts((("left out", "patient_no = 1 AND number = 1"),), (), numerator="true")
        found = one_scan.Scan(connection, Question(AS_OF), [parts])

    assert found.patients_of_several() == [{ALL: several}]
    assert sum(one.units for one in found.cells(0) if one.reason is None) == 2 * each - (each == 2)


@pytest.mark.parametrize(("left_out", "values"), [("true", {}), ("false", {ALL: [7.0, 7.0]})])
def test_where_nothing_is_kept_there_are_no_values(left_out: str, values: dict[str, list[float]]):
    with duckdb.connect(":memory:") as connection:
        connection.execute(
            "CREATE TABLE procedure_facts AS SELECT number AS patient_no, 1 AS patient_procedures, 7 AS size, "
            "DATE '2020-01-01' AS started_on FROM range(2) AS t(number)"
        )
        parts = conditions.Parts((("left out", left_out),), (), measured="size")
        found = one_scan.Scan(connection, Question(AS_OF), [parts])

    assert {name: one.tolist() for name, one in found.values(0).items()} == values
