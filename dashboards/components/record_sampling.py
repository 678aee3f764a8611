"""Was the target sampled? The evidence in words, then the probability as a band, and what it rests on."""

from __future__ import annotations

from typing import TYPE_CHECKING

import polars as pl
import streamlit as st

from dashboards.answers import sampling
from dashboards.components import words
from dashboards.components.bands import bands_plot
from dashboards.components.cautions import caution
from dashboards.components.chart import chart
from dashboards.components.markup import element, joined, show
from dashboards.components.tables import table
from registry.errors import UsageProblem

if TYPE_CHECKING:
    from collections.abc import Sequence

    from registry.sampling import Band, Estimate
    from registry.stats.scan_update import Credible, Share

_SCHEMA = {
    "figure": pl.String,
    "low": pl.Float64,
    "middle": pl.Float64,
    "high": pl.Float64,
    "lower": pl.Float64,
    "upper": pl.Float64,
}
_AXES = ("x", "y", "z")


def was_it_sampled(procedure_id: str) -> None:
    """The section for one procedure."""
    try:
        found = sampling.estimate(procedure_id)
    except UsageProblem as problem:
        show(element("p", str(problem), class_="beside"))
        return
    if found.left_out == "not sampled":
        show(element("p", "No tissue was taken.", class_="beside"))
        return
    show(element("ul", joined(element("li", text) for text in found.evidence), class_="problems"))
    for text in found.contradictions:
        show(element("p", text, class_="beside attention"))
    if found.left_out:
        show(
            element(
                "p", f"No probability is worked out: {found.left_out} ({found.meaning}).", class_="beside"
            )
        )
        return
    show(element("p", _sentence(found), class_="result"))
    frame = figures(found)
    chart(
        bands_plot(frame),
        title="Bands from the least to the most reach of the tissue; dot: the middle reach; thin line: 95 % credible limits",
        description="; ".join(_described(row) for row in frame.to_dicts()),
        frame=frame,
        file_name=f"sampling {procedure_id}.csv",
    )
    _scan(found)
    _remaining(found)
    _budget(found)
    _rests_on(found)
    caution(found.caution)


def _sentence(found: Estimate) -> str:
    """The band of the probability in words, with the least share it is about."""
    low, middle, high = _ends([one.probability for one in found.bands], found.bands)
    share = f"{100 * found.sampled_share:g}{words.NARROW}%"
    at = "" if middle is None else f", {words.percent(middle)} at the middle reach of the tissue"
    hours = (
        ""
        if middle is not None
        else " The sampled hours are not known or cannot be placed: both extremes are in the band."
    )
    return f"Probability that at least {share} of the target lay in what was sampled: {words.span(low, high)}{at}.{hours}"


def _ends(values: Sequence[float], bands: Sequence[Band]) -> tuple[float, float | None, float]:
    """Least, middle and most; no middle where the hours are not known."""
    known = all(one.hours == "as recorded" for one in bands)
    return min(values), values[1] if known else None, max(values)


def figures(found: Estimate) -> pl.DataFrame:
    """The rows of the drawing: before the scan, after it, and cancer after a benign result."""
    share = f"{100 * found.sampled_share:g} %"
    made = [
        ("Mean share of the target inside", [one.expected_share for one in found.bands], None),
        (f"At least {share} of it inside", [one.probability for one in found.bands], None),
    ]
    if found.scan:
        made.append((f"At least {share}, after the scan", *_credible(found.scan.after)))
    if found.residual and found.residual.after:
        made.append(("Cancer, after the benign result", *_credible(found.residual.after)))
    rows = []
    for name, values, limits in made:
        lower, upper = limits or (None, None)
        rows.append((name, *_ends(values, found.bands), lower, upper))
    return pl.DataFrame(rows, schema=_SCHEMA, orient="row")


def _credible(found: Sequence[Credible]) -> tuple[list[float], tuple[float, float]]:
    limits = (min(one.lower for one in found), max(one.upper for one in found))
    return [one.mean for one in found], limits


def _described(row: dict[str, object]) -> str:
    low, high = row["low"], row["high"]
    return f"{row['figure']}: {words.span(low, high)}"  # type: ignore[arg-type]


