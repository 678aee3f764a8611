"""What a monitoring chart rests on, in plain sentences: design, run lengths, resets, limits of what it says."""

from __future__ import annotations

from typing import TYPE_CHECKING

from registry.numerals import grouped
from registry.planning.words import percent

if TYPE_CHECKING:
    from collections.abc import Sequence

    from registry.monitoring.adjusted import Adjusted
    from registry.monitoring.cumulative import Accepted, Cumulative, Signal
    from registry.monitoring.periods import Point
    from registry.monitoring.watched import Watched
    from registry.monitoring.weighted import Weighted
    from registry.stats.runs import Runs

CAN = (
    "It can show that events came faster than accepted for a while. It cannot say why, nor that any one procedure was wrong, "
    "and a sum that has not signalled does not show that the rate is as accepted."
)
RESET = (
    "The sum begins at 0, never falls below it, and begins again at 0 after each signal. Nothing else sets it back, an answer "
    "to a signal neither; another accepted rate, rise or limit is another chart."
)
CAN_QUANTITY = (
    "It can show that the level has moved. It cannot say why, and a spread that grew while the level stayed goes unseen; "
    "values that hang together in time make false signals more frequent than said."
)
RESET_QUANTITY = "The mean begins at the usual level and is not set back at a signal: one signal lasts until it has come back to the usual level."


def time_of(procedures: float, per_year: float | None) -> str:
    """A number of procedures, and the years or months they take."""
    plain = f"{grouped(procedures)} procedures"
    if not per_year:
        return plain
    years = procedures / per_year
    if years < 1 / 6:
        return f"{plain} ({365.25 * years:.0f} days)"
    if years < 2:
        return f"{plain} ({12 * years:.0f} months)"
    return f"{plain} ({years:.1f} years)" if years < 1000 else f"{plain} (more than 1000 years)"


def cumulative(made: Cumulative) -> tuple[str, ...]:
    """Sentences on a running sum: what is watched, how it runs, when it signals, what it says."""
    pace = made.watched.per_year
    half = made.in_control.median
    false = f"a false signal comes after {time_of(made.in_control.arl, pace)} on average"
    if half is not None:
        false += f", half of them before {time_of(half, pace)}"
    soon = f"the signal comes after {time_of(made.after_rise.arl, pace)} on average"
    if made.after_rise.median is not None:
        soon += f", in half of all rises before {time_of(made.after_rise.median, pace)}"
    return (
        _what(made.watched),
        f"{_accepted(made.accepted)} Looked for: a rise by a factor of {made.factor:g}, to {percent(made.raised)}.",
        f"Each event adds {made.step.m - 1}, each procedure without takes 1 off; the sum signals at {made.limit} "
        f"(steps are the likelihood's own for a rise to {percent(made.step.p1)}).",
        f"While the rate stays as accepted, {false}. After a rise to {percent(made.raised)}, {soon}.",
        RESET,
        CAN,
    )


def adjusted(made: Adjusted) -> tuple[str, ...]:
    """Sentences on an adjusted sum."""
    pace, model = made.watched.per_year, made.model
    ratio = made.ratio
    seen = f"While watched, {ratio.observed} events were seen and {ratio.E:.1f} expected"
    if ratio.oe is not None and not ratio.few_expected:
        seen += f": {ratio.oe:.2f} times, 95 % interval {ratio.ci[0]:.2f} to {ratio.ci[1]:.2f} (exact Poisson, the model taken as known)"
    return (
        _what(made.watched),
        f"The risk of each procedure comes from a model of what was known before it: assessment category, size, approach and guidance. "
        f"Firth's penalised logistic regression on {model.n} procedures with {model.events} events, {model.start} to {model.end}, "
        f"the intercept set so that as many events are expected as were seen. It is fitted anew whenever the first watched day or the record changes.",
        f"Looked for: odds {made.odds_ratio:g} times as high at any risk; the sum signals at {made.limit:g}.",
        f"While the risks hold, a false signal comes after {time_of(made.in_control, pace)} on average; with odds "
        f"{made.odds_ratio:g} times as high the signal comes after {time_of(made.after_rise, pace)}. The model is taken as known.",
        f"{seen}.",
        RESET,
        f"{CAN} Adjusting takes out what the model knows, and nothing else.",
    )


