"""Discordance over its three denominators, each with what was not decided."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

from registry.measures import ProportionResult, evaluate, load_measures
from registry.quality.lists import not_conclusive
from registry.stats.estimators import CLUSTERED, ESTIMATORS

if TYPE_CHECKING:
    from datetime import date

    from registry.measures.counting import Reader

DENOMINATORS = {
    "discordance": "All results",
    "discordant_benign": "Benign results",
    "discordant_suspicious_benign": "Benign results of category 4 or 5",
}
"""Measure -> the procedures it is about."""


@dataclass(frozen=True)
class Denominator:
    """One way of counting discordance, as ``result`` says, and how much of it was decided.

    Of ``due`` procedures ``decided`` had a conclusive joint review (a share with limits of the
    method asked for), ``not_reviewed`` none at all, ``indeterminate`` one without a decision.
    """

    measure: str
    about: str
    title: str
    result: ProportionResult
    due: int
    decided: int
    coverage: float | None
    coverage_lower: float | None
    coverage_upper: float | None
    not_reviewed: int
    indeterminate: int

    def to_dict(self) -> dict[str, Any]:
        """JSON-able."""
        return {**asdict(self), "result": self.result.to_dict()}


def denominators(
    registry: Reader,
    *,
    as_of: date,
    start: date | None = None,
    end: date | None = None,
    interval: str = "wilson",
    confidence: float = 0.95,
) -> tuple[Denominator, ...]:
    """Discordance among all results, benign results, and benign results of category 4 or 5.

    Parameters
    ----------
    registry, as_of, start, end, interval, confidence
        As :func:`registry.measures.evaluate`. The coverage by patient is not worked out: with
        the clustered interval it has Wilson's.

    Raises
    ------
    UsageProblem
        As :func:`registry.measures.evaluate`.
    """
    ids = list(DENOMINATORS)
    results = evaluate(
        registry, ids, as_of=as_of, start=start, end=end, interval=interval, confidence=confidence
    )
    undecided = not_conclusive(registry, as_of=as_of, start=start, end=end)
    method = ESTIMATORS["wilson" if interval == CLUSTERED else interval]
    made = []
    for result in results:
        assert isinstance(result, ProportionResult)
        none, unsure = undecided[result.measure]
        decided, due = result.denominator, result.denominator + none + unsure
        lower, upper = method.interval(decided, due, confidence)
        made.append(
            Denominator(
                measure=result.measure,
                about=DENOMINATORS[result.measure],
                title=load_measures()[result.measure].title,
                result=result,
                due=due,
                decided=decided,
                coverage=decided / due if due else None,
                coverage_lower=None if lower is None else float(lower),
                coverage_upper=None if upper is None else float(upper),
                not_reviewed=none,
                indeterminate=unsure,
            )
        )
    return tuple(made)
