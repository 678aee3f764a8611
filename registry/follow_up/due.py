"""The worklist follow_up_due with one line per patient."""

from __future__ import annotations

from typing import TYPE_CHECKING

import polars as pl

from registry import worklists
from registry.people import Action, require

if TYPE_CHECKING:
    from datetime import date

    from registry.store import Registry


def due_by_patient(registry: Registry, *, as_of: date) -> pl.DataFrame:
    """Who is due, each patient once: at the most urgent of their procedures, the others named beside it.

    Parameters
    ----------
    registry
        An open registry.
    as_of
        Nothing dated after this day counts.

    Returns
    -------
    DataFrame
        Columns of the worklist, and ``also``: keys of the patient's other procedures that
        are due, joined by commas, empty where there is none.
    """
    require(Action.WORKLISTS, registry)
    return one_a_patient(worklists.rows(registry, "follow_up_due", as_of=as_of))


def one_a_patient(rows: pl.DataFrame) -> pl.DataFrame:
    """Lines of the worklist, the first of each patient, and ``also`` the keys of the others."""
    others = (
        rows.group_by("patient_no", maintain_order=True)
        .agg(pl.col("procedure_id"))
        .with_columns(pl.col("procedure_id").list.slice(1).list.join(", ").alias("also"))
        .select("patient_no", "also")
    )
    first = rows.unique(subset="patient_no", keep="first", maintain_order=True)
    return first.join(others, on="patient_no", how="left", maintain_order="left")
