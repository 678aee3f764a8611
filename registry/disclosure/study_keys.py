"""Random keys under which a project knows patients, procedures, findings and operators.

They are drawn once for a project and kept in identity.duckdb, with the identifiers: two
exports of one project can be joined, those of two projects cannot, and no key can be worked
out from an identifier. An erasure deletes those of the patient. Without a project the
numbers are drawn for one export and kept nowhere.
"""

from __future__ import annotations

import random
import threading
from dataclasses import dataclass
from datetime import UTC
from typing import TYPE_CHECKING, Protocol

import polars as pl

from registry import store
from registry.disclosure.profiles import SHIFT_DAYS
from registry.disclosure.treatment import SHIFT
from registry.engine import rollback
from registry.store import IDENTITY

if TYPE_CHECKING:
    from collections.abc import Sequence

    from registry.store import Registry

#: Kind of key -> columns of an export that hold one.
COLUMNS = {
    "patient": ("patient_no",),
    "operator": ("operator_no", "supervisor_no"),
    "procedure": ("procedure_id", "root_id", "repeat_of"),
    "finding": ("finding_id",),
}
#: Eight digits, so that a number says nothing of when or in which order it was drawn.
_SMALLEST, _LARGEST = 10_000_000, 99_999_999
_OWNERS = (
    "SELECT p.procedure_id AS procedure_id, f.patient AS patient, p.finding_id AS finding_id, p.operator AS operator, "
    "p.supervisor AS supervisor FROM main.procedures AS p JOIN main.findings AS f ON f.finding_id = p.finding_id"
)
_KEPT = "SELECT kind, original, number, shift_days FROM study_key WHERE project = $project"
_EMPTY = pl.DataFrame(
    schema={"kind": pl.String, "original": pl.String, "number": pl.Int32, "shift_days": pl.Int32}
)


#: Two exports of one project at a time must not draw two keys for one patient; one process owns the folder.
_DRAWING = threading.Lock()


class Record(Protocol):
    """What is asked who belongs to whom: the registry, or the registry as it was known."""

    def frame(self, sql: str, /) -> pl.DataFrame:
        """Rows of one query."""
        ...


@dataclass(frozen=True)
class Keyed:
    """Rows with study keys in place of those of the record.

    ``frame`` carries the days of shift of each row beside its columns; ``columns`` are those
    replaced; ``gone`` counts patients whose keys are no longer kept.
    """

    frame: pl.DataFrame
    columns: frozenset[str]
    gone: int


def for_one_export(frame: pl.DataFrame, source: random.Random, *, records_too: bool) -> Keyed:
    """Keys of this export alone; patients and operators have theirs from the drawing of the cohort.

    Parameters
    ----------
    records_too
        Whether procedures and findings get a number as well.
    """
    patients = frame["patient_no"].unique().sort()
    shifts = pl.DataFrame(
        {"patient_no": patients, SHIFT: _shifts(patients.len(), source)},
        schema_overrides={SHIFT: pl.Int32},
    )
    made = frame.join(shifts, on="patient_no", how="left", maintain_order="left")
    columns = {*COLUMNS["patient"], *COLUMNS["operator"]}
    if records_too:
        for kind in ("procedure", "finding"):
            names = [name for name in COLUMNS[kind] if name in frame.columns]
            originals = (
                pl.concat([frame[name].alias("original") for name in names]).drop_nulls().unique().sort()
            )
            numbers = list(range(1, originals.len() + 1))
            source.shuffle(numbers)
            drawn = pl.DataFrame({"original": originals, "number": pl.Series(numbers, dtype=pl.Int32)})
            made = _replaced(made, names, drawn)
            columns |= set(names)
    return Keyed(made, frozenset(columns) & set(frame.columns), 0)


def for_project(
    registry: Registry,
    record: Record,
    frame: pl.DataFrame,
    project: str,
    source: random.Random,
    *,
    draws: bool,
) -> Keyed:
    """Keys of a project: those that are kept, and new ones for who is new to it.

    Parameters
    ----------
    record
        The registry, or the registry as it was known, from which the rows were taken.
    draws
        Whether missing keys are drawn and kept; otherwise they stay empty and are counted.
    """
    owners = record.frame(_OWNERS)
    rows = frame.select("procedure_id").join(owners, on="procedure_id", how="left", maintain_order="left")
    needed = _needed(frame, rows, owners)
    with _DRAWING:
        kept = _kept(registry, project)
        missing = needed.join(kept, on=["kind", "original"], how="anti")
        if missing.height and draws:
            kept = pl.concat([kept, _draw(registry, project, missing, kept, source)])
    gone = 0 if draws else missing.filter(pl.col("kind") == "patient").height
    made = frame.with_columns(
        rows["patient"].alias("patient_no"),
        rows["operator"].alias("operator_no"),
        rows["supervisor"].alias("supervisor_no"),
    )
    shifts = kept.filter(pl.col("kind") == "patient").select(
        pl.col("original").alias("patient_no"), pl.col("shift_days").alias(SHIFT)
    )
    made = made.join(shifts, on="patient_no", how="left", maintain_order="left")
    for kind, columns in COLUMNS.items():
        names = [name for name in columns if name in frame.columns]
        drawn = kept.filter(pl.col("kind") == kind).select("original", "number")
        made = _replaced(made, names, drawn)
    replaced = {name for columns in COLUMNS.values() for name in columns}
    return Keyed(made.select([*frame.columns, SHIFT]), frozenset(replaced & set(frame.columns)), gone)


