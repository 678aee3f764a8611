"""B categories against what was found later: the cross table, its ratios, and what to adjudicate."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import streamlit as st

from dashboards import session
from dashboards.answers import counted
from dashboards.components import words
from dashboards.components.b_category_review import review_list
from dashboards.components.markup import element, show
from dashboards.components.measure_panel import folds
from dashboards.components.strip import StripRow, strip
from dashboards.components.tables import table
from registry.measures import load_measures
from registry.numerals import AT_MOST
from registry.stats.proportions import upper_bound_no_events

if TYPE_CHECKING:
    from registry.measures import CategoryRatio, CategoryTable

MEASURE = "b_category_accuracy"
_OUTCOMES = {"m": "Cancer afterwards (m)", "b": "Excised without cancer (b)", "n": "Neither (n)"}


def b_category_tables() -> None:
    """Cross table, ratios as a strip, identities in words, and what is to be looked at again."""
    found = counted.b_categories()
    measure = load_measures()[MEASURE]
    show(element("p", measure.question, class_="question"))
    if not found.total:
        show(element("p", "No procedures.", class_="result"))
    else:
        _cross(found)
        minimum = session.minimum_n()
        rows = [StripRow(_name(one), ratio_result(one, found)) for one in found.ratios]
        strip(rows, minimum, caption="Ratios of the B-category table", full_axis=True, key="b categories")
        _clustering(found, rows, minimum)
        _identities(found)
        review_list()
        show(element("p", measure.caution, class_="beside"))
    with st.container(key=f"panel_{MEASURE}"):
        folds(measure)


def _cross(found: CategoryTable) -> None:
    rows: list[list[object]] = []
    for outcome, text in _OUTCOMES.items():
        counts = found.cells[outcome]
        rows.append([text, *map(words.count, counts), words.count(sum(counts))])
    columns = [sum(counts) for counts in zip(*found.cells.values(), strict=True)]
    rows.append(["All", *map(words.count, columns), words.count(found.total)])
    rows.append(
        [
            "of the neither, not resolved",
            *map(words.count, found.unresolved),
            words.count(sum(found.unresolved)),
        ]
    )
    caption = "Procedures by worst B category and outcome within 365 days"
    table(
        caption,
        ["Outcome", "B1", "B2", "B3", "B4", "B5", "All"],
        rows,
        frozenset(range(1, 7)),
        caption_seen=True,
    )
    text = (
        f"{words.plural(found.total, 'procedure')} of {words.plural(found.patients, 'patient')}. {words.excluded(found.excluded)} "
        f"Cancers C = {words.count(found.cancers)}, a B5 that was never operated among them; excised without cancer B = {words.count(found.benign)}."
    )
    show(element("p", text, class_="beside"))


def _name(ratio: CategoryRatio) -> str:
    return (
        f"{ratio.words}; {words.count(ratio.unresolved)} taken as free of cancer are not resolved"
        if ratio.unresolved
        else ratio.words
    )


def ratio_result(ratio: CategoryRatio, found: CategoryTable) -> dict[str, Any]:
    """A ratio with the field names of a proportion."""
    return {
        **found.to_dict(),
        "measure": f"{MEASURE}.{ratio.name}",
        "numerator": ratio.x,
        "denominator": ratio.n,
        "proportion": ratio.proportion,
        "lower": ratio.lower,
        "upper": ratio.upper,
        "interval": ratio.interval or found.interval,
        "method": words.METHODS.get(ratio.interval or found.interval, found.interval),
        "upper_bound_no_events": upper_bound_no_events(ratio.n, found.confidence)
        if ratio.n and not ratio.x
        else None,
    }


def _clustering(found: CategoryTable, rows: list[StripRow], minimum: int) -> None:
    """What holding the procedures of a patient together does, or cannot do, to the intervals."""
    if found.interval == "clustered":
        text = "False positives compare two groups and are no proportion: their interval is the plain one."
        show(element("p", text, class_="beside"))
        return
    drawn = [
        (row.name, one.clustering)
        for row, one in zip(rows, found.ratios, strict=True)
        if words.figure(row.result, minimum).kind == "rate"
    ]
    if line := words.clustering_of(drawn):
        show(element("p", line, class_="beside attention"))


def _identities(found: CategoryTable) -> None:
    said = {text.replace("<=", AT_MOST): holds for text, holds in found.identities.items()}
    broken = [text for text, holds in said.items() if not holds]
    held = [text for text, holds in said.items() if holds]
    show(element("p", f"Checked: {'; '.join(held)}.", class_="beside"))
    if broken:
        show(element("p", f"Does not hold: {'; '.join(broken)}.", class_="change"))
