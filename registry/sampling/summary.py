"""The measure: how the figures are distributed over procedures, and the rows behind them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import polars as pl

from registry import facts, store
from registry.measures import listing
from registry.measures.definition import chosen
from registry.measures.strata import ALL, Question, in_order
from registry.measures.whose import permitted
from registry.people import Action
from registry.sampling.estimate import FIGURES, estimated
from registry.sampling.files import MEASURE, setting
from registry.sampling.words import CAUTION, assumptions
from registry.stats.quantiles import spread

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import date

    from registry.measures.counting import Reader

_BAND = {"low": "least reach", "": "middle reach", "high": "most reach"}


@dataclass(frozen=True)
class SamplingDistribution:
    """How one figure is distributed over procedures: at one end of the band, or in its middle.

    Quantiles by linear interpolation, None without values.
    """

    figure: str
    band: str
    n: int
    median: float | None
    q1: float | None
    q3: float | None
    p5: float | None
    p95: float | None


@dataclass(frozen=True)
class SamplingResult:
    """Probability that targets were sampled, in one stratum.

    ``hours_not_known`` procedures have no middle figure, only the ends of the band.
    ``numerical_error`` is the largest one of any figure. ``assumptions`` are sentences.
    """

    measure: str
    stratum: str
    n: int
    hours_not_known: int
    distributions: tuple[SamplingDistribution, ...]
    sampled_share: float
    reach_mm: tuple[float, float, float]
    numerical_error: float | None
    assumptions: tuple[str, ...]
    excluded: Mapping[str, int]
    patients: int
    as_of: date
    start: date | None
    end: date | None
    registry: str

    def to_dict(self) -> dict[str, Any]:
        """JSON-able; ``rows`` holds the distributions."""
        shown = "measure stratum n hours_not_known sampled_share numerical_error patients"
        return {
            **{name: getattr(self, name) for name in shown.split()},
            "reach_mm": list(self.reach_mm),
            "excluded": dict(self.excluded),
            "rows": [vars(one) for one in self.distributions],
            "assumptions": list(self.assumptions),
            "caution": CAUTION,
            "as_of": self.as_of.isoformat(),
            "from": self.start and self.start.isoformat(),
            "to": self.end and self.end.isoformat(),
            "registry": self.registry,
        }


def sampling_results(
    registry: Reader,
    *,
    as_of: date,
    start: date | None = None,
    end: date | None = None,
    by: str | None = None,
    within: Mapping[str, str] | None = None,
) -> list[SamplingResult]:
    """The measure per stratum.

    Parameters
    ----------
    registry, as_of, start, end, by, within
        As :func:`registry.measures.evaluate`.

    Raises
    ------
    UsageProblem
        As :func:`registry.measures.evaluate`.
    """
    within = permitted(registry, by, within)
    question = Question(as_of, start, end, by, dict(within or {}))
    units = _units(registry, question)
    local = setting(registry, as_of)
    left_out = pl.col("excluded_because").is_not_null()
    rows = estimated(units.filter(~left_out), local, registry.site.frames)
    strata = sorted(units["stratum"].unique().to_list(), key=in_order) if by else [ALL]
    said, stamp = assumptions(local), registry.stamp()
    made = []
    for stratum in strata:
        own = rows.filter(pl.col("stratum") == stratum)
        others = units.filter(left_out & (pl.col("stratum") == stratum))
        made.append(
            SamplingResult(
                measure=MEASURE,
                stratum=stratum,
                n=own.height,
                hours_not_known=own.filter(pl.col("hours_used").str.starts_with("not")).height,
                distributions=tuple(_distribution(own, name) for name in FIGURES),
                sampled_share=local.sampled_share,
                reach_mm=local.reach_mm,
                numerical_error=float(own["numerical_error"].to_numpy().max()) if own.height else None,
                assumptions=said,
                excluded=_counted(others["excluded_because"]),
                patients=own["patient_no"].n_unique(),
                registry=stamp,
                **question.dates,  # type: ignore[arg-type]
            )
        )
    return made


def _units(registry: Reader, question: Question) -> pl.DataFrame:
    """Rows of the measure with stratum and patient; what only lists need is left out."""
    (measure,) = chosen([MEASURE])
    sql = (
        f"SELECT unit.* EXCLUDE (index_date), {question.stratum} AS stratum, facts.patient_no FROM (\n{measure.body}\n) AS unit "
        f"JOIN procedure_facts AS facts ON facts.procedure_id = unit.procedure_id WHERE {question.condition}"
    )
    with facts.at(registry, question.as_of) as cursor:
        return store.frame(cursor, sql, question.parameters)


def _counted(reasons: pl.Series) -> dict[str, int]:
    """How many each reason leaves out, in the order in which they apply."""
    (measure,) = chosen([MEASURE])
    counts = dict(reasons.value_counts().iter_rows())
    return {reason: counts[reason] for reason in measure.reasons if reason in counts}


def _distribution(rows: pl.DataFrame, name: str) -> SamplingDistribution:
    figure, _, end = name.rpartition("_") if name.endswith(("_low", "_high")) else (name, "", "")
    values = rows[name].drop_nulls().to_numpy()
    lies = spread(np.asarray(values, dtype=np.float64), 0.95)
    return SamplingDistribution(
        figure, _BAND[end], len(values), lies.median, lies.q1, lies.q3, lies.p5, lies.p95
    )


def sampling_procedures(
    registry: Reader,
    *,
    as_of: date,
    start: date | None = None,
    end: date | None = None,
    by: str | None = None,
    within: Mapping[str, str] | None = None,
) -> pl.DataFrame:
    """The procedures behind the measure: those kept with their figures, the others with the reason.

    Parameters
    ----------
    registry, as_of, start, end, by, within
        As :func:`registry.measures.evaluate`.

    Returns
    -------
    DataFrame
        As :func:`registry.measures.procedures`, the columns of
        :func:`registry.sampling.estimate.estimated` before the inputs.

    Raises
    ------
    UsageProblem
        As :func:`registry.measures.evaluate`.
    """
    within = permitted(registry, by, within, Action.PROCEDURES)
    rows = listing.procedures(registry, MEASURE, as_of=as_of, start=start, end=end, by=by, within=within)
    left_out = pl.col("excluded_because").is_not_null()
    kept = estimated(rows.filter(~left_out), setting(registry, as_of), registry.site.frames)
    both = pl.concat([kept, rows.filter(left_out)], how="diagonal")
    first = ["procedure_id", "index_date", "excluded_because", "hours_used", *FIGURES, "numerical_error"]
    return both.sort("index_date", "procedure_id").select(*first, pl.exclude(first))
