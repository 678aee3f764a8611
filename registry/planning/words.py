"""The answers of a plan in plain sentences: procedures and months, and what they rest on."""

from __future__ import annotations

from typing import TYPE_CHECKING

from registry.numerals import grouped

if TYPE_CHECKING:
    from registry.planning.asked import Plan

_RISES = {2.0: "doubling", 3.0: "trebling"}


def percent(value: float) -> str:
    """A proportion as a percentage with up to three figures."""
    return f"{100 * value:.3g} %"


def paragraphs(made: Plan) -> tuple[tuple[str, ...], ...]:
    """What is planned for, the answers, what one year shows, and the assumptions: sentences of each."""
    return (
        (_planned(made), _pace(made)),
        (_width(made), *_rise(made)),
        tuple(_one_year(made)),
        tuple(_assumptions(made)),
    )


def span(procedures: int, months: int | None) -> str:
    """Procedures, and the months they take where the pace is known."""
    plain = f"{grouped(procedures)} procedures"
    if months is None:
        return f"{plain} (no volume to say how many months)"
    years = f", {months / 12:.1f} years" if months > 24 else ""
    return f"{plain}, {months} month{'' if months == 1 else 's'}{years} at this volume"


def rise(made: Plan) -> str:
    """The rise that is asked about, as a noun."""
    return _RISES.get(made.factor, f"rise by a factor of {made.factor:g}")


def _planned(made: Plan) -> str:
    origin = "the rate given" if not made.watches_rest else f"the rate given is {percent(1.0 - made.rate)}"
    seen = made.seen
    if seen is not None and seen.lower is not None and seen.upper is not None:
        x, low, high = seen.numerator, seen.lower, seen.upper
        if made.watches_rest:
            x, low, high = seen.denominator - x, 1.0 - high, 1.0 - low
        origin = (
            f"observed, {x} of {seen.denominator} procedures; {percent(made.confidence)} interval "
            f"{percent(low)} to {percent(high)}, {seen.method}; taken as it is"
        )
    what = "share of procedures that do not count" if made.watches_rest else "rate"
    why = " More is better in this measure, so what falls short is watched." if made.watches_rest else ""
    return f"Planned for a {what} of {percent(made.rate)} ({origin}).{why}"


def _pace(made: Plan) -> str:
    volume = made.volume
    if volume.per_month is None:
        return (
            "No procedure entered the denominator in a complete month: the number of months cannot be given."
        )
    return (
        f"Volume: {volume.procedures} procedures entered the denominator in {volume.months} complete "
        f"month{'' if volume.months == 1 else 's'}, {volume.start} to {volume.end}: {volume.per_month:.3g} a month."
    )


def _width(made: Plan) -> str:
    needed = made.width.n
    return (
        f"Known to ± {100 * made.half_width:.3g} percentage points: {span(needed, made.volume.months_for(needed))} "
        f"({percent(made.confidence)} Wilson interval; {made.width_wald.n} by the textbook formula)."
    )


def _rise(made: Plan) -> list[str]:
    change = f"from {percent(made.rate)} to {percent(made.raised)}"
    if made.rise is None or made.groups is None:
        return [f"A {rise(made)}: {made.no_rise}."]
    months, found, pair = made.volume.months_for, made.rise, 2 * made.groups.per_group
    return [
        f"A {rise(made)} seen, {change}: power {percent(made.power)} is reached for the first time with "
        f"{span(found.n, months(found.n))} (the test rejects from {found.critical} events on). Power is saw-toothed, "
        f"and stays above {percent(made.power)} only from {span(found.n_stays, months(found.n_stays))}.",
        f"Two groups compared, {percent(made.rate)} against {percent(made.raised)}: {made.groups.per_group} "
        f"procedures in each, together {span(pair, months(pair))}.",
    ]


def _one_year(made: Plan) -> list[str]:
    year = made.one_year
    if not made.volume.per_year or made.one_year_half_width is None or made.one_year_no_event is None:
        return []
    said = [
        f"One year at this volume is {made.volume.per_year} procedures. The rate is then known to "
        f"± {100 * made.one_year_half_width:.2g} percentage points."
    ]
    if year is not None:
        verdict = "can" if year.power >= made.power else "cannot"
        shown = (
            f"the smallest rise that it shows with power {percent(made.power)} is to {percent(year.shown)}"
            if year.shown is not None
            else "no rise, however large, would be shown"
        )
        said.append(
            f"One year {verdict} show a {rise(made)}: the power is {percent(year.power)}, and {shown}."
        )
    said.append(
        f"A year without a single event would show that the rate lies below {percent(made.one_year_no_event)} "
        "(one-sided 95 % bound)."
    )
    return said


def _assumptions(made: Plan) -> list[str]:
    window = (
        [f"A procedure counts when its window has passed ({made.window}): the answer comes that much later."]
        if made.window != "none"
        else []
    )
    return [
        f"Assumed: power {percent(made.power)}; a rise by an exact binomial test, one-sided error 5 %, looked at once, at the end; "
        "two groups by the normal approximation, two-sided error 5 %. Looking more often needs another rule.",
        "The volume is taken to stay as it was, and procedures of one patient as independent: "
        "where they are alike, more are needed.",
        *window,
    ]
