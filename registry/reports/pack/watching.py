"""Part of the pack: the measures that are watched over time, their signals, and what answered them."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING, Any

from registry import monitoring
from registry.disclosure.cells import HIDDEN
from registry.errors import UsageProblem
from registry.measures import evaluate, load_measures
from registry.monitoring import ANSWERS, watched_title
from registry.monitoring import words as said
from registry.monitoring.frames import path_frame, period_frame
from registry.reports.document import Paragraph, Section, Table
from registry.reports.pack import charts
from registry.reports.pack.asked import COMMITTEE, QUARTERS, Part
from registry.reports.pack.cells import percent

if TYPE_CHECKING:
    from collections.abc import Mapping

    import polars as pl

    from registry.measures import ProportionResult
    from registry.monitoring import Cumulative, Note, Point, Signal
    from registry.reports.document import Block
    from registry.reports.pack.asked import Asked, Rows

LEAD = (
    "Left: the share of each of the last eight quarters with its 95 % interval; dotted, the accepted rate, that of the procedures "
    "before the period; full and broken lines, exact limits of chance around it, 99.8 % and 95 %. Where more is better, what falls "
    "short is counted. A diamond lies outside the outer limits."
)
LEAD_SUM = "Right: the running sum over the period, with the height at which it signals that events come faster than accepted."
NO_SUM = (
    "A running sum is made of single procedures, and so are its signals; both are left out of what is shared."
)


def watching(asked: Asked) -> tuple[Part, ...]:
    """Run chart, running sum, run lengths and signals of each watched measure, and the answers."""
    shared = bool(asked.rule.upto)
    lead: list[Block] = [Paragraph(f"{LEAD} {NO_SUM if shared else LEAD_SUM}", "small")]
    if not shared:
        lead.append(Paragraph(f"{said.RESET} {said.CAN}", "small"))
    rows: Rows = {"watched_by_quarter": []}
    if not shared:
        rows |= {"watched_design": [], "signals": []}
    parts = [Part(Section("Watched over time", tuple(lead), new_page=True), rows)]
    hidden = []
    for name, quarters in _by_quarter(asked).items():
        made = _measure(asked, name, quarters, rows)
        if made is None:
            hidden.append(load_measures()[name].title)
        else:
            parts.append(made)
    if hidden:
        text = f"Not shown, as a small count would follow from a quarter or from what lies before the period ({HIDDEN}): {', '.join(hidden)}."
        parts.append(Part(Section("", (Paragraph(text, "small"),)), {}))
    if not shared:
        parts.append(_answers(asked, rows))
    return tuple(parts)


def _by_quarter(asked: Asked) -> Mapping[str, list[tuple[str, Any, int, int]]]:
    """Measure -> (quarter, first day, x, n) of the last eight quarters, empty ones included."""
    names = monitoring.last_quarters(asked.end)
    found: list[ProportionResult] = evaluate(  # type: ignore[assignment]
        asked.registry, COMMITTEE, as_of=asked.as_of, start=names[0][1], end=asked.end, by="quarter"
    )
    counts = {(one.measure, one.stratum): _events(one) for one in found}
    return {
        name: [(quarter, first, *counts.get((name, quarter), (0, 0))) for quarter, first in names]
        for name in COMMITTEE
    }


def _events(one: ProportionResult) -> tuple[int, int]:
    """What is watched of n: what falls short where more is better."""
    rest = load_measures()[one.measure].direction == "higher"
    return (one.denominator - one.numerator if rest else one.numerator), one.denominator


def _measure(asked: Asked, name: str, quarters: list[tuple[str, Any, int, int]], rows: Rows) -> Part | None:
    """One measure; None where it holds a small count."""
    measure = load_measures()[name]
    before: list[ProportionResult] = evaluate(  # type: ignore[assignment]
        asked.registry, [name], as_of=asked.as_of, end=asked.start - timedelta(days=1)
    )
    x, n = _events(before[0])
    title = watched_title(measure, watches_rest=measure.direction == "higher")
    hidden = asked.told.hides(QUARTERS, name)
    rows["watched_by_quarter"] += [
        {
            "measure": name,
            "quarter": quarter,
            "events": None if hidden else events,
            "procedures": None if hidden else among,
            "accepted": None if hidden or not n else x / n,
        }
        for quarter, _, events, among in quarters
    ]
    if hidden:
        return None
    if n < asked.minimum or x in (0, n):
        text = f"{x} of {n} procedures before the period: too few to take an accepted rate from, and nothing is drawn."
        return Part(Section(title, (Paragraph(text, "small"),), level=2), {})
    points = [monitoring.point(quarter, first, e, among, x / n) for quarter, first, e, among in quarters]
    made = None if asked.rule.upto else _cumulative(asked, name)
    drawn = [one for one in points if one.n >= asked.minimum]
    blocks: list[Block] = []
    if drawn or not isinstance(made, str | None):
        blocks.append(_figure(asked, title, points, x / n, made))
    runs = said.runs(
        monitoring.about_the_median(points, asked.minimum),
        drawn,
        "quarter",
    )
    blocks.append(Paragraph(runs, "small"))
    if isinstance(made, str):
        blocks.append(Paragraph(made, "attention"))
    elif made is not None:
        what, accepted, _, lengths, *_ = said.cumulative(made)
        blocks.append(Paragraph(" ".join((what, accepted, lengths)), "small"))
        blocks.append(_signals(asked, made, rows))
        rows["watched_design"].append(_design(made))
    return Part(Section(title, tuple(blocks), level=2), {})


def _cumulative(asked: Asked, name: str) -> Cumulative | str:
    """The running sum over the period; a sentence where there is none."""
    try:
        return monitoring.cumulative(
            asked.registry,
            name,
            as_of=asked.as_of,
            end=asked.end,
            watched_from=asked.start,
            minimum=asked.minimum,
        )
    except UsageProblem as problem:
        # The section is named for the measure already.
        return f"No running sum: {str(problem).removeprefix(f'{name}: ')}"


def _figure(
    asked: Asked, title: str, points: list[Point], accepted: float, made: Cumulative | str | None
) -> Any:
    frame = period_frame(points, asked.minimum)
    path: pl.DataFrame | None = None
    limit = None
    outside = ", ".join(frame.filter("outside").get_column("period")) or "none"
    words = f"{title} by quarter around the accepted rate of {percent(accepted)}; outside the outer limits: {outside}."
    if made is not None and not isinstance(made, str):
        path, limit = path_frame(made.watched, made.path, made.signals), float(made.limit)
        words += f" Running sum over {path.height} procedures; signals at {limit:g}: {len(made.signals)}."
    return charts.watched(frame, accepted, path, limit, words)


def _design(made: Cumulative) -> dict[str, Any]:
    """Rates, steps and run lengths, in procedures and in years at the pace of the period."""
    pace = made.watched.per_year

    def years(procedures: float | None) -> float | None:
        return None if procedures is None or not pace else procedures / pace

    return {
        "measure": made.watched.measure.id,
        "accepted": made.accepted.rate,
        "accepted_events": made.accepted.x,
        "accepted_procedures": made.accepted.n,
        "looked_for": made.raised,
        "step": made.step.m - 1,
        "limit": made.limit,
        "watched": made.watched.during.height,
        "watched_events": int(made.watched.during.get_column("event").sum()),
        "procedures_a_year": pace,
        "false_signal_after_procedures": made.in_control.arl,
        "false_signal_after_years": years(made.in_control.arl),
        "false_signal_half_before": made.in_control.median,
        "signal_after_procedures": made.after_rise.arl,
        "signal_after_years": years(made.after_rise.arl),
        "signal_half_before": made.after_rise.median,
        "signals": len(made.signals),
    }


def _signals(asked: Asked, made: Cumulative, rows: Rows) -> Block:
    if not made.signals:
        return Paragraph("No signal in the period.", "small")
    kept = monitoring.notes(asked.registry, made.watched.measure.id)  # type: ignore[arg-type]
    cells = []
    for number, one in enumerate(made.signals, 1):
        own = [note for note in kept if (note.procedure_id, note.chart) == (one.procedure_id, "cusum")]
        cells.append((said.signal(one, number), one.procedure_id, _answered(own)))
        rows["signals"].append(_signal_row(made, one, own))
    return Table(
        "Signals, and what was answered",
        ("Signal", "At procedure", "Answered"),
        tuple(cells),
        widths=(4, 2, 5),
    )


def _answered(own: list[Note]) -> str:
    if not own:
        return "not answered yet"
    return " / ".join(
        f"{ANSWERS[one.answer]}: {one.note} ({one.author}, {one.recorded_at:%Y-%m-%d})" for one in own
    )


def _signal_row(made: Cumulative, one: Signal, own: list[Note]) -> dict[str, Any]:
    return {
        "measure": made.watched.measure.id,
        "procedure_id": one.procedure_id,
        "on": one.on,
        "since": one.since,
        "procedures": len(one.procedures),
        "events": len(one.events),
        # The words of a note stand on paper only; they go into no file of rows.
        "answers": "; ".join(ANSWERS[note.answer] for note in own),
    }


def _answers(asked: Asked, rows: Rows) -> Part:
    """Every answer to a signal of any chart at a procedure of the period."""
    found = monitoring.answered(asked.registry, asked.start, asked.end)  # type: ignore[arg-type]
    rows["answers"] = [
        {
            "measure": one.measure,
            "procedure_id": one.procedure_id,
            "chart": one.chart,
            "design": one.design,
            "recorded_at": one.recorded_at,
            "author": one.author,
            "answer": ANSWERS[one.answer],
        }
        for one in found
    ]
    title = "Answers to signals of the period"
    if not found:
        text = "No signal of any chart at a procedure of the period has been answered."
        return Part(Section(title, (Paragraph(text, "small"),), level=2), {})
    cells = tuple(
        (
            load_measures()[one.measure].title,
            one.procedure_id,
            one.design,
            f"{ANSWERS[one.answer]}: {one.note}",
            f"{one.author}, {one.recorded_at:%Y-%m-%d}",
        )
        for one in found
    )
    made = Table(
        "Every answer, also to charts that were watched from another day",
        ("Measure", "Procedure", "Chart", "Answer", "By"),
        cells,
        widths=(3, 2, 4, 6, 3),
    )
    return Part(Section(title, (made,), level=2), {})
