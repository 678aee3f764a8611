"""Results of measures as rows: once for the CSV file, once as cells of a table."""

from __future__ import annotations

from typing import TYPE_CHECKING

from registry.disclosure.cells import HIDDEN
from registry.measures import load_measures
from registry.numerals import NARROW, grouped, measured, measured_span
from registry.reports.document import Table
from registry.reports.pack.asked import AMONG, COUNTED
from registry.reports.pack.figures import Lane

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from registry.measures import ProportionResult, QuantityResult
    from registry.reports.pack.told import Told
    from registry.targets import Target

Row = dict[str, object]


def percent(value: float | None) -> str:
    """A share with one decimal, nothing where there is none."""
    return "" if value is None else f"{100 * value:.1f}{NARROW}%"


def span(lower: float | None, upper: float | None) -> str:
    """An interval of shares."""
    return "" if lower is None or upper is None else f"{100 * lower:.1f} to {100 * upper:.1f}"


def proportion_rows(found: Sequence[ProportionResult], told: Told) -> list[Row]:
    """One row a result for the file; what the rule hides is empty, and ``hidden`` says so."""
    rule = told.rule
    rows: list[Row] = []
    for one in found:
        hidden = told.hides(COUNTED, one.measure)
        rows.append(
            {
                "measure": one.measure,
                "title": load_measures()[one.measure].title,
                "stratum": one.stratum,
                "numerator": None if hidden else one.numerator,
                "denominator": None if told.hides(AMONG, one.measure) else one.denominator,
                "proportion": None if hidden else one.proportion,
                "lower": None if hidden else one.lower,
                "upper": None if hidden else one.upper,
                "interval": one.method,
                "confidence": one.confidence,
                "patients": None if hidden or not told.admits(one.patients) else one.patients,
                "excluded": None if rule.upto else sum(one.excluded.values()),
                "if_none_unknown_counted": None
                if hidden or not one.bounds or rule.upto
                else one.bounds.lower,
                "if_all_unknown_counted": None if hidden or not one.bounds or rule.upto else one.bounds.upper,
                "unknown": None if not one.bounds or rule.upto else one.bounds.unknown,
                "hidden": hidden,
            }
        )
    return rows


def proportion_table(caption: str, found: Sequence[ProportionResult], told: Told, minimum: int) -> Table:
    """Measure, x of n, rate with its interval, left out, extremes; no rate below the minimum."""
    rows = []
    for one in found:
        if told.hides(COUNTED, one.measure):
            counts, rate, limits, extremes = HIDDEN, HIDDEN, HIDDEN, HIDDEN
        else:
            counts = f"{grouped(one.numerator)} / {grouped(one.denominator)}"
            rate, limits, extremes = _rate(one, minimum)
        left_out = HIDDEN if told.rule.upto else grouped(sum(one.excluded.values()))
        rows.append((_title(one), counts, rate, limits, left_out, extremes if not told.rule.upto else HIDDEN))
    return Table(
        caption,
        ("Measure", "x / n", "Rate", "95 % interval", "Left out", "If unknown none / all"),
        tuple(rows),
        frozenset((1, 2, 4)),
    )


def _title(one: ProportionResult) -> str:
    title = load_measures()[one.measure].title
    return title if one.stratum == "all" else f"{title}: {one.stratum}"


def _rate(one: ProportionResult, minimum: int) -> tuple[str, str, str]:
    if not one.denominator:
        return "no procedures", "", ""
    if one.denominator < minimum:
        return "counts only", "", ""
    if one.numerator == 0 and one.upper_bound_no_events is not None:
        return percent(0.0), f"one-sided upper {percent(one.upper_bound_no_events)}", _extremes(one)
    return percent(one.proportion), span(one.lower, one.upper), _extremes(one)


def _extremes(one: ProportionResult) -> str:
    if one.bounds is None or not one.bounds.unknown:
        return ""
    return f"{percent(one.bounds.lower)} / {percent(one.bounds.upper)} ({grouped(one.bounds.unknown)})"


def lanes(
    found: Sequence[ProportionResult],
    told: Told,
    minimum: int,
    quarters: Mapping[str, Sequence[float]],
    targets: Mapping[str, Sequence[Target]],
) -> list[Lane]:
    """Rows of the strip: results with a rate that may be shown."""
    return [
        Lane(
            load_measures()[one.measure].title,
            one.proportion,
            one.lower,
            one.upper,
            f"{percent(one.proportion)} ({grouped(one.numerator)}/{grouped(one.denominator)})",
            tuple(quarters.get(one.measure, ())),
            tuple(
                end for target in targets[one.measure] for end in (target.low, target.high) if end is not None
            ),
        )
        for one in found
        if one.proportion is not None and one.denominator >= minimum and not told.hides(COUNTED, one.measure)
    ]


def _of_few(one: QuantityResult, told: Told) -> bool:
    """Whether so few were measured that a median is nearly a single value; of many it does not tell how many."""
    return told.hides(AMONG, one.measure) and one.n <= told.rule.upto


def quantity_rows(found: Sequence[QuantityResult], told: Told) -> list[Row]:
    """One row a quantity for the file; no number that is not told, and nothing measured on few."""
    rows: list[Row] = []
    for one in found:
        middle = {
            name: None if _of_few(one, told) else getattr(one, name)
            for name in ("median", "lower", "upper", "q1", "q3")
        }
        kept = {"n": None if told.hides(AMONG, one.measure) else one.n, **middle}
        # The ends of a distribution are single procedures.
        ends = {name: None if told.rule.upto else getattr(one, name) for name in ("p5", "p95", "missing")}
        rows.append(
            {
                "measure": one.measure,
                "title": load_measures()[one.measure].title,
                "unit": one.unit,
                **kept,
                **ends,
            }
        )
    return rows


def quantity_table(caption: str, found: Sequence[QuantityResult], told: Told) -> Table:
    """Quantity, n, median with its interval, quartiles."""
    rows = []
    for one in found:
        title = load_measures()[one.measure].title
        n = HIDDEN if told.hides(AMONG, one.measure) else grouped(one.n)
        if _of_few(one, told) or one.median is None:
            rows.append((title, n, "", "", ""))
            continue
        rows.append(
            (
                title,
                n,
                f"{measured(one.median, one.unit)}{NARROW}{one.unit}",
                measured_span(one.lower, one.upper, one.unit),
                measured_span(one.q1, one.q3, one.unit),
            )
        )
    return Table(
        caption, ("Quantity", "n", "Median", "95 % interval", "Quartiles"), tuple(rows), frozenset((1,))
    )
