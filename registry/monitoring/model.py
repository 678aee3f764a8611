"""A model of the risk of an event before the biopsy, fitted on the procedures before the watch."""

from __future__ import annotations

from dataclasses import dataclass
from math import exp
from typing import TYPE_CHECKING

import numpy as np
import polars as pl
from scipy.special import expit

from registry import facts, store
from registry.errors import UsageProblem
from registry.measures import NOT_RECORDED
from registry.sqlfiles import queries
from registry.stats.limits import crossing
from registry.stats.proportions import wilson_interval
from registry.stats.rates import ObservedExpected, observed_expected_from_risks
from registry.stats.regression import firth_logistic

if TYPE_CHECKING:
    from datetime import date

    from registry.measures.counting import Reader
    from registry.stats.arguments import FloatArray

CODED = ("assessment", "approach", "guidance")
OTHERS = "others together"
STEP_MM = 10.0
FEWEST_EVENTS = 10
"""Fewer events than this fit no model (project default; more are better)."""

LEAST_SHARE = 0.05
"""A code that fewer procedures have is put together with the other rare ones (project default)."""

FIFTHS = 5


@dataclass(frozen=True)
class Term:
    """One term: its odds ratio against ``against`` with limits of the penalised profile."""

    predictor: str
    value: str
    against: str
    odds_ratio: float
    lower: float
    upper: float


@dataclass(frozen=True)
class Fifth:
    """Procedures of similar predicted risk: events seen, with Wilson limits of their share, and expected."""

    number: int
    n: int
    observed: int
    expected: float
    low: float
    high: float

    @property
    def share(self) -> float:
        """Share with the event."""
        return self.observed / self.n

    @property
    def expected_share(self) -> float:
        """Mean predicted risk."""
        return self.expected / self.n


@dataclass(frozen=True)
class RiskModel:
    """A fitted model: the codes it tells apart, its terms, and how it agrees with its own data.

    ``levels`` maps a predictor to its codes, the first being the one compared with; a code
    that is not among them counts as ``OTHERS``. ``coef`` runs along intercept and terms;
    the intercept is set so that as many events are expected as were seen.
    """

    levels: dict[str, tuple[str, ...]]
    mean_size_mm: float
    coef: tuple[float, ...]
    terms: tuple[Term, ...]
    n: int
    events: int
    start: date
    end: date
    fifths: tuple[Fifth, ...]

    def risks(self, rows: pl.DataFrame) -> FloatArray:
        """Predicted risk of each row, in (0, 1); columns as :func:`with_predictors`."""
        design = _design(rows, self.levels, self.mean_size_mm)
        risk: FloatArray = expit(self.coef[0] + design @ np.array(self.coef[1:]))
        return risk


def with_predictors(registry: Reader, rows: pl.DataFrame, as_of: date) -> pl.DataFrame:
    """Rows with assessment, size_mm, approach and guidance of their procedures, in the order given."""
    with facts.at(registry, as_of) as cursor:
        known = store.frame(cursor, queries("monitoring")["predictors"].sql, {"as_of": as_of})
    return rows.join(known, on="procedure_id", how="left", maintain_order="left").with_columns(
        pl.col(name).fill_null(NOT_RECORDED) for name in CODED
    )


