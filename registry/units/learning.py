"""A proportion against the number of procedures that its operator had done before."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from math import exp, sqrt
from typing import TYPE_CHECKING, Any

import numpy as np
import polars as pl

from registry import facts, store
from registry.errors import Refused, UsageProblem
from registry.measures import load_measures
from registry.measures.strata import Question
from registry.people import Action, operators, require
from registry.sqlfiles import queries
from registry.stats.pooling import random_effects
from registry.stats.proportions import upper_bound_no_events, wilson_interval
from registry.stats.regression import firth_logistic
from registry.units import words

if TYPE_CHECKING:
    from datetime import date

    from registry.measures.counting import Reader

STEPS = (10, 25, 50, 100, 200, 400)
"""Last procedure number of each class; the last class is open."""

EVENTS_PER_TERM = 10
"""Fewest events, and fewest others, per fitted term (common practice: ten a variable)."""


@dataclass(frozen=True)
class LearningPoint:
    """Procedures whose number lies from ``first`` to ``last`` (None = open): x of n, by so many operators.

    ``proportion`` and its Wilson limits are None below the minimum n; the one-sided upper
    bound is given where none counted.
    """

    first: int
    last: int | None
    x: int
    n: int
    operators: int
    proportion: float | None
    lower: float | None
    upper: float | None
    upper_bound_no_events: float | None


@dataclass(frozen=True)
class OneByOne:
    """Odds ratios of a doubling, fitted for each operator alone and brought together.

    ``between`` is the standard deviation of the operators' logarithms. None, with a reason,
    where too few operators have enough of both outcomes.
    """

    operators: int
    ratio: float | None = None
    lower: float | None = None
    upper: float | None = None
    between: float | None = None
    reason: str = ""


@dataclass(frozen=True)
class Learning:
    """A proportion by procedure number, and the odds ratio of a doubling of it within operators.

    ``no_number`` counts procedures of the denominator whose operator's experience before
    the registry is not recorded. The odds ratio has the limits of the penalised profile
    and is None, with a reason, where the procedures cannot show it. ``apart`` asks whether it
    goes alike for all operators.
    """

    measure: str
    title: str
    operator: str | None
    points: tuple[LearningPoint, ...]
    x: int
    n: int
    no_number: int
    left_out: int
    odds_ratio: float | None
    odds_lower: float | None
    odds_upper: float | None
    modelled: int
    modelled_operators: int
    reason: str
    apart: OneByOne
    minimum: int
    confidence: float
    as_of: date
    start: date | None
    end: date | None
    registry: str

    @property
    def sentences(self) -> tuple[str, ...]:
        """What a doubling of the number of procedures goes with."""
        return words.of_learning(self)

    def to_dict(self) -> dict[str, Any]:
        """JSON-able, dates in ISO form."""
        made = {**asdict(self), "sentences": list(self.sentences)}
        days = {"as_of": made.pop("as_of"), "from": made.pop("start"), "to": made.pop("end")}
        return {**made, **{name: day and day.isoformat() for name, day in days.items()}}


def learning(
    registry: Reader,
    measure_id: str,
    *,
    as_of: date,
    start: date | None = None,
    end: date | None = None,
    operator: str | None = None,
    minimum: int = 10,
    confidence: float = 0.95,
) -> Learning:
    """A proportion by the number of procedures that its operator had done, this one included.

    Parameters
    ----------
    registry, measure_id, as_of, start, end, minimum, confidence
        As :func:`registry.units.funnel`.
    operator
        Only this operator; None for all together.

    Raises
    ------
    UsageProblem
        No such measure, or no proportion.
    Refused
        The results of another operator, for whoever may see only their own.

    Sources
    -------
    Firth 1993, Biometrika 80:27-38, with an intercept for each operator, so that operators
    are compared with themselves and not with one another.
    """
    whose = operators(require(Action.FIGURES, registry))
    if operator is not None and whose not in (None, operator):
        raise Refused("Results of one operator are shown to that operator and to the quality committee only.")
    measure = load_measures().get(measure_id)
    if measure is None or measure.kind != "proportion":
        known = "there is no such measure" if measure is None else "is no proportion"
        raise UsageProblem(f"{measure_id}: {known}. Proportions are listed by: biopsy-outcomes measures")
    within = {} if operator is None else {"operator": operator}
    question = Question(as_of, start, end, None, within)
    sql = (
        f"WITH numbered AS (\n{queries('units')['procedure_number'].sql}\n)\n"
        "SELECT facts.operator, unit.excluded_because IS NULL AS is_kept, unit.in_numerator, numbered.number "
        f"FROM (\n{measure.body}\n) AS unit "
        f"JOIN (SELECT * FROM procedure_facts WHERE {question.condition}) AS facts "
        "ON facts.procedure_id = unit.procedure_id "
        "LEFT JOIN numbered ON numbered.procedure_id = unit.procedure_id "
        "ORDER BY facts.operator, numbered.number"
    )
    with facts.at(registry, as_of) as cursor:
        rows = store.frame(cursor, sql, question.parameters)
    kept = rows.filter("is_kept")
    numbered = kept.filter(pl.col("number").is_not_null())
    odds, modelled, reason = _per_doubling(numbered, minimum, confidence)
    return Learning(
        measure=measure_id,
        title=measure.title,
        operator=operator,
        points=_points(numbered, minimum, confidence),
        x=int(numbered.get_column("in_numerator").sum()),
        n=numbered.height,
        no_number=kept.height - numbered.height,
        left_out=rows.height - kept.height,
        odds_ratio=odds[0],
        odds_lower=odds[1],
        odds_upper=odds[2],
        modelled=modelled.height,
        modelled_operators=modelled.get_column("operator").n_unique(),
        reason=reason,
        apart=one_by_one(modelled, minimum, confidence),
        minimum=minimum,
        confidence=confidence,
        as_of=as_of,
        start=start,
        end=end,
        registry=registry.stamp(),
    )


def _points(rows: pl.DataFrame, minimum: int, confidence: float) -> tuple[LearningPoint, ...]:
    made = []
    first = 1
    for last in (*STEPS, None):
        within = pl.col("number") >= first
        if last is not None:
            within &= pl.col("number") <= last
        found = rows.filter(within)
        if n := found.height:
            x = int(found.get_column("in_numerator").sum())
            lower, upper = wilson_interval(x, n, confidence) if n >= minimum else (None, None)
            bound = upper_bound_no_events(n, confidence) if n >= minimum and not x else None
            rate = x / n if n >= minimum else None
            operators_seen = found.get_column("operator").n_unique()
            made.append(LearningPoint(first, last, x, n, operators_seen, rate, lower, upper, bound))
        first = (last or 0) + 1
    return tuple(made)


_NONE: tuple[None, None, None] = (None, None, None)
Odds = tuple[float, float, float] | tuple[None, None, None]


def _per_doubling(rows: pl.DataFrame, minimum: int, confidence: float) -> tuple[Odds, pl.DataFrame, str]:
    """Odds ratio of twice the number of procedures, the operators held apart."""
    enough = rows.group_by("operator").len().filter(pl.col("len") >= minimum).get_column("operator")
    used = rows.filter(pl.col("operator").is_in(enough.to_list())).sort("operator", "number")
    codes = used.get_column("operator").unique().sort().to_list()
    if not codes:
        return _NONE, used, f"no operator has {minimum} procedures in the denominator"
    y = used.get_column("in_numerator").cast(pl.Int64).to_numpy()
    terms, fewer = len(codes), min(int(y.sum()), int(len(y) - y.sum()))
    if fewer < EVENTS_PER_TERM * terms:
        return (
            _NONE,
            used,
            (
                f"{fewer} procedures with the rarer outcome are too few to fit {terms} terms "
                f"({EVENTS_PER_TERM} a term are asked for)"
            ),
        )
    number = np.log2(used.get_column("number").to_numpy().astype(np.float64))
    apart = [(used.get_column("operator") == code).cast(pl.Float64).to_numpy() for code in codes[1:]]
    design = np.column_stack([number - number.mean(), *apart])
    fitted = firth_logistic(design, y, confidence, limits_of=[0])
    place = 1 if fitted.intercept_added else 0
    return (
        (exp(fitted.coef[place]), exp(fitted.lower[place]), exp(fitted.upper[place])),
        used,
        "",
    )


FEWEST_OPERATORS = 5
"""Fewer fitted operators say nothing of the spread between them, and could be told apart."""


def one_by_one(rows: pl.DataFrame, minimum: int, confidence: float) -> OneByOne:
    """Odds ratios of the operators who have enough of both outcomes, as a mean and its spread.

    Parameters
    ----------
    rows
        operator, number (1, 2, ...), in_numerator; one row a procedure.
    minimum
        Smallest number of procedures of an operator.
    confidence
        Two-sided.

    Sources
    -------
    Firth 1993 for each operator; random effects by REML with the interval of Hartung and
    Knapp 2001, Stat Med 20:3875-3889.
    """
    slopes, variances = [], []
    for code in rows.get_column("operator").unique().sort().to_list():
        own = rows.filter(pl.col("operator") == code)
        y = own.get_column("in_numerator").cast(pl.Int64).to_numpy()
        if len(y) < minimum or min(int(y.sum()), int(len(y) - y.sum())) < EVENTS_PER_TERM:
            continue
        number = np.log2(own.get_column("number").to_numpy().astype(np.float64))
        if np.ptp(number) == 0.0:
            continue
        fitted = firth_logistic((number - number.mean())[:, None], y, confidence)
        place = 1 if fitted.intercept_added else 0
        slopes.append(float(fitted.coef[place]))
        variances.append(float(fitted.se[place]) ** 2)
    if len(slopes) < FEWEST_OPERATORS:
        few = (
            f"{len(slopes)} operators have {EVENTS_PER_TERM} procedures of either outcome, "
            f"{FEWEST_OPERATORS} are asked for"
        )
        return OneByOne(len(slopes), reason=few)
    found = random_effects(slopes, variances, knapp_hartung=True, confidence=confidence)
    if found.est is None or found.ci[0] is None or found.ci[1] is None or found.tau2 is None:
        return OneByOne(len(slopes), reason=found.reason)
    return OneByOne(len(slopes), exp(found.est), exp(found.ci[0]), exp(found.ci[1]), sqrt(found.tau2))
