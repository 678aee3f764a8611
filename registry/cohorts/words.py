"""A filter in words, for a page, a figure or a README."""

from __future__ import annotations

from typing import TYPE_CHECKING

from registry.cohorts.filters import Joined, Negated

if TYPE_CHECKING:
    from registry.cohorts.filters import Filter

_WORDS = {
    "eq": "is",
    "ne": "is not",
    "in": "is one of",
    "not_in": "is none of",
    "lt": "is below",
    "le": "is at most",
    "gt": "is above",
    "ge": "is at least",
    "between": "lies between",
    "is_missing": "is not recorded",
    "is_present": "is recorded",
}


def operator_words(operator: str) -> str:
    """An operator as it stands between a field and its value."""
    return _WORDS[operator]


def filter_words(tree: Filter) -> str:
    """A filter as one phrase; nested parts stand in brackets."""
    if isinstance(tree, Negated):
        return f"not ({filter_words(tree.part)})"
    if isinstance(tree, Joined):
        if len(tree.parts) == 1:
            return filter_words(tree.parts[0])
        return f" {tree.join} ".join(
            f"({filter_words(part)})" if isinstance(part, Joined) else filter_words(part)
            for part in tree.parts
        )
    values = ["yes" if one is True else "no" if one is False else str(one) for one in tree.values]
    said = " and ".join(values) if tree.operator == "between" else ", ".join(values)
    return " ".join([tree.field, _WORDS[tree.operator], *([said] if said else [])])
