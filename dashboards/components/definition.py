"""The definition of a measure, as its file states it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from dashboards.components.markup import Markup, element, joined, show

if TYPE_CHECKING:
    from registry.measures import Measure

#: Keys of the header in the order in which they are read; others follow.
_ORDER = (
    "unit",
    "denominator",
    "exclusions",
    "numerator",
    "value",
    "window",
    "interval",
    "bounds",
    "direction",
    "note",
    "caution",
    "source",
)
_LEFT_OUT = frozenset({"measure", "kind", "title", "question", "group"})
_WORDS = {"unit": "counted", "value": "value per procedure"}


def definition(measure: Measure) -> None:
    """Show the header of a measure's file as a list of terms."""
    keys = [key for key in _ORDER if key in measure.header]
    keys += [key for key in measure.header if key not in _ORDER and key not in _LEFT_OUT]
    terms = joined(_term(key, measure.header[key]) for key in keys if measure.header[key])
    show(element("dl", terms, _term("name", measure.id), class_="definition"))


def _term(key: str, text: str) -> Markup:
    return joined([element("dt", _WORDS.get(key, key).replace("_", " ").capitalize()), element("dd", text)])
