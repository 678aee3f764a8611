"""The first load of an empty registry: sound files are read straight into its tables.

The rows go into the clinical tables at once, inside the caller's transaction, and
those that are held are deleted from them again: half the work and a fraction of the
memory of a copy beside them. Row n of a file has the row id of its first row plus n.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from registry.dictionary import stored_columns
from registry.errors import NotSaved
from registry.intake.cells import quoted, sql_type
from registry.intake.staging import typed_columns
from registry.numerals import grouped

if TYPE_CHECKING:
    from pathlib import Path

    import duckdb

    from registry.dictionary import Table
    from registry.imports.received import CleanCsv
    from registry.intake.write import Stamp
    from registry.site import Site


def load(
    cursor: duckdb.DuckDBPyConnection,
    table: Table,
    source: CleanCsv,
    path: Path,
    site: Site,
    stamp: Stamp,
) -> int:
    """Read a sound file straight into its empty table; ``staged_<table>`` is a view of it, and
    ``identified_<table>`` one with the identifiers that are kept apart.

    The rows go into the clinical table at once, inside the caller's transaction, and
    those that are held are deleted from it again: half the work and a fraction of the
    memory of a copy beside it. Rows with a faulty cell carry the negative batch number
    until then.

    The patients whom the rows name must stand in ``sent_<table>`` (:func:`take_persons`), and
    their pseudonyms in ``patient_key``.

    Returns
    -------
    int
        Row id of the file's first row; row n of the file has that plus n.
    """
    present = {name for name in source.fields if name}
    typed = typed_columns(table, present, site, joined=False)
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
    rows = csv_relation(source, path)
    if "patient_id" in present:
        # Side by side, not joined on a key: a join may give the rows in any order, and to sort
        # these two columns is cheaper than all of them.
        cursor.execute(
            "CREATE OR REPLACE TEMP TABLE person_of_row AS SELECT k.patient, s.birth_date "
            f"FROM sent_{table.name} AS s LEFT JOIN patient_key AS k ON k.patient_id = s.patient_id ORDER BY s.place"
        )
        cursor.execute(f"DROP TABLE sent_{table.name}")
        rows = f"(SELECT f.*, p.patient AS _patient FROM {rows} AS f POSITIONAL JOIN person_of_row AS p)"
    cursor.execute(
        f"INSERT INTO main.{table.name} ({', '.join(values)}, recorded_at, author, batch_id) "
        f"SELECT {', '.join(values.values())}, ?, ?, CASE WHEN ({typed.bad}) OR {missing} THEN {-stamp.batch_id} ELSE {stamp.batch_id} END "
        f"FROM {typed.source(rows)}",
        [stamp.at, stamp.author],
    )
    count, first = cursor.execute(f"SELECT count(*), min(rowid) FROM main.{table.name}").fetchall()[0]
    if count != source.records:
        raise NotSaved(
            f"{source.file.name}: {grouped(source.records)} records were counted and {grouped(count)} read. Nothing was imported; please report this file's form."
        )
    base = int(first or 0)
    if table.name == "procedures":
        cursor.execute(_AGES)
    _load_apart(cursor, table, source, path)
    cursor.execute("DROP TABLE IF EXISTS person_of_row")
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
        "LEFT JOIN apart_procedures AS a ON a.row_no = s.row_no"
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
    if table.name == "patients":
        cursor.execute(
            "CREATE OR REPLACE TEMP TABLE apart_patients AS SELECT patient, min(birth_date) AS birth_date "
            "FROM person_of_row WHERE patient IS NOT NULL GROUP BY patient"
        )
    elif table.name == "procedures":
        number = 'r."accession"' if "accession" in source.fields else "CAST(NULL AS VARCHAR)"
        age = (
            'TRY_CAST(r."age_years" AS INTEGER)' if "age_years" in source.fields else "CAST(NULL AS INTEGER)"
        )
        cursor.execute(
            "CREATE OR REPLACE TEMP TABLE apart_procedures AS SELECT * FROM (SELECT CAST(row_number() OVER () - 1 AS INTEGER) AS row_no, "
            f"{number} AS accession, {age} AS age_years FROM {csv_relation(source, path)} AS r) WHERE accession IS NOT NULL OR age_years IS NOT NULL"
        )


def take_persons(cursor: duckdb.DuckDBPyConnection, table: Table, source: CleanCsv, path: Path) -> None:
    """Make ``sent_<table>``: place, patient_id and birth_date (NULL where not stated) of each row."""
    born = 'TRY_CAST("birth_date" AS DATE)' if "birth_date" in source.fields else "CAST(NULL AS DATE)"
    cursor.execute(
        f"CREATE OR REPLACE TEMP TABLE sent_{table.name} AS SELECT row_number() OVER () AS place, "
        f'"patient_id" AS patient_id, {born} AS birth_date FROM {csv_relation(source, path)}'
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
