"""How the probability of having sampled the target holds against the truth of invented data."""

from __future__ import annotations

import polars as pl
import streamlit as st

from dashboards.answers import sampling
from dashboards.components import words
from dashboards.components.bands import calibration_plot
from dashboards.components.chart import chart
from dashboards.components.markup import element, show


def calibration() -> None:
    """The chart, in a demonstration only: elsewhere nobody knows the truth."""
    bins = sampling.calibration()
    if not bins:
        return
    st.header("Probability that the target was sampled, against the truth", anchor=False)
    frame = pl.DataFrame([vars(one) for one in bins])
    total = int(frame["procedures"].sum())
    chart(
        calibration_plot(frame),
        title="Share of targets really sampled, by predicted probability",
        description=(
            f"{words.plural(total, 'procedure')} in {len(bins)} bins: the mean predicted probability on one axis, the share really "
            "sampled with 95 % Wilson limits on the other, and the diagonal on which both are equal."
        ),
        frame=frame,
        file_name="calibration.csv",
    )
    show(
        element(
            "p",
            f"{words.plural(total, 'procedure')} of the demonstration, whose generator knows where each target lay. The prediction is that at the middle "
            "reach of the tissue, which is also the generator's; with real tissue nobody knows it. Limits: 95 % Wilson.",
            class_="beside",
        )
    )
