"""Attempts without a usable sample, by what was known before them.

Each predictor stands alone: with few attempts that failed, a model of all of them at once
would mostly describe chance.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import exp
from typing import TYPE_CHECKING

import numpy as np
import polars as pl

from registry.cores.rows import flow, rows
from registry.measures import NOT_RECORDED
from registry.people import Action, require
from registry.stats.proportions import upper_bound_no_events, wilson_interval
from registry.stats.regression import firth_logistic

if TYPE_CHECKING:
    from datetime import date

    from registry.measures.counting import Reader

NAME = "no_usable_sample"

EVENTS_PER_TERM = 10
"""Fewest unusable samples per fitted term (common practice: ten events a variable)."""

#: Measured predictor -> the step for which an odds ratio is given, and what it is called.
_MEASURED = {"size_mm": (5.0, "all, per 5 mm larger"), "gauge": (1.0, "all, per number higher")}
_CODED = ("approach", "guidance")
#: Classes of size in which the counts are shown: above the first number, up to the second, mm.
_SIZES = ((0, 5), (5, 10), (10, 20), (20, 50), (50, 1000))


@dataclass(frozen=True)
class PredictorRow:
    """One value of a predictor, or the step of a measured one.

    ``x`` of ``n`` attempts ended without a usable sample, with Wilson limits (None without
    attempts) and, where none did, the one-sided upper ``bound``. ``odds_ratio`` compares with ``against``; its limits are of the penalised
    profile. Without one, ``reason`` says why.
    """

    predictor: str
    value: str
    x: int
    n: int
    lower: float | None
    upper: float | None
    bound: float | None = None
    odds_ratio: float | None = None
    odds_lower: float | None = None
    odds_upper: float | None = None
    against: str = ""
    reason: str = ""


@dataclass(frozen=True)
class Unusable:
    """Attempts without tissue or with an insufficient sample, and the rows of each predictor."""

    x: int
    n: int
    rows: tuple[PredictorRow, ...]
    flow: tuple[tuple[str, int, int], ...]
    minimum: int
    confidence: float
    as_of: date
    start: date | None
    end: date | None
    registry: str


def no_usable_sample(
    registry: Reader,
    *,
    as_of: date,
    start: date | None = None,
    end: date | None = None,
    confidence: float = 0.95,
    minimum: int = 10,
) -> Unusable:
    """Counts by size, gauge, approach and guidance, with odds ratios where there are enough.

    Parameters
    ----------
    registry
        An open registry.
    as_of
        Nothing dated after this day counts.
    start, end
        First and last day on which a procedure started, both included.
    confidence
        Two-sided confidence of all limits.
    minimum
        A value with fewer attempts is counted and takes no part in a fit.

    Sources
    -------
    Firth 1993, Biometrika 80:27-38; ten events a variable after Peduzzi et al. 1996,
    J Clin Epidemiol 49:1373-1379, from memory.
    """
    require(Action.FIGURES, registry)
    found = rows(registry, NAME, as_of=as_of, start=start, end=end)
    kept = found.filter(pl.col("excluded_because").is_null())
    made: list[PredictorRow] = []
    for name in _MEASURED:
        made += _measured(kept, name, confidence)
    for name in _CODED:
        made += _coded(kept, name, confidence, minimum)
    return Unusable(
        x=int(kept.get_column("is_unusable").sum()),
        n=kept.height,
        rows=tuple(made),
        flow=tuple(flow(found, NAME)),
        minimum=minimum,
        confidence=confidence,
        as_of=as_of,
        start=start,
        end=end,
        registry=registry.stamp(),
    )


def _counted(rows_of: pl.DataFrame, predictor: str, value: str, confidence: float) -> PredictorRow:
    x, n = int(rows_of.get_column("is_unusable").sum()), rows_of.height
    lower, upper = wilson_interval(x, n, confidence)
    bound = upper_bound_no_events(n, confidence) if n and not x else None
    return PredictorRow(predictor, value, x, n, lower, upper, bound)


def _too_few(events: int, terms: int) -> str:
    needed = EVENTS_PER_TERM * terms
    return f"too few: {events} without a usable sample, {needed} needed" if events < needed else ""


def _measured(kept: pl.DataFrame, name: str, confidence: float) -> list[PredictorRow]:
    """Counts by class of a measured predictor, then the odds ratio of one step."""
    known = kept.filter(pl.col(name).is_not_null())
    made = []
    if name == "size_mm":
        for above, upto in _SIZES:
            part = known.filter((pl.col(name) > above) & (pl.col(name) <= upto))
            text = (
                f"up to {upto} mm"
                if above == 0
                else f"above {above} mm"
                if upto == _SIZES[-1][1]
                else f"above {above} to {upto} mm"
            )
            if part.height:
                made.append(_counted(part, name, text, confidence))
    else:
        for value in known.get_column(name).unique().sort():
            made.append(_counted(known.filter(pl.col(name) == value), name, f"{value:g} G", confidence))
    step, words = _MEASURED[name]
    trend = _counted(known, name, words, confidence)
    outcome = known.get_column("is_unusable").cast(float).to_numpy()
    reason = _too_few(trend.x, 1)
    if not reason and (trend.x == trend.n or known.get_column(name).n_unique() < 2):
        reason = "nothing to compare"
    if reason:
        made.append(_with(trend, reason=reason))
    else:
        fit = firth_logistic(known.get_column(name).to_numpy() / step, outcome, confidence)
        made.append(
            _with(
                trend,
                odds=(fit.coef[1], fit.lower[1], fit.upper[1]),
                against="one step less",
            )
        )
    return [*made, *_missing(kept, name, confidence)]


def _coded(kept: pl.DataFrame, name: str, confidence: float, minimum: int) -> list[PredictorRow]:
    """Counts by code; odds ratios against the code with most attempts."""
    known = kept.filter(pl.col(name).is_not_null())
    codes = known.get_column(name).value_counts(sort=True).sort(["count", name], descending=[True, False])
    fitted = [code for code, count in codes.rows() if count >= minimum]
    counts = [
        _counted(known.filter(pl.col(name) == code), name, code, confidence)
        for code in sorted(codes.get_column(name))
    ]
    part = known.filter(pl.col(name).is_in(fitted))
    events = int(part.get_column("is_unusable").sum())
    reason = _too_few(events, max(1, len(fitted) - 1))
    if not reason and (len(fitted) < 2 or events == part.height):
        reason = "nothing to compare"
    odds: dict[str, tuple[float, float, float]] = {}
    if not reason:
        others = fitted[1:]
        values = part.get_column(name).to_numpy()
        design = np.column_stack([(values == code).astype(float) for code in others])
        fit = firth_logistic(design, part.get_column("is_unusable").cast(float).to_numpy(), confidence)
        odds = {
            code: (fit.coef[place], fit.lower[place], fit.upper[place])
            for place, code in enumerate(others, start=1)
        }
    made = []
    for one in counts:
        if one.value in odds:
            made.append(_with(one, odds=odds[one.value], against=fitted[0]))
        elif reason:
            made.append(_with(one, reason=reason))
        elif one.value == fitted[0]:
            made.append(_with(one, reason="reference"))
        else:
            made.append(_with(one, reason=f"fewer than {minimum} attempts"))
    return [*made, *_missing(kept, name, confidence)]


def _missing(kept: pl.DataFrame, name: str, confidence: float) -> list[PredictorRow]:
    """A row for the attempts of which the predictor is not recorded, where there are any."""
    part = kept.filter(pl.col(name).is_null())
    if not part.height:
        return []
    return [_with(_counted(part, name, NOT_RECORDED, confidence), reason="not compared")]


def _with(
    row: PredictorRow,
    *,
    odds: tuple[float, float, float] | None = None,
    against: str = "",
    reason: str = "",
) -> PredictorRow:
    """A row with its odds ratio, from log odds, or with the reason why there is none."""
    ratio, low, high = (None, None, None) if odds is None else (exp(float(one)) for one in odds)
    return replace(row, odds_ratio=ratio, odds_lower=low, odds_upper=high, against=against, reason=reason)
