"""The filter of a cohort file: field, operator and value, joined by and, or and not.

Read strictly from JSON, so that what is not understood is named and never guessed. A tree
becomes a condition with parameters: the names in it are those of :mod:`registry.cohorts.fields`,
the operators stand in a table here, and no value of a file is ever part of a statement.

A comparison with a cell that is not recorded is neither true nor false, nor is its negation:
both leave the row unmatched, and only ``is_missing`` finds it (decision 0031).
"""

from __future__ import annotations

import math
import unicodedata
from dataclasses import dataclass
from datetime import date
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, TypeAlias

from registry.cohorts.fields import DATE, FLAG, NUMBER, FilterField, filter_fields
from registry.errors import UsageProblem

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

#: Deepest nesting, most parts in a filter, most values in a list, longest text.
DEPTH, PARTS, LISTED, LENGTH = 8, 100, 50, 64
#: Beyond this whole numbers are no longer exact in JSON.
_LARGEST = 2**53
JOINS = ("and", "or")
_SIGNS: Mapping[str, str] = MappingProxyType(
    {"eq": "=", "ne": "<>", "lt": "<", "le": "<=", "gt": ">", "ge": ">="}
)
Value: TypeAlias = "str | int | float | bool | date"


@dataclass(frozen=True)
class Comparison:
    """One field against ``values``: none for is_missing and is_present, two for between, any for a list."""

    field: str
    operator: str
    values: tuple[Value, ...] = ()


@dataclass(frozen=True)
class Joined:
    """Parts that must all hold (``join`` is and), or one of which must (or)."""

    join: str
    parts: tuple[Filter, ...]


@dataclass(frozen=True)
class Negated:
    """What must be false; not known stays not known."""

    part: Filter


Filter: TypeAlias = "Comparison | Joined | Negated"


# -- reading -----------------------------------------------------------------------


def parse(tree: object, where: str, added: Mapping[str, Sequence[str]] | None = None) -> Filter:
    """A filter from what JSON gave.

    Parameters
    ----------
    where
        Place that messages name, such as ``step 2``.
    added
        ``table.field`` -> codes that the service added.

    Raises
    ------
    UsageProblem
        What is not understood, and what is allowed in its place.
    """
    reader = _Reader(added or {})
    return reader.tree(tree, where, 1)


def shown(value: object) -> str:
    """A value as a message may repeat it: on one line and not too long."""
    text = value if isinstance(value, str) else repr(value)
    text = "".join(one if one.isprintable() else "?" for one in text[: LENGTH + 1])
    return text if len(text) <= LENGTH else f"{text[:LENGTH]}..."


class _Reader:
    def __init__(self, added: Mapping[str, Sequence[str]]) -> None:
        self._added = added
        self._parts = 0

    def tree(self, tree: object, where: str, depth: int) -> Filter:
        if depth > DEPTH:
            raise UsageProblem(f"{where}: the filter is nested more than {DEPTH} deep. Write it flatter.")
        self._parts += 1
        if self._parts > PARTS:
            raise UsageProblem(f"{where}: the filter has more than {PARTS} parts. Make steps of it.")
        if not isinstance(tree, dict):
            raise UsageProblem(
                f"{where}: {shown(tree)} is no filter. A filter is an object with field, operator and value, "
                "or with one of and, or, not."
            )
        keys = set(tree)
        for join in JOINS:
            if keys == {join}:
                return self._joined(join, tree[join], where, depth)
        if keys == {"not"}:
            return Negated(self.tree(tree["not"], f"{where}, in not", depth + 1))
        return self._comparison(tree, where)

    def _joined(self, join: str, parts: object, where: str, depth: int) -> Joined:
        if not isinstance(parts, list) or not parts:
            raise UsageProblem(f"{where}: {join} needs a list of at least one filter.")
        return Joined(
            join,
            tuple(
                self.tree(part, f"{where}, part {place} of {join}", depth + 1)
                for place, part in enumerate(parts, start=1)
            ),
        )

    def _comparison(self, tree: dict[str, Any], where: str) -> Comparison:
        if unknown := sorted(shown(key) for key in set(tree) - {"field", "operator", "value"}):
            raise UsageProblem(
                f"{where}: {', '.join(unknown)} is not known here. A filter has field, operator and value, "
                "or exactly one of and, or, not."
            )
        for key in ("field", "operator"):
            if key not in tree:
                raise UsageProblem(f"{where}: {key} is missing. A filter has field, operator and value.")
        name, operator = tree["field"], tree["operator"]
        field = filter_fields().get(name) if isinstance(name, str) else None
        if field is None:
            raise UsageProblem(
                f"{where}: {shown(name)} is no field that a cohort can be defined by. "
                f"Allowed: {', '.join(filter_fields())}."
            )
        if operator not in field.operators:
            raise UsageProblem(
                f"{where}: {shown(operator)} is no operator for {field.name}, which is a {field.kind}. "
                f"Allowed: {', '.join(field.operators)}."
            )
        return Comparison(field.name, operator, self._values(tree, field, operator, where))

    def _values(
        self, tree: dict[str, Any], field: FilterField, operator: str, where: str
    ) -> tuple[Value, ...]:
        at = f"{where}, {field.name} {operator}"
        if operator in ("is_missing", "is_present"):
            if "value" in tree:
                raise UsageProblem(f"{at}: takes no value. Take value out.")
            return ()
        if "value" not in tree:
            raise UsageProblem(f"{at}: value is missing.")
        given = tree["value"]
        if operator == "between":
            if not isinstance(given, list) or len(given) != 2:
                raise UsageProblem(f"{at}: needs a list of two values, the first and the last; both count.")
            low, high = (self._value(one, field, at) for one in given)
            if low > high:  # type: ignore[operator]
                raise UsageProblem(f"{at}: the first value is above the last. Swap them.")
            return low, high
        if operator in ("in", "not_in"):
            if not isinstance(given, list) or not 1 <= len(given) <= LISTED:
                raise UsageProblem(f"{at}: needs a list of 1 to {LISTED} values.")
            values = tuple(self._value(one, field, at) for one in given)
            if len(set(values)) < len(values):
                raise UsageProblem(f"{at}: a value stands twice in the list. Keep one.")
            return values
        return (self._value(given, field, at),)

    def _value(self, given: object, field: FilterField, at: str) -> Value:
        if field.kind == FLAG:
            if not isinstance(given, bool):
                raise UsageProblem(f"{at}: {shown(given)} is not true or false.")
            return given
        if field.kind == NUMBER:
            return self._number(given, at)
        if not isinstance(given, str):
            raise UsageProblem(f"{at}: {shown(given)} is no text. Write it in quotation marks.")
        if field.kind == DATE:
            return _day(given, at)
        self._listed(given, field, at)
        if not given or len(given) > LENGTH or any(unicodedata.category(one)[0] == "C" for one in given):
            raise UsageProblem(f"{at}: a text has 1 to {LENGTH} characters and no control characters.")
        return given

    def _number(self, given: object, at: str) -> Value:
        if isinstance(given, bool) or not isinstance(given, int | float):
            raise UsageProblem(f"{at}: {shown(given)} is no number.")
        if abs(given) > _LARGEST or not math.isfinite(given):
            raise UsageProblem(f"{at}: the number is too large.")
        number = int(given) if given == int(given) else given
        return number

    def _listed(self, given: str, field: FilterField, at: str) -> None:
        allowed = field.allowed(self._added)
        if allowed and given not in allowed:
            raise UsageProblem(
                f"{at}: {shown(given)} is no code of {field.name}. Allowed: {', '.join(allowed)}."
            )


