"""B categories that what came afterwards speaks against, one by one."""

from __future__ import annotations

import polars as pl

from dashboards import visitor
from dashboards.answers import quality
from dashboards.components import words
from dashboards.components.markup import element, show
from dashboards.components.procedure_list import record_link
from dashboards.components.tables import cell, download, table
from registry.people import Action
from registry.quality import files
from registry.vocabulary import label


def review_list() -> None:
    """Malignant biopsies with an excision without cancer and their adjudication; B1 or B2 followed by cancer."""
    if not visitor.may(Action.PROCEDURES):
        return
    found = quality.b_category_review()
    if not found.height:
        text = "No malignant biopsy with an excision without cancer, and no B1 or B2 followed by cancer."
        show(element("p", text, class_="beside"))
        return
    is_b5 = pl.col("b_category") == "B5"
    _malignant(found.filter(is_b5))
    _benign(found.filter(~is_b5))
    download("Download both lists as CSV", found, "b categories to review.csv", key="csv b review")
    show(element("p", files()["b_category_review"].note, class_="beside"))


def _malignant(rows: pl.DataFrame) -> None:
    if not rows.height:
        show(element("p", "No malignant biopsy with an excision without cancer.", class_="beside"))
        return
    table(
        f"Malignant biopsy, excision without cancer: {words.plural(rows.height, 'procedure')}",
        ["Procedure", "Day", "Site", "Category", "Result", "Excised on", "Found there", "Adjudication"],
        [
            [
                record_link(row["procedure_id"]),
                row["started_on"],
                row["site"],
                cell("assessment", row["assessment"]),
                cell("diagnosis", row["diagnosis"]),
                row["excised_on"],
                cell("diagnosis", row["excision_diagnosis"]),
                _adjudication(row["adjudication"]),
            ]
            for row in rows.to_dicts()
        ],
        caption_seen=True,
    )


def _adjudication(codes: str) -> str:
    return "; ".join(label("followup", "adjudication", one) for one in codes.split("; "))


def _benign(rows: pl.DataFrame) -> None:
    if not rows.height:
        show(element("p", "No B1 or B2 followed by cancer within 365 days.", class_="beside"))
        return
    table(
        f"B1 or B2, cancer within 365 days: {words.plural(rows.height, 'procedure')}",
        [
            "Procedure",
            "Day",
            "Site",
            "Category",
            "B",
            "Result",
            "Cancer on",
            "Days",
            "First conclusive review",
        ],
        [
            [
                record_link(row["procedure_id"]),
                row["started_on"],
                row["site"],
                cell("assessment", row["assessment"]),
                row["b_category"],
                cell("diagnosis", row["diagnosis"]),
                row["later_cancer_on"],
                row["days_to_cancer"],
                cell("determination", row["first_conclusive"]) or "none",
            ]
            for row in rows.to_dicts()
        ],
        frozenset({7}),
        caption_seen=True,
    )
