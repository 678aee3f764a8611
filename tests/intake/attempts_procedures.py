"""Procedures, their links, dates and geometry."""

from __future__ import annotations

from datetime import date, timedelta

from tests.build import BASE
from tests.intake.attempts import Attempt, Row, files, full, one_held, procedure, rows_held

# -- identity, links, dates --------------------------------------------------------

OTHER_PATIENT = {
    "patients": [full("patients", patient_id="PAT2")],
    "findings": [full("findings", finding_id="F2", patient_id="PAT2")],
}
REPEAT = {"repeat_reason": "discordant"}
PROCEDURES: dict[str, list[Attempt]] = {
    "BI-044": [
        rows_held(
            "procedures",
            0,
            1,
            column="procedure_id",
            says=("lines 2, 3",),
            procedures=[procedure(2), procedure(2)],
        )
    ],
    "BI-045": [
        rows_held(
            "procedures",
            0,
            1,
            column="accession",
            says=("another patient",),
            **OTHER_PATIENT,
            procedures=[procedure(2, accession="ACC7"), procedure(3, finding_id="F2", accession="ACC7")],
        )
    ],
    "BI-047": [
        rows_held(
            "specimens",
            0,
            column="procedure_id",
            says=("P77", "not known in procedures"),
            specimens=[full("specimens", specimen_id="S7", procedure_id="P77")],
        )
    ],
    "BI-049": [
        rows_held(
            "procedures",
            0,
            1,
            2,
            column="repeat_of",
            says=("P2 -> P4 -> P3 -> P2",),
            procedures=[procedure(n, repeat_of=f"P{n - 1}" if n > 2 else "P4", **REPEAT) for n in (2, 3, 4)],
        )
    ],
    "BI-050": [
        rows_held(
            "procedures",
            0,
            column="repeat_of",
            says=("self link",),
            procedures=[procedure(2, repeat_of="P2", **REPEAT)],
        )
    ],
    "BI-052": [
        rows_held(
            "procedures",
            0,
            column="repeat_of",
            says=("another breast",),
            findings=[full("findings", finding_id="F2", laterality="R")],
            procedures=[procedure(2, finding_id="F2", repeat_of="P1", **REPEAT)],
        )
    ],
    "BI-054": [
        Attempt(
            files(patients=[full("patients", patient_id=key)]),
            says=("direct identifiers are not accepted", "patient_id"),
        )
        for key in ("Surname, Given", "Given Surname", "123-45-6789")
    ],
    "BI-055": [
        rows_held(
            "procedures",
            0,
            column="procedure_id",
            says=("64",),
            procedures=[procedure(2, procedure_id="P" * 10_000)],
        )
    ],
    "BI-057": [
        Attempt(
            files(procedures=[full("procedures", procedure_id="P1 ")]),
            stored=("SELECT procedure_id, length(procedure_id) FROM procedures", [("P1", 2)]),
        )
    ],
    "BI-059": [
        rows_held(
            "procedures",
            *range(30),
            column="finding_id",
            says=("More targets",),
            reads_as="a row is one target: thirty rows of one visit",
            procedures=[procedure(n, started_at="2025-05-05T09:30") for n in range(2, 32)],
        )
    ],
    "BI-060": [
        rows_held(
            "procedures",
            0,
            column="marker",
            says=("no marker was placed",),
            reads_as="a marker is placed or not; there is no count",
            procedures=[procedure(2, marker="not_placed", marker_shape="coil")],
        )
    ],
    "BI-062": [
        rows_held(
            "findings",
            0,
            column="found_on",
            says=("2025-02-30", "not a calendar date"),
            findings=[full("findings", finding_id="F2", found_on="2025-02-30")],
        )
    ],
    "BI-063": [
        rows_held(
            "findings",
            0,
            column="found_on",
            says=("two ways", "YYYY-MM-DD"),
            findings=[full("findings", finding_id="F2", found_on="03/04/2025")],
        )
    ],
    "BI-065": [
        rows_held(
            "procedures",
            0,
            column="started_at",
            says=("later than today",),
            procedures=[procedure(2, started_at="2026-07-01T09:30")],
        )
    ],
    "BI-067": [
        rows_held(
            "procedures",
            0,
            column="age_years",
            says=("10 to 115",),
            reads_as="the data dictionary takes 10 to 115 years; 18 to 100 is a warning",
            patients=[full("patients", patient_id="PAT2", birth_date="")],
            findings=OTHER_PATIENT["findings"],
            procedures=[procedure(2, finding_id="F2", age_years="7")],
        )
    ],
    "BI-068": [
        Attempt(
            files(patients=[full("patients", patient_id="PAT2", sex="male")]),
            stored=("SELECT count(*) FROM patients WHERE sex = 'male'", [(1,)]),
        )
    ],
    "BI-070": [
        # 400 days after 10 March 2025.
        Attempt(
            files(
                pathology=[
                    full(
                        "pathology", report_id="R2", reported_on=f"{date(2025, 3, 10) + timedelta(days=400)}"
                    )
                ]
            ),
            says=("pathology.csv, line 2, column reported_on", "very long after"),
            stored=("SELECT count(*) FROM pathology WHERE report_id = 'R2'", [(1,)]),
        )
    ],
    "BI-072": [
        one_held("followup", "order of events", column="happened_on", event_id="E2", happened_on="2025-03-09")
    ],
    "BI-073": [
        one_held(
            "followup",
            "order of events",
            column="happened_on",
            event_id="E2",
            happened_on="2025-03-09",
            kind="excision",
            diagnosis="invasive",
            imaging_outcome="",
        )
    ],
    "BI-075": [
        rows_held(
            "procedures",
            0,
            column="started_at",
            says=("occurs twice", "offset"),
            reads_as="half past one: in Lisbon the hour from 01:00 comes twice",
            procedures=[procedure(2, started_at="2025-10-26T01:30")],
        )
    ],
    "BI-077": [
        Attempt(
            files(procedures=[procedure(2, started_at="2025-06-30T23:30Z")]),
            stored=(
                "SELECT CAST(started_at AS VARCHAR), started_at_offset_min FROM procedures WHERE procedure_id = 'P2'",
                [("2025-07-01 00:30:00", 60)],
            ),
            reads_as="stored in local time with its offset, from which the other form follows",
        )
    ],
    "BI-078": [
        rows_held(
            "procedures",
            0,
            column="started_at",
            says=("00:00 of the next day",),
            procedures=[procedure(2, started_at="2025-04-10T24:00:00")],
        )
    ],
    "BI-080": [one_held("patients", "order of events", column="death_date", death_date="2025-03-09")],
    # Injected at 08:20.
    "BI-082": [
        one_held(
            "specimens",
            "long after the injection",
            column="scan_at",
            scan_at="2025-03-10T22:20",
            read_at="2025-03-10T22:30",
        )
    ],
}

