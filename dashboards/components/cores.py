"""Yield against the amount of tissue: by cores where their order is known, by mass otherwise."""

from __future__ import annotations

from typing import TYPE_CHECKING

import polars as pl
import streamlit as st

from dashboards import visitor
from dashboards.answers import cores
from dashboards.components import cautions, words
from dashboards.components.chart import chart
from dashboards.components.core_points import core_points
from dashboards.components.exclusion_flow import flow_table
from dashboards.components.markup import element, show
from dashboards.components.step_boxes import boxes, step_boxes
from dashboards.components.tables import download
from registry.cores import first_positive_definition
from registry.numerals import measured
from registry.people import Action

if TYPE_CHECKING:
    from registry.cores import FirstPositive, Steps

LEAD = (
    "Among the first so many cores, how often was there a malignant diagnosis? A procedure without one is left out after its last "
    "core, because nobody knows what a further core would have shown; so the curve lies above the share of all procedures found positive."
)
BY_MASS = (
    "Where the cores cannot be put in order, the mass of all containers stands for them. Each procedure is looked at once: with so much "
    "tissue it was positive, or it was not. The line never falls (isotonic estimate); no limits are given."
)
#: Names of the models as they stand at the end of their lines.
SAME, VARIES = "one chance for all", "chance varies"


def yield_by_tissue() -> None:
    """Draw the curves with what they leave out, the two models, and what must not be read into them."""
    found = cores.first_positive()
    show(element("p", LEAD, class_="question"))
    cautions.caution(cautions.MORE_CORES)
    _single(found)
    _by_core(found)
    _by_mass(found)
    show(element("p", provenance(found), class_="provenance"))
    fold = st.expander("Left out of these curves", key="left out of the yield curves", on_change="rerun")
    if fold.open:
        definition = first_positive_definition()
        with fold:
            for caption, flow in (
                ("From all procedures of the period to those with their cores in order", found.by_core.flow),
                ("From all procedures of the period to the curve by mass", found.by_mass.flow),
            ):
                show(element("p", f"{caption}.", class_="chart-title"))
                show(flow_table(caption, flow))
            text = "A procedure is left out for the first reason that applies, whatever its diagnosis."
            show(element("p", text, class_="beside"))
            meanings = [
                element("li", element("b", one.name), f": {one.meaning}") for one in definition.reasons
            ]
            show(element("ol", *meanings, class_="beside"))
            show(element("p", definition.note, class_="beside"))
            if visitor.may(Action.PROCEDURES):
                download(
                    "Download the procedures as CSV",
                    cores.tissue_rows(),
                    "yield by tissue.csv",
                    key="csv yield rows",
                )


def provenance(found: FirstPositive) -> str:
    """As-of date, period and version, as below every figure."""
    dates = {"as_of": found.as_of, "from": found.start, "to": found.end, "registry": found.registry}
    return words.provenance(dates)


def counts(positive: int, n: int) -> str:
    """How many of the procedures were positive; no percentage, since the curve has another denominator."""
    return f"{words.count(positive)} of {words.plural(n, 'procedure')} with a malignant diagnosis"


def _single(found: FirstPositive) -> None:
    st.subheader("Cores taken apart one by one", anchor=False)
    said = f"{counts(found.single_positive, found.single_n)}, each container holding one core."
    show(element("p", said, class_="result"))
    if len(found.single) < 2:
        text = f"No curve: fewer than {found.minimum} of them have two cores or more in order."
        show(element("p", text, class_="beside"))
        return
    frame = pl.DataFrame([vars(one) for one in found.single], infer_schema_length=None)
    last = found.single[-1]
    level = f"{100 * found.confidence:g}{words.NARROW}%"
    chart(
        core_points(frame),
        title="Share with a malignant core among the first cores",
        description=(
            f"A dot with its {level} interval for each number of cores, from {words.percent(found.single[0].share)} among "
            f"the first core to {words.percent(last.share)} among the first {last.cores}. The table beside it holds the values."
        ),
        frame=frame,
        file_name="yield by single cores.csv",
    )
    text = (
        f"Kaplan-Meier over cores, {level} log(-log) limits at each number taken alone; an open mark is the one-sided upper bound "
        f"where none was positive. It ends where fewer than {found.minimum} procedures have as many cores and none positive before."
    )
    show(element("p", text, class_="beside"))


