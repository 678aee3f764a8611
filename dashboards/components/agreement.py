"""Agreement of those who decide: the four counts first, then what they come to."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from dashboards import session
from dashboards.answers import meeting as answers
from dashboards.components import words
from dashboards.components.markup import element, show
from dashboards.components.tables import table
from registry.agreement import words as said

if TYPE_CHECKING:
    from registry.agreement import Agreement, OwnViewFirst

Limits = tuple[float | None, float | None]


def audit() -> None:
    """One section a pair, and the share that decided first."""
    found = answers.agreement()
    for one in found.pairs:
        st.header(one.words, anchor=False)
        _pair(one)
    st.header("Three readers or more", anchor=False)
    show(
        element(
            "p",
            said.read_by_several(found.several, session.minimum_n()).replace(" %", f"{words.NARROW}%"),
            class_="result",
        )
    )
    st.header("Decided before flags were shown", anchor=False)
    _first(found.own_view_first)
    show(
        element(
            "p",
            "Only concordant and discordant determinations are set beside one another. A second reading is a provisional review by another "
            "radiologist without a meeting. Flags are those that the rules in force propose on the record as it stands now; of the rules "
            "those on explanation and sampling count. Agreement says nothing of who is right.",
            class_="beside",
        )
    )


def _pair(one: Agreement) -> None:
    if not one.n:
        left = (
            f" {words.plural(one.unpaired, 'procedure')} judged by one of the two only."
            if one.unpaired
            else ""
        )
        show(element("p", f"No procedures.{left}", class_="beside"))
        return
    rows = [
        (one.first[:1].upper() + one.first[1:], words.count(one.both), words.count(one.first_only)),
        ("Not", words.count(one.second_only), words.count(one.neither)),
    ]
    table(f"{one.words}: counts", ("", one.second, "not"), rows, frozenset((1, 2)))
    show(element("p", _sentence(one), class_="result"))
    if text := said.changed(one, session.minimum_n()):
        show(element("p", text.replace(" %", f"{words.NARROW}%"), class_="beside"))
    if one.reason:
        show(element("p", f"{one.reason[:1].upper()}{one.reason[1:]}.", class_="beside"))
    if one.unpaired:
        show(
            element(
                "p",
                f"{words.plural(one.unpaired, 'procedure')} judged by one of the two only.",
                class_="beside",
            )
        )


def _sentence(one: Agreement) -> str:
    same = one.both + one.neither
    counts = f"Agreed on {words.count(same)} of {words.count(one.n)}"
    if one.n < session.minimum_n() or one.po is None:
        return f"{counts}; too few for more than counts."
    parts = [f"{counts} ({words.percent(one.po)})"]
    for name, value, limits in (("kappa", one.kappa, one.kappa_ci), ("AC1", one.ac1, one.ac1_ci)):
        if value is not None:
            parts.append(f"{name} {_two(value)}{_limits(limits)}")
    for name, value in (("on discordant", one.p_pos), ("on not", one.p_neg)):
        if value is not None:
            parts.append(f"{words.percent(value)} {name}")
    return "; ".join(parts) + "."


def _limits(limits: Limits) -> str:
    low, high = limits
    return "" if low is None or high is None else f" ({_two(low)} to {_two(high)})"


def _two(value: float) -> str:
    """Two decimals with a true minus, and no minus before a zero."""
    return f"{value:z.2f}".replace("-", "−")


def _first(one: OwnViewFirst) -> None:
    if not one.n:
        show(element("p", "Not recorded for any decision of the period.", class_="beside"))
        return
    text = f"{words.count(one.x)} of {words.count(one.n)}"
    if (
        one.n >= session.minimum_n()
        and one.share is not None
        and one.lower is not None
        and one.upper is not None
    ):
        text += f": {words.with_interval(one.share, one.lower, one.upper)}, Wilson"
    show(element("p", f"{text}; not recorded in {words.count(one.not_recorded)}.", class_="result"))
