"""Identifiers of those who are due, for a letter merge: one purpose, written down before the file is made."""

from __future__ import annotations

from typing import TYPE_CHECKING

import polars as pl

from registry import audit, worklists
from registry.errors import UsageProblem
from registry.follow_up.due import one_a_patient
from registry.people import Action, require

if TYPE_CHECKING:
    from datetime import date

    from registry.store import Registry

SHORTEST_PURPOSE, LONGEST_PURPOSE = 10, 200
#: Places on the worklist: growth or a new finding; the chase was closed.
GROWTH, CLOSED = 1, 4


def waits_for_report() -> pl.Expr:
    """Lines of the worklist on which the report of another service is chased and not the patient.

    Growth or a new finding waits for no report: that patient is written to.
    """
    return pl.col("outside_owed") & (pl.col("place") != GROWTH)


def recall(registry: Registry, *, as_of: date, purpose: str) -> pl.DataFrame:
    """Who is due, by the hospital's own identifier.

    Parameters
    ----------
    registry
        Open for writing: that the identifiers are taken is an entry of the trail.
    as_of
        Nothing dated after this day counts.
    purpose
        What the file is for, 10 to 200 characters; it stands in the trail.

    Returns
    -------
    DataFrame
        patient_id, birth_date, procedure_id, started_on, next_due_on, days_overdue, result_class.
        Left out are those whose chase was closed, and those who were seen elsewhere and whose
        report is owed: there the report is chased, not the patient (0037). Another procedure of
        the same patient for which nothing is owed brings the letter all the same.

    Raises
    ------
    Refused
        The actor may not see identifiers.
    UsageProblem
        No purpose is given.
    """
    actor = require(Action.IDENTIFIERS, registry, kind="recall", key="", confirmed=True)
    why = " ".join(purpose.split())
    if not SHORTEST_PURPOSE <= len(why) <= LONGEST_PURPOSE:
        raise UsageProblem(
            f"Say in {SHORTEST_PURPOSE} to {LONGEST_PURPOSE} characters what the identifiers are for; it is written to the trail."
        )
    listed = worklists.rows(registry, "follow_up_due", as_of=as_of)
    rows = one_a_patient(listed.filter((pl.col("place") < CLOSED) & ~waits_for_report()))
    named = registry.frame(
        "SELECT procedure_id, patient FROM procedure_facts WHERE procedure_id IN (SELECT unnest($ids))",
        {"ids": rows["procedure_id"].to_list()},
    )
    registry.record(
        audit.Entry(
            actor.name, "recall", "list", "", {"purpose": why, "patients": rows.height, "as_of": str(as_of)}
        )
    )
    empty = pl.DataFrame(schema={"patient": pl.String, "patient_id": pl.String, "birth_date": pl.Date})
    known = registry.identity_frame("SELECT patient, patient_id, birth_date FROM patient_identity", empty)
    return (
        rows.join(named, on="procedure_id", how="left", maintain_order="left")
        .join(known, on="patient", how="left", maintain_order="left")
        .select(
            "patient_id",
            "birth_date",
            "procedure_id",
            "started_on",
            "next_due_on",
            "days_overdue",
            "result_class",
        )
    )
