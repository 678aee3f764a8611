"""Part of the pack: the period beside the one before it."""

from __future__ import annotations

from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

from registry.disclosure.cells import HIDDEN
from registry.measures import load_measures
from registry.monitoring import compare_periods
from registry.monitoring.comparison_words import meaning, p_value, points
from registry.numerals import grouped, signed
from registry.reports.document import Bullets, Paragraph, Section, Table
from registry.reports.pack import charts
from registry.reports.pack.asked import BEFORE, COMMITTEE, Part
from registry.reports.pack.cells import percent

if TYPE_CHECKING:
    from registry.monitoring import Comparison
    from registry.reports.document import Block
    from registry.reports.pack.asked import Asked


def period_before(start: date, end: date) -> tuple[date, date]:
    """First and last day of the period before: as many whole months, or as many days."""
    last = start - timedelta(days=1)
    if start.day == 1 and (end + timedelta(days=1)).day == 1:
        months = (end.year - start.year) * 12 + end.month - start.month + 1
        number = start.year * 12 + start.month - 1 - months
        return date(number // 12, number % 12 + 1, 1), last
    return start - timedelta(days=(end - start).days + 1), last


def before(asked: Asked) -> Part:
    """Each watched measure in the period and in the one before: difference, interval, test, sentence."""
    first = period_before(asked.start, asked.end)
    found = [
        compare_periods(
            asked.registry,
            name,
            first,
            (asked.start, asked.end),
            as_of=asked.as_of,
            minimum=asked.minimum,
        )
        for name in COMMITTEE
    ]
    lead = Paragraph(
        f"Procedures from {asked.start} to {asked.end} beside those from {first[0]} to {first[1]}, both as of {asked.as_of}: the later ones "
        "have had less time for follow-up. Differences with Miettinen-Nurminen intervals, with which the score test agrees. With "
        f"{len(found)} comparisons one stands out by chance now and then.",
        "small",
    )
    drawn = charts.differences(
        [_lane(one) for one in found if one.is_shown and not _hides(asked, one)],
        "Difference from the period before with its 95 % interval.",
        "Differences of the watched proportions from the period before, each with its 95 % interval; the table holds the numbers.",
    )
    blocks: list[Block] = [lead, *([drawn] if drawn else [])]
    blocks.append(
        Table(
            "The period and the one before",
            ("Measure", "Before", "Period", "Difference, points", "95 % interval", "p", "Trend, p"),
            tuple(_cells(asked, one) for one in found),
            frozenset((1, 2, 3, 5, 6)),
            (_note(found),),
            widths=(4, 2, 2, 2, 3, 1.2, 1.2),
        )
    )
    blocks.append(
        Bullets(
            tuple(_sentence(one) for one in found if not _hides(asked, one))
            or ("Nothing can be said of it.",)
        )
    )
    rows = [_row(asked, one, first) for one in found]
    return Part(Section("The period before", tuple(blocks), new_page=True), {"period_before": rows})


def _hides(asked: Asked, made: Comparison) -> bool:
    return asked.told.hides(BEFORE, made.measure.id)


def _lane(made: Comparison) -> tuple[str, float, float, float, str]:
    pair = made.pair
    assert pair is not None
    low, high = pair.difference.ci
    middle = pair.difference.diff
    assert low is not None
    assert high is not None
    assert middle is not None
    said = f"{signed(100 * middle)} ({signed(100 * low)} to {signed(100 * high)})"
    return made.measure.title, middle, low, high, said


def _cells(asked: Asked, made: Comparison) -> tuple[str, ...]:
    title = made.measure.title
    if _hides(asked, made):
        return title, *([HIDDEN] * 6)
    counts = [f"{grouped(one.numerator)} / {grouped(one.denominator)}" for one in made.groups]
    pair = made.pair
    if not made.is_shown or pair is None or pair.difference.diff is None:
        return title, *counts, "counts only", "", "", ""
    return (
        title,
        *counts,
        signed(100 * pair.difference.diff),
        points(pair.difference.ci).removesuffix(" points"),
        "no test" if pair.p is None else p_value(pair.p),
        "no test" if made.trend.p is None else p_value(made.trend.p),
    )


def _note(found: list[Comparison]) -> str:
    """The tests, and in which measures procedures of one patient are alike."""
    alike = [one.measure.title for one in found if one.is_shown and one.pair and one.pair.is_clustered]
    said = (
        "p: score test of the difference. Trend: Cochran-Armitage over the quarters of both periods; a rise and fall within them "
        "would not show."
    )
    if not alike:
        return said
    return (
        f"{said} Procedures of one patient are alike in: {', '.join(alike)}. There difference and tests, which take procedures as "
        "independent, are too sure."
    )


def _sentence(made: Comparison) -> str:
    """The rates and what their difference means; the words on all comparisons stand once, above."""
    pair = made.pair
    assert pair is not None
    if not made.is_shown:
        return f"{made.measure.title}: fewer than {made.minimum} procedures in one of the two: counts only, nothing is compared."
    then, now = (percent(one.numerator / one.denominator) for one in (pair.first, pair.second))
    return " ".join((f"{made.measure.title}: {then} before, {now} in the period.", *meaning(pair)))


def _row(asked: Asked, made: Comparison, first: tuple[date, date]) -> dict[str, Any]:
    pair = made.pair
    assert pair is not None
    hidden = _hides(asked, made)
    shown = made.is_shown and not hidden
    then, now = made.groups
    row: dict[str, Any] = {
        "measure": made.measure.id,
        "title": load_measures()[made.measure.id].title,
        "before_from": first[0],
        "before_to": first[1],
        "before_numerator": None if hidden else then.numerator,
        "before_denominator": None if hidden else then.denominator,
        "numerator": None if hidden else now.numerator,
        "denominator": None if hidden else now.denominator,
    }
    for name, one in (("difference", pair.difference), ("newcombe", pair.newcombe)):
        row |= {name: one.diff if shown else None}
        row |= {
            f"{name}_{end}": value if shown else None
            for end, value in zip(("lower", "upper"), one.ci, strict=True)
        }
    row |= {"ratio": pair.ratio.ratio if shown else None}
    row |= {
        f"ratio_{end}": value if shown else None
        for end, value in zip(("lower", "upper"), pair.ratio.ci, strict=True)
    }
    return {
        **row,
        "p": pair.p if shown else None,
        "trend_p": None if hidden else made.trend.p,
        "hidden": hidden,
    }
