"""A comparison drawn: the groups as a strip, difference and ratio, quarters, and what it means."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from dashboards.components import words
from dashboards.components.exclusion_flow import flows_of_groups
from dashboards.components.groups import stratum_label
from dashboards.components.markup import element, show
from dashboards.components.strip import StripRow, strip
from dashboards.components.tables import table
from registry.monitoring import comparison_words as said

if TYPE_CHECKING:
    from registry.monitoring import Comparison, LaterCancer, Pair


def comparison(made: Comparison, by: str | None) -> None:
    """Draw a comparison.

    Parameters
    ----------
    by
        Stratum of the groups; None for two periods.
    """
    rows = [
        StripRow(stratum_label(by, name) if by else name, one.to_dict())
        for name, one in zip(made.names, made.groups, strict=True)
    ]
    if not rows:
        show(element("p", "No procedures to compare.", class_="beside"))
        return
    caption = f"{made.measure.title}, compared"
    strip(rows, made.minimum, caption=caption, full_axis=False, key=f"{made.measure.id} compared")
    for sentence in made.sentences:
        show(element("p", sentence.replace(" %", f"{words.NARROW}%"), class_="beside"))
    if made.pair is not None and made.is_shown:
        _figures(made.pair)
    _quarters(made)
    flows_of_groups(made.measure, [(row.name, one) for row, one in zip(rows, made.groups, strict=True)], by)


def _quarters(made: Comparison) -> None:
    """The quarters over which a trend was looked for, in their order."""
    fold = st.expander("By quarter", key=f"quarters of {made.measure.id}", on_change="rerun")
    if not fold.open:
        return
    with fold:
        strip(
            [StripRow(one.stratum, one.to_dict()) for one in made.quarters],
            made.minimum,
            caption=f"{made.measure.title}, quarters with procedures",
            full_axis=False,
            key=f"{made.measure.id} by quarter",
        )


def later_cancer(made: LaterCancer, by: str | None) -> None:
    """Cancer after a benign result in the same periods or groups: rates by time at risk, and the curves.

    Parameters
    ----------
    by
        Stratum of the groups; None for two periods.
    """
    rows = [
        [
            stratum_label(by, one.name) if by else one.name,
            words.count(one.procedures),
            words.count(one.cancers),
            words.count(one.deaths),
            words.count(round(one.years)),
            _rate(one.rate, one.lower, one.upper) if one.procedures >= made.minimum else "counts only",
        ]
        for one in made.groups
    ]
    if rows:
        heads = [
            "",
            "Benign results",
            "Cancers",
            "Deaths",
            "Years followed",
            "Cancers in 1,000 years (95\u202f%, exact)",
        ]
        table("Followed after a benign result", heads, rows, frozenset({1, 2, 3, 4}), caption_seen=True)
    # the counts of the groups stand in the table
    for sentence in made.sentences[len(made.groups) if rows else 0 :]:
        show(element("p", sentence.replace(" %", f"{words.NARROW}%"), class_="beside"))
    show(element("p", f"As of {made.as_of}; {made.registry}.", class_="provenance"))


def _rate(rate: float | None, low: float | None, high: float | None) -> str:
    if rate is None or low is None or high is None:
        return "no follow-up"
    if not rate:
        return f"at most {high:.1f} (one-sided)"
    return f"{rate:.1f}\u00a0({low:.1f}\u2060–\u2060{high:.1f})"


def _figures(pair: Pair) -> None:
    ratio, koopman = pair.ratio, pair.koopman
    rows = [
        ["Difference", pair.difference.method, said.points(pair.difference.ci), said.of_test(pair.p)],
        ["Difference", pair.newcombe.method, said.points(pair.newcombe.ci), ""],
        ["Ratio", ratio.method, said.times(ratio.ci), said.of_test(pair.p)],
        ["Ratio", koopman.method, said.times(koopman.ci), ""],
    ]
    heads = ["Figure", "Method", "Interval", "Test that agrees"]
    table(f"{pair.names[1]} against {pair.names[0]}", heads, rows, caption_seen=True)
