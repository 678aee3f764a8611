"""Cancer after a benign result by the looks between which it came to light: a companion curve."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from dashboards.answers import follow_up
from dashboards.components import words
from dashboards.components.chart import chart
from dashboards.components.markup import element, show
from dashboards.components.step_boxes import boxes, step_boxes
from dashboards.components.tables import table

if TYPE_CHECKING:
    from collections.abc import Mapping

    from registry.measures import LooksCurve

MEANING = (
    "A cancer that a follow-up examination finds came some time between that look and the one before. Here each is placed "
    "only there: between the last look without cancer (or the biopsy, where there was none) and the day it was found. The line is flat "
    "where nothing can have come. Inside a box the share rises, but nothing says when, so nothing is drawn (Turnbull estimate); no limits are given."
)
DEATH = (
    "A companion, not the estimate: a death only ends the looks here, although it keeps a cancer from coming to light. "
    "The estimates above count it as a competing event."
)


def looks(incidence: Mapping[str, tuple[str, ...]], last: int) -> None:
    """Draw the companion curve and its values at the fixed days beside the estimates of the curve.

    Parameters
    ----------
    incidence
        Estimate -> its values at the fixed days, in words.
    last
        Day at which the axis ends.
    """
    found = follow_up.looks_curve()
    st.subheader("By the looks between which it came to light", anchor=False)
    show(element("p", MEANING, class_="beside"))
    show(element("p", DEATH, class_="beside attention"))
    if found.reason:
        show(element("p", f"Not estimated: {found.reason}.", class_="beside"))
        return
    earlier = (
        f"{words.plural(found.cancers, 'cancer')}; before {words.count(found.between_looks)} of them "
        "stands a look without cancer after the biopsy."
    )
    show(element("p", f"{words.plural(found.n, 'procedure')}, {earlier}", class_="beside"))
    frame = boxes(found.steps, last)
    chart(
        step_boxes(
            found.steps,
            end=found.last_look,
            last=last,
            amount="days since the biopsy",
            share="cancer come to light, %",
            ticks=[0, 182, 365, 547, 730, 912, last],
        ),
        title="Share with a cancer by the looks between which it came to light, by days since the biopsy",
        description=(
            f"Flat lines with {words.plural(frame.height, 'box', 'boxes')} in which the share rises: {_spoken(found)}. "
            "The table beside it holds the boxes."
        ),
        frame=frame,
        file_name="cancer between looks.csv",
    )
    heads = ["Days", "Between looks", *(f"Estimate {name}" for name in incidence)]
    rows = [
        [day, between(found.read[place]), *(texts[place] for texts in incidence.values())]
        for place, day in enumerate(found.at)
    ]
    table(
        "By looks, beside the estimates with death as a competing event (95 % limits)",
        heads,
        rows,
        frozenset(range(1, len(heads))),
        caption_seen=True,
    )
    show(element("p", f"As of {found.as_of}; {found.registry}.", class_="provenance"))


def between(read: tuple[float, float] | None) -> str:
    """A share as the looks leave it: one figure, or the two ends of the box it lies in."""
    if read is None:
        return "nobody was looked at so late"
    low, high = read
    return words.percent(low) if low == high else f"within a box, {words.span(low, high)}"


def _spoken(found: LooksCurve) -> str:
    return "; ".join(f"{between(read)} at {day} days" for day, read in zip(found.at, found.read, strict=True))
