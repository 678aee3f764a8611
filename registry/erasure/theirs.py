"""What belongs to one patient: the keys under which rows, lines and cells are found."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from registry.dictionary import TABLE_ORDER, stored_columns, tables
from registry.holds import normal, pseudonym_of
from registry.store import IDENTITY

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from registry.store import Registry

_LATEST = """
    SELECT key FROM (
        SELECT {key} AS key, {parent} AS parent, TIMESTAMP '9999-12-31' AS until FROM main.{table}
        UNION ALL
        SELECT {key}, {parent}, superseded_at FROM history.{table}
    )
    QUALIFY row_number() OVER (PARTITION BY key ORDER BY until DESC) = 1 AND parent IN (SELECT unnest($parents))
"""
_KNOWN = (
    "SELECT {key} FROM main.{table} WHERE {key} IN (SELECT unnest($keys)) "
    "UNION SELECT {key} FROM history.{table} WHERE {key} IN (SELECT unnest($keys))"
)
_WORD = rb"[0-9A-Za-z\x80-\xff]"


@dataclass(frozen=True)
class Theirs:
    """Pseudonym, and the identifiers, accession numbers and keys of findings and procedures of one patient.

    A finding that was once booked under the patient by mistake, and now is another's, is
    not among them.
    """

    patient: str
    identifiers: frozenset[str]
    accessions: frozenset[str]
    findings: frozenset[str]
    procedures: frozenset[str]

    @property
    def words(self) -> frozenset[str]:
        """Every key and identifier, for sources whose columns are not known."""
        return self.identifiers | self.accessions | self.findings | self.procedures

    def own(self, cells: Mapping[str, str | None]) -> bool:
        """Whether a row with the fields of the dictionary as headers is one of theirs."""
        return any(
            normal(cells.get(field) or "") in keys
            for field, keys in (
                ("patient_id", self.identifiers),
                ("finding_id", self.findings),
                ("procedure_id", self.procedures),
                ("accession", self.accessions),
            )
        )

    def named_in(self, cells: Iterable[str | None]) -> bool:
        """Whether one of the cells is one of their words."""
        return any(normal(cell or "") in self.words for cell in cells)

    def stand_in(self, data: bytes) -> bool:
        """Whether one of their words stands in a text, in any encoding that intake reads."""
        for word in self.words:
            for form in {word, _escaped(word)}:
                for encoding in ("utf-8", "cp1252"):
                    text = re.escape(form.encode(encoding, "replace"))
                    if re.search(rb"(?<!" + _WORD + rb")" + text + rb"(?!" + _WORD + rb")", data):
                        return True
                if form.encode("utf-16-le") in data or form.encode("utf-16-be") in data:
                    return True
        return False


def _escaped(text: str) -> str:
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")


def gather(registry: Registry, given: str) -> Theirs:
    """Everything under which a patient is known.

    Parameters
    ----------
    given
        Identifier or pseudonym; one that nothing is known of gives only itself.
    """
    patient = pseudonym_of(registry, given)
    findings = _latest(registry, "findings", "finding_id", "patient", [patient])
    procedures = _latest(registry, "procedures", "procedure_id", "finding_id", findings)
    identifiers, accessions = _apart(registry, patient, procedures)
    if normal(given) != patient:
        identifiers.add(normal(given))
    return Theirs(
        patient, frozenset(identifiers), frozenset(accessions), frozenset(findings), frozenset(procedures)
    )


def widened(
    registry: Registry, theirs: Theirs, rows: Iterable[tuple[str, Mapping[str, str | None]]]
) -> Theirs:
    """With the findings and procedures that were received and never stored: held rows, refused files.

    ``rows`` are (table, cells by field); a key that the registry knows as another's is left alone.
    """
    seen = [(table, cells) for table, cells in rows if table in ("findings", "procedures")]
    findings = theirs.findings | _unknown(
        registry,
        "findings",
        "finding_id",
        {
            normal(cells.get("finding_id") or "")
            for table, cells in seen
            if table == "findings" and normal(cells.get("patient_id") or "") in theirs.identifiers
        },
    )
    procedures = theirs.procedures | _unknown(
        registry,
        "procedures",
        "procedure_id",
        {
            normal(cells.get("procedure_id") or "")
            for table, cells in seen
            if table == "procedures" and normal(cells.get("finding_id") or "") in findings
        },
    )
    return Theirs(theirs.patient, theirs.identifiers, theirs.accessions, findings, procedures)


def condition(table: str) -> str:
    """Which rows of a table are theirs; parameters patient, findings, procedures. Empty where none can be."""
    columns = stored_columns(tables()[table])
    if "patient" in columns:
        return "patient = $patient" if table == "patients" else "finding_id IN (SELECT unnest($findings))"
    return "procedure_id IN (SELECT unnest($procedures))" if "procedure_id" in columns else ""


def parameters(theirs: Theirs, table: str) -> dict[str, object]:
    """Parameters of :func:`condition`."""
    name = condition(table).rpartition("$")[2].rstrip(")")
    return {name: theirs.patient if name == "patient" else sorted(getattr(theirs, name))}


def their_tables() -> list[str]:
    """Tables with rows of patients, children before parents."""
    return [name for name in reversed(TABLE_ORDER) if condition(name)]


def _latest(registry: Registry, table: str, key: str, parent: str, parents: Iterable[str]) -> set[str]:
    sql = _LATEST.format(table=table, key=key, parent=parent)
    return {str(one) for (one,) in registry.rows(sql, {"parents": sorted(parents)})}


def _unknown(registry: Registry, table: str, key: str, found: set[str]) -> set[str]:
    found = found - {""}
    if not found:
        return set()
    known = registry.rows(_KNOWN.format(table=table, key=key), {"keys": sorted(found)})
    return found - {str(one) for (one,) in known}


def _apart(registry: Registry, patient: str, procedures: set[str]) -> tuple[set[str], set[str]]:
    """Identifiers and accession numbers in identity.duckdb, replaced ones included."""
    if not (registry.folder / IDENTITY).exists():
        return set(), set()
    identity = registry.identity
    names = identity.execute(
        "SELECT patient_id FROM patient_identity WHERE patient = $patient "
        "UNION SELECT patient_id FROM patient_identity_history WHERE patient = $patient",
        {"patient": patient},
    ).fetchall()
    numbers = identity.execute(
        "SELECT accession, procedure_id, patient FROM procedure_accession UNION ALL "
        "SELECT accession, procedure_id, patient FROM procedure_accession_history"
    ).fetchall()
    identity.close()
    # An import that failed may have left a number of a procedure that was never stored.
    orphans = _unknown(
        registry, "procedures", "procedure_id", {two for _, two, whose in numbers if whose == patient}
    )
    mine = procedures | orphans
    return {str(one) for (one,) in names}, {str(one) for one, procedure, _ in numbers if procedure in mine}
