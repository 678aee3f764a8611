"""How many procedures are needed until a rate is known, or a rise of it is seen."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from dashboards.answers import planning
from dashboards.components import words
from dashboards.components.markup import element, show
from dashboards.components.tables import table
from registry.errors import UsageProblem

if TYPE_CHECKING:
    from registry.measures import Measure
    from registry.planning import Plan

_HALF_WIDTHS = (0.01, 0.02, 0.05, 0.1)
_FACTORS = {1.5: "half as much again", 2.0: "a doubling", 3.0: "a trebling"}
_POWERS = (0.8, 0.9)


def procedures_needed(measure: Measure) -> None:
    """Draw the questions that can be chosen, their answers as a table, and the sentences.

    Parameters
    ----------
    measure
        A proportion.
    """
    width, rise, power, rate = st.columns(4)
    half_width = width.selectbox(
        "Known to ± points",
        _HALF_WIDTHS,
        index=1,
        format_func=lambda one: f"{100 * one:g}",
        key=f"half width {measure.id}",
    )
    factor = rise.selectbox(
        "Rise to be seen",
        list(_FACTORS),
        index=1,
        format_func=_FACTORS.__getitem__,
        key=f"factor {measure.id}",
    )
    chosen_power = power.selectbox(
        "Power", _POWERS, format_func=lambda one: f"{100 * one:g}{words.NARROW}%", key=f"power {measure.id}"
    )
    given = rate.number_input(
        "Rate to plan for, %",
        min_value=0.01,
        max_value=99.99,
        value=None,
        placeholder="observed",
        key=f"rate {measure.id}",
    )
    try:
        made = planning.plan(
            measure.id,
            half_width=half_width,
            factor=factor,
            power=chosen_power,
            rate=None if given is None else given / 100,
        )
    except UsageProblem as problem:
        show(element("p", f"{problem} Here it goes into the field above.", class_="beside"))
        return
    _answers(made)


def _answers(made: Plan) -> None:
    rows = [
        [
            _whole(one.question),
            "" if one.procedures is None else words.count(one.procedures),
            "" if one.months is None else words.count(one.months),
        ]
        for one in made.needs
    ]
    heads = ["Question", "Procedures", "Months"]
    table(f"{made.title}: procedures and months needed", heads, rows, frozenset({1, 2}))
    for part in made.paragraphs:
        if part:
            show(element("p", _whole(" ".join(part)), class_="beside"))
    show(element("p", f"As of {made.as_of}; {made.registry}.", class_="provenance"))


def _whole(text: str) -> str:
    """A text in which no line ends between a number and its percent sign."""
    return text.replace(" %", f"{words.NARROW}%")
