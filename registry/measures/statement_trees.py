"""A statement as the engine reads it, and expressions worded again.

The engine describes a statement as a tree and words a tree as a statement, so that no second
reader of SQL is needed here. The two versions of it that are supported differ in a few words
of the tree; where both are read, the second is that of 2.x.
"""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any, TypeAlias

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping, Sequence

    import duckdb

Tree: TypeAlias = dict[str, Any]
#: What must be empty for the rows of a SELECT to be those of its table.
_CHANGES_ROWS = ("modifiers", "group_expressions", "group_sets", "having", "sample", "qualify")


_PLACES = ("query_location", "query_location_length")


class OtherForm(Exception):
    """The statement is none of the form that is asked for; the text says in what."""


def tree_of(cursor: duckdb.DuckDBPyConnection, sql: str) -> Tree:
    """The one SELECT of a text, without the places at which its words stand.

    Raises
    ------
    OtherForm
        The engine describes no other statements than SELECT.
    """
    told = json.loads(cursor.execute("SELECT json_serialize_sql(?)", [sql]).fetchall()[0][0])
    if told["error"]:
        raise OtherForm("the engine does not describe it")
    (statement,) = told["statements"]
    node: Tree = _without_places(statement["node"])
    if node["type"] != "SELECT_NODE":
        raise OtherForm("it is not one SELECT")
    return node


def _without_places(tree: Any) -> Any:
    if isinstance(tree, dict):
        return {key: _without_places(one) for key, one in tree.items() if key not in _PLACES}
    return [_without_places(one) for one in tree] if isinstance(tree, list) else tree


def steps_of(select: Tree) -> dict[str, Tree]:
    """The SELECTs named before a SELECT, by name."""
    steps = ((one["key"], one["value"]) for one in select["cte_map"]["map"])
    return {name: step["query"]["node"] if "query" in step else step["query_node"] for name, step in steps}


def table_of(select: Tree) -> str:
    """Name of the one table that a SELECT reads, whose rows are those that its WHERE leaves.

    Raises
    ------
    OtherForm
        It joins, groups, sorts or limits.
    """
    source = select["from_table"]
    if source["type"] != "BASE_TABLE" or source["alias"] or source["schema_name"]:
        raise OtherForm("it reads a table beside the facts")
    if source["sample"] or select["aggregate_handling"] != "STANDARD_HANDLING":
        raise OtherForm("its rows are not those of its table")
    if any(select[one] for one in _CHANGES_ROWS):
        raise OtherForm("its rows are not those of its table")
    return str(source["table_name"])


def expressions_of(select: Tree) -> dict[str, Tree]:
    """What a SELECT returns, by name; the expressions without their names."""
    found = {}
    for one in select["select_list"]:
        name = one["alias"] or (column_of(one) if one["class"] == "COLUMN_REF" else None)
        if name is None:
            raise OtherForm("a column has no name")
        found[name] = one | {"alias": ""}
    return found


def column_of(tree: Tree) -> str | None:
    """Name of the column that an expression is, if it is one and is named without its table."""
    if tree["class"] != "COLUMN_REF" or len(tree["column_names"]) != 1:
        return None
    return str(tree["column_names"][0])


def text_of(tree: Tree) -> str | None:
    """The text that an expression is, if it is one."""
    if tree["class"] != "CONSTANT":
        return None
    if "value" in tree:
        return str(tree["value"]["value"]) if tree["value"]["type"]["id"] == "VARCHAR" else None
    return str(tree["literal"]["text"]) if tree["literal"]["kind"] == "STRING" else None


def is_null(tree: Tree) -> bool:
    """Whether an expression is a NULL, of any type."""
    while tree["class"] == "CAST":
        tree = tree["child"]
    if tree["class"] != "CONSTANT":
        return False
    return bool(tree["value"]["is_null"]) if "value" in tree else tree["literal"]["kind"] == "NULL_LITERAL"


def replaced(tree: Any, by: Callable[[str], Tree | None]) -> Any:
    """The expression with columns replaced where ``by`` knows something for their name."""
    if isinstance(tree, dict):
        name = column_of(tree) if tree.get("class") == "COLUMN_REF" else None
        known = by(name) if name is not None else None
        return known if known is not None else {key: replaced(one, by) for key, one in tree.items()}
    return [replaced(one, by) for one in tree] if isinstance(tree, list) else tree


def nodes_of(tree: Any) -> Iterator[Tree]:
    """Every expression within one, itself included; of a query within it no more than the whole."""
    if isinstance(tree, dict):
        if "class" in tree:
            yield tree
        if tree.get("class") != "SUBQUERY":
            for one in tree.values():
                yield from nodes_of(one)
    elif isinstance(tree, list):
        for one in tree:
            yield from nodes_of(one)


def worded(cursor: duckdb.DuckDBPyConnection, expressions: Sequence[Tree]) -> list[str]:
    """Each expression as a text that the engine reads as the same expression."""
    statement: Mapping[str, Any] = tree_of(cursor, "SELECT 1")
    written = [
        json.dumps({"error": False, "statements": [{"node": {**statement, "select_list": [one]}}]})
        for one in expressions
    ]
    if not written:
        return []
    rows = cursor.execute("SELECT json_deserialize_sql(unnest(?))", [written]).fetchall()
    return [text.removeprefix("SELECT ") for (text,) in rows]