def fit(rows: pl.DataFrame, minimum: int, confidence: float = 0.95) -> RiskModel:
    """Fit the model.

    Parameters
    ----------
    rows
        Procedures before the watch: day, event and the columns of :func:`with_predictors`.
    minimum
        A code with fewer procedures, or with less than 5 % of them, is put together with the
        other rare ones.
    confidence
        Two-sided confidence of the limits.

    Raises
    ------
    UsageProblem
        Fewer than ten events, or nothing that varies.

    Sources
    -------
    Firth 1993, Biometrika 80:27-38; intercept set afterwards (Puhr et al. 2017, Stat Med
    36:2302-2317, from memory), because the penalty alone predicts rare events too often.
    """
    outcome = rows.get_column("event").cast(pl.Float64).to_numpy()
    events = int(outcome.sum())
    if min(events, rows.height - events) < FEWEST_EVENTS:
        raise UsageProblem(
            f"{rows.height} procedures before the watch, {events} with the event: a model of the risk needs at least "
            f"{FEWEST_EVENTS} with and without. Watch from a later day."
        )
    levels = {name: _levels(rows, name, minimum) for name in CODED}
    mean_size = float(rows.get_column("size_mm").mean() or 0.0)  # type: ignore[arg-type]
    design = _design(rows, levels, mean_size)
    names = _names(levels)
    varies = np.array([np.unique(column).size > 1 for column in design.T], dtype=bool)
    if not varies.any():
        raise UsageProblem(
            "Nothing known before the biopsy differs between the procedures: there is no model."
        )
    fitted = firth_logistic(design[:, varies], outcome, confidence)
    coef = np.zeros(design.shape[1] + 1)
    coef[1:][varies] = fitted.coef[1:]
    linear = design @ coef[1:]
    coef[0] = crossing(lambda level: float(expit(level + linear).sum()) - events, -40.0, 40.0)
    kept = [name for name, does in zip(names, varies, strict=True) if does]
    terms = tuple(
        Term(*name, exp(fitted.coef[i]), exp(fitted.lower[i]), exp(fitted.upper[i]))
        for i, name in enumerate(kept, start=1)
    )
    days = rows.get_column("day")
    return RiskModel(
        levels,
        mean_size,
        tuple(map(float, coef)),
        terms,
        rows.height,
        events,
        days[0],
        days[-1],
        fifths(expit(coef[0] + linear), outcome),
    )


def fifths(risks: FloatArray, outcome: FloatArray) -> tuple[Fifth, ...]:
    """Observed and expected events in five groups of rising predicted risk."""
    order = np.argsort(risks, kind="stable")
    made = []
    for number, part in enumerate(np.array_split(order, min(FIFTHS, order.size)), start=1):
        seen = int(outcome[part].sum())
        low, high = wilson_interval(seen, part.size)
        made.append(Fifth(number, int(part.size), seen, float(risks[part].sum()), low, high))
    return tuple(made)


def against_expected(risks: FloatArray, outcome: FloatArray) -> ObservedExpected:
    """Events seen over those that the model expects."""
    return observed_expected_from_risks(int(outcome.sum()), risks)


def _levels(rows: pl.DataFrame, name: str, minimum: int) -> tuple[str, ...]:
    """Codes with enough procedures, the most frequent first; the others are one level."""
    counts = rows.get_column(name).value_counts().sort(["count", name], descending=[True, False])
    least = max(minimum, LEAST_SHARE * rows.height)
    kept = tuple(code for code, count in counts.rows() if count >= least)
    return (*kept, OTHERS) if len(kept) < counts.height else kept


def _names(levels: dict[str, tuple[str, ...]]) -> list[tuple[str, str, str]]:
    named = [(name, code, codes[0]) for name, codes in levels.items() for code in codes[1:]]
    return [
        *named,
        ("size_mm", f"per {STEP_MM:g} mm larger", f"{STEP_MM:g} mm less"),
        ("size_mm", NOT_RECORDED, "mean size"),
    ]


def _design(rows: pl.DataFrame, levels: dict[str, tuple[str, ...]], mean_size: float) -> FloatArray:
    columns = []
    for name, codes in levels.items():
        found = rows.get_column(name)
        known = pl.Series([code if code in codes else OTHERS for code in found.to_list()], dtype=pl.String)
        columns += [(known == code).cast(pl.Float64).to_numpy() for code in codes[1:]]
    size = rows.get_column("size_mm").cast(pl.Float64)
    columns.append(((size.fill_null(mean_size) - mean_size) / STEP_MM).to_numpy())
    columns.append(size.is_null().cast(pl.Float64).to_numpy())
    return np.column_stack(columns)
