"""Parts of the pack: each a section for reading and its rows for the files."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from registry import quality, targets, timeliness
from registry.disclosure.cells import HIDDEN
from registry.measures import (
    b_category_table,
    evaluate,
    load_measures,
    reason_in_words,
    standing_of,
)
from registry.monitoring import last_quarters
from registry.numerals import AT_MOST, grouped, measured, measured_span
from registry.record import complications_by_grade
from registry.reports.document import Bullets, Paragraph, Section, Table
from registry.reports.pack.asked import CELLS, TOTALS, YEARLY, Part
from registry.reports.pack.cells import (
    lanes,
    percent,
    proportion_rows,
    proportion_table,
    quantity_rows,
    quantity_table,
    span,
)
from registry.reports.pack.figures import strip
from registry.vocabulary import label, labels

if TYPE_CHECKING:
    from registry.measures import ProportionResult
    from registry.quality import Denominator
    from registry.reports.document import Block
    from registry.reports.pack.asked import Asked, Rows


def measures(asked: Asked) -> Part:
    """Every proportion as strip and table, every quantity as table."""
    by_group: dict[str, list[str]] = {}
    for one in load_measures().values():
        if one.kind == "proportion":
            by_group.setdefault(one.group, []).append(one.id)
    ids = [name for names in by_group.values() for name in names]
    found: list[ProportionResult] = evaluate(asked.registry, ids, **asked.period)  # type: ignore[assignment, arg-type]
    quantities = evaluate(
        asked.registry,
        [one.id for one in load_measures().values() if one.kind == "quantity"],
        **asked.period,  # type: ignore[arg-type]
    )
    said = "All proportions of the period with their 95 % Wilson intervals; order of the groups, no order of merit."
    quarters = {} if asked.rule.upto else _quarters(asked, ids)
    if quarters:
        said += f" Small dots below: the last eight quarters with {asked.minimum} procedures or more, the newest on top."
    marks = {name: targets.drawn(name, asked.registry.site.targets_on) for name in ids}
    if any(marks.values()):
        said += " Ticks: targets that the service has switched on."
    drawn = strip(lanes(found, asked.told, asked.minimum, quarters, marks), said)
    blocks: list[Block] = [drawn] if drawn else []
    blocks.append(proportion_table("Proportions", found, asked.told, asked.minimum))
    blocks.append(quantity_table("Quantities", quantities, asked.told))  # type: ignore[arg-type]
    return Part(
        Section("The service in the period", tuple(blocks)),
        {
            "proportions": proportion_rows(found, asked.told),
            "quantities": quantity_rows(quantities, asked.told),  # type: ignore[arg-type]
        },
    )


def _quarters(asked: Asked, ids: list[str]) -> dict[str, list[float]]:
    """Measure -> rates of the last eight quarters, newest first; those with enough procedures."""
    first = last_quarters(asked.end)[0][1]
    found: list[ProportionResult] = evaluate(  # type: ignore[assignment]
        asked.registry, ids, as_of=asked.as_of, start=first, end=asked.end, by="quarter"
    )
    made: dict[str, list[float]] = {}
    for one in reversed(found):
        if one.proportion is not None and one.denominator >= asked.minimum:
            made.setdefault(one.measure, []).append(one.proportion)
    return made


def left_out(asked: Asked) -> Part | None:
    """Why procedures are not in a denominator, measure by measure; not in what is shared."""
    if asked.rule.upto:
        return None
    ids = [one.id for one in load_measures().values() if one.kind != "sampling"]
    found = evaluate(asked.registry, ids, **asked.period)  # type: ignore[arg-type]
    rows: list[dict[str, Any]] = [
        {"measure": one.measure, "reason": reason, "why": standing_of(reason), "procedures": number}
        for one in found
        for reason, number in one.excluded.items()
        if number
    ]
    cells = tuple(
        (
            load_measures()[row["measure"]].title,
            reason_in_words(row["reason"]),
            row["why"],
            grouped(row["procedures"]),
        )
        for row in rows
    )
    made = Table(
        "Left out, by the first reason that applies",
        ("Measure", "Reason", "Why", "Procedures"),
        cells,
        frozenset((3,)),
        widths=(5, 5, 4, 1.6),
    )
    return Part(
        Section("From all procedures to each denominator", (made,), new_page=True), {"left_out": rows}
    )


def discordance(asked: Asked) -> Part:
    """Three denominators, coverage, and every discordant decision of the period with how it ended."""
    found = quality.denominators(asked.registry, **asked.period)  # type: ignore[arg-type]
    rule = asked.rule
    made = proportion_table(
        "Discordance by what it is divided by", [one.result for one in found], asked.told, asked.minimum
    )
    coverage = Table(
        "How much was decided",
        ("Among", "Decided / due", "Share", "Not reviewed", "Indeterminate"),
        tuple((one.about, *_decided(asked, one)) for one in found),
        frozenset((1, 2, 3, 4)),
    )
    blocks: list[Block] = [made, coverage]
    rows: Rows = {"discordance": proportion_rows([one.result for one in found], asked.told)}
    if not rule.upto:
        every = quality.discordant(asked.registry, **asked.period)
        listed = every.to_dicts()
        rows["discordant"] = listed
        blocks.append(
            Table(
                "Every discordant decision of the period, and how it ended",
                ("Procedure", "Day", "Category", "Diagnosis", "Ended"),
                tuple(
                    (
                        str(row["procedure_id"]),
                        str(row["started_on"]),
                        str(row.get("assessment") or ""),
                        label("pathology", "diagnosis", row["diagnosis"]) if row.get("diagnosis") else "",
                        str(row["ended"]),
                    )
                    for row in listed
                ),
            )
        )
    return Part(Section("Discordance", tuple(blocks), new_page=True), rows)


def _decided(asked: Asked, one: Denominator) -> tuple[str, ...]:
    """All four counts or none: three of them give the fourth."""
    if not asked.told.admits(
        one.due, one.decided, one.due - one.decided, one.not_reviewed, one.indeterminate
    ):
        return (HIDDEN,) * 4
    return (
        f"{grouped(one.decided)} / {grouped(one.due)}",
        percent(one.coverage),
        grouped(one.not_reviewed),
        grouped(one.indeterminate),
    )


def b_categories(asked: Asked) -> Part:
    """The cross table, its ratios and what must hold of them."""
    found = b_category_table(asked.registry, **asked.period)  # type: ignore[arg-type]
    rule, names = asked.rule, ("B1", "B2", "B3", "B4", "B5")
    words = {"m": "Cancer", "b": "Excised, no cancer", "n": "Neither"}
    hidden = asked.told.hides(CELLS, found.measure)
    hidden_totals = asked.told.hides(TOTALS, found.measure)
    cells = [
        (words[outcome], *(HIDDEN if hidden else grouped(one) for one in row))
        for outcome, row in found.cells.items()
    ]
    totals = [sum(column) for column in zip(*found.cells.values(), strict=True)]
    cells.append(("All", *(HIDDEN if hidden_totals else grouped(one) for one in totals)))
    cross = Table(
        "Outcome within 365 days by worst B category", ("", *names), tuple(cells), frozenset(range(1, 6))
    )
    ratios = Table(
        "Ratios",
        ("Ratio", "x / n", "Rate", "95 % interval", "Not resolved"),
        tuple(
            (
                one.words,
                HIDDEN if hidden else f"{grouped(one.x)} / {grouped(one.n)}",
                HIDDEN if hidden else percent(one.proportion) if one.n >= asked.minimum else "counts only",
                HIDDEN if hidden else span(one.lower, one.upper) if one.n >= asked.minimum else "",
                "" if one.unresolved is None or rule.upto else grouped(one.unresolved),
            )
            for one in found.ratios
        ),
        frozenset((1, 2, 4)),
    )
    held = tuple(
        f"{name.replace('<=', AT_MOST)}: {'holds' if holds else 'DOES NOT HOLD'}"
        for name, holds in found.identities.items()
    )
    rows = [
        {
            "ratio": one.name,
            "x": None if hidden else one.x,
            "n": None if hidden else one.n,
            "proportion": None if hidden else one.proportion,
            "lower": None if hidden else one.lower,
            "upper": None if hidden else one.upper,
        }
        for one in found.ratios
    ]
    counted = [
        {"outcome": outcome, **{name: None if hidden else n for name, n in zip(names, row, strict=True)}}
        for outcome, row in found.cells.items()
    ]
    return Part(
        Section("B categories", (cross, ratios, Bullets(held)), new_page=True),
        {"b_categories": rows, "b_category_cells": counted},
    )


def harm(asked: Asked) -> Part:
    """Complications within 30 days by kind and grade."""
    found = complications_by_grade(asked.registry, **asked.period)  # type: ignore[arg-type]
    rows = found.to_dicts()
    hidden = not asked.told.admits(*(int(row["complications"]) for row in rows))
    cells = tuple(
        (
            label("complications", "kind", row["kind"]),
            labels("complications", "scheme").get(row["scheme"] or "", "not stated"),
            str(row["grade"]),
            HIDDEN if hidden else grouped(row["complications"]),
        )
        for row in rows
    )
    made: Block = Table(
        "Complications by kind and grade",
        ("Kind", "Scale", "Grade", "Complications"),
        cells,
        frozenset((2, 3)),
    )
    if not rows:
        made = Paragraph("No complication within 30 days is recorded in the period.")
    kept = [] if hidden else rows
    note = Paragraph(
        "Grades of different scales are never converted; an expected bruise is not recorded.", "small"
    )
    return Part(Section("Complications", (made, note)), {"complications": kept})


def yearly(asked: Asked) -> Part:
    """The yearly table for the twelve months that end with the period."""
    found = quality.yearly(asked.registry, until=asked.end, as_of=asked.as_of)
    blocks: list[Block] = [Paragraph(f"Procedures from {found.start} to {found.until}.")]
    rows: list[dict[str, Any]] = []
    for one in found.tables:
        shown = [
            [
                None if asked.told.hides(YEARLY, one.name, row, column) else number
                for (column, _), number in zip(one.columns, line, strict=True)
            ]
            for (row, _), line in zip(one.rows, one.counts, strict=True)
        ]
        for caption, places in one.parts():
            cells = tuple(
                (
                    text,
                    *(
                        HIDDEN if number is None else grouped(number)
                        for number in (line[at] for at in places)
                    ),
                )
                for (_, text), line in zip(one.rows, shown, strict=True)
            )
            heads = ("", *one.heads(places))
            blocks.append(Table(caption, heads, cells, frozenset(range(1, len(heads)))))
        rows += [
            {"part": one.name, "row": row, "column": column, "procedures": number}
            for (row, _), line in zip(one.rows, shown, strict=True)
            for (column, _), number in zip(one.columns, line, strict=True)
        ]
    return Part(Section("Twelve months in counts", tuple(blocks), new_page=True), {"yearly": rows})


def steps(asked: Asked) -> Part:
    """Days between the steps."""
    found = timeliness.timeliness(asked.registry, **asked.period)  # type: ignore[arg-type]
    cells = []
    rule = asked.rule
    hidden = {one.interval for one in found if not asked.told.admits(one.n)}
    for one in found:
        n = HIDDEN if one.interval in hidden else grouped(one.n)
        # Days in the middle of many tell nothing of how many there are.
        if one.median is None or (one.interval in hidden and one.n <= rule.upto):
            cells.append((one.words, n, "", "", ""))
            continue
        limits = measured_span(one.lower, one.upper, "d")
        late = HIDDEN if rule.upto else "" if one.p90 is None else measured(one.p90, "d")
        cells.append(
            (
                one.words,
                n,
                f"{measured(one.median, 'd')} ({limits})" if limits else measured(one.median, "d"),
                measured_span(one.q1, one.q3, "d"),
                late,
            )
        )
    made = Table(
        "Days between the steps",
        ("Interval", "n", "Median", "Quartiles", "90 %"),
        tuple(cells),
        frozenset((1, 4)),
    )
    rows = [one.to_dict() for one in found]
    if rule.upto:
        names = ("interval", "words", "n", "median", "q1", "q3")
        rows = [{key: row[key] for key in names} for row in rows if row["n"] == 0 or row["n"] > rule.upto]
        rows = [{**row, "n": None if row["interval"] in hidden else row["n"]} for row in rows]
    return Part(Section("Timeliness", (made,)), {"timeliness": rows})


def definitions() -> Part:
    """Numerator, denominator and window of every measure, from the headers of their files."""
    found = load_measures().values()
    rows = [
        {
            "measure": one.id,
            "title": one.title,
            "numerator": one.numerator or one.value,
            "denominator": one.denominator,
            "window": one.window,
        }
        for one in found
    ]
    cells = tuple((row["title"], row["numerator"], row["denominator"], row["window"]) for row in rows)
    made = Table(
        "Definitions", ("Measure", "Counted or measured", "Among", "Window"), cells, widths=(3, 6, 5, 3)
    )
    return Part(Section("Definitions", (made,), new_page=True), {"definitions": rows})
