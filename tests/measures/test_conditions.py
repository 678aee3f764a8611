"""Measures taken apart: what a sign asks, and in words why a statement is left as it stands."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import duckdb
import pytest

from registry.measures import conditions, load_measures
from registry.measures.conditions import Parts, parts_of
from tests.measures.statements import PLAIN

if TYPE_CHECKING:
    from collections.abc import Iterator

COLUMNS = frozenset({"procedure_id", "started_on", "site", "is_sampled", "is_index"})
BESIDE = "it reads a table beside the facts"
MORE = "it asks more than what stands in one row of the facts"


@pytest.fixture(scope="module")
def cursor() -> Iterator[duckdb.DuckDBPyConnection]:
    """The engine alone: how it reads a statement needs no tables."""
    with duckdb.connect() as connection:
        yield connection


def told(cursor: duckdb.DuckDBPyConnection, sql: str, measure: str = "cancer_at_biopsy") -> Parts | str:
    return parts_of(cursor, replace(load_measures()[measure], id="stated", sql=sql), COLUMNS)


@pytest.mark.parametrize(
    ("before", "after", "why"),
    [
        ("FROM procedure_facts", "FROM procedures", BESIDE),
        (
            "AS DATE)\n",
            "AS DATE) AND site = 'A'\n",
            "it passes over other procedures than those after the as-of date",
        ),
        ("is_index AS", "row_number() OVER () = 1 AS", MORE),
        ("is_index AS", "EXISTS (SELECT 1 FROM site_setting) AS", MORE),
        ("is_index AS", "(SELECT count(*) FROM patients) = 1 AS", BESIDE),
        ("is_index AS", "is_cancer AS", "it names what is no column of the facts"),
        ("'site b'", "site", "what it says is no fixed text"),
        ("'site b' END", "'site b' ELSE 'other' END", "what it says is no CASE"),
        ("SELECT procedure_id", "SELECT site AS procedure_id", "it does not hand on the key"),
    ],
)
def test_why_a_statement_is_left_as_it_stands(cursor, before: str, after: str, why: str):
    assert told(cursor, PLAIN.replace(before, after)) == why


def test_a_first_step_of_two_statements_is_more_than_one(cursor):
    second = "SELECT procedure_id, index_date, excluded_because, in_numerator FROM unit"

    assert told(cursor, f"WITH unit AS ({PLAIN} UNION ALL {PLAIN}) {second}") == "it has more than two steps"


@pytest.mark.parametrize("tail", ["FROM unit WHERE in_numerator", "FROM procedure_facts"])
def test_a_second_step_must_hand_on_the_rows_of_the_first(cursor, tail: str):
    second = f"SELECT procedure_id, index_date, excluded_because, in_numerator {tail}"

    assert told(cursor, f"WITH unit AS ({PLAIN}) {second}") == (
        "its second step does not hand on the rows of the first"
    )


def test_a_sampling_measure_reads_a_table_beside_the_facts(cursor):
    assert told(cursor, PLAIN, "sampling_probability") == BESIDE


@pytest.mark.parametrize("fault", [KeyError("class"), TypeError("none"), ValueError("text")])
def test_an_engine_of_other_words_leaves_the_statement_as_it_stands(cursor, monkeypatch, fault: Exception):
    def fail(*_: Any) -> None:
        raise fault

    monkeypatch.setattr(conditions, "tree_of", fail)

    # A statement that no other test asks: what was taken apart once is remembered.
    assert told(cursor, f"{PLAIN} -- {type(fault).__name__}") == (
        "the engine describes it in a form that is not known here"
    )


@pytest.mark.parametrize(
    ("asked", "reasons", "others"),
    [
        ("excluded_because = 'site b'", {"site b"}, 0),
        ("excluded_because IN ('not sampled', 'site b')", {"not sampled", "site b"}, 0),
        ("excluded_because = 'site b' AND is_index", {"site b"}, 1),
        ("is_index AND is_sampled", None, 2),
        ("site = 'B' AND is_index", None, 2),
        ("excluded_because = 'site b' AND excluded_because IN ('not sampled', 'site b')", {"site b"}, 0),
        ("excluded_because IN ('not sampled', 'site b') AND excluded_because = 'site b'", {"site b"}, 0),
    ],
)
def test_a_sign_names_reasons_and_asks_the_rest_of_the_facts(cursor, asked: str, reasons, others: int):
    first = PLAIN.replace("SELECT procedure_id", "SELECT procedure_id, is_index, is_sampled, site")
    second = (
        "SELECT procedure_id, index_date, excluded_because, in_numerator, "
        f"CASE WHEN {asked} THEN 'open' END AS unknown FROM unit"
    )
    found = told(cursor, f"WITH unit AS ({first}) {second}", "discordance")

    assert isinstance(found, Parts), found
    assert [one for one, _ in found.reasons] == ["not sampled", "site b"]
    ((sign, named, more),) = [(one.sign, one.reasons, len(one.conditions)) for one in found.signs]
    assert (sign, named, more) == ("open", reasons, others)


def test_every_condition_of_the_parts_is_told(cursor):
    assert [*Parts((("a", "one"),), (), "two", "three", "four").conditions] == ["one", "two", "three"]


def test_a_quantity_says_what_is_measured_and_what_counts_as_missing(cursor):
    sql = PLAIN.replace("is_index AS in_numerator", "1.5 AS measured, is_index AS counts_as_missing")
    found = told(cursor, sql, "tip_clearance_mm")

    assert isinstance(found, Parts), found
    assert ("1.5" in found.measured, "is_index" in found.missing, found.numerator) == (True, True, "")


def test_a_table_of_categories_has_neither_numerator_nor_value(cursor):
    found = told(cursor, PLAIN, "b_category_accuracy")

    assert isinstance(found, Parts), found
    assert [one for one, _ in found.reasons] == ["not sampled", "site b"]
    assert (found.signs, found.numerator, found.missing, found.measured) == ((), "", "", "")
