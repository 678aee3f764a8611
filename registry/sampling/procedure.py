"""One procedure: the evidence, the band, the error budget, the scan and what remains after a benign result."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

import polars as pl

from registry import facts, store
from registry.errors import UsageProblem
from registry.measures.definition import chosen
from registry.people import Action, require
from registry.sampling.estimate import Band, bands
from registry.sampling.files import MEASURE, asked, setting
from registry.sampling.inputs import variances
from registry.sampling.scan import Known, Residual, Scan, known, residual, scan_of
from registry.sampling.words import CAUTION, assumptions, contradictions, evidence
from registry.targeting import AXES

if TYPE_CHECKING:
    from datetime import date

    from registry.measures.counting import Reader
    from registry.sampling.files import Setting

SOURCES = ("Reading of the target", "Reading of the aperture", "Motion since the plan")


@dataclass(frozen=True)
class BudgetRow:
    """One source of uncertainty: standard deviation on the axes x, y and z of the frame, mm."""

    source: str
    x_mm: float
    y_mm: float
    z_mm: float


@dataclass(frozen=True)
class Estimate:
    """Probability that the target of one procedure was sampled, with everything it rests on.

    ``left_out`` is the reason why it cannot be computed and ``meaning`` says it in words,
    both empty where it can; then the parts that need the geometry are empty. ``inputs`` is
    the row of the measure. ``scan`` and ``residual`` are None where they do not apply.
    """

    procedure_id: str
    left_out: str
    meaning: str
    evidence: tuple[str, ...]
    contradictions: tuple[str, ...]
    inputs: dict[str, Any]
    offset_mm: tuple[float, float, float] | None
    budget: tuple[BudgetRow, ...]
    bands: tuple[Band, ...]
    sampled_share: float
    known: Known
    scan: Scan | None
    residual: Residual | None
    assumptions: tuple[str, ...]
    caution: str

    def to_dict(self) -> dict[str, Any]:
        """JSON-able."""
        return asdict(self)


def procedure_estimate(registry: Reader, procedure_id: str, as_of: date) -> Estimate:
    """Everything about one procedure.

    Parameters
    ----------
    registry
        An open registry.
    procedure_id
        Key of the procedure.
    as_of
        Nothing dated after this day counts.

    Raises
    ------
    UsageProblem
        There is no such procedure, or it started after the day.
    """
    require(Action.RECORD, registry)
    found = asked(registry, "procedure", as_of, procedure_id=procedure_id)
    if not found:
        raise UsageProblem(
            f"There is no procedure with this key that had started by {as_of}. Correct the key, or choose a later day."
        )
    row, local = found[0], setting(registry, as_of)
    unit = _unit(registry, procedure_id, as_of)
    reason = unit["excluded_because"][0]
    counted = known(registry, as_of, procedure_id)
    made: tuple[Band, ...] = ()
    budget: tuple[BudgetRow, ...] = ()
    offset = scan = remains = None
    if reason is None:
        made = bands(unit, local, registry.site.frames)
        budget = _budget(unit, local)
        offset = tuple(float(unit[f"error_{axis}_mm"][0]) for axis in AXES)
        scan = scan_of(row, made, counted)
        remains = residual(row, made, counted, local.minimum_n)
    return Estimate(
        procedure_id=procedure_id,
        left_out=reason or "",
        meaning=_meaning(reason),
        evidence=evidence(row),
        contradictions=contradictions(row),
        inputs=unit.drop("procedure_id", "excluded_because").to_dicts()[0],
        offset_mm=offset,  # type: ignore[arg-type]
        budget=budget,
        bands=made,
        sampled_share=local.sampled_share,
        known=counted,
        scan=scan,
        residual=remains,
        assumptions=assumptions(local),
        caution=CAUTION,
    )


def _unit(registry: Reader, procedure_id: str, as_of: date) -> pl.DataFrame:
    (measure,) = chosen([MEASURE])
    sql = f"SELECT * FROM (\n{measure.body}\n) AS unit WHERE procedure_id = $procedure_id"
    with facts.at(registry, as_of) as cursor:
        return store.frame(cursor, sql, {"as_of": as_of, "procedure_id": procedure_id})


def _meaning(reason: str | None) -> str:
    (measure,) = chosen([MEASURE])
    return next((one.meaning for one in measure.exclusions if one.reason == reason), "")


def _budget(unit: pl.DataFrame, local: Setting) -> tuple[BudgetRow, ...]:
    """The sources, and their root sum of squares."""
    parts = variances(unit, local)[:, 0, :]
    total = (parts**2).sum(axis=0) ** 0.5
    rows = [*zip(SOURCES, parts, strict=True), ("Together (root sum of squares)", total)]
    return tuple(BudgetRow(name, *(float(one) for one in values)) for name, values in rows)
