"""What the checks read: the rows in question and everything known, as relations.

``checked_<table>`` are the batch's rows that are not held, ``known_<table>`` those and
the stored rows that they do not replace, ``checked_visits`` and ``known_visits`` the
procedures with what their findings and patients say of them.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from registry import checks
from registry.dictionary import stored_columns, tables
from registry.intake.staging import has_rows, same_key

if TYPE_CHECKING:
    import duckdb

    from registry.intake.batch import Batch

_VISIT_NAMES = (
    "procedure_id, finding_id, started_at, started_on, status, cores, repeat_of, marker, marker_shape, injected_at, "
    "compression_mm, age_years, patient, laterality, found_on, birth_date, death_date, accession"
)


def needed(batch: Batch) -> set[str]:
    """Tables that the checks and references of this batch read."""
    own = {table.name for table in batch.tables}
    read = own | {"findings", "patients", "procedures"}
    for check in checks.load():
        if check.table in own:
            read |= check.relations
    read |= {field.references for table in batch.tables for field in table.fields if field.references}
    return read & tables().keys()


def make_known(batch: Batch) -> None:
    """Relations ``checked_`` and ``known_`` of every table, for the checks."""
    make_known_of(batch, needed(batch) - batch.sources.names)
    for name in sorted(batch.sources.names):
        table = tables()[name]
        columns = ", ".join(stored_columns(table))
        # Accession number and stated age of a procedure stand in the visits.
        extra, rows = (", birth_date", "identified") if name == "patients" else ("", "staged")
        batch.cursor.execute(
            f"CREATE OR REPLACE TEMP VIEW checked_{name} AS SELECT row_no, {columns}{extra} FROM {rows}_{name}"
        )
        stored = ""
        if name not in batch.in_place and has_rows(batch.cursor, f"main.{name}"):
            stored = (
                f" UNION ALL SELECT {columns} FROM main.{name} AS m WHERE NOT EXISTS "
                f"(SELECT 1 FROM staged_{name} AS s WHERE {same_key(name, 'm', 's')})"
            )
        batch.cursor.execute(
            f"CREATE OR REPLACE TEMP VIEW known_{name} AS SELECT {columns} FROM staged_{name}{stored}"
        )
    birth = "SELECT patient, birth_date FROM stored_birth WHERE birth_date IS NOT NULL"
    if "patients" in batch.sources.names:
        birth = (
            "SELECT patient, birth_date FROM identified_patients WHERE birth_date IS NOT NULL UNION ALL "
            "SELECT patient, birth_date FROM stored_birth AS b WHERE birth_date IS NOT NULL AND NOT EXISTS "
            "(SELECT 1 FROM staged_patients AS s WHERE s.patient = b.patient)"
        )
    batch.cursor.execute(f"CREATE OR REPLACE TEMP VIEW known_birth AS {birth}")
    if "procedures" not in batch.sources.names:
        make_visits(batch)


def make_known_of(batch: Batch, names: set[str]) -> None:
    """``known_`` of tables for which the batch holds no rows: what is stored."""
    for name in sorted(names - batch.sources.names):
        columns = ", ".join(stored_columns(tables()[name]))
        batch.cursor.execute(f"CREATE OR REPLACE TEMP VIEW known_{name} AS SELECT {columns} FROM main.{name}")


def make_visits(batch: Batch) -> None:
    """Procedures with what their findings and patients say, joined once for all checks."""
    stored = (
        f"SELECT {checks.VISIT_COLUMNS}, a.accession FROM main.procedures AS p {checks.VISIT_JOINS} "
        "LEFT JOIN stored_accession AS a ON a.procedure_id = p.procedure_id"
    )
    if "procedures" not in batch.sources.names:
        batch.cursor.execute(f"CREATE OR REPLACE TEMP VIEW known_visits AS {stored}")
        return
    batch.cursor.execute(
        f"CREATE OR REPLACE TEMP TABLE checked_visits AS SELECT p.row_no, {checks.VISIT_COLUMNS}, p.accession, p.is_stated_age "
        f"FROM identified_procedures AS p {checks.VISIT_JOINS}"
    )
    others = ""
    if "procedures" not in batch.in_place and has_rows(batch.cursor, "main.procedures"):
        others = f" UNION ALL {stored} WHERE NOT EXISTS (SELECT 1 FROM staged_procedures AS s WHERE s.procedure_id = p.procedure_id)"
    batch.cursor.execute(
        f"CREATE OR REPLACE TEMP VIEW known_visits AS SELECT {_VISIT_NAMES} FROM checked_visits{others}"
    )


def drop_visits(cursor: duckdb.DuckDBPyConnection) -> None:
    """Give back the joined visits and the identifiers as sent, before the facts need the memory."""
    cursor.execute("DROP TABLE IF EXISTS temp.checked_visits")
    cursor.unregister("patient_key")
