"""Results in words: never a rate without its counts, never a percentage of too few."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from registry.measures import WORTH_SAYING, reason_in_words
from registry.measures import maturity as parted
from registry.numerals import NARROW, grouped, measured

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping
    from datetime import date

Row = dict[str, Any]

_DATE = re.compile(r"\d{4}-\d\d-\d\d")
#: Interval methods that the sidebar offers, and what they are called there.
METHODS = {
    "wilson": "Wilson",
    "exact": "Clopper-Pearson, exact",
    "jeffreys": "Jeffreys",
    "midp": "Mid-P",
    "clustered": "Wilson, clustered by patient",
}
NO_PROCEDURES = "no procedures"


@dataclass(frozen=True)
class Figure:
    """A result as it may be shown.

    ``kind`` is ``none`` (empty denominator), ``counts`` (too few for a percentage),
    ``zero`` (no events: an upper bound in place of an interval) or ``rate``. ``short``
    and ``range`` go into tables, ``sentence`` stands alone. ``low`` and ``high`` are the ends to draw,
    None where nothing is drawn.
    """

    kind: str
    counts: str
    short: str
    range: str
    sentence: str
    value: float | None = None
    low: float | None = None
    high: float | None = None


def percent(value: float) -> str:
    """A proportion as a percentage with one decimal."""
    return f"{100 * value:.1f}{NARROW}%"


def span(low: float, high: float) -> str:
    """Two proportions as a range of percentages."""
    return f"{100 * low:.1f} to {100 * high:.1f}{NARROW}%"


def with_interval(rate: float, low: float, high: float) -> str:
    """A proportion with its interval, for a cell of a table; it does not break over two lines."""
    return f"{percent(rate)}\u00a0({100 * low:.1f}\u2060–\u2060{100 * high:.1f})"


def count(number: int) -> str:
    """A count with a thin space between thousands."""
    return grouped(number)


def whole_dates(text: str) -> str:
    """A text whose dates are not broken at their hyphens."""
    return _DATE.sub(lambda found: found.group().replace("-", "\u2060-\u2060"), text)


def plural(number: int, singular: str, several: str | None = None) -> str:
    """A count with its noun."""
    return f"{count(number)} {singular if number == 1 else several or singular + 's'}"


def figure(row: Row, minimum: int) -> Figure:
    """A proportion in words.

    Parameters
    ----------
    row
        Result with the field names of the measure definitions.
    minimum
        Smallest denominator for which a percentage is shown, 1 or more.
    """
    x, n = row["numerator"], row["denominator"]
    if not n:
        return Figure("none", "0", NO_PROCEDURES, "", "No procedures.")
    counts = f"{count(x)} of {count(n)}"
    if n < minimum:
        text = f"{counts}; too few for a percentage"
        return Figure("counts", counts, "too few", "for a percentage", f"{text}.")
    level = f"{100 * row['confidence']:g}{NARROW}%"
    bound = row.get("upper_bound_no_events")
    if x == 0 and bound is not None:
        sentence = f"{counts}; one-sided upper {level} bound {percent(bound)}."
        return Figure(
            "zero", counts, f"0{NARROW}%", f"upper bound {100 * bound:.1f}", sentence, 0.0, 0.0, bound
        )
    rate, low, high = row["proportion"], row["lower"], row["upper"]
    if low is None or high is None:
        text = f"{percent(rate)}, {counts}; no interval: all are of one patient."
        return Figure("rate", counts, percent(rate), "no interval", text, rate)
    sentence = f"{percent(rate)}, {counts}; {level} interval {span(low, high)} ({row['method']})."
    return Figure(
        "rate", counts, percent(rate), f"{100 * low:.1f}–{100 * high:.1f}", sentence, rate, low, high
    )


def between(low: float, high: float, unit: str = "") -> str:
    """Two measured values as a range; a dash would be lost beside a minus."""
    dash = " to " if low < 0 else "\u2013"
    return f"{measured(low, unit)}{dash}{measured(high, unit)}"


def quantity(row: Row) -> str:
    """A quantity in a sentence: median, its interval, quartiles, extremes, and how many."""
    if not row["n"]:
        return "No procedures."
    unit = f"{NARROW}{row['unit']}"
    interval = ""
    if row["lower"] is not None and row["upper"] is not None:
        interval = f" ({100 * row['confidence']:g}{NARROW}% interval {measured(row['lower'], row['unit'])} to {measured(row['upper'], row['unit'])})"
    return (
        f"Median {measured(row['median'], row['unit'])}{unit}{interval}; quartiles {measured(row['q1'], row['unit'])} and {measured(row['q3'], row['unit'])}; "
        f"5th and 95th percentile {measured(row['p5'], row['unit'])} and {measured(row['p95'], row['unit'])}; {plural(row['n'], 'procedure')}, "
        f"{count(row['missing'])} missing."
    )


def excluded(reasons: Mapping[str, int]) -> str:
    """What was left out and why, in the order of the definition."""
    parts = [f"{count(number)} {reason_in_words(reason)}" for reason, number in reasons.items() if number]
    return f"Left out: {', '.join(parts)}." if parts else "Nothing left out."


def left_out(reasons: Mapping[str, int]) -> str:
    """How many were left out for any reason, for a cell of a table."""
    return f"{count(sum(reasons.values()))} left out"


def maturity(row: Row) -> str:
    """How the procedures of the period part: counted, outside the question, too recent, not on record."""
    found = parted(row["numerator"], row["denominator"], row["excluded"])
    total = found.counted + found.outside + found.pending + found.unknown
    if not total:
        return ""
    if total == found.counted:
        return f"All {plural(total, 'procedure')} of the period are counted."
    parts = [f"{count(found.counted)} are counted"]
    if found.outside:
        parts.append(f"{count(found.outside)} are outside the question")
    if found.pending:
        parts.append(f"{count(found.pending)} are too recent")
    if found.unknown:
        parts.append(f"of {count(found.unknown)} what is asked is not on record")
    return f"Of {plural(total, 'procedure')} of the period {', '.join(parts[:-1])} and {parts[-1]}."


def extremes(row: Row, minimum: int) -> str:
    """Worst and best case: none, or all, of those not on record counted."""
    found = parted(row["numerator"], row["denominator"], row["excluded"])
    if not found.unknown:
        return "Of no procedure what is asked is missing from the record: there is no better or worse case."
    if found.lowest is None or found.highest is None or found.counted < minimum:
        return f"Of {plural(found.unknown, 'procedure')} what is asked is not on record; too few are counted for a best and worst case."
    return (
        f"Best and worst case: with none or all of the {plural(found.unknown, 'procedure')} counted of which what is asked is not on "
        f"record, whatever the reason, the figure would lie between {span(found.lowest, found.highest)}. "
        f"{plural(found.pending, 'procedure')} too recent will be counted later."
    )


def patients(row: Row) -> str:
    """Procedures and distinct patients in the denominator."""
    return f"{plural(row['denominator'], 'procedure')} of {plural(row['patients'], 'patient')}."


def bounds(row: Row) -> str:
    """The range a proportion could take if the unknown outcomes were known; empty where none is unknown."""
    given = row.get("bounds")
    if not given or not given["unknown"] or given["lower"] is None:
        return ""
    return (
        f"The outcome of {plural(given['unknown'], 'procedure')} is not known: with none or all of them counted, "
        f"the figure would lie between {span(given['lower'], given['upper'])}.{_chance_too(given)}"
    )


def _chance_too(given: Row) -> str:
    low, high = given.get("interval_lower"), given.get("interval_upper")
    if low is None or high is None:
        return ""
    return f" With chance allowed for as well: {span(low, high)} (Wilson limits of the two ends)."


def clustering(ratio: float | None, alike: float | None = None) -> str:
    """A line where the plain interval is more than ten per cent too narrow; empty otherwise."""
    if ratio is None or ratio <= WORTH_SAYING:
        return ""
    how = "" if alike is None else f" (correlation of two of them {alike:z.2f})".replace("-", "\u2212")
    return (
        f"Several procedures of one patient are alike here{how}: the interval that allows for it is {ratio:.2f} times as wide. "
        "Choose the clustered interval in the sidebar."
    )


def clustering_of(named: Iterable[tuple[str, float | None]]) -> str:
    """One line for several figures: those whose plain interval is more than ten per cent too narrow; empty for none.

    Parameters
    ----------
    named
        Name of each figure, and the width of its interval by patient over that of the plain one.
    """
    wider = [
        f"{name} ({ratio:.2f} times)" for name, ratio in named if ratio is not None and ratio > WORTH_SAYING
    ]
    if not wider:
        return ""
    return (
        "Several procedures of one patient are alike, and the interval that allows for it is more than 10"
        f"{NARROW}% wider for: {'; '.join(wider)}. Choose the clustered interval in the sidebar."
    )


def provenance(row: Row) -> str:
    """Method, as-of date, period and version of a result, for the line below a figure."""
    start, end = _day(row["from"]), _day(row["to"])
    period = f"{start or 'first'} to {end or 'last'}" if start or end else "all procedures"
    return f"As of {_day(row['as_of'])}; {period}; {row['registry']}."


def _day(value: date | str | None) -> str:
    return str(value) if value else ""
