"""Proposed flags: what in the record is worth a question, in one sentence each."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Any

import polars as pl

from registry import facts, flagrules, store
from registry.concordance.own_view import own_view
from registry.errors import UsageProblem
from registry.people import Action, require
from registry.sqlfiles import queries
from registry.uptake.decision import TOO_FEW
from registry.uptake.scans import scan_of
from registry.vocabulary import label

if TYPE_CHECKING:
    from collections.abc import Sequence

    from registry.store import Registry


@dataclass(frozen=True)
class Flag:
    """One prompt; ``sentence`` says what was seen, ``rule`` which rule it is, ``source`` what it rests on.

    ``rules`` is the digest of the rules that were in force.
    """

    rule: str
    title: str
    sentence: str
    source: str
    version: int
    rules: str


def flags(registry: Registry, procedure_id: str, *, as_of: date) -> tuple[Flag, ...]:
    """Flags of one procedure, for a reviewer who has recorded a view of their own or asked to go without.

    Parameters
    ----------
    registry
        An open registry.
    procedure_id
        Key of the procedure.
    as_of
        Reports dated after this day do not count.

    Raises
    ------
    Refused
        The actor may not open records.
    UsageProblem
        No own view is recorded yet on what the record says now.
    """
    require(Action.RECORD, registry, kind="procedure", key=procedure_id)
    if own_view(registry, procedure_id) is None:
        raise UsageProblem(
            "Flags are shown after your own determination: record it first, or say that you go without."
        )
    return proposed(registry, [procedure_id], as_of=as_of).get(procedure_id, ())


def proposed(registry: Registry, ids: Sequence[str], *, as_of: date) -> dict[str, tuple[Flag, ...]]:
    """Flags of several procedures, in the order of the rules; those without one are left out.

    For lists, which say only how many there are, and for what is counted afterwards.
    """
    require(Action.WORKLISTS, registry)
    if not ids:
        return {}
    in_force = flagrules.in_force(registry.site.flags)
    limits = {name: one.limit for name, one in in_force.rules.items() if one.limit is not None}
    parameters: dict[str, Any] = {
        "ids": list(ids),
        "as_of": as_of,
        "rules": list(in_force.rules),
        "too_few": _too_few(registry, ids, as_of),
        "marker_displaced": limits.get("marker_displaced", 1e9),
    }
    with facts.at(registry, as_of) as cursor:
        table = pl.DataFrame([one.__dict__ for one in in_force.expected])
        cursor.register("expected_pathology", table.to_arrow())
        rows = store.frame(cursor, queries("flags")["proposed"].sql, parameters).to_dicts()
    place = {name: number for number, name in enumerate(in_force.rules)}
    found: dict[str, list[Flag]] = {}
    for row in sorted(rows, key=lambda one: (one["procedure_id"], place[one["rule"]])):
        found.setdefault(row["procedure_id"], []).append(
            _flag(in_force.rules[row["rule"]], row, in_force.digest)
        )
    return {key: tuple(made) for key, made in found.items()}


def _too_few(registry: Registry, ids: Sequence[str], as_of: date) -> list[str]:
    """Procedures without tracer read, all of whose counted scans were too weak to tell (decision 0009)."""
    scans = f"SELECT * FROM (\n{queries('uptake')['scans'].sql}\n) AS scan WHERE list_contains($ids, procedure_id)"
    given = {"as_of": as_of, "start": date.min, "end": as_of, "procedure_id": None}
    asked: dict[str, Any] = {key: value for key, value in given.items() if f"${key}" in scans}
    with facts.at(registry, as_of) as cursor:
        read = cursor.execute(queries("flags")["read_without_uptake"].sql, {"ids": list(ids)}).fetchall()
        if not read:
            return []
        rows = store.frame(cursor, scans, {**asked, "ids": [one for (one,) in read]}).to_dicts()
    decisions: dict[str, set[str]] = {}
    for one in map(scan_of, rows):
        decisions.setdefault(one.procedure_id, set()).add(one.decision.key)
    return sorted(key for key, said in decisions.items() if said == {TOO_FEW})


def _flag(rule: flagrules.Rule, row: dict[str, Any], digest: str) -> Flag:
    words = {
        "finding_type": label("findings", "finding_type", row["finding_type"]).lower(),
        "assessment": row["assessment"],
        "guidance": label("procedures", "guidance", row["guidance"]),
        "lesion": label("pathology", "lesion", row["lesion"]).lower() if row["lesion"] else "no named lesion",
        "value": row["value"] or 0.0,
        "limit": rule.limit or 0.0,
    }
    return Flag(rule.name, rule.title, rule.sentence.format(**words), rule.source, rule.version, digest)
