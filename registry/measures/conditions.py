"""What each measure asks of a procedure, read from its statement as single conditions.

Most measures are one SELECT over ``procedure_facts``, which leaves a procedure out for the
first reason that applies. Taken apart, they ask the same few conditions again and again, and
one scan can answer all of them (:mod:`registry.measures.one_scan`). A statement of another
form is not taken apart and is put to the facts as it stands.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from registry.measures.definition import PROPORTION, QUANTITY, SAMPLING
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

    import duckdb

    from registry.measures.definition import Measure

#: The only procedures that every measure passes over in silence are those after the as-of date.
STARTED = "started_on <= CAST($as_of AS DATE)"
#: What an expression over one row is made of.
_OF_ONE_ROW = frozenset(
    {"COLUMN_REF", "CONSTANT", "PARAMETER", "COMPARISON", "CONJUNCTION", "OPERATOR"}
    | {"CAST", "TYPE", "FUNCTION", "BETWEEN", "CASE"}
)
_REASON = "excluded_because"
_BESIDE = "it reads a table beside the facts"


@dataclass(frozen=True)
class Sign:
    """What a measure says of an unknown outcome: of procedures left out for one of ``reasons``
    (None: for any of them) of which all ``conditions`` hold."""

    sign: str
    reasons: frozenset[str] | None
    conditions: tuple[str, ...]


@dataclass(frozen=True)
class Parts:
    """A measure as expressions over ``procedure_facts``.

    ``reasons`` are pairs (reason, condition) and ``signs`` stand in the order in which they
    apply: the first that holds decides, and what is NULL does not hold. ``numerator`` and
    ``missing`` are conditions, ``measured`` is a number; empty where the kind has none.
    """

    reasons: tuple[tuple[str, str], ...]
    signs: tuple[Sign, ...]
    numerator: str = ""
    missing: str = ""
    measured: str = ""

    @property
    def conditions(self) -> Iterator[str]:
        """Every condition, some of them more than once."""
        yield from (condition for _, condition in self.reasons)
        yield from (condition for one in self.signs for condition in one.conditions)
        yield from filter(None, (self.numerator, self.missing))


_known: dict[tuple[Measure, frozenset[str]], Parts | str] = {}


def parts_of(cursor: duckdb.DuckDBPyConnection, measure: Measure, columns: frozenset[str]) -> Parts | str:
    """A measure taken apart, or in words why it is not.

    Parameters
    ----------
    cursor
        Any: the engine is asked how it reads the statement, and nothing of the registry.
    columns
        Those of ``procedure_facts``.
    """
    key = measure, columns
    if key not in _known:
        try:
            _known[key] = _taken_apart(cursor, measure, columns)
        except OtherForm as form:
            _known[key] = str(form)
        except (KeyError, TypeError, ValueError):
            # Another version of the engine may describe a statement in words of its own.
            _known[key] = "the engine describes it in a form that is not known here"
    return _known[key]


def _taken_apart(cursor: duckdb.DuckDBPyConnection, measure: Measure, columns: frozenset[str]) -> Parts:
    if measure.kind == SAMPLING:
        raise OtherForm(_BESIDE)
    said = _said(cursor, measure)
    reasons = [*_first_of(said[_REASON])]
    signs = (
        [(sign, *_when(condition)) for sign, condition in _first_of(said["unknown"])]
        if measure.bounds
        else []
    )
    lone = {PROPORTION: ("in_numerator",), QUANTITY: ("counts_as_missing", "measured")}.get(measure.kind, ())
    expressions = [condition for _, condition in reasons]
    expressions += [condition for _, _, conditions in signs for condition in conditions]
    expressions += [said[name] for name in lone]
    for one in expressions:
        _check(one, columns)
    words = iter(worded(cursor, expressions))
    return Parts(
        tuple((reason, next(words)) for reason, _ in reasons),
        tuple(Sign(sign, of, tuple(next(words) for _ in conditions)) for sign, of, conditions in signs),
        **{_FIELDS[name]: next(words) for name in lone},
    )


_FIELDS = {"in_numerator": "numerator", "counts_as_missing": "missing", "measured": "measured"}


def _said(cursor: duckdb.DuckDBPyConnection, measure: Measure) -> dict[str, Tree]:
    """What a measure says of each procedure, as expressions over the facts.

    Where it says it in two steps, the second names what the first worked out: there the
    first is put in, but for the reason, which stays a name.
    """
    select = tree_of(cursor, measure.body)
    steps = steps_of(select)
    inner = next(iter(steps.values()), select)
    if len(steps) > 1 or inner["type"] != "SELECT_NODE" or (steps and steps_of(inner)):
        raise OtherForm("it has more than two steps")
    if table_of(inner) != "procedure_facts":
        raise OtherForm(_BESIDE)
    if inner["where_clause"] != tree_of(cursor, f"SELECT 1 WHERE {STARTED}")["where_clause"]:
        raise OtherForm("it passes over other procedures than those after the as-of date")
    said = expressions_of(inner)
    if steps:
        if table_of(select) not in steps or select["where_clause"]:
            raise OtherForm("its second step does not hand on the rows of the first")
        first, second = said, expressions_of(select)
        said = {
            name: replaced(one, lambda column: None if column == _REASON else first.get(column))
            for name, one in second.items()
        }
        if column_of(second[_REASON]) == _REASON:
            said[_REASON] = first[_REASON]
    if column_of(said["procedure_id"]) != "procedure_id":
        raise OtherForm("it does not hand on the key")
    return said


def _first_of(tree: Tree) -> Iterator[tuple[str, Tree]]:
    """(what is said, when) of a CASE that says fixed texts, else nothing."""
    if is_null(tree):
        return
    if tree["class"] != "CASE" or not is_null(tree["else_expr"]):
        raise OtherForm("what it says is no CASE")
    for one in tree["case_checks"]:
        text = text_of(one["then_expr"])
        if text is None:
            raise OtherForm("what it says is no fixed text")
        yield text, one["when_expr"]


def _when(condition: Tree) -> tuple[frozenset[str] | None, list[Tree]]:
    """Reasons for being left out that a condition names, and what else it asks."""
    both = condition["children"] if condition["type"] == "CONJUNCTION_AND" else [condition]
    reasons, others = None, []
    for one in both:
        named = _reasons_named(one)
        if named is None:
            others.append(one)
        else:
            reasons = named if reasons is None else reasons & named
    return reasons, others


def _reasons_named(condition: Tree) -> frozenset[str] | None:
    """The reasons of ``excluded_because = ...`` and ``excluded_because IN (...)``."""
    if condition["type"] == "COMPARE_EQUAL":
        one, *others = condition["left"], condition["right"]
    elif condition["type"] == "COMPARE_IN":
        one, *others = condition["children"]
    else:
        return None
    texts = [text_of(other) for other in others]
    if column_of(one) != _REASON or None in texts:
        return None
    return frozenset(text for text in texts if text is not None)


def _check(tree: Tree, columns: frozenset[str]) -> None:
    """Refuse what one row of the facts and the site's settings do not answer."""
    for one in nodes_of(tree):
        if one["class"] == "SUBQUERY" and one["subquery_type"] == "SCALAR":
            if table_of(one["subquery"]["node"]) != "site_setting":
                raise OtherForm(_BESIDE)
        elif one["class"] not in _OF_ONE_ROW:
            raise OtherForm("it asks more than what stands in one row of the facts")
        elif one["class"] == "COLUMN_REF" and column_of(one) not in columns:
            raise OtherForm("it names what is no column of the facts")
