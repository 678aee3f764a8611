"""From all procedures to those analysed, in the manner of STROBE and STARD: counted step by step.

What each step asks was answered in SQL, as one column of flags per procedure; here the flags
are counted in order. A step that leaves rows out for several reasons has a box for each, and
the boxes of a step always sum to what it leaves out.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import polars as pl

from registry.cohorts.definition import EITHER, EXCISION, FOLLOW_UP, NONE

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from registry.cohorts.definition import CohortFile

START, STEP, BOX, BESIDE, END = "start", "step", "box", "beside", "end"
#: Name of the box of those to whom a step does not apply; the others say what is in the way.
OTHER = "other"
#: Columns that the statement adds to those of the export; none of them leaves.
IN_PERIOD, IN_POPULATION, STANDING, STARTED = (
    "flow_period",
    "flow_population",
    "flow_standing",
    "flow_started",
)
UNIT_COLUMNS = {"finding": "finding_id", "patient": "patient_no"}
_PLURAL = {"procedure": "procedures", "finding": "findings", "patient": "patients"}
_STATUS = {"cancelled": "cancelled before needle entry", "abandoned": "abandoned without tissue"}
_STANDARD = {
    EXCISION: "no excision with a diagnosis",
    FOLLOW_UP: "neither cancer nor follow-up of {days} days",
    EITHER: "neither cancer, excision nor follow-up of {days} days",
}
_UNMET = {
    "not_yet_due": "not yet due: started fewer than {days} days before the as-of day",
    "indeterminate": "excised, without a diagnosis on record",
    "excised": "excised before the follow-up was complete",
    "died": "died before",
    "lost": "lost: followed for fewer than {days} days",
    "missing": "missing: nothing on record",
}


@dataclass(frozen=True)
class FlowStep:
    """One line of the flow.

    ``kind`` is start (all there are), step (``left_out`` of those before, ``remaining``
    after it), box (part of what the step above left out, and why; ``remaining`` is that
    of its step), beside (``left_out`` of those who stay have this, and nobody is left out)
    or end (those analysed).
    """

    key: str
    label: str
    left_out: int
    remaining: int
    kind: str


def step_column(place: int) -> str:
    """Column with the answer of the step at a place, from 0: true, false or null."""
    return f"flow_step_{place}"


class _Walk:
    """The rows that are left, and what was said on the way."""

    def __init__(self, rows: pl.DataFrame) -> None:
        self.rows = rows
        self.flow: list[FlowStep] = []

    def step(
        self, key: str, label: str, leaves: pl.Expr, boxes: Sequence[tuple[str, str, pl.Expr]] = ()
    ) -> None:
        """Leave out the rows for which ``leaves`` is true; name the boxes that hold any."""
        out, self.rows = self.rows.filter(leaves), self.rows.filter(~leaves)
        self.flow.append(FlowStep(key, label, out.height, self.rows.height, STEP))
        held = [
            FlowStep(f"{key}.{name}", said, count, self.rows.height, BOX)
            for name, said, which in boxes
            if (count := out.filter(which).height)
        ]
        # That a step does not apply to those whom it leaves out goes without saying.
        self.flow += [] if [one.key for one in held] == [f"{key}.{OTHER}"] else held

    def beside(self, key: str, label: str, which: pl.Expr) -> None:
        """Say how many of those who stay have something."""
        if count := self.rows.filter(which).height:
            self.flow.append(FlowStep(key, label, count, self.rows.height, BESIDE))


def walk(
    rows: pl.DataFrame, cohort: CohortFile, *, everything: int, objecting: int
) -> tuple[pl.DataFrame, tuple[FlowStep, ...], tuple[str, ...]]:
    """Count the flow and keep the rows analysed.

    Parameters
    ----------
    rows
        One row per procedure of those who do not object, with the columns of flags.
    everything, objecting
        Procedures on record up to the as-of day, and those of patients who object to research use.

    Returns
    -------
    (frame, flow, reaching)
        Rows analysed with all their columns; the flow; the keys of the procedures that
        came as far as the reference standard.
    """
    on = _Walk(rows)
    on.flow = [
        FlowStep("all", "procedures started up to the as-of day", 0, everything, START),
        FlowStep("objection", "patient objects to research use", objecting, everything - objecting, STEP),
    ]
    _eligible(on, cohort)
    _sampled(on, cohort)
    _one_per_unit(on, cohort.unit)
    _reported(on, cohort)
    reaching = tuple(on.rows["procedure_id"].to_list())
    _reference_standard(on, cohort)
    said = f"{_PLURAL[cohort.unit]} analysed"
    on.flow.append(FlowStep("analysed", said, 0, on.rows.height, END))
    return on.rows, tuple(on.flow), reaching


def _eligible(on: _Walk, cohort: CohortFile) -> None:
    if cohort.start or cohort.end:
        day = pl.col(cohort.index_date)
        said = cohort.index_date.removesuffix("_on").replace("_", " ")
        period = f"{cohort.start or 'the beginning'} to {cohort.end or 'the end'}"
        boxes = [
            (OTHER, "on another day", day.is_not_null()),
            ("missing", "day not recorded", day.is_null()),
        ]
        on.step("period", f"not {said} from {period}", ~pl.col(IN_PERIOD).fill_null(False), boxes)
    if cohort.population is not None:
        on.step("population", "not of the population", *_unmatched(IN_POPULATION))
    for place, one in enumerate(cohort.steps):
        key, column = f"step_{place + 1}", step_column(place)
        if one.kind == "include":
            on.step(key, f"not: {one.label}", *_unmatched(column))
        else:
            on.step(key, one.label, pl.col(column).fill_null(False))
            on.beside(f"{key}.missing", f"not recorded whether: {one.label}", pl.col(column).is_null())


def _unmatched(column: str) -> tuple[pl.Expr, list[tuple[str, str, pl.Expr]]]:
    """Rows for which an answer is not true, told apart by whether it is known."""
    answer = pl.col(column)
    boxes = [
        (OTHER, "does not apply", answer.is_not_null()),
        ("missing", "not recorded", answer.is_null()),
    ]
    return ~answer.fill_null(False), boxes


def _sampled(on: _Walk, cohort: CohortFile) -> None:
    not_sampled = ~pl.col("is_sampled")
    if cohort.reference_standard == NONE and cohort.unit != "finding":
        on.beside("sampled", "no tissue taken", not_sampled)
        return
    boxes = [(code, label, pl.col("status") == code) for code, label in _STATUS.items()]
    on.step("sampled", "no tissue taken", not_sampled, boxes)


def _one_per_unit(on: _Walk, unit: str) -> None:
    """Keep the first procedure of each finding or patient among those that are left."""
    if unit not in UNIT_COLUMNS:
        return
    on.rows = on.rows.sort(STARTED, "procedure_id").with_columns(
        (pl.int_range(pl.len()).over(UNIT_COLUMNS[unit]) == 0).alias("flow_first")
    )
    said = f"not the first {'sampled ' if unit == 'finding' else ''}procedure of its {unit} among these"
    on.step("first", said, ~pl.col("flow_first"))


def _reported(on: _Walk, cohort: CohortFile) -> None:
    no_report = ~pl.col("is_reported")
    insufficient = (pl.col("diagnosis") == "insufficient").fill_null(False)
    if cohort.reference_standard == NONE:
        on.beside("reported", "sampled, no report on record", pl.col("is_sampled") & no_report)
        on.beside("indeterminate", "sample insufficient for a diagnosis", insufficient)
        return
    boxes = [
        ("missing", "no report on record", no_report),
        ("indeterminate", "sample insufficient for a diagnosis", insufficient & ~no_report),
    ]
    on.step("reported", "no conclusive report", no_report | insufficient, boxes)


def _reference_standard(on: _Walk, cohort: CohortFile) -> None:
    words: Mapping[str, object] = {"days": cohort.minimum_follow_up_days}
    unmet = pl.col(STANDING) != "met"
    boxes = [(key, label.format(**words), pl.col(STANDING) == key) for key, label in _UNMET.items()]
    if cohort.reference_standard != NONE:
        on.step("reference_standard", _STANDARD[cohort.reference_standard].format(**words), unmet, boxes)
    elif cohort.minimum_follow_up_days is not None:
        on.step("reference_standard", _UNMET["not_yet_due"].format(**words), unmet)
