"""The definition of a measure, as its file states it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from dashboards.components.markup import Markup, element, joined, show

if TYPE_CHECKING:
    from registry.measures import Measure

#: Parts of a definition in the order in which they are read, and what they are called.
_PARTS = {
    "unit": "Counted",
    "denominator": "Among",
    "exclusions": "Left out",
    "numerator": "Counts",
    "value": "Value",
    "window": "Window",
    "interval": "Interval",
    "note": "Note",
    "caution": "Caution",
    "source": "Source",
}
_BOUNDS = {
    "missing": "Units whose outcome is not known are shown as if none, and as if all, had counted.",
    "cancers": "Units whose later course is not known are shown as if none, and as if all, were cancers missed.",
    "benign": "Units whose later course is not known are shown as if none, and as if all, were cancers missed by a benign result.",
}


def definition(measure: Measure) -> None:
    """Show a measure's definition as a list of terms."""
    terms = [_term(words, _body(measure, name)) for name, words in _PARTS.items()]
    if measure.bounds:
        terms.append(_term("Bounds", _BOUNDS[measure.bounds]))
    terms.append(_term("Name in files", measure.id))
    show(element("dl", joined(terms), class_="definition"))


def _body(measure: Measure, name: str) -> str | Markup:
    if name != "exclusions":
        text: str = getattr(measure, name)
        return f"{text} [{measure.value_unit}]" if name == "value" and text else text
    steps = [element("li", element("b", one.reason), f": {one.meaning}") for one in measure.exclusions]
    return element("ol", *steps) if steps else "nobody"


def _term(name: str, body: str | Markup) -> Markup:
    return joined([element("dt", name), element("dd", body)]) if body else Markup()
