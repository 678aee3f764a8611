"""Registries that a test draws row by row, straight into the tables.

Days are numbers: day 0 is 2020-01-01. A drawn row has only the cells that the test is
about; what the schema requires beside them is filled with something ordinary.
"""

from __future__ import annotations

from contextlib import contextmanager
from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING, Any

import duckdb

from registry import facts, migrations, site
from registry.earlier_days import EarlierDays
from registry.measures import procedures

if TYPE_CHECKING:
    from collections.abc import Iterator

FIRST_DAY = date(2020, 1, 1)
TABLES = (
    "patients",
    "findings",
    "procedures",
    "targeting",
    "specimens",
    "pathology",
    "reviews",
    "followup",
    "complications",
)
_RECORDED = {"recorded_at": datetime(2026, 1, 1), "author": "test", "batch_id": 1}


def day(number: int) -> date:
    """Day of that number; day 0 is 2020-01-01."""
    return FIRST_DAY + timedelta(days=number)


def at(number: int, clock: str = "09:00") -> datetime:
    """A time on that day."""
    return datetime.combine(day(number), datetime.strptime(clock, "%H:%M").time())


class Drawn:
    """A registry in memory; reads like an open one. ``rows`` keeps what was drawn."""

    def __init__(self) -> None:
        self._connection = duckdb.connect(":memory:")
        self.earlier_days = EarlierDays()
        self._number = 0
        self.rows: dict[str, list[dict[str, Any]]] = {table: [] for table in TABLES}
        cursor = self._connection.cursor()
        migrations.apply(cursor, "migrations", datetime(2026, 1, 1, tzinfo=UTC))
        shipped = site.parse(site.template())
        #: The protocol as shipped; a test that asks about frames puts its own in.
        self.site = shipped
        migrations.load_settings(cursor, shipped, "", datetime(2026, 1, 1, tzinfo=UTC))
        cursor.close()

    @contextmanager
    def cursor(self) -> Iterator[duckdb.DuckDBPyConnection]:
        cursor = self._connection.cursor()
        try:
            yield cursor
        finally:
            cursor.close()

    def run(self, sql: str, parameters: Any = None) -> list[tuple[Any, ...]]:
        with self.cursor() as cursor:
            return cursor.execute(sql, parameters).fetchall()

    def stamp(self) -> str:
        return "drawn by a test"

    # -- rows --------------------------------------------------------------------------

    def key(self, prefix: str) -> str:
        self._number += 1
        return f"{prefix}{self._number:03}"

    def add(self, table: str, **cells: Any) -> dict[str, Any]:
        self.rows[table].append(cells)
        return cells

    def patient(self, patient: str, died: int | None = None) -> None:
        self.add("patients", patient=patient, sex="female", death_date=None if died is None else day(died))

    def finding(self, finding_id: str, patient: str | None = None, found: int = 0, **cells: Any) -> None:
        patient = patient or f"patient of {finding_id}"
        if all(one["patient"] != patient for one in self.rows["patients"]):
            self.patient(patient)
        kept = {"laterality": "L", "modality": "pet_tracer", "finding_type": "mass", "assessment": "4"}
        self.add("findings", finding_id=finding_id, patient=patient, found_on=day(found), **{**kept, **cells})

    def procedure(
        self, procedure_id: str, on: int = 0, clock: str = "09:00", finding: str = "", **cells: Any
    ) -> str:
        """A sampled tracer-guided procedure, at a finding of its own unless one is named."""
        repeated = cells.get("repeat_of")
        if not finding and repeated:
            finding = next(
                one["finding_id"] for one in self.rows["procedures"] if one["procedure_id"] == repeated
            )
        finding = finding or f"finding of {procedure_id}"
        if all(one["finding_id"] != finding for one in self.rows["findings"]):
            self.finding(finding)
        kept = {
            "site": "A",
            "operator": "OP1",
            "status": "completed",
            "guidance": "pet_tracer",
            "started_at_offset_min": 0,
        }
        self.add(
            "procedures",
            procedure_id=procedure_id,
            finding_id=finding,
            started_at=at(on, clock),
            **{**kept, **cells},
        )
        return procedure_id

    def report(
        self,
        procedure_id: str,
        diagnosis: str = "benign",
        on: int | None = None,
        version: int = 1,
        **cells: Any,
    ) -> None:
        """A final report; issued on the day of the procedure unless a day is given."""
        if on is None:
            started = next(
                one["started_at"] for one in self.rows["procedures"] if one["procedure_id"] == procedure_id
            )
            on = (started.date() - FIRST_DAY).days
        kept = {
            "report_id": f"report of {procedure_id}",
            "status": "final",
            "specimen_id": None,
            "b_category": None,
        }
        self.add(
            "pathology",
            procedure_id=procedure_id,
            version=version,
            diagnosis=diagnosis,
            reported_on=day(on),
            **{**kept, **cells},
        )

    def review(self, procedure_id: str, determination: str, on: int, **cells: Any) -> None:
        kept = {"review_id": self.key("V"), "stage": "joint", "radiologist": "RA1", "management": "none"}
        self.add(
            "reviews",
            procedure_id=procedure_id,
            determination=determination,
            reviewed_on=day(on),
            **{**kept, **cells},
        )

    def event(self, procedure_id: str, kind: str, on: int, **cells: Any) -> None:
        self.add(
            "followup",
            event_id=self.key("E"),
            procedure_id=procedure_id,
            kind=kind,
            happened_on=day(on),
            **cells,
        )

    def excision(self, procedure_id: str, on: int, diagnosis: str = "benign", **cells: Any) -> None:
        self.event(procedure_id, "excision", on, diagnosis=diagnosis, **cells)

    def linkage(self, procedure_id: str, on: int, diagnosis: str = "none", **cells: Any) -> None:
        self.event(procedure_id, "registry_linkage", on, diagnosis=diagnosis, **cells)

    def imaging(self, procedure_id: str, on: int, outcome: str = "stable", **cells: Any) -> None:
        self.event(procedure_id, "imaging", on, imaging_outcome=outcome, **cells)

    def complication(self, procedure_id: str, on: int, grade: int) -> None:
        self.add(
            "complications",
            complication_id=self.key("C"),
            procedure_id=procedure_id,
            kind="haematoma",
            grade=grade,
            onset_on=day(on),
        )

    def target(self, procedure_id: str, attempt: int = 1, **cells: Any) -> None:
        """A verified attempt, planned at (0, 0, 0), needle along x, no position recorded."""
        kept = {"needle_axis": "x", "compression_axis": "z", "verification": "done"}
        planned = {"planned_x_mm": 0.0, "planned_y_mm": 0.0, "planned_z_mm": 0.0}
        self.add("targeting", procedure_id=procedure_id, attempt=attempt, **{**kept, **planned, **cells})

    def specimen(self, procedure_id: str, specimen_id: str | None = None, **cells: Any) -> None:
        self.add("specimens", specimen_id=specimen_id or self.key("S"), procedure_id=procedure_id, **cells)

    # -- into the tables ---------------------------------------------------------------

    def root(self, procedure_id: str) -> str:
        parent = {one["procedure_id"]: one.get("repeat_of") for one in self.rows["procedures"]}
        while parent[procedure_id]:
            procedure_id = parent[procedure_id]
        return procedure_id

    def write(self) -> None:
        """Put the drawn rows into empty tables."""
        with self.cursor() as cursor:
            for table, rows in self.rows.items():
                cursor.execute(f"DELETE FROM main.{table}")
                for row in rows:
                    cells = {**row, **_RECORDED}
                    if table == "procedures":
                        cells["root_id"] = self.root(row["procedure_id"])
                    names = ", ".join(cells)
                    marks = ", ".join("?" for _ in cells)
                    cursor.execute(
                        f"INSERT INTO main.{table} ({names}) VALUES ({marks})", list(cells.values())
                    )

    def built(self) -> Drawn:
        """Write the rows and derive the facts."""
        self.write()
        with self.cursor() as cursor:
            cursor.execute("BEGIN")
            facts.rebuild(cursor)
            cursor.execute("COMMIT")
        # Rows drawn by a test raise no revision, by which a registry knows that its earlier days changed.
        self.earlier_days = EarlierDays()
        return self

    def setting(self, name: str, number: float | None = None, on: int | None = None) -> None:
        self.run("DELETE FROM site_setting WHERE name = ?", [name])
        self.run("INSERT INTO site_setting VALUES (?, ?, ?)", [name, number, None if on is None else day(on)])

    # -- what a measure says -----------------------------------------------------------

    def said(self, measure: str, on: int) -> dict[str, Any]:
        """Procedure -> the reason for leaving it out; else whether it counts, or what was measured."""
        rows = procedures(self, measure, as_of=day(on))
        told = rows.columns[3]
        return {
            key: reason if reason is not None else value
            for key, reason, value in rows.select("procedure_id", "excluded_because", told).iter_rows()
        }

    def asked(self, sql: str, on: int) -> list[tuple[Any, ...]]:
        """Rows of a query over the facts as of a day."""
        with facts.at(self, day(on)) as cursor:
            return cursor.execute(sql).fetchall()

    def close(self) -> None:
        self._connection.close()