def _scan(found: Estimate) -> None:
    """What the scan adds, and the counts it rests on, however few."""
    if found.scan is None:
        text = "The specimen scan is not part of the figure: nobody read uptake as seen or not seen."
    else:
        seen = "seen" if found.scan.uptake else "not seen"
        text = f"The update is for tracer {seen} in the specimens, by the shares below."
    show(element("p", text, class_="beside"))
    known = found.known
    table(
        "Tracer seen, where sampling is known without the scan",
        ("Target", "Seen / read", "Share", "95 % credible limits"),
        [
            ("Sampled (sensitivity)", *_share(known.sensitivity)),
            ("Not sampled (false-positive share)", *_share(known.false_positive)),
        ],
        frozenset((1, 2, 3)),
        caption_seen=True,
    )
    left_out = ", ".join(f"{words.count(number)} {reason}" for reason, number in known.left_out.items())
    show(
        element(
            "p",
            "Other tracer-guided procedures of this registry. Sampled: malignant at biopsy, or the target gone or reduced after sampling. Not sampled: later cancer at the site within 730 days of a "
            "benign result, or the target unchanged. Uniform Beta priors: with no counts the share is 50 % and says nothing. "
            f"Left out: {left_out or 'nobody'}.",
            class_="beside",
        )
    )


def _share(one: Share) -> tuple[str, str, str]:
    return (
        f"{words.count(one.events)} / {words.count(one.trials)}",
        words.percent(one.mean),
        words.span(one.lower, one.upper),
    )


def _remaining(found: Estimate) -> None:
    """Cancer after a benign result, or why it is not shown."""
    remains = found.residual
    if remains is None:
        return
    category = remains.pretest
    counts = (
        f"{words.count(category.events)} of {words.count(category.trials)} other procedures of assessment category "
        f"{remains.assessment} found cancer, at biopsy or within 730 days"
    )
    if not remains.after:
        text = f"Cancer after the benign result: {counts}; fewer than {remains.minimum_n} procedures, so no probability is shown."
    else:
        scan = "the scan included" if remains.with_scan else "without a scan"
        text = (
            f"Cancer after the benign result, {scan}: {counts}. Assumed: a sampled cancer is always recognised, and the scan "
            "tells nothing of cancer beyond what was sampled. Credible limits by seeded draws of every share."
        )
        if found.contradictions:
            text += " That the target was unchanged is not part of this figure either."
    show(element("p", text, class_="beside"))


def _budget(found: Estimate) -> None:
    """Standard deviations by source and axis."""
    rows = [
        (one.source, *(f"{value:.2f}" for value in (one.x_mm, one.y_mm, one.z_mm))) for one in found.budget
    ]
    table(
        f"Error budget, standard deviations in mm; needle along {found.inputs['needle_axis']}, compression along {found.inputs['compression_axis']}",
        ("Source", *_AXES),
        rows,
        frozenset((1, 2, 3)),
        caption_seen=True,
    )


def _rests_on(found: Estimate) -> None:
    """Every input, every assumption, and how the numbers were found."""
    given = found.inputs
    hours = given["sampled_hours"] or "not recorded"
    terms = {
        "Target, largest diameter": f"{given['size_mm']:g} mm",
        "Needle": f"{given['gauge']} G, outer diameter {given['outer_diameter_mm']:g} mm",
        "Aperture": f"{given['aperture_mm']:g} mm",
        "Sampled hours": hours,
        "Aperture minus target": ", ".join(
            f"{axis} {value:.1f}".replace("-", "\u2212")
            for axis, value in zip(_AXES, found.offset_mm or (), strict=False)
        )
        + " mm",
        "Target re-seen": "yes" if given["is_seen_again"] else "no, as planned",
        "Slice thickness": f"{given['slice_mm']:g} mm, {'recorded' if given['is_slice_recorded'] else 'from thickness over slices per view'}",
        "Measurement uncertainty": f"{given['measurement_sd_mm']:g} mm, {'recorded' if given['is_measurement_sd_recorded'] else 'as the site states'}",
        "Radius sampled": f"{found.bands[0].radius_mm:.1f} to {found.bands[2].radius_mm:.1f} mm",
        "Worked out by": _method(found.bands),
    }
    show(
        element(
            "dl",
            joined(element("div", element("dt", name), element("dd", text)) for name, text in terms.items()),
            class_="facts",
        )
    )
    with st.expander("Assumptions", expanded=True):
        show(element("ul", joined(element("li", text) for text in found.assumptions), class_="problems"))


def _method(bands: Sequence[Band]) -> str:
    names = " and ".join(dict.fromkeys(one.method for one in bands))
    worst = max(one.error for one in bands)
    return f"{names}; numerical error {worst:.1g}" if worst else names
