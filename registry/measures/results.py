"""What an evaluated measure carries: never a rate without its counts, interval and dates."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import date

Limits = tuple[float | None, float | None]
_RATIOS = {
    "false_positive": "False positives",
    "false_negative_b2": "False negatives of B2",
    "b1_rate": "B1 rate",
    "ppv_b5": "Predictive value of B5",
    "ppv_b4": "Predictive value of B4",
    "ppv_b3": "Predictive value of B3",
    "npv_b2": "Negative predictive value of B2",
    "specificity_biopsied": "Specificity, excised only",
    "specificity_full": "Specificity, all",
}


def _dates(result: Any) -> dict[str, Any]:
    """as_of, from and to as text, and the version stamp."""
    made = {"as_of": result.as_of, "from": result.start, "to": result.end}
    return {**{key: day and day.isoformat() for key, day in made.items()}, "registry": result.registry}


@dataclass(frozen=True)
class Bounds:
    """Rate if none, and if all, of the units with an unknown outcome had counted.

    ``unknown`` counts those whose outcome could add to the numerator; ``lower`` and
    ``upper`` are None where nothing is known or unknown. ``interval_lower`` and
    ``interval_upper`` allow for chance as well: the Wilson lower limit of the one and the
    upper limit of the other, at the confidence of the result; None where the two have
    denominators of their own.
    """

    lower: float | None
    upper: float | None
    unknown: int
    interval_lower: float | None = None
    interval_upper: float | None = None


@dataclass(frozen=True)
class ProportionResult:
    """A proportion of procedures in one stratum.

    ``proportion``, ``lower`` and ``upper`` are None without a denominator: no procedures
    is not 0 %. ``interval`` is the method as asked for, ``method`` as printed. ``patients``
    are distinct, in the denominator. ``upper_bound_no_events`` is one-sided, where
    nothing counted; ``design_effect`` is filled by the clustered interval only.
    """

    measure: str
    stratum: str
    numerator: int
    denominator: int
    excluded: Mapping[str, int]
    proportion: float | None
    lower: float | None
    upper: float | None
    confidence: float
    interval: str
    method: str
    patients: int
    as_of: date
    start: date | None
    end: date | None
    registry: str
    bounds: Bounds | None = None
    upper_bound_no_events: float | None = None
    design_effect: float | None = None

    def to_dict(self) -> dict[str, Any]:
        """JSON-able, with the names of the contract; dates in ISO form."""
        shown = (
            "measure stratum numerator denominator excluded proportion lower upper confidence interval method "
            "patients upper_bound_no_events design_effect"
        )
        made = {name: getattr(self, name) for name in shown.split()}
        bounds = self.bounds
        return {
            **made,
            "excluded": dict(self.excluded),
            "bounds": bounds and asdict(bounds),
            **_dates(self),
        }


@dataclass(frozen=True)
class QuantityResult:
    """A quantity of procedures in one stratum, in ``unit``.

    Quantiles by linear interpolation between order statistics; ``lower`` and ``upper``
    are order statistics that enclose the median, None where no value is extreme enough.
    ``missing`` counts those left out for another reason than that they were not sampled
    or a repeat. All None without values.
    """

    measure: str
    stratum: str
    n: int
    missing: int
    median: float | None
    q1: float | None
    q3: float | None
    p5: float | None
    p95: float | None
    lower: float | None
    upper: float | None
    unit: str
    confidence: float
    excluded: Mapping[str, int]
    patients: int
    as_of: date
    start: date | None
    end: date | None
    registry: str

    def to_dict(self) -> dict[str, Any]:
        """JSON-able, with the names of the contract; dates in ISO form."""
        shown = "measure stratum n missing median q1 q3 p5 p95 lower upper unit confidence patients"
        return {
            **{name: getattr(self, name) for name in shown.split()},
            "excluded": dict(self.excluded),
            **_dates(self),
        }


@dataclass(frozen=True)
class ClusteringEffect:
    """How much wider the interval becomes when procedures of one patient are held together.

    ``ratio`` is the width of the clustered interval over that of the plain one, None
    where either has no width; ``design_effect`` is the one applied, ``from_data`` says
    whether the data showed it. ``alike`` is the correlation of two procedures of one patient
    (analysis of variance), None where no patient has two or all outcomes are the same.
    """

    ratio: float | None
    design_effect: float | None
    from_data: bool
    patients: int
    procedures: int
    alike: float | None = None


@dataclass(frozen=True)
class CategoryRatio:
    """One ratio of the B-category table; limits None without a denominator.

    ``unresolved`` counts the units that it takes as free of cancer although they are not
    resolved, None for the other ratios. ``interval`` is the method of the limits.
    ``clustering`` is the width of the interval by patient over that of the plain one, None
    where either has no width, and for a ratio of two groups, which is no proportion.
    """

    name: str
    x: int
    n: int
    proportion: float | None
    lower: float | None
    upper: float | None
    unresolved: int | None = None
    interval: str = ""
    clustering: float | None = None

    @property
    def words(self) -> str:
        """The name as it is printed."""
        return _RATIOS.get(self.name, self.name.replace("_", " ").capitalize())


@dataclass(frozen=True)
class CategoryTable:
    """B categories against the outcome within 365 days.

    ``cells`` maps the outcome (m cancer, b excised without, n neither) to five counts, B1
    to B5; ``unresolved`` has the n units that are not resolved. ``cancers`` is C,
    ``benign`` is B, ``total`` is T. ``identities`` says of each whether it holds.
    """

    measure: str
    stratum: str
    cells: Mapping[str, tuple[int, ...]]
    unresolved: tuple[int, ...]
    cancers: int
    benign: int
    total: int
    ratios: tuple[CategoryRatio, ...]
    identities: Mapping[str, bool]
    excluded: Mapping[str, int]
    patients: int
    confidence: float
    interval: str
    as_of: date
    start: date | None
    end: date | None
    registry: str

    def to_dict(self) -> dict[str, Any]:
        """JSON-able; ``rows`` holds the ratios."""
        shown = "measure stratum cancers benign total patients confidence interval"
        return {
            **{name: getattr(self, name) for name in shown.split()},
            "cells": {outcome: list(counts) for outcome, counts in self.cells.items()},
            "unresolved": list(self.unresolved),
            "identities": dict(self.identities),
            "excluded": dict(self.excluded),
            "rows": [vars(one) for one in self.ratios],
            **_dates(self),
        }


@dataclass(frozen=True)
class CurveEstimate:
    """Cumulative incidence by one way of treating what is unknown.

    Sequences run along ``at`` (days), steps along ``step_days``; limits are None where
    they do not exist. ``at_risk`` counts units whose time is at least that day.
    """

    name: str
    at: tuple[int, ...]
    incidence: tuple[float | None, ...]
    lower: tuple[float | None, ...]
    upper: tuple[float | None, ...]
    at_risk: tuple[int, ...]
    step_days: tuple[int, ...]
    steps: tuple[float, ...]
    step_lower: tuple[float | None, ...]
    step_upper: tuple[float | None, ...]
    step_at_risk: tuple[int, ...]
    events: int
    deaths: int


@dataclass(frozen=True)
class Curve:
    """Cancer after a benign result over time, by the estimates ``lost`` and ``free``."""

    measure: str
    stratum: str
    n: int
    estimates: Mapping[str, CurveEstimate]
    excluded: Mapping[str, int]
    patients: int
    confidence: float
    interval: str
    as_of: date
    start: date | None
    end: date | None
    registry: str

    def to_dict(self) -> dict[str, Any]:
        """JSON-able; ``rows`` holds one row per estimate and day."""
        rows = [
            {
                "estimate": one.name,
                "days": one.at[place],
                "incidence": one.incidence[place],
                "lower": one.lower[place],
                "upper": one.upper[place],
                "at_risk": one.at_risk[place],
            }
            for one in self.estimates.values()
            for place in range(len(one.at))
        ]
        steps = {
            one.name: {
                "days": list(one.step_days),
                "incidence": list(one.steps),
                "at_risk": list(one.step_at_risk),
            }
            for one in self.estimates.values()
        }
        shown = "measure stratum n patients confidence interval"
        return {
            **{name: getattr(self, name) for name in shown.split()},
            "excluded": dict(self.excluded),
            "rows": rows,
            "steps": steps,
            **_dates(self),
        }