def _needed(frame: pl.DataFrame, rows: pl.DataFrame, owners: pl.DataFrame) -> pl.DataFrame:
    """(kind, original, patient) of every key that the rows use."""
    procedures = pl.concat(
        [frame[name].alias("original") for name in COLUMNS["procedure"] if name in frame.columns]
    )
    of_procedures = (
        procedures.drop_nulls()
        .unique()
        .to_frame()
        .join(owners.select(pl.col("procedure_id").alias("original"), "patient"), on="original", how="left")
    )
    staff = pl.concat([rows["operator"], rows["supervisor"].alias("operator")]).drop_nulls().unique()
    parts = [
        rows.select(pl.lit("patient").alias("kind"), pl.col("patient").alias("original"), "patient"),
        of_procedures.select(pl.lit("procedure").alias("kind"), "original", "patient"),
        rows.select(pl.lit("finding").alias("kind"), pl.col("finding_id").alias("original"), "patient"),
        staff.to_frame("original").select(
            pl.lit("operator").alias("kind"), "original", pl.lit(None, pl.String).alias("patient")
        ),
    ]
    return pl.concat(parts).unique(subset=["kind", "original"]).sort("kind", "original")


def _kept(registry: Registry, project: str) -> pl.DataFrame:
    if not (registry.folder / IDENTITY).exists():
        return _EMPTY
    identity = registry.identity
    try:
        return store.frame(identity, _KEPT, {"project": project}).cast(_EMPTY.schema)
    finally:
        identity.close()


def _draw(
    registry: Registry, project: str, missing: pl.DataFrame, kept: pl.DataFrame, source: random.Random
) -> pl.DataFrame:
    """New keys, drawn apart for each kind and kept in identity.duckdb."""
    parts = []
    for kind in COLUMNS:
        group = missing.filter(pl.col("kind") == kind)
        used = set(kept.filter(pl.col("kind") == kind)["number"].to_list())
        numbers = _numbers(group.height, used, source)
        shifts = _shifts(group.height, source) if kind == "patient" else [None] * group.height
        parts.append(
            group.with_columns(
                pl.Series("number", numbers, dtype=pl.Int32), pl.Series("shift_days", shifts, dtype=pl.Int32)
            )
        )
    drawn = pl.concat(parts)
    moment = registry.clock().astimezone(UTC).replace(tzinfo=None)
    identity = registry.identity
    try:
        identity.execute("BEGIN")
        identity.register("drawn_keys", drawn.to_arrow())
        identity.execute(
            "INSERT INTO study_key SELECT ?, kind, original, number, shift_days, patient, ? FROM drawn_keys",
            [project, moment],
        )
        identity.unregister("drawn_keys")
        identity.execute("COMMIT")
    except BaseException:
        rollback(identity)
        raise
    finally:
        identity.close()
    return drawn.select(list(_EMPTY.schema))


def _numbers(count: int, used: set[int], source: random.Random) -> list[int]:
    """So many numbers that nobody has, in no order."""
    made: list[int] = []
    while len(made) < count:
        more = source.sample(range(_SMALLEST, _LARGEST + 1), count - len(made))
        fresh = [one for one in more if one not in used]
        used.update(fresh)
        made += fresh
    return made


def _shifts(count: int, source: random.Random) -> list[int]:
    """Days of shift, uniform, never 0: one for each patient."""
    days = [day for day in range(-SHIFT_DAYS, SHIFT_DAYS + 1) if day]
    return source.choices(days, k=count)


def _replaced(frame: pl.DataFrame, names: Sequence[str], drawn: pl.DataFrame) -> pl.DataFrame:
    """The named columns with the number of each value."""
    order = frame.columns
    for name in names:
        frame = (
            frame.join(
                drawn.rename({"original": name, "number": "_number"}),
                on=name,
                how="left",
                maintain_order="left",
            )
            .drop(name)
            .rename({"_number": name})
        )
    return frame.select(order)
