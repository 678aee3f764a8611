"""Measures of the handbook that hold the words searched for."""

from __future__ import annotations

from typing import TYPE_CHECKING

from dashboards.components.groups import QUESTIONS, group_of
from registry.measures import load_measures

if TYPE_CHECKING:
    from registry.measures import Measure


def matching(wanted: str) -> list[tuple[str, list[Measure]]]:
    """Groups with the measures in which every word stands, in the order of the questions.

    Parameters
    ----------
    wanted
        Words; all measures where it is empty.
    """
    words = wanted.lower().split()
    found: dict[str, list[Measure]] = {}
    for one in load_measures().values():
        text = " ".join(str(part) for part in (*vars(one).values(), *one.reasons)).lower()
        if all(word in text for word in words):
            found.setdefault(group_of(one), []).append(one)
    order = [*QUESTIONS, *sorted(set(found) - set(QUESTIONS))]
    return [(group, found[group]) for group in order if group in found]
