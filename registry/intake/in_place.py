"""The first load of an empty registry: sound files are read straight into its tables.

The rows go into the clinical tables at once, inside the caller's transaction, and
those that are held are deleted from them again: half the work and a fraction of the
memory of a copy beside them. Row n of a file has the row id of its first row plus n.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from registry.errors import NotSaved
from registry.intake.cells import quoted, sql_type
from registry.intake.staging import stored_columns, typed_columns

if TYPE_CHECKING:
    from pathlib import Path

    import duckdb

    from registry.dictionary import Table
    from registry.imports.received import CleanCsv
    from registry.intake.write import Stamp
    from registry.site import Site


def load(
    cursor: duckdb.DuckDBPyConnection, table: Table, source: CleanCsv, path: Path, site: Site, stamp: Stamp
) -> int:
    """Read a sound file straight into its empty table; ``staged_<table>`` is a view of it, and
    ``identified_<table>`` one with the identifiers that are kept apart.

    The rows go into the clinical table at once, inside the caller's transaction, and
    those that are held are deleted from it again: half the work and a fraction of the
    memory of a copy beside it. Rows with a faulty cell carry the negative batch number
    until then.

    Returns
    -------
    int
        Row id of the file's first row; row n of the file has that plus n.
    """
    present = {name for name in source.fields if name}
    typed = typed_columns(table, present, site, moments=False)
    required = {
        ("patient" if f.name == "patient_id" else f.name): f for f in table.fields if f.always_required
    }
    missing = " OR ".join(f"({typed.columns[name]}) IS NULL" for name in required)
    values = {}
    for name in stored_columns(table):
        value = typed.columns[name]
        if name in required:
            value = f"coalesce({value}, {_PLACEHOLDER[sql_type(required[name])]})"
        values[name] = value
    if table.name == "procedures":
        values["root_id"] = values["procedure_id"]
    # A join may give the rows in any order: the engine turns it round where that is quicker.
    rows, order = csv_relation(source, path), ""
    if typed.joins.strip():
        rows, order = f"(SELECT *, row_number() OVER () AS _place FROM {rows})", " ORDER BY r._place"
    cursor.execute(
        f"INSERT INTO main.{table.name} ({', '.join(values)}, recorded_at, author, batch_id) "
        f"SELECT {', '.join(values.values())}, ?, ?, CASE WHEN ({typed.bad}) OR {missing} THEN {-stamp.batch_id} ELSE {stamp.batch_id} END "
        f"FROM {rows} AS r {typed.joins}{order}",
        [stamp.at, stamp.author],
    )
    count, first = cursor.execute(f"SELECT count(*), min(rowid) FROM main.{table.name}").fetchall()[0]
    if count != source.records:
        raise NotSaved(
            f"{source.file.name}: {source.records:,} records were counted and {count:,} read. Nothing was imported; please report this file's form."
        )
    base = int(first or 0)
    if table.name == "procedures":
        cursor.execute(_AGES)
    _load_apart(cursor, table, source, path)
    columns = ", ".join(stored_columns(table))
    cursor.execute(
        f"CREATE OR REPLACE TEMP VIEW staged_{table.name} AS SELECT CAST(m.rowid - {base} AS INTEGER) AS row_no, {columns}, "
        f"batch_id < 0 AS bad, true AS is_new, false AS is_changed FROM main.{table.name} AS m"
    )
    if table.name in _IDENTIFIED:
        cursor.execute(f"CREATE OR REPLACE TEMP VIEW identified_{table.name} AS {_IDENTIFIED[table.name]}")
    return base


#: The staged rows with what lies apart: nearly all that is asked of them needs no such join.
_IDENTIFIED = {
    "patients": "SELECT s.*, a.birth_date FROM staged_patients AS s LEFT JOIN apart_patients AS a ON a.patient = s.patient",
    # The age as stated in the file where it is: that is what is compared with the birth date.
    "procedures": (
        "SELECT s.* REPLACE (coalesce(a.age_years, s.age_years) AS age_years), a.accession, "
        "a.age_years IS NOT NULL AS is_stated_age FROM staged_procedures AS s "
        "LEFT JOIN apart_procedures AS a ON a.procedure_id = s.procedure_id"
    ),
}


#: The age comes from the birth date where one is known. Afterwards, as a join while the file
#: is read would turn its rows round.
_AGES = """
    UPDATE main.procedures AS p SET age_years = date_sub('year', b.birth_date, CAST(p.started_at AS DATE))
    FROM main.findings AS f JOIN apart_patients AS b ON b.patient = f.patient
    WHERE f.finding_id = p.finding_id AND b.birth_date IS NOT NULL
"""
#: Stand-ins for a required cell that is empty, in a row that is held at once.
_PLACEHOLDER = {
    "VARCHAR": "''",
    "INTEGER": "0",
    "DOUBLE": "0",
    "DATE": "DATE '1900-01-01'",
    "TIMESTAMP": "TIMESTAMP '1900-01-01'",
}


def _load_apart(cursor: duckdb.DuckDBPyConnection, table: Table, source: CleanCsv, path: Path) -> None:
    """The identifiers of a file, beside the clinical rows: birth dates, accession numbers."""
    relation = csv_relation(source, path)
    if table.name == "patients":
        born = 'TRY_CAST(r."birth_date" AS DATE)' if "birth_date" in source.fields else "CAST(NULL AS DATE)"
        cursor.execute(
            f"CREATE OR REPLACE TEMP TABLE apart_patients AS SELECT k.patient, min({born}) AS birth_date "
            f'FROM {relation} AS r JOIN patient_key AS k ON k.patient_id = r."patient_id" GROUP BY k.patient'
        )
    elif table.name == "procedures":
        number = 'r."accession"' if "accession" in source.fields else "CAST(NULL AS VARCHAR)"
        age = (
            'TRY_CAST(r."age_years" AS INTEGER)' if "age_years" in source.fields else "CAST(NULL AS INTEGER)"
        )
        cursor.execute(
            f'CREATE OR REPLACE TEMP TABLE apart_procedures AS SELECT r."procedure_id" AS procedure_id, min({number}) AS accession, '
            f"min({age}) AS age_years FROM {relation} AS r WHERE {number} IS NOT NULL OR {age} IS NOT NULL GROUP BY procedure_id"
        )


def csv_relation(source: CleanCsv, path: Path) -> str:
    """The file as rows of text; nothing is guessed. ``path`` lies in the registry folder."""
    columns = ", ".join(
        f"'{name or f'_left_out_{place}'}': 'VARCHAR'" for place, name in enumerate(source.fields)
    )
    ending = {"\n": "\\n", "\r\n": "\\r\\n"}[source.new_line]
    return (
        f"read_csv({quoted(str(path))}, auto_detect = false, header = true, delim = ',', quote = '\"', escape = '\"', "
        f"new_line = '{ending}', null_padding = false, ignore_errors = false, max_line_size = 4194304, buffer_size = 8388608, columns = {{{columns}}})"
    )
