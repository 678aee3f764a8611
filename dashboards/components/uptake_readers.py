"""Specimen uptake page: blind readings, and uptake with a benign result."""

from __future__ import annotations

import polars as pl

from dashboards import session, visitor
from dashboards.answers import uptake
from dashboards.components import words
from dashboards.components.markup import element, show
from dashboards.components.procedure_list import choose_procedure
from dashboards.components.strip import StripRow, strip
from dashboards.components.tables import SHOWN_ROWS, capital, download, table
from dashboards.components.uptake_ratios import diagnosis_name, ratio_text
from registry.people import Action
from registry.uptake.diagnosis import RATIO
from registry.uptake.readers import AGAINST_REPORT
from registry.vocabulary import label

#: The same in a cell of the list.
_SHORT = {"before": "before", "same day": "same\u00a0day", "after": "after"}

_COLUMNS = ("Procedure", "Day", "Result", "Ratio, g/g", "Read, to the report")


def blind_strip() -> None:
    """Tracer seen in the specimens, by whether the reader could know the report."""
    rows = uptake.blind_readings()
    strip(
        [StripRow(capital(AGAINST_REPORT[one["stratum"]]), one) for one in rows],
        session.minimum_n(),
        caption="Tracer seen in the specimens, by time of reading",
        full_axis=True,
        key="uptake by time of reading",
    )
    text = (
        "A reading is blind when it was made before the day of the first report, or while there was none. Readings after it are no "
        "independent evidence. The rows add up to the measure; what that leaves out stands with it below."
    )
    show(element("p", text, class_="beside"))


def benign_list() -> None:
    """Specimens read as uptake, result benign or normal: those without an explaining lesion are listed."""
    found = uptake.benign_with_uptake()
    if not found.height:
        show(
            element(
                "p", "No procedures: none was read as uptake with a benign or normal result.", class_="beside"
            )
        )
        return
    plain = found.filter(~pl.col("is_finding_explained"))
    text = (
        f"{words.plural(found.height, 'procedure')} read as uptake, with a benign or normal result; in {words.count(plain.height)} of them no "
        "report names a lesion that explains the finding (non-specific)."
    )
    show(element("p", text, class_="result"))
    about = (
        "Listed are the non-specific ones; the file holds all. A prompt to look whether the result explains the uptake, and no more: "
        "benign tissue takes up tracer too."
    )
    show(element("p", about, class_="beside"))
    shown = listed(plain)
    if not visitor.may(Action.PROCEDURES):
        return
    if plain.height:
        choose_procedure(plain.get_column("procedure_id").to_list(), key="benign with uptake")
        more = f", the first {SHOWN_ROWS}" if shown.height > SHOWN_ROWS else ""
        rows = [[row[name] for name in _COLUMNS] for row in shown.head(SHOWN_ROWS).to_dicts()]
        table(f"Uptake confirmed, non-specific benign{more}", _COLUMNS, rows, frozenset({3}))
    download(
        "Download all of them as CSV",
        listed(found),
        "uptake with benign result.csv",
        key="csv benign with uptake",
    )


def listed(found: pl.DataFrame) -> pl.DataFrame:
    """The list as it is shown: codes as labels, the diagnosis where no lesion is coded."""
    return pl.DataFrame(
        [
            {
                "Procedure": row["procedure_id"],
                "Day": str(row["started_on"]),
                "Result": ", ".join(label("pathology", "lesion", one) for one in row["lesions"] or [])
                or diagnosis_name(row["diagnosis"]),
                "Ratio, g/g": ratio_text(row[RATIO]),
                "Read, to the report": _SHORT.get(row["against_report"], ""),
                "Finding explained by a lesion": "yes" if row["is_finding_explained"] else "no",
            }
            for row in found.to_dicts()
        ],
        schema=dict.fromkeys((*_COLUMNS, "Finding explained by a lesion"), pl.String),
    )
