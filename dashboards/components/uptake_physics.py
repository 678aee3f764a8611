"""Dose and uptake time per visit, and the radioactive sources."""

from __future__ import annotations

from typing import TYPE_CHECKING

from dashboards import session
from dashboards.answers import uptake
from dashboards.components import words
from dashboards.components.markup import element, show
from dashboards.components.record_uptake import NOT_A_PERSONS_DOSE
from dashboards.components.tables import table
from registry.numerals import measured
from registry.uptake.constancy import DISPOSED
from registry.vocabulary import label

if TYPE_CHECKING:
    from registry.stats.quantiles import Spread
    from registry.uptake import VisitDoses


def doses() -> None:
    """Effective dose and uptake time by tracer, each injection once."""
    found = uptake.visit_doses()
    if not found:
        show(element("p", "No procedures with a tracer.", class_="beside"))
        return
    minimum = session.minimum_n()
    table(
        "Effective dose per visit and uptake time, by tracer",
        ["Tracer", "Visits", "Shared", "Dose, mSv", "5th–95th percentile", "No dose", "Uptake, min"],
        [_dose_cells(one, minimum) for one in found],
        frozenset(range(1, 7)),
    )
    named = dict.fromkeys(
        f"{label('procedures', 'tracer', tracer)}: {value:g}{words.NARROW}mSv/MBq ({source})"
        for one in found
        for tracer, value, source in one.coefficients
    )
    reasons = ", ".join(dict.fromkeys(reason for one in found for reason in one.without_dose))
    text = (
        "Medians, quartiles of the uptake time in brackets. Shared: visits in which one injection served several targets. "
        f"Coefficients: {'; '.join(named) or 'none'}. One patient's injections of one day are a visit; an injection that served several "
        f"targets counts once, and one whose procedure was cancelled counts too. {NOT_A_PERSONS_DOSE} "
        f"{f'Without a dose: {reasons}.' if reasons else ''}"
    )
    show(element("p", text, class_="beside"))


def _dose_cells(one: VisitDoses, minimum: int) -> list[object]:
    few = one.dose.n < minimum
    return [
        " + ".join(label("procedures", "tracer", name) for name in one.tracers),
        words.count(one.visits),
        words.count(one.shared),
        _few(one.dose) if few else _number(one.dose.median),
        "" if few else f"{_number(one.dose.p5)}–{_number(one.dose.p95)}",
        words.count(sum(one.without_dose.values())),
        _few(one.uptake_minutes)
        if one.uptake_minutes.n < minimum
        else f"{one.uptake_minutes.median:.0f} ({one.uptake_minutes.q1:.0f}–{one.uptake_minutes.q3:.0f})",
    ]


def _few(lies: Spread) -> str:
    return "none" if not lies.n else f"too few ({lies.n})"


def _number(value: float | None) -> str:
    return "" if value is None else measured(value)


def source_table() -> None:
    """Sources that are not disposed of, with their activity on the as-of day and the share left."""
    found = uptake.sources()
    kept = [one for one in found if one.state != DISPOSED]
    day = session.filters().as_of
    if not found:
        show(element("p", "No radioactive source is recorded.", class_="beside"))
        return
    rows: list[list[object]] = [
        [
            one.source_id,
            one.site,
            one.nuclide,
            label("sources", "state", one.state).replace(" ", "\u00a0"),
            f"{one.reference_mbq:.4g}",
            one.reference_on,
            one.reason if one.activity_mbq is None else f"{one.activity_mbq:.3g}",
            "" if one.left is None else words.percent(one.left),
        ]
        for one in kept
    ]
    heads = ["Source", "Site", "Nuclide", "State", "MBq", "on", "MBq as of", "Left"]
    table("Radioactive sources", heads, rows, frozenset({4, 6, 7}))
    half_lives = dict.fromkeys(f"{one.nuclide} {one.half_life}" for one in kept if one.half_life)
    gone = len(found) - len(kept)
    text = f"Half-life: {'; '.join(half_lives) or 'none known'}. As of {day}, computed, not measured. {words.plural(gone, 'source')} disposed of, not shown."
    show(element("p", text, class_="beside"))
