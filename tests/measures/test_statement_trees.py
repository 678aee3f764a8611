"""Statements as the engine reads them: what is asked of their trees, and expressions worded again."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import duckdb
import pytest

from registry.measures.statement_trees import (
    OtherForm,
    Tree,
    column_of,
    expressions_of,
    is_null,
    nodes_of,
    replaced,
    steps_of,
    table_of,
    text_of,
    tree_of,
    worded,
)

if TYPE_CHECKING:
    from collections.abc import Iterator


@pytest.fixture(scope="module")
def cursor() -> Iterator[duckdb.DuckDBPyConnection]:
    with duckdb.connect(":memory:") as connection:
        yield connection


def expression(cursor: duckdb.DuckDBPyConnection, text: str) -> Tree:
    return expressions_of(tree_of(cursor, f"SELECT {text} AS said"))["said"]


def test_a_tree_does_not_say_where_its_words_stand(cursor):
    assert "query_location" not in json.dumps(tree_of(cursor, "SELECT a + 1 AS b FROM t WHERE a > 0"))


@pytest.mark.parametrize(
    ("sql", "said"),
    [
        ("DELETE FROM t", "the engine does not describe it"),
        ("SELECT 1 UNION SELECT 2", "it is not one SELECT"),
    ],
)
def test_no_other_statement_is_read(cursor, sql, said):
    with pytest.raises(OtherForm, match=said):
        tree_of(cursor, sql)


def test_the_one_table_of_a_select(cursor):
    assert table_of(tree_of(cursor, "SELECT a FROM t WHERE a > 0")) == "t"


@pytest.mark.parametrize(
    ("sql", "said"),
    [
        ("SELECT 1", "beside the facts"),
        ("SELECT a FROM t AS u", "beside the facts"),
        ("SELECT a FROM other.t", "beside the facts"),
        ("SELECT a FROM t, u", "beside the facts"),
        ("SELECT a FROM t USING SAMPLE 5 ROWS", "not those of its table"),
        ("SELECT a FROM t TABLESAMPLE 5 ROWS", "not those of its table"),
        ("SELECT a FROM t GROUP BY ALL", "not those of its table"),
        ("SELECT a FROM t GROUP BY a", "not those of its table"),
        ("SELECT a FROM t HAVING a > 0", "not those of its table"),
        ("SELECT a FROM t ORDER BY a", "not those of its table"),
        ("SELECT a FROM t QUALIFY row_number() OVER () = 1", "not those of its table"),
    ],
)
def test_other_rows_than_those_of_one_table(cursor, sql, said):
    with pytest.raises(OtherForm, match=said):
        table_of(tree_of(cursor, sql))


def test_steps_by_name(cursor):
    steps = steps_of(
        tree_of(cursor, "WITH one AS (SELECT a FROM t), two AS (SELECT a FROM u) SELECT a FROM one")
    )

    assert {name: table_of(step) for name, step in steps.items()} == {"one": "t", "two": "u"}


@pytest.mark.parametrize(
    ("text", "name"), [("a", "a"), ("t.a", None), ("'a'", None), ("a + 1", None), ("lower(a)", None)]
)
def test_the_name_of_a_column(cursor, text, name):
    assert column_of(expression(cursor, text)) == name


@pytest.mark.parametrize(
    ("text", "found"), [("'a'", "a"), ("''", ""), ("1", None), ("a", None), ("NULL", None)]
)
def test_the_text_of_a_constant(cursor, text, found):
    assert text_of(expression(cursor, text)) == found


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("NULL", True),
        ("CAST(NULL AS VARCHAR)", True),
        ("CAST(CAST(NULL AS INTEGER) AS VARCHAR)", True),
        ("1", False),
        ("''", False),
        ("a", False),
        ("CAST(a AS VARCHAR)", False),
    ],
)
def test_what_is_null(cursor, text, found):
    assert is_null(expression(cursor, text)) is found


@pytest.mark.parametrize(
    ("kind", "text", "null"), [("STRING", "a", False), ("INTEGER", None, False), ("NULL_LITERAL", None, True)]
)
def test_constants_in_the_words_of_the_next_version(kind, text, null):
    tree = {"class": "CONSTANT", "literal": {"kind": kind, "text": "a"}}

    assert (text_of(tree), is_null(tree)) == (text, null)


def test_a_column_without_a_name_is_another_form(cursor):
    with pytest.raises(OtherForm, match="a column has no name"):
        expressions_of(tree_of(cursor, "SELECT a, a + 1 FROM t"))


def test_columns_by_the_names_they_return(cursor):
    """The name is taken off, so that an expression is the same whatever it is called."""
    found = expressions_of(tree_of(cursor, "SELECT a, a AS b, a + 1 AS c, a + 1 AS d FROM t"))

    assert list(found) == ["a", "b", "c", "d"]
    assert found["a"] == found["b"]
    assert found["c"] == found["d"]


def test_columns_are_replaced_where_something_is_known(cursor):
    known = {"a": expression(cursor, "x * 2")}
    made = replaced(expression(cursor, "a + b + t.a"), known.get)

    assert worded(cursor, [made]) == worded(cursor, [expression(cursor, "x * 2 + b + t.a")])


def test_every_expression_but_those_of_a_query_within(cursor):
    tree = expression(cursor, "CASE WHEN a = 1 THEN (SELECT max(b) FROM u) END")

    assert [one["class"] for one in nodes_of(tree) if one["class"] == "SUBQUERY"] == ["SUBQUERY"]
    assert [column_of(one) for one in nodes_of(tree) if one["class"] == "COLUMN_REF"] == ["a"]


def test_expressions_are_worded_one_by_one_and_read_the_same(cursor):
    trees = [expression(cursor, text) for text in ("a = 'x' AND NOT b", "coalesce(a, 1) IN (1, 2)", "a")]
    texts = worded(cursor, trees)

    assert [expression(cursor, text) for text in texts] == trees
    assert texts[2] == "a"


def test_nothing_to_word_is_nothing(cursor):
    assert worded(cursor, []) == []