def weighted(made: Weighted) -> tuple[str, ...]:
    """Sentences on a weighted mean of a quantity."""
    pace, unit = made.watched.per_year, made.watched.measure.value_unit
    where = "the watched values themselves" if made.same else f"{made.n} values before the watch"
    return (
        _what(made.watched),
        f"Usual level {made.center:.3g} {unit} (median), from {where}, taken as known. Each value is replaced by its normal score among "
        f"them, so that skewed values do no harm; what is drawn is brought back to {unit}.",
        f"Each new value weighs {100 * made.smoothing:g} %; the limits lie {made.width:g} standard deviations of the weighted mean from the usual level.",
        f"While the level stays, a false signal comes after {time_of(made.in_control, pace)} on average; after a shift to {made.shifted:.3g} {unit} "
        f"(one standard deviation of the scores) the signal comes after {time_of(made.after_shift, pace)} (limits at their final width).",
        RESET_QUANTITY,
        CAN_QUANTITY,
    )


EXPECTED_LEAST = 5
"""Limits of three standard errors are far from exact where fewer events are expected (common practice)."""


def rough(found: Sequence[Point], accepted: float, minimum: int = 1) -> str:
    """That the limits of a p-chart are far from exact here; empty where they are not."""
    shown = [one for one in found if one.n >= minimum]
    # 1e-9: at 90 % accepted, 50 procedures expect just five without the event, in binary a little less.
    few = [one for one in shown if one.n * min(accepted, 1 - accepted) < EXPECTED_LEAST - 1e-9]
    if not few:
        return ""
    return (
        f"In {len(few)} of {len(shown)} periods fewer than {EXPECTED_LEAST} events are expected: these limits are then far from "
        "exact, and the exact ones are to be preferred."
    )


def runs(made: Runs, shown: Sequence[Point], per: str) -> str:
    """What the points do about their median; ``shown`` are the periods that were counted."""
    if made.median is None or made.longest_usual is None or made.crossings_usual is None:
        return f"Runs about the median are not judged: {made.used} {per}s with enough procedures lie off it, too few."
    where = f", {shown[made.ends[0] - 1].period} to {shown[made.ends[1] - 1].period}" if made.ends else ""
    found = [
        text
        for holds, text in (
            (made.is_long, f"a run of {made.longest} {per}s on one side of it{where}"),
            (
                made.is_seldom_crossed,
                f"{made.crossings} crossings, where {made.crossings_usual} or more are usual",
            ),
        )
        if holds
    ]
    usual = (
        f"longest run {made.longest} (up to {made.longest_usual} is usual), "
        f"{made.crossings} crossings ({made.crossings_usual} or more are usual)"
    )
    told = (
        f"Unusual: {' and '.join(found)}. Worth a look; it may still be chance"
        if found
        else "Nothing unusual"
    )
    return f"Run chart, {made.used} {per}s about their median of {percent(made.median)}: {usual}. {told}."


def signal(one: Signal, number: int) -> str:
    """One signal in a phrase."""
    what = (
        f"{len(one.events)} events in {len(one.procedures)} procedures"
        if one.events
        else f"{len(one.procedures)} procedures"
    )
    return f"Signal {number} on {one.on}: {what} since {one.since}"


def _what(watched: Watched) -> str:
    days = watched.during.get_column("day")
    rest = " More is better in this measure, so what falls short is watched." if watched.watches_rest else ""
    pace = f", {watched.per_year:.0f} a year" if watched.per_year else ""
    events = ""
    if "event" in watched.during.columns:
        events = f", {int(watched.during.get_column('event').sum())} with the event"
    return f"Watched: {watched.stratum} procedures in the denominator, {days[0]} to {days[-1]}: {watched.during.height}{events}{pace}.{rest}"


def _accepted(accepted: Accepted) -> str:
    if accepted.x is None:
        return f"Accepted rate {percent(accepted.rate)}, as given."
    where = (
        "of the watched procedures themselves, so that only a change within them can show"
        if accepted.same
        else "before the watch"
    )
    return (
        f"Accepted rate {percent(accepted.rate)}: {accepted.x} of {accepted.n} procedures {accepted.start} to {accepted.end}, "
        f"{where}; taken as known, although it is not."
    )
