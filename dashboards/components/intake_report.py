"""What an import did or would do, in numbers that add up and in sentences."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from dashboards.components.markup import element, joined, show
from dashboards.components.tables import heading, table
from dashboards.components.words import count, plural

if TYPE_CHECKING:
    from collections.abc import Sequence

    from registry.intake import IntakeReport
    from registry.intake.report import ReportedProblem

SHOWN = 30


def intake_report(report: IntakeReport) -> None:
    """Draw a report; a refused batch says first that nothing was written."""
    if report.refused:
        st.error(report.refused)
    total = report.total
    written = not (report.dry_run or report.refused)
    ahead = "" if written else " Nothing is written yet." if report.dry_run else " Nothing was written."
    sentence = (
        f"{plural(total.received, report.counted)} received: {count(total.new)} new, {count(total.version)} as a new version, "
        f"{count(total.unchanged)} unchanged, {count(total.held)} held.{ahead}"
    )
    show(element("p", sentence, class_="result"))
    rows = [
        (heading(name), c.received, c.new, c.version, c.unchanged, c.held)
        for name, c in report.tables.items()
    ]
    table(
        "Rows by table",
        ["Table", "Received", "New", "New version", "Unchanged", "Held"],
        rows,
        frozenset({1, 2, 3, 4, 5}),
    )
    _problems("Held" if written else "Would be held", report.problems)
    _problems("Accepted, but look at", report.warnings)
    if report.reopened:
        show(
            element(
                "p",
                f"Concordance decisions opened again by an amended report: {', '.join(report.reopened)}.",
                class_="beside attention",
            )
        )
    for note in report.notes:
        show(element("p", note, class_="beside"))


def _problems(title: str, problems: Sequence[ReportedProblem]) -> None:
    if not problems:
        return
    more = f", the first {SHOWN}" if len(problems) > SHOWN else ""
    show(element("p", f"{title}: {plural(len(problems), 'problem')}{more}", class_="chart-title"))
    show(element("ul", joined(element("li", one.sentence()) for one in problems[:SHOWN]), class_="problems"))