def _by_core(found: FirstPositive) -> None:
    st.subheader("All cores in order, containers of several among them", anchor=False)
    said = counts(found.by_core.positive, found.by_core.n)
    show(element("p", f"{said}; {words.plural(found.by_core.patients, 'patient')}.", class_="result"))
    if not found.by_core.steps:
        _no_steps(found.by_core, found.minimum)
        return
    models = _models(found)
    _drawn(
        found.by_core,
        found.minimum,
        amount="cores",
        title="Share with a malignant core, by number of cores",
        file_name="yield by cores.csv",
        models=models,
    )
    text = (
        "Where several cores share a container, the first positive one lies somewhere among them: inside a box the share rises, "
        "and nothing says at which core. Turnbull estimate; no limits are given."
    )
    show(element("p", text, class_="beside"))
    show(element("p", _model_words(found), class_="beside"))


def _models(found: FirstPositive) -> pl.DataFrame:
    rows = [{"amount": one.cores, "share": one.independent, "model": SAME} for one in found.model]
    if found.chance is not None and found.chance.a is not None:
        rows += [{"amount": one.cores, "share": one.varying, "model": VARIES} for one in found.model]
    return pl.DataFrame(rows, schema={"amount": pl.Int64, "share": pl.Float64, "model": pl.String})


def _model_words(found: FirstPositive) -> str:
    chance = found.chance
    if chance is None or chance.mean is None:
        return f"No model beside it: {chance.reason if chance else 'no procedures'}."
    same = (
        f"Dashed, for comparison only: one minus (1 - p) to the number of cores, with the same chance p = {words.percent(chance.mean)} "
        "for every core of every lesion, and cores that are independent of each other. With the same mean, a chance that varies between lesions "
        "always lies below it: it is an upper bound, and what the data show is the boxes."
    )
    if chance.a is None:
        return f"{same} Here a chance that varies gives the same line: {chance.reason}."
    return (
        f"{same} Dotted: a chance that varies between lesions with the same mean (beta-binomial, size {measured(chance.size or 0.0)}; "
        f"{words.plural(chance.containers, 'container')} of {words.plural(chance.lesions, 'procedure')})."
    )


def _by_mass(found: FirstPositive) -> None:
    st.subheader("By mass of tissue, where the order of the cores is not known", anchor=False)
    said = counts(found.by_mass.positive, found.by_mass.n)
    show(element("p", f"{said}; {words.plural(found.by_mass.patients, 'patient')}.", class_="result"))
    show(element("p", BY_MASS, class_="beside"))
    if not found.by_mass.steps:
        _no_steps(found.by_mass, found.minimum)
        return
    _drawn(
        found.by_mass,
        found.minimum,
        amount="mass of tissue, g",
        title="Share with a malignant diagnosis, by mass of tissue",
        file_name="yield by mass.csv",
    )


def _no_steps(steps: Steps, minimum: int) -> None:
    few = f"fewer than {minimum} procedures" if steps.n < minimum else "none was positive"
    show(element("p", f"No curve: {few}.", class_="beside"))


def _drawn(
    steps: Steps,
    minimum: int,
    *,
    amount: str,
    title: str,
    file_name: str,
    models: pl.DataFrame | None = None,
) -> None:
    frame = boxes(steps.steps, steps.end)
    whole = list(range(int(steps.end) + 1)) if amount == "cores" else None
    reached = frame.get_column("share_then").last()
    chart(
        step_boxes(
            steps.steps,
            end=steps.end,
            last=steps.end,
            amount=amount,
            share="malignant diagnosis, %",
            ticks=whole,
            models=models,
        ),
        title=title,
        description=(
            f"Flat lines with {words.plural(frame.height, 'box', 'boxes')} in which the share rises, up to "
            f"{words.percent(float(str(reached)))} at {steps.end:g} {amount.rpartition(', ')[2]}; "
            f"drawn as far as {minimum} procedures reach. The table beside it holds the boxes."
        ),
        frame=frame,
        file_name=file_name,
    )
