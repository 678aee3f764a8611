"""Amended reports that open a concordance decision again.

Asked before the batch is written: which procedures with a joint review get a report
version (new or corrected) that differs from the one current until now in what the
decision rested on. Receptors alone do not count.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import duckdb

#: What a decision rests on; laterality is that of the finding.
DECISIVE = ("diagnosis", "lesion", "b_category", "atypia", "calcifications", "other_lesions")


def reopened_procedures(cursor: duckdb.DuckDBPyConnection, names: set[str]) -> list[str]:
    """Procedures with a joint review whose basis this batch changes, in order."""
    parts = []
    if not cursor.execute("SELECT 1 FROM main.reviews WHERE stage = 'joint' LIMIT 1").fetchall():
        return []
    if "pathology" in names:
        differs = " OR ".join(f"s.{column} IS DISTINCT FROM old.{column}" for column in DECISIVE)
        parts.append(
            "WITH standing AS (SELECT report_id, procedure_id, coalesce(specimen_id, '') AS container, "
            f"max(version) AS version, {', '.join(f'arg_max({c}, version) AS {c}' for c in DECISIVE)} "
            "FROM main.pathology WHERE status <> 'preliminary' GROUP BY report_id, procedure_id, coalesce(specimen_id, '')) "
            "SELECT DISTINCT s.procedure_id FROM staged_pathology AS s LEFT JOIN standing AS old "
            "ON old.report_id = s.report_id AND old.procedure_id = s.procedure_id AND old.container = coalesce(s.specimen_id, '') "
            "WHERE (s.is_new OR s.is_changed) AND s.status <> 'preliminary' AND (old.report_id IS NULL OR s.version >= old.version) "
            f"AND (old.report_id IS NULL OR s.status = 'retracted' OR {differs})"
        )
    if "findings" in names:
        parts.append(
            "SELECT p.procedure_id FROM staged_findings AS s JOIN main.findings AS f ON f.finding_id = s.finding_id "
            "JOIN main.procedures AS p ON p.finding_id = s.finding_id WHERE s.is_changed AND s.laterality <> f.laterality"
        )
    found: set[str] = set()
    for part in parts:
        rows = cursor.execute(
            f"SELECT procedure_id FROM ({part}) WHERE procedure_id IN "
            "(SELECT procedure_id FROM main.reviews WHERE stage = 'joint')"
        ).fetchall()
        found.update(row[0] for row in rows)
    return sorted(found)
