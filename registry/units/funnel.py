"""Operators or sites beside one another, for one proportion: what chance allows, and what stands out.

Nobody is ranked. Units stand in the order of their codes; to whoever may see only their
own results the others are points without a name, in the order of their volume.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass, field, replace
from math import isnan
from typing import TYPE_CHECKING, Any

import numpy as np

from registry.errors import UsageProblem
from registry.measures import counting, load_measures
from registry.measures.strata import Question, in_order
from registry.people import Action, operators, require
from registry.stats.estimators import ESTIMATORS
from registry.stats.monitoring import adjust_pvalues, funnel_limits, overdispersion
from registry.stats.outlying import against_others, chance_of_any, smaller_tail
from registry.stats.proportions import upper_bound_no_events
from registry.stats.rates import observed_expected
from registry.stats.shrinkage import beta_binomial, logit_normal
from registry.units import words
from registry.units.pool import Pool, pool
from registry.units.rows import Background, backgrounds

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import date

    from registry.measures.counting import Counts, Reader

OPERATOR, SITE = WAYS = ("operator", "site")

FALSE_DISCOVERIES = 0.05
"""Share of false flags among the flags that is accepted."""

FEWEST_OTHERS = 4
"""With fewer others than this a point without a name could be recognised by its volume."""

_POINTS = 90


@dataclass(frozen=True)
class Unit:
    """One operator or site: ``x`` of ``n`` procedures.

    ``code`` is None where whoever asks may not know it; ``own`` marks their own.
    ``looked_at`` says whether n reaches the minimum; only then are there a proportion with
    Wilson limits, ``limits`` (0.1, 2.5, 97.5 and 99.9 % at this n, as drawn), ``tail`` (exact
    chance of a count so far out or further, at the rate of all), ``expected`` events at the
    rate ``compared_with``, ``ratio`` of x to them with exact Poisson limits (None with less than
    one expected), the exact ``p``, its value ``adjusted`` for the number of units, and the
    ``shrunken`` rate with its limits, ``shrunken_otherwise`` by another model. ``deviation`` is in standard deviations of
    chance, ``deviation_spread`` allows for spread between units (None with too few).
    """

    code: str | None
    own: bool
    x: int
    n: int
    excluded: Mapping[str, int]
    looked_at: bool
    proportion: float | None = None
    lower: float | None = None
    upper: float | None = None
    upper_bound_no_events: float | None = None
    limits: tuple[float, ...] = ()
    tail: float | None = None
    compared_with: float | None = None
    expected: float | None = None
    ratio: float | None = None
    ratio_lower: float | None = None
    ratio_upper: float | None = None
    p: float | None = None
    adjusted: float | None = None
    flagged: bool = False
    deviation: float | None = None
    deviation_spread: float | None = None
    shrunken: float | None = None
    shrunken_lower: float | None = None
    shrunken_upper: float | None = None
    shrunken_otherwise: float | None = None
    background: Background | None = None

    @property
    def outside(self) -> str:
        """Outside which pair of limits the count lies, by its exact chance: "99.8 %", "95 %" or nothing."""
        if self.tail is None or self.tail > 0.025:
            return ""
        return "99.8 %" if self.tail <= 0.001 else "95 %"


@dataclass(frozen=True)
class Funnel:
    """All units for one measure, and what chance alone would do.

    ``lines`` holds (n, 0.1 %, 2.5 %, 97.5 %, 99.9 %) of the limits around the rate of all
    units. ``chance_95`` and ``chance_998`` are the chance that at least one of the
    ``looked_at`` units lies outside those limits although all have one true rate.
    ``spread`` (phi) and ``spread_variance`` (tau squared) are None, with a reason, where
    the units are too few. ``pool`` brings the units together. ``unnamed`` says that codes are kept back, ``withheld`` why the
    others are not shown at all.
    """

    measure: str
    title: str
    direction: str
    by: str
    units: tuple[Unit, ...]
    x: int
    n: int
    proportion: float | None
    looked_at: int
    chance_95: float
    chance_998: float
    spread: float | None
    spread_variance: float | None
    spread_reason: str
    shrink_mean: float | None
    shrink_size: float | None
    shrink_reason: str
    pool: Pool
    lines: tuple[tuple[int, float, float, float, float], ...]
    minimum: int
    confidence: float
    as_of: date
    start: date | None
    end: date | None
    registry: str
    unnamed: bool = False
    withheld: str = field(default="")

    @property
    def sentences(self) -> tuple[str, ...]:
        """What the comparison shows and what it cannot."""
        return words.of_funnel(self)

    def to_dict(self) -> dict[str, Any]:
        """JSON-able: everything but the lines, dates in ISO form."""
        made = {**asdict(self), "sentences": list(self.sentences)}
        del made["lines"]
        for one, unit in zip(made["units"], self.units, strict=True):
            one["outside"] = unit.outside
        days = {"as_of": self.as_of, "from": made.pop("start"), "to": made.pop("end")}
        return {**made, **{name: day and day.isoformat() for name, day in days.items()}}


def funnel(
    registry: Reader,
    measure_id: str,
    *,
    by: str = OPERATOR,
    as_of: date,
    start: date | None = None,
    end: date | None = None,
    minimum: int = 10,
    confidence: float = 0.95,
) -> Funnel:
    """Set operators or sites beside one another for one proportion.

    Parameters
    ----------
    registry
        An open registry.
    measure_id
        A measure of the kind proportion.
    by
        ``operator`` or ``site``.
    as_of
        Nothing dated after this day counts.
    start, end
        First and last day on which a procedure started, both included.
    minimum
        Smallest denominator of a unit that is looked at, 1 or more.
    confidence
        Two-sided, of the intervals of raw and shrunken rates.

    Raises
    ------
    UsageProblem
        No such measure, no proportion, or another way of splitting.
    Refused
        Whoever asks may not see figures.

    Sources
    -------
    Spiegelhalter 2005, Stat Med 24:1185-1202 (exact limits, over-dispersion); Benjamini and
    Hochberg 1995 (flags); a beta distribution of the units' rates (shrinkage); Stijnen,
    Hamza and Ozdemir 2010 (units brought together).
    """
    actor = require(Action.FIGURES, registry)
    measure = load_measures().get(measure_id)
    if measure is None or measure.kind != "proportion":
        known = "there is no such measure" if measure is None else "is no proportion"
        raise UsageProblem(f"{measure_id}: {known}. Proportions are listed by: biopsy-outcomes measures")
    if by not in WAYS:
        raise UsageProblem(f"--by {by}: units are operators or sites. Write operator or site.")
    question = Question(as_of, start, end, by)
    with counting.classified(registry, question) as units:
        counts = {stratum: one for (_, stratum), one in counting.count(units, [measure]).items()}
    whose = operators(actor) if by == OPERATOR else None
    named = backgrounds(registry, as_of=as_of, start=start, end=end) if by == OPERATOR else {}
    codes = sorted(counts, key=in_order)
    made = _units(codes, counts, max(1, minimum), confidence, whose, named)
    shown, withheld = _visible(made.units, whose)
    return Funnel(
        measure=measure_id,
        title=measure.title,
        direction=measure.direction,
        by=by,
        units=shown,
        x=made.x,
        n=made.n,
        proportion=made.x / made.n if made.n else None,
        looked_at=made.looked_at,
        chance_95=chance_of_any(made.looked_at, 0.95),
        chance_998=chance_of_any(made.looked_at, 0.998),
        spread=made.spread.phi,
        spread_variance=made.spread.tau2,
        spread_reason=made.spread.reason,
        shrink_mean=made.shrunken.mean,
        shrink_size=made.shrunken.size,
        shrink_reason=made.shrunken.reason,
        pool=pool([(counts[code].numerator, counts[code].denominator) for code in codes], confidence),
        lines=_lines(made, minimum),
        minimum=minimum,
        confidence=confidence,
        as_of=as_of,
        start=start,
        end=end,
        registry=registry.stamp(),
        unnamed=whose is not None,
        withheld=withheld,
    )


@dataclass(frozen=True)
class _Made:
    units: tuple[Unit, ...]
    x: int
    n: int
    looked_at: int
    spread: Any
    shrunken: Any


def _units(
    codes: list[str],
    counts: Mapping[str, Counts],
    minimum: int,
    confidence: float,
    whose: str | None,
    named: Mapping[str, Background],
) -> _Made:
    x = np.array([counts[code].numerator for code in codes], dtype=np.int64)
    n = np.array([counts[code].denominator for code in codes], dtype=np.int64)
    some, enough = n > 0, n >= minimum
    total, of = int(x.sum()), int(n.sum())
    lower, upper = ESTIMATORS["wilson"].interval(x, n, confidence)
    others = against_others(x, n)
    tested = enough & ~np.isnan(others.p)
    adjusted = np.full(len(codes), np.nan)
    adjusted[tested] = adjust_pvalues(others.p[tested])
    spread = overdispersion(x[enough], n[enough])
    shrunken = beta_binomial(x[some], n[some], confidence)
    deviation, deviation_spread = _placed(spread.z, enough), _placed(spread.z_adj, enough)
    otherwise = _placed(logit_normal(x[some], n[some]).eb, some)
    drawn = _placed(shrunken.eb, some), _placed(shrunken.lower, some), _placed(shrunken.upper, some)
    limits = _limits(n, total, of)
    tails = smaller_tail(x, n, total / of) if 0 < total < of else None
    made = []
    for i, code in enumerate(codes):
        own = whose is not None and code == whose
        known = whose is None or own
        unit = Unit(
            code if known else None, own, int(x[i]), int(n[i]), counts[code].excluded, bool(enough[i])
        )
        if enough[i]:
            unit = replace(
                unit,
                proportion=int(x[i]) / int(n[i]),
                lower=float(lower[i]),
                upper=float(upper[i]),
                upper_bound_no_events=None if x[i] else upper_bound_no_events(int(n[i]), confidence),
                limits=limits[i],
                tail=None if tails is None else float(tails[i]),
                compared_with=_number(others.rate[i]),
                expected=_number(others.expected[i]),
                p=_number(others.p[i]),
                adjusted=_number(adjusted[i]),
                flagged=bool(adjusted[i] <= FALSE_DISCOVERIES),
                deviation=_number(deviation[i]),
                deviation_spread=_number(deviation_spread[i]),
                shrunken=_number(drawn[0][i]),
                shrunken_lower=_number(drawn[1][i]),
                shrunken_upper=_number(drawn[2][i]),
                shrunken_otherwise=_number(otherwise[i]),
                background=named.get(code) if known else None,
            )
            unit = _over_expected(unit, confidence)
        elif known:
            unit = replace(unit, background=named.get(code))
        made.append(unit)
    return _Made(tuple(made), total, of, int(enough.sum()), spread, shrunken)


def _over_expected(unit: Unit, confidence: float) -> Unit:
    """Observed over expected, the rate of the others taken as known; nothing where too little is expected."""
    if unit.expected is None:
        return unit
    found = observed_expected(unit.x, unit.expected, confidence)
    if found.few_expected:
        return unit
    return replace(unit, ratio=found.oe, ratio_lower=found.ci[0], ratio_upper=found.ci[1])


def _visible(units: tuple[Unit, ...], whose: str | None) -> tuple[tuple[Unit, ...], str]:
    """What may be seen: all; or one's own, and the others without names where they are enough."""
    if whose is None:
        return units, ""
    own = tuple(one for one in units if one.own)
    others = sorted((one for one in units if not one.own and one.n), key=lambda one: -one.n)
    if len(others) < FEWEST_OTHERS:
        return own, (
            f"Fewer than {FEWEST_OTHERS} other operators have procedures here: "
            "points without a name could be recognised, so none is shown."
        )
    return (*own, *others), ""