# -- targeting geometry ------------------------------------------------------------


def placements(count: int, **cells: str) -> tuple[list[Row], list[Row]]:
    """Procedures with nine placements each, on days of their own."""
    targeting = [
        full("targeting", procedure_id=f"P{2 + n // 9}", attempt=str(1 + n % 9), **cells)
        for n in range(count)
    ]
    return [procedure(2 + n) for n in range((count + 8) // 9)], targeting


def in_cm() -> Attempt:
    procedures, targeting = placements(40)
    for n, row in enumerate(targeting):
        row["planned_z_mm"] = str(30 + n * 30 / 39) if n < 39 else "4.2"
    return rows_held(
        "targeting",
        39,
        column="planned_z_mm",
        says=("looks like cm",),
        procedures=procedures,
        targeting=targeting,
    )


def copied() -> Attempt:
    planned = {f"achieved_{axis}_mm": BASE["targeting"][0][f"planned_{axis}_mm"] for axis in "xyz"}
    procedures, targeting = placements(100, **planned)
    return Attempt(
        files(procedures=procedures, targeting=targeting),
        says=("looks copied",),
        stored=("SELECT count(*) FROM targeting", [(101,)]),
    )


def placement(*says: str, column: str, **cells: str) -> Attempt:
    return rows_held(
        "targeting", 0, column=column, says=says, targeting=[full("targeting", attempt="2", **cells)]
    )


DECIMAL_COMMA = (
    'name = "list"\nversion = "1"\nformat = "csv"\ndelimiter = ";"\ndecimal = ","\n[tables.sources.fields]\n'
)
DECIMAL_COMMA += "".join(
    f'{name} = {{ column = "{name}" }}\n'
    for name in ("source_id", "site", "nuclide", "activity_mbq", "reference_on")
)
ACTIVITIES = "source_id;site;nuclide;activity_mbq;reference_on\nSRC8;A;Ge-68;3,7;2024-01-15\nSRC9;A;Ge-68;1.234;2024-01-15\n"
GEOMETRY: dict[str, list[Attempt]] = {
    "BI-084": [
        one_held("findings", "One row per breast", column="laterality", finding_id="F2", laterality="B")
    ],
    "BI-086": [
        one_held("findings", "1 to 12", column="clock_position", finding_id="F2", clock_position="13")
    ],
    "BI-088": [placement("negative depth", column="planned_z_mm", frame="SUITE", planned_z_mm="-12")],
    "BI-089": [
        placement("beyond the compressed breast", column="planned_z_mm", frame="SUITE", planned_z_mm="56")
    ],
    "BI-091": [in_cm()],
    "BI-093": [copied()],
    "BI-094": [
        placement(
            "longer than the breast",
            column="achieved_x_mm",
            achieved_x_mm="220",
            achieved_y_mm="22",
            achieved_z_mm="31",
        )
    ],
    "BI-096": [
        Attempt(
            files(
                procedures=[procedure(n, gauge=text) for n, text in enumerate(("8 G", "8G", "8-gauge"), 2)]
            ),
            stored=("SELECT gauge FROM procedures WHERE procedure_id <> 'P1'", [(8,), (8,), (8,)]),
        )
    ],
    "BI-098": [
        rows_held(
            "procedures",
            0,
            column="safe_margin_mm",
            says=("-3", "0 to 200 mm"),
            procedures=[procedure(2, safe_margin_mm="-3")],
        )
    ],
    "BI-099": [
        rows_held(
            "procedures",
            0,
            column="compression_mm",
            says=("5 to 150 mm", "unit"),
            reads_as="the data dictionary takes 5 to 150 mm",
            procedures=[procedure(2, compression_mm="600")],
        )
    ],
    "BI-101": [
        rows_held(
            "specimens",
            0,
            column="procedure_id",
            says=("took no tissue",),
            procedures=[procedure(2, cores="0")],
            specimens=[full("specimens", specimen_id="S7", procedure_id="P2", scan_at="", read_at="")],
        )
    ],
    "BI-103": [
        placement("contradiction", column="verification", verification="not_done", aperture_judgement="")
    ],
    "BI-104": [
        rows_held(
            "findings",
            *range(7),
            column="size_mm",
            says=("not a finite decimal number",),
            findings=[
                full("findings", finding_id=f"F{n}", size_mm=text)
                for n, text in enumerate(("NaN", "nan", "inf", "-inf", "1e400", "0x1F", "1_000"), 2)
            ],
        )
    ],
    "BI-106": [
        Attempt(
            {"list.csv": ACTIVITIES.encode()},
            frozenset({("list.csv", 3)}),
            "activity_mbq",
            ("ambiguous",),
            mapping=DECIMAL_COMMA,
            stored=("SELECT activity_mbq FROM sources WHERE source_id = 'SRC8'", [(3.7,)]),
            reads_as="in a list with a decimal comma; the native form knows the point only, where 1.234 is one number",
        )
    ],
    "BI-108": [
        Attempt(
            files(
                procedures=[
                    procedure(
                        2,
                        marker="placed",
                        marker_shape="ring",
                        marker_reference="target",
                        marker_shift_x_mm="\u22124.0",
                    )
                ]
            ),
            says=("procedures.csv", "marker_shift_x_mm"),
            stored=("SELECT marker_shift_x_mm FROM procedures WHERE procedure_id = 'P2'", [(-4.0,)]),
        )
    ],
}
