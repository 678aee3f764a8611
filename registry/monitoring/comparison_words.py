"""What a comparison means, in plain sentences."""

from __future__ import annotations

from math import isinf
from typing import TYPE_CHECKING

from registry.numerals import grouped, signed
from registry.planning.words import percent

if TYPE_CHECKING:
    from registry.monitoring.comparison import Comparison, Pair
    from registry.stats.limits import Limits


def sentences(made: Comparison) -> tuple[str, ...]:
    """The pair, all groups, the trend, and what none of them can say."""
    said = [*_pair(made)] if made.pair else []
    if made.same is not None:
        said.append(_same(made))
    if text := _by_patient(made):
        said.append(text)
    said.append(_trend(made))
    said.append(
        "A difference says nothing about its reason: other patients, other findings and what is not known yet can make one. "
        "Looking at several comparisons makes one of them stand out by chance."
    )
    return tuple(said)


def p_value(p: float) -> str:
    """A p value with two figures, and no more zeros than mean something."""
    if p < 0.001:
        return "below 0.001"
    return f"{p:.2f}" if p >= 0.1 else f"{p:.2g}"


def of_test(p: float | None) -> str:
    """The test that agrees with the Miettinen-Nurminen intervals, for a cell of a table."""
    return "no test: all outcomes are the same" if p is None else f"score test, p {p_value(p)}"


def points(limits: Limits) -> str:
    """The limits of a difference in percentage points."""
    low, high = limits
    if low is None or high is None:
        return "no interval"
    return f"{signed(100 * low)} to {signed(100 * high)} points"


def times(limits: Limits) -> str:
    """The limits of a ratio."""
    low, high = limits
    if low is None or high is None:
        return "no interval"
    return f"{low:.2f} to {'any number' if isinf(high) else f'{high:.2f}'} times"


def _pair(made: Comparison) -> list[str]:
    pair = made.pair
    assert pair is not None
    first, second = pair.first, pair.second
    counts = (
        f"{pair.names[0]}: {first.numerator} of {first.denominator}; "
        f"{pair.names[1]}: {second.numerator} of {second.denominator}."
    )
    if min(first.denominator, second.denominator) < made.minimum:
        return [
            f"{counts} Fewer than {made.minimum} procedures in a group: counts only, nothing is compared."
        ]
    if pair.p is None:
        return [f"{counts} All outcomes are the same: nothing differs, and nothing is excluded either."]
    assert pair.difference.diff is not None
    level = f"{percent(made.confidence)} interval"
    rates = (
        f"{percent(first.numerator / first.denominator)} and {percent(second.numerator / second.denominator)}"
    )
    said = [
        f"{counts} The rates are {rates}: a difference of {signed(100 * pair.difference.diff)} percentage points "
        f"({level} {points(pair.difference.ci)}), {_ratio(pair)}; p {p_value(pair.p)} by the score test, which agrees with both."
    ]
    said += meaning(pair)
    if pair.is_clustered:
        wider = ", ".join("not known" if one is None else f"{one:.2f} times" for one in pair.wider)
        said.append(
            f"Several procedures of one patient are alike: the interval of each group that allows for it is wider ({wider}). "
            "Difference, ratio and test take procedures as independent, and are too sure by about as much."
        )
    return said


def meaning(pair: Pair) -> list[str]:
    """What the difference of a pair with enough procedures says, and what it takes to say more."""
    low, high = pair.difference.ci
    if pair.p is None or low is None or high is None:
        return ["All outcomes are the same: nothing differs, and nothing is excluded either."]
    if low > 0 or high < 0:
        more = "higher" if low > 0 else "lower"
        return [
            f"The rate of {pair.names[1]} is {more} by more than chance alone explains at this level; by how much, the interval says."
        ]
    return [
        f"No difference is shown, and none is excluded: the figures agree with anything from {signed(100 * low)} to {signed(100 * high)} points.",
        *_too_few(pair),
    ]


def _ratio(pair: Pair) -> str:
    if pair.ratio.ratio is None or isinf(pair.ratio.ratio):
        return f"a ratio of {times(pair.ratio.ci)}"
    return f"a ratio of {pair.ratio.ratio:.2f} ({times(pair.ratio.ci)})"


def _too_few(pair: Pair) -> list[str]:
    needed = pair.needed
    if needed is None:
        return []
    rates = f"{percent(needed.first)} from {percent(needed.second)}"
    why = " (a doubling; the rates seen give nothing to plan with)" if needed.assumed else ""
    known = (
        f"; {grouped(needed.against_known)} would be needed if the lower rate were known"
        if needed.against_known is not None
        else ""
    )
    enough = min(pair.first.denominator, pair.second.denominator) >= needed.per_group
    if enough:
        return [f"There are enough procedures to tell {rates}{why} in four of five such comparisons."]
    return [
        f"Too few procedures to tell {rates}{why}: {grouped(needed.per_group)} in each group would be needed (power 80 %, two-sided error 5 %){known}."
    ]


def _same(made: Comparison) -> str:
    same = made.same
    assert same is not None
    if same.p is None:
        return f"All groups together: no test, {same.reason}."
    told = (
        "the groups differ by more than chance alone explains"
        if same.p < 1 - made.confidence
        else "no difference between the groups is shown"
    )
    spread = (
        f" Spread beyond chance (Tarone, one-sided): p {p_value(same.tarone_p)}."
        if same.tarone_p is not None
        else ""
    )
    return f"All {same.df + 1} groups with procedures together: chi-square {same.chi2:.2f}, {_freedom(same.df)}, p {p_value(same.p)}: {told}.{spread}"


def _freedom(df: int) -> str:
    return "1 degree of freedom" if df == 1 else f"{df} degrees of freedom"


def _by_patient(made: Comparison) -> str:
    """The test that holds procedures of a patient together; empty where it adds nothing."""
    test = made.by_patient
    if (
        test.p is None
        or max(test.deff) <= 1.0
        or not all(one.denominator >= made.minimum for one in made.groups)
    ):
        return ""
    told = (
        "the groups differ by more than chance alone explains"
        if test.p < 1 - made.confidence
        else "no difference between the groups is shown"
    )
    return (
        f"With the procedures of each patient held together (Rao and Scott; variance up to {max(test.deff):.2f} times that of independent "
        f"procedures): chi-square {test.chi2:.2f}, {_freedom(test.df)}, p {p_value(test.p)}: {told}."
    )


def _trend(made: Comparison) -> str:
    if made.trend.p is None:
        return f"Trend over quarters: no test, {made.trend.reason}."
    first, last = made.quarters[0].stratum, made.quarters[-1].stratum
    told = "a trend is shown" if made.trend.p < 1 - made.confidence else "no trend is shown"
    return (
        f"Trend over {len(made.quarters)} quarters with procedures, {first} to {last} (Cochran-Armitage): "
        f"chi-square {made.trend.chi2:.2f}, p {p_value(made.trend.p)}: {told}. A rise and fall within the time would not show."
    )