def _day(given: str, at: str) -> date:
    try:
        found = date.fromisoformat(given)
    except ValueError:
        found = None
    if found is None or found.isoformat() != given:
        raise UsageProblem(f"{at}: {shown(given)} is no day. Write it as 2026-06-30.")
    return found


# -- writing -----------------------------------------------------------------------


def plain(tree: Filter) -> dict[str, Any]:
    """A filter as JSON holds it; :func:`parse` gives it back."""
    if isinstance(tree, Joined):
        return {tree.join: [plain(part) for part in tree.parts]}
    if isinstance(tree, Negated):
        return {"not": plain(tree.part)}
    made: dict[str, Any] = {"field": tree.field, "operator": tree.operator}
    values = [one.isoformat() if isinstance(one, date) else one for one in tree.values]
    if tree.operator in ("between", "in", "not_in"):
        made["value"] = values
    elif values:
        made["value"] = values[0]
    return made


# -- compiling ---------------------------------------------------------------------


class Compiler:
    """Filters as conditions over a relation with the columns of the export; they share ``parameters``."""

    def __init__(self, relation: str) -> None:
        self._relation = relation
        self.parameters: dict[str, Value] = {}

    def condition(self, tree: Filter) -> str:
        """Condition that is true, false or, where a cell is not recorded, unknown."""
        if isinstance(tree, Joined):
            return "(" + f" {tree.join.upper()} ".join(self.condition(part) for part in tree.parts) + ")"
        if isinstance(tree, Negated):
            return f"(NOT {self.condition(tree.part)})"
        field = filter_fields()[tree.field]
        column = f"{self._relation}.{field.name}"
        if tree.operator == "is_missing":
            return f"({column} IS NULL)"
        if tree.operator == "is_present":
            return f"({column} IS NOT NULL)"
        if field.kind == NUMBER:
            column = f"CAST({column} AS DOUBLE)"
        bound = [self._bind(value, field) for value in tree.values]
        if tree.operator == "between":
            return f"({column} BETWEEN {bound[0]} AND {bound[1]})"
        if tree.operator in ("in", "not_in"):
            sign = "IN" if tree.operator == "in" else "NOT IN"
            return f"({column} {sign} ({', '.join(bound)}))"
        return f"({column} {_SIGNS[tree.operator]} {bound[0]})"

    def _bind(self, value: Value, field: FilterField) -> str:
        name = f"filter_{len(self.parameters)}"
        self.parameters[name] = float(value) if field.kind == NUMBER else value  # type: ignore[arg-type]
        return f"CAST(${name} AS {'DOUBLE' if field.kind == NUMBER else 'DATE' if field.kind == DATE else 'BOOLEAN' if field.kind == FLAG else 'VARCHAR'})"
