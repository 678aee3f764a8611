"""Part of the pack: which expected fields are filled, by site and month, and whether that is getting better."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, Any

from registry import quality
from registry.disclosure.cells import HIDDEN
from registry.numerals import grouped, signed
from registry.reports.document import Paragraph, Section, Table
from registry.reports.pack import charts
from registry.reports.pack.asked import Part
from registry.reports.pack.cells import percent, span

if TYPE_CHECKING:
    from registry.quality import FieldFilled
    from registry.reports.document import Block
    from registry.reports.pack.asked import Asked, Rows

MONTHS = 24


def filled(asked: Asked) -> Part:
    """Fields of the period, and the last twelve months of it against the twelve before."""
    rule = asked.rule
    counted = quality.completeness(asked.registry, **asked.period)
    found = quality.by_field(counted, as_of=asked.as_of, minimum=asked.minimum)
    number = asked.end.year * 12 + asked.end.month - MONTHS
    first = date(number // 12, number % 12 + 1, 1)
    longer = quality.completeness(asked.registry, as_of=asked.as_of, start=first, end=asked.end)
    trend = quality.by_field(longer, as_of=asked.end, minimum=asked.minimum)
    pairs = [(one, then) for one, then in zip(found, trend, strict=True) if one.n]
    hidden = [_hides(asked, *pair) for pair in pairs]
    made = Table(
        "Expected fields that are filled",
        (
            "Field",
            "Filled / expected",
            "Share (95 % interval)",
            "Last 12 months",
            "12 before",
            "Change in points",
        ),
        tuple(_cells(*pair, *is_hidden) for pair, is_hidden in zip(pairs, hidden, strict=True)),
        frozenset((1, 3, 4)),
        (
            "Wilson intervals; change with Newcombe's interval, whole months up to the end of the period. With so many fields a few "
            "change by chance alone.",
        ),
        (4, 2.4, 3.4, 2, 2, 3.6),
    )
    blocks: list[Block] = [made]
    rows: Rows = {
        "completeness": [_row(*pair, *is_hidden) for pair, is_hidden in zip(pairs, hidden, strict=True)]
    }
    if rule.upto:
        blocks.append(
            Paragraph(
                "By site and month the counts are small: that drawing is left out of what is shared.", "small"
            )
        )
    else:
        months = quality.by_month(longer, months=MONTHS)
        drawn = charts.missing_by_month(
            months,
            f"Fields not filled, by month of the procedure, all sites, up to {MONTHS} months: darker where more is missing, darkest from half on.",
            "One row a field and one square a month, darker where more of the expected fields are empty; the file completeness_by_month holds every number.",
        )
        blocks += [drawn] if drawn else []
        rows["completeness_by_month"] = [
            {name: row[name] for name in ("table", "words", "site", "month", "expected", "filled")}
            for row in longer.to_dicts()
            if row["expected"]
        ]
    return Part(Section("Completeness", tuple(blocks), new_page=True), rows)


def _hides(asked: Asked, one: FieldFilled, then: FieldFilled) -> tuple[bool, bool]:
    """Whether the period is hidden, and whether the two stretches of twelve months are.

    They overlap the period: neither may leave a small count when one is taken from the other.
    """
    hidden = not _admits(asked, (one.x, one.n))
    return hidden, hidden or not _admits(asked, then.recent, then.before)


def _admits(asked: Asked, *stretches: tuple[int, int]) -> bool:
    return asked.told.admits(*(count for x, n in stretches for count in (x, n, n - x)))


def _cells(one: FieldFilled, then: FieldFilled, hidden: bool, hidden_trend: bool) -> tuple[str, ...]:
    words = one.words[:1].upper() + one.words[1:]
    share = "counts only"
    if one.proportion is not None:
        share = f"{percent(one.proportion)} ({span(one.lower, one.upper)})"
    own = (HIDDEN, HIDDEN) if hidden else (f"{grouped(one.x)} / {grouped(one.n)}", share)
    if hidden_trend:
        return words, *own, HIDDEN, HIDDEN, HIDDEN
    counts = [f"{grouped(x)} / {grouped(n)}" if n else "none" for x, n in (then.recent, then.before)]
    change = ""
    if (
        then.difference is not None
        and then.difference_lower is not None
        and then.difference_upper is not None
    ):
        change = f"{signed(100 * then.difference)} ({signed(100 * then.difference_lower)} to {signed(100 * then.difference_upper)})"
    return words, *own, *counts, change


def _row(one: FieldFilled, then: FieldFilled, hidden: bool, hidden_trend: bool) -> dict[str, Any]:
    trend = {
        "recent_filled": then.recent[0],
        "recent_expected": then.recent[1],
        "before_filled": then.before[0],
        "before_expected": then.before[1],
        "change": then.difference,
        "change_lower": then.difference_lower,
        "change_upper": then.difference_upper,
    }
    return {
        "table": one.table,
        "field": one.words,
        "filled": None if hidden else one.x,
        "expected": None if hidden else one.n,
        **{name: None if hidden_trend else value for name, value in trend.items()},
    }
