"""Activities, containers, reports, reviews and what came after."""

from __future__ import annotations

from tests.intake.attempts import Attempt, Row, files, full, one_held, procedure, rows_held

# -- activity, uptake --------------------------------------------------------------

CURIES = (
    'name = "list"\nversion = "1"\nformat = "csv"\n[tables.procedures.fields]\nprocedure_id = { column = "no" }\n'
    'activity_mbq = { column = "activity", unit = "mCi" }\n'
)


def containers() -> list[Row]:
    """Six containers of a second procedure."""
    rows = [
        full(
            "specimens",
            specimen_id=f"S{n}",
            procedure_id="P2",
            taken_order=str(n),
            cores="2",
            scan_at="",
            read_at="",
        )
        for n in range(1, 7)
    ]
    return [row | {"specimen_id": f"S1{n}"} for n, row in enumerate(rows, 1)]


def times() -> list[Row]:
    rows = containers()
    rows[5]["scan_seconds"] = "2"
    return rows


SPECIMENS: dict[str, list[Attempt]] = {
    "BI-109": [
        rows_held(
            "procedures",
            5,
            column="activity_mbq",
            says=("looks like mCi",),
            procedures=[procedure(n, activity_mbq=str(300 + 20 * n)) for n in range(2, 7)]
            + [procedure(7, activity_mbq="10")],
        )
    ],
    "BI-110": [
        Attempt(
            {"list.csv": b"no,activity\nP2,5\nP1,370\n"},
            frozenset({("list.csv", 3)}),
            "activity",
            ("13690", "1 to 2000 MBq"),
            first={"procedures": [procedure(2)]},
            mapping=CURIES,
            reads_as="370 mCi are 13,690 MBq, more than the data dictionary takes",
        )
    ],
    "BI-112": [
        Attempt(
            files(procedures=[procedure(2)], specimens=[row | {"counts": "0"} for row in containers()]),
            says=("Every container of the batch has 0 counts",),
            stored=("SELECT count(*) FROM specimens WHERE counts = 0", [(6,)]),
        )
    ],
    "BI-114": [
        rows_held(
            "specimens",
            5,
            column="scan_seconds",
            says=("looks like minutes",),
            procedures=[procedure(2)],
            specimens=times(),
        )
    ],
    "BI-117": [
        Attempt(
            files(
                sources=[
                    full("sources", source_id=f"SRC{n}", nuclide=text)
                    for n, text in enumerate(("F18", "18F", "F-18"), 7)
                ]
            ),
            stored=(
                "SELECT nuclide FROM sources WHERE source_id <> 'SRC1'",
                [("F-18",), ("F-18",), ("F-18",)],
            ),
        )
    ],
    "BI-119": [
        rows_held(
            "specimens",
            0,
            1,
            column="mass_g",
            says=("0.001 to 100 g",),
            procedures=[procedure(2)],
            specimens=[
                row | {"mass_g": mass}
                for row, mass in zip(containers(), ("0", "500", "1", "1", "1", "1"), strict=True)
            ],
        )
    ],
    "BI-120": [one_held("findings", "0 to 100", column="uptake_ratio", finding_id="F2", uptake_ratio="1e9")],
    "BI-122": [
        rows_held(
            "specimens",
            1,
            2,
            column="taken_order",
            says=("duplicate specimen number",),
            procedures=[procedure(2)],
            specimens=[
                row | {"taken_order": order} for row, order in zip(containers(), "122345", strict=True)
            ],
        )
    ],
}

# -- pathology, concordance --------------------------------------------------------

PATHOLOGY: dict[str, list[Attempt]] = {
    "BI-124": [
        rows_held(
            "pathology",
            0,
            1,
            column="report_id",
            says=("lines 2, 3", "version"),
            reads_as="the same report, container and version twice",
            pathology=[
                full("pathology", report_id="R2", specimen_id="S1"),
                full(
                    "pathology",
                    report_id="R2",
                    specimen_id="S1",
                    diagnosis="invasive",
                    b_category="B5b",
                    morphology="8500/3",
                ),
            ],
        )
    ],
    "BI-125": [
        one_held("pathology", "the original is missing", column="status", report_id="R2", status="amended"),
        one_held(
            "pathology",
            "an earlier one is missing",
            column="version",
            report_id="R2",
            status="amended",
            version="2",
        ),
    ],
    "BI-127": [one_held("pathology", "contradiction", column="grade", report_id="R2", grade="3")],
    "BI-130": [
        one_held(
            "followup",
            "an excision row is needed",
            column="kind",
            event_id="E2",
            diagnosis="invasive",
            reads_as="an upgrade is a malignant diagnosis without an excision",
        )
    ],
    "BI-132": [
        one_held(
            "reviews",
            "no action",
            column="management",
            review_id="V2",
            determination="discordant",
            reason="target_not_sampled",
            management="none",
        )
    ],
    "BI-134": [
        one_held(
            "pathology", "possible direct identifier", column="conclusion", report_id="R2", conclusion=text
        )
        for text in ("Mrs Example, benign.", "Patient born 17.05.1960.", "Call her, phone 555 0100.")
    ],
    "BI-135": [
        rows_held(
            "reviews",
            0,
            column="note",
            says=("longer than",),
            reviews=[full("reviews", review_id="V2", note="x " * 500_000)],
        ),
        rows_held(
            "reviews",
            0,
            column="note",
            says=("4,000",),
            reviews=[full("reviews", review_id="V2", note="x" * 4001)],
        ),
    ],
    "BI-137": [
        one_held(
            "complications",
            "not an allowed code",
            column="kind",
            complication_id="C2",
            kind="none",
            reads_as="where there was none there is no row",
        )
    ],
}
