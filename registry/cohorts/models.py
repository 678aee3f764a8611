"""What goes with an outcome in a cohort: a logistic regression over its rows.

The outcome is any proportion of the handbook: among the procedures that the measure keeps, those
that it counts are the events. Covariates are fields of the export. Several procedures of one
patient are not independent: ``gee`` allows for that, ``firth`` does not and is for few events.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import polars as pl

from registry.cohorts.fields import CODE, FLAG, NUMBER, filter_fields
from registry.errors import UsageProblem
from registry.measures.definition import PROPORTION, chosen
from registry.measures.listing import behind
from registry.measures.strata import Question
from registry.people import Action, require
from registry.stats.regression import firth_logistic, gee_logistic

if TYPE_CHECKING:
    from collections.abc import Sequence

    from registry.cohorts.drawing import Drawn
    from registry.cohorts.fields import FilterField
    from registry.store import Registry

GEE, FIRTH = "gee", "firth"
METHODS = (GEE, FIRTH)
MOST_COVARIATES, MOST_LEVELS = 10, 8
#: Below this many events for each coefficient estimates wander (Peduzzi and others 1996, J Clin Epidemiol 49:1373-1379).
EVENTS_EACH = 10
_PRINTED = {
    GEE: "logistic regression by GEE, working independence, standard errors robust to patients",
    FIRTH: "logistic regression with Firth's penalty, profile limits; patients are not clustered",
}


@dataclass(frozen=True)
class Coefficient:
    """One row of the table: log odds ratio with its limits, per unit or against the ``reference`` level."""

    covariate: str
    level: str | None
    reference: str | None
    log_odds: float
    lower: float
    upper: float

    def to_dict(self) -> dict[str, Any]:
        """JSON-able, with the odds ratio and its limits."""
        odds = np.exp([self.log_odds, self.lower, self.upper])
        return {
            "covariate": self.covariate,
            "level": self.level,
            "reference": self.reference,
            "odds_ratio": float(odds[0]),
            "odds_ratio_lower": float(odds[1]),
            "odds_ratio_upper": float(odds[2]),
            "log_odds": self.log_odds,
            "lower": self.lower,
            "upper": self.upper,
        }


@dataclass(frozen=True)
class Model:
    """A fitted model.

    ``left_out`` maps a reason to the rows that did not enter; ``cautions`` must stand beside
    the table.
    """

    outcome: str
    method: str
    printed: str
    confidence: float
    n: int
    events: int
    patients: int
    left_out: dict[str, int]
    coefficients: tuple[Coefficient, ...]
    cautions: tuple[str, ...]

    def to_dict(self) -> dict[str, Any]:
        """JSON-able: everything, the table as :meth:`rows`."""
        made = {
            name: getattr(self, name)
            for name in ("outcome", "method", "printed", "confidence", "n", "events", "patients")
        }
        return {
            **made,
            "left_out": self.left_out,
            "coefficients": self.rows(),
            "cautions": list(self.cautions),
        }

    def rows(self) -> list[dict[str, Any]]:
        """The table of coefficients, the intercept first, each with what it is of."""
        return [
            {
                **one.to_dict(),
                "n": self.n,
                "events": self.events,
                "patients": self.patients,
                "method": self.method,
            }
            for one in self.coefficients
        ]


def covariates_known() -> tuple[str, ...]:
    """Fields that may stand as covariates."""
    return tuple(
        one.name for one in filter_fields().values() if one.kind in (CODE, FLAG, NUMBER) or one.name == "site"
    )


def model(
    registry: Registry,
    drawn: Drawn,
    *,
    outcome: str,
    covariates: Sequence[str],
    method: str = GEE,
    confidence: float = 0.95,
) -> Model:
    """Fit a model over the rows analysed, those with a missing covariate left out.

    Parameters
    ----------
    outcome
        A proportion of the handbook.
    covariates
        1 to ``MOST_COVARIATES`` of :func:`covariates_known`.
    method
        gee or firth.

    Raises
    ------
    UsageProblem
        Outcome, covariate or method is not known; too few rows or events; a covariate has
        one value only, follows from the others, or separates the outcomes.
    """
    require(Action.COHORTS, registry)
    fields = _asked(outcome, covariates, method, confidence)
    drawn.need(registry.site.minimum_n)
    rows, left_out = _rows(registry, drawn, outcome, fields)
    events = int(rows["event"].sum() or 0)
    _enough(outcome, rows.height, events)
    design, terms = _design(rows, fields)
    _enough_each(outcome, rows.height, events, len(terms))
    y, patients = rows["event"].cast(pl.Int64).to_numpy(), rows["patient_no"].to_numpy()
    est, lower, upper, cautions = _fit(design, y, patients, method, confidence, [one.name for one in fields])
    named = [("(intercept)", None, None), *terms]
    table = tuple(
        Coefficient(*name, float(a), float(b), float(c))
        for name, a, b, c in zip(named, est, lower, upper, strict=True)
    )
    fewest = min(events, rows.height - events)
    if fewest < EVENTS_EACH * len(terms):
        cautions.append(
            f"{fewest} of the rarer outcome for {len(terms)} coefficients: with fewer than {EVENTS_EACH} each, estimates wander."
        )
    clustered = rows["patient_no"].n_unique()
    if method == FIRTH and clustered < rows.height:
        cautions.append(
            f"{rows.height} rows are of {clustered} patients, and this method takes them for independent: its limits are too narrow."
        )
    cautions.append("What goes with an outcome need not cause it.")
    return Model(
        outcome,
        method,
        _PRINTED[method],
        confidence,
        rows.height,
        events,
        clustered,
        left_out,
        table,
        tuple(cautions),
    )


def _asked(outcome: str, covariates: Sequence[str], method: str, confidence: float) -> list[FilterField]:
    (measure,) = chosen([outcome])
    if measure.kind != PROPORTION:
        raise UsageProblem(f"{outcome}: is no proportion, and a model needs an outcome of yes or no.")
    if method not in METHODS:
        raise UsageProblem(f"{method}: there is no such method. Known: {', '.join(METHODS)}.")
    if not 0 < confidence < 1:
        raise UsageProblem(f"Confidence {confidence:g} does not lie between 0 and 1. Write 95 % as 0.95.")
    known = covariates_known()
    for name in covariates:
        if name not in known:
            raise UsageProblem(f"{name}: is no covariate of a model. Allowed: {', '.join(known)}.")
    if not 1 <= len(covariates) <= MOST_COVARIATES or len(set(covariates)) < len(covariates):
        raise UsageProblem(f"A model has 1 to {MOST_COVARIATES} covariates, each once.")
    return [filter_fields()[name] for name in covariates]


def _rows(
    registry: Registry, drawn: Drawn, outcome: str, fields: Sequence[FilterField]
) -> tuple[pl.DataFrame, dict[str, int]]:
    """Complete rows with their ``event``, and how many were left out for which reason."""
    said = behind(registry, outcome, Question(drawn.cohort_file.as_of))
    rows = drawn.frame.join(
        said.select("procedure_id", "excluded_because", pl.col("in_numerator").alias("event")),
        on="procedure_id",
    ).sort("procedure_id")
    reasons = rows.filter(pl.col("excluded_because").is_not_null())["excluded_because"]
    left_out = {
        str(one["excluded_because"]): int(one["count"]) for one in reasons.value_counts(sort=True).to_dicts()
    }
    rows = rows.filter(pl.col("excluded_because").is_null())
    for field in fields:
        if missing := rows[field.name].null_count():
            left_out[f"{field.name} not recorded"] = missing
            rows = rows.filter(pl.col(field.name).is_not_null())
    return rows, left_out


def _enough(outcome: str, n: int, events: int) -> None:
    if not n:
        raise UsageProblem(f"{outcome}: no row of the cohort has it and every covariate recorded.")
    if events in (0, n):
        raise UsageProblem(
            f"{outcome}: {events} of {n} rows have it. Where all outcomes are alike there is nothing to explain."
        )


def _enough_each(outcome: str, n: int, events: int, coefficients: int) -> None:
    fewest = min(events, n - events)
    if fewest <= coefficients:
        raise UsageProblem(
            f"{outcome}: {fewest} of the rarer outcome among {n} rows, too few for {coefficients} coefficients. "
            "Take fewer covariates, or those with fewer levels."
        )


def _design(
    rows: pl.DataFrame, fields: Sequence[FilterField]
) -> tuple[np.ndarray, list[tuple[str, str | None, str | None]]]:
    """Columns of numbers, and for each (covariate, level, reference level)."""
    columns: list[np.ndarray] = []
    terms: list[tuple[str, str | None, str | None]] = []
    for field in fields:
        values = rows[field.name]
        if values.n_unique() < 2:
            raise UsageProblem(f"{field.name}: has one value only among these rows. Leave it out.")
        if field.kind == NUMBER:
            columns.append(values.cast(pl.Float64).to_numpy())
            terms.append((field.name, None, None))
            continue
        text = values.cast(pl.String)
        counted = text.value_counts(sort=True).sort(["count", field.name], descending=[True, False])
        levels = counted[field.name].to_list()
        if len(levels) > MOST_LEVELS:
            raise UsageProblem(
                f"{field.name}: has {len(levels)} levels, more than {MOST_LEVELS}. Leave it out."
            )
        # The level that most rows have is the one that others are set against.
        reference = "false" if field.kind == FLAG else levels[0]
        for level in (one for one in levels if one != reference):
            columns.append((text == level).cast(pl.Float64).to_numpy())
            terms.append((field.name, level, reference))
    return np.column_stack(columns), terms


def _fit(
    design: np.ndarray,
    y: np.ndarray,
    patients: np.ndarray,
    method: str,
    confidence: float,
    names: Sequence[str],
) -> tuple[np.ndarray, np.ndarray, np.ndarray, list[str]]:
    try:
        if method == FIRTH:
            fit = firth_logistic(design, y, confidence)
            return fit.coef, fit.lower, fit.upper, []
        gee = gee_logistic(design, y, patients, confidence=confidence)
    except (ValueError, np.linalg.LinAlgError):
        raise UsageProblem(
            f"{', '.join(names)}: depend on one another among these rows, so that no single one can be told apart. Leave one out."
        ) from None
    if gee.est is None or gee.lower is None or gee.upper is None:
        raise UsageProblem(
            f"{', '.join(names)}: one of them separates the outcomes among these rows, and its coefficient has no end. "
            "Use --method firth, which stays finite."
        )
    return (
        gee.est,
        gee.lower,
        gee.upper,
        [f"{gee.caution[0].upper()}{gee.caution[1:]}."] if gee.caution else [],
    )
