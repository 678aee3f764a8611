"""Attempts that ended without tissue or with an insufficient sample, by what was known before."""

from __future__ import annotations

from typing import TYPE_CHECKING

import polars as pl
import streamlit as st

from dashboards.answers import cores
from dashboards.components import words
from dashboards.components.exclusion_flow import flow_table
from dashboards.components.groups import stratum_label
from dashboards.components.markup import element, show
from dashboards.components.tables import download, table
from registry.cores import EVENTS_PER_TERM

if TYPE_CHECKING:
    from registry.cores import PredictorRow, Unusable

_CODED = ("approach", "guidance")
_NAMES = {"size_mm": "Size", "gauge": "Gauge", "approach": "Approach", "guidance": "Guidance"}


def unusable_samples() -> None:
    """One fold: counts by size, gauge, approach and guidance, with odds ratios where there are enough."""
    fold = st.expander(
        "Insufficient or not sampled, by size, gauge, approach and guidance",
        key="unusable samples",
        on_change="rerun",
    )
    if fold.open:
        with fold:
            _drawn(cores.no_usable_sample())


def _drawn(found: Unusable) -> None:
    said = f"{words.count(found.x)} of {words.plural(found.n, 'attempt')} ended without tissue or with an insufficient sample."
    show(element("p", said, class_="result"))
    if not found.n:
        return
    level = f"{100 * found.confidence:g}{words.NARROW}%"
    heads = ["Without", f"Share ({level})", f"Odds ratio ({level})"]
    for predictor, name in _NAMES.items():
        rows = [
            [
                _value(one),
                f"{words.count(one.x)} of {words.count(one.n)}",
                _share(one, found.minimum),
                _odds(one),
            ]
            for one in found.rows
            if one.predictor == predictor
        ]
        caption = f"Attempts without a usable sample, by {name.lower()}"
        table(caption, [name, *heads], rows, frozenset({1, 2, 3}))
    text = (
        "Shares with Wilson limits; of none, the one-sided upper bound. Odds ratios with profile limits: "
        f"each predictor alone, by Firth's logistic regression, only with {EVENTS_PER_TERM} attempts without a usable sample or more for each fitted "
        f"term; a value with fewer than {found.minimum} attempts is counted and not fitted. Size and gauge are compared with one step less, "
        "approach and guidance with the value marked reference, which has most attempts. Not adjusted for anything, several procedures of a patient taken "
        "as independent: harder targets get other needles and approaches, so a difference is a reason to look, and no cause."
    )
    show(element("p", text, class_="beside"))
    show(flow_table("From all procedures of the period to the attempts counted", found.flow))
    dates = {"as_of": found.as_of, "from": found.start, "to": found.end, "registry": found.registry}
    show(element("p", words.provenance(dates), class_="provenance"))
    frame = pl.DataFrame([vars(one) for one in found.rows], infer_schema_length=None)
    download("Download as CSV", frame, "unusable samples.csv", key="csv unusable samples")


def _value(one: PredictorRow) -> str:
    return stratum_label(one.predictor, one.value) if one.predictor in _CODED else one.value


def _share(one: PredictorRow, minimum: int) -> str:
    if one.n < minimum or one.lower is None or one.upper is None:
        return "too few"
    if one.bound is not None:
        return f"0{words.NARROW}%, at most {100 * one.bound:.1f}"
    return f"{words.percent(one.x / one.n)} ({100 * one.lower:.1f}–{100 * one.upper:.1f})"


def _odds(one: PredictorRow) -> str:
    """The odds ratio with its limits, or in short why there is none."""
    if one.odds_ratio is None:
        return one.reason.partition(":")[0]
    return f"{one.odds_ratio:.2f} ({one.odds_lower:.2f}–{one.odds_upper:.2f})"