def without_names(found: Funnel) -> Funnel:
    """The same units for a reader who may know none of them: by volume, or none where they are few.

    As the others are shown to whoever may see only their own results, without role and
    experience, by which a person could be known.
    """
    if found.by != OPERATOR:
        return found
    bare = tuple(replace(one, code=None, own=False, background=None) for one in found.units)
    shown, withheld = _visible(bare, "")
    return replace(found, units=shown, unnamed=True, withheld=withheld)


def _limits(n: np.ndarray, x: int, of: int) -> list[tuple[float, ...]]:
    if not 0 < x < of:
        return [()] * len(n)
    found = funnel_limits(np.maximum(n, 1), x / of).limits
    return [tuple(float(one) for one in column) for column in found.T]


def _lines(made: _Made, minimum: int) -> tuple[tuple[int, float, float, float, float], ...]:
    """The limits from the minimum to beyond the largest unit."""
    largest = max((one.n for one in made.units), default=0)
    if not made.looked_at or not 0 < made.x < made.n:
        return ()
    sizes = np.unique(np.geomspace(max(1, minimum), max(minimum + 1, 1.08 * largest), _POINTS).astype(int))
    found = funnel_limits(sizes, made.x / made.n).limits
    made_of = zip(sizes.tolist(), *found.tolist(), strict=True)
    return tuple(
        (int(size), low, near_low, near_high, high) for size, low, near_low, near_high, high in made_of
    )


def _placed(values: np.ndarray, where: np.ndarray) -> np.ndarray:
    """Values of some units at their places among all."""
    made = np.full(len(where), np.nan)
    made[where] = values
    return made


def _number(value: float) -> float | None:
    return None if isnan(value) else float(value)
