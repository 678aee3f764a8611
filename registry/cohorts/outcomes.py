"""Measures of the handbook among the procedures of a cohort, and what is not known of them.

No outcome is defined here: a measure says what counts, and a cohort says among whom.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from registry.errors import UsageProblem
from registry.measures import counting, evaluate, load_measures
from registry.measures.definition import PROPORTION, QUANTITY, chosen
from registry.measures.evaluation import check, extremes
from registry.measures.strata import ALL, Question
from registry.people import Action, require
from registry.stats.estimators import CLUSTERED, ESTIMATORS

if TYPE_CHECKING:
    from collections.abc import Sequence

    from registry.cohorts.drawing import Drawn
    from registry.measures import ProportionResult, QuantityResult
    from registry.store import Registry

#: Cancers found at excision or later in what was not called cancer, or not invasive, at biopsy.
UPGRADE = ("upgrade_high_risk_excised", "upgrade_high_risk_resolved", "upgrade_in_situ")
#: Cancers that the biopsy missed, by each denominator that is in use.
MISSED = ("false_negative_benign", "missed_at_biopsy", "false_omission", "later_cancer_after_concordant")
COMPLETE, BEST, WORST = "complete only", "pending as best", "pending as worst"


@dataclass(frozen=True)
class Outcome:
    """One outcome under one reading of what is pending.

    ``reading`` is complete only (what is pending is left out), pending as best (none of it
    had counted) or pending as worst (all of it had). ``proportion``, ``lower`` and
    ``upper`` are None without a denominator.
    """

    measure: str
    title: str
    reading: str
    numerator: int
    denominator: int
    pending: int
    proportion: float | None
    lower: float | None
    upper: float | None
    method: str
    confidence: float

    def to_dict(self) -> dict[str, Any]:
        """JSON-able."""
        return asdict(self)


def cohort_measures(
    registry: Registry,
    drawn: Drawn,
    ids: Sequence[str] | None = None,
    *,
    interval: str = "wilson",
    confidence: float = 0.95,
) -> list[ProportionResult | QuantityResult]:
    """Measures of the handbook among the rows analysed.

    Parameters
    ----------
    ids
        Measures; None for every proportion and quantity.
    interval, confidence
        As :func:`registry.measures.evaluate`.

    Raises
    ------
    UsageProblem
        The cohort is empty; no such measure or interval.
    """
    require(Action.COHORTS, registry)
    drawn.need(1)
    known = load_measures()
    asked = list(ids or (one.id for one in known.values() if one.kind in (PROPORTION, QUANTITY)))
    for one in chosen(asked):
        if one.kind not in (PROPORTION, QUANTITY):
            raise UsageProblem(
                f"{one.id}: is no proportion and no quantity, and is shown for a whole service only."
            )
    return evaluate(  # type: ignore[return-value]
        registry,
        asked,
        as_of=drawn.cohort_file.as_of,
        interval=interval,
        confidence=confidence,
        among=drawn.frame["procedure_id"].to_list(),
    )


def outcomes(
    registry: Registry, drawn: Drawn, *, interval: str = "wilson", confidence: float = 0.95
) -> tuple[Outcome, ...]:
    """Upgrades and missed cancers, each with what is pending left out, as best and as worst.

    Asked of the procedures that came as far as the reference standard of the cohort, so
    that those who did not meet it are there to be pending. What is pending, and for how
    long, the measures say.

    Raises
    ------
    UsageProblem
        The cohort is empty, or the interval is not known or is the clustered one.
    """
    require(Action.COHORTS, registry)
    check(interval, confidence)
    if interval == CLUSTERED:
        raise UsageProblem(
            "The clustered interval needs to know which patient an outcome belongs to, and what is pending has none yet. "
            f"Choose one of {', '.join(ESTIMATORS)}."
        )
    if not drawn.reaching:
        drawn.need(1)
    question = Question(drawn.cohort_file.as_of, among=drawn.reaching)
    asked = chosen([*UPGRADE, *MISSED])
    with counting.classified(registry, question) as units:
        counts = counting.count(units, asked)
    made: list[Outcome] = []
    for one in asked:
        kept = counts[one.id, ALL]
        found = extremes(one.bounds, kept)
        assert found is not None
        readings = dict(
            zip((COMPLETE, BEST, WORST), ((kept.numerator, kept.denominator), *found), strict=True)
        )
        for reading, (x, n) in readings.items():
            low, high = ESTIMATORS[interval].interval(np.array([x]), np.array([n]), confidence)
            made.append(
                Outcome(
                    one.id,
                    one.title,
                    reading,
                    x,
                    n,
                    sum(kept.unknown.values()),
                    x / n if n else None,
                    float(low[0]) if n else None,
                    float(high[0]) if n else None,
                    ESTIMATORS[interval].method,
                    confidence,
                )
            )
    return tuple(made)
