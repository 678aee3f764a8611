"""A cohort taken away: what a profile does to it, how far it still points to persons, and one archive."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from dashboards import visitor
from dashboards.answers import package as answers
from dashboards.components.confirm import confirmed
from dashboards.components.markup import element, joined, show
from dashboards.components.record_parts import field_name
from dashboards.components.tables import capital, table
from registry.disclosure import report as reports
from registry.disclosure.profiles import PROFILES
from registry.errors import RegistryError
from registry.numerals import grouped
from registry.package.asked import FORMATS, USUAL
from registry.people import Action

if TYPE_CHECKING:
    from registry.cohorts import CohortFile
    from registry.disclosure.report import PrivacyReport

#: The archive that is offered, and what it was made for.
_OFFERED = "package offered"
_NAMES = {
    "csv": "CSV",
    "parquet": "Parquet",
    "dta": "Stata (dta)",
    "sav": "SPSS (sav)",
    "xpt": "SAS transport (xpt)",
    "xlsx": "Workbook (xlsx)",
}
_MOST_CLASSES = 10


def take_away(file: CohortFile) -> None:
    """Profile, privacy report, formats and purpose; the archive once it is recorded."""
    profile = st.radio(
        "Profile",
        list(PROFILES),
        index=list(PROFILES).index("restricted"),
        format_func=str.capitalize,
        captions=[one.title for one in PROFILES.values()],
        key="package profile",
    )
    try:
        _privacy(answers.preview(file, profile))
    except RegistryError as problem:
        show(element("p", str(problem), class_="beside attention"))
        return
    if visitor.may(Action.EXPORT):
        _offer(file, profile)


def _privacy(report: PrivacyReport) -> None:
    st.subheader("Privacy report", anchor=False)
    show(
        element(
            "p", "It counts; it does not say that the rows are anonymous. A person decides.", class_="beside"
        )
    )
    for caution in report.profile.cautions:
        show(element("p", caution, class_="beside"))
    counted = report.as_they_leave
    show(element("p", reports.sentence(counted, "As the rows would leave")))
    if report.in_tens is not None:
        show(element("p", reports.sentence(report.in_tens, "If ages were given in bands of ten years")))
    for said in reports.diversity(counted):
        show(element("p", said, class_="beside"))
    if counted.steps:
        table(
            "What to leave out or coarsen first",
            ["Leave out or coarsen", "Records in small classes before", "After"],
            [
                [capital(field_name(one.column)), grouped(one.failing_before), grouped(one.failing)]
                for one in counted.steps
            ],
            frozenset({1, 2}),
            caption_seen=True,
        )
    with st.expander("Smallest classes, and what becomes of each column"):
        _details(report)
    show(element("p", "Left to a person:", class_="beside"))
    show(element("ul", joined(element("li", one) for one in reports.DECISIONS), class_="beside"))


def _details(report: PrivacyReport) -> None:
    failing = report.as_they_leave.failing.head(_MOST_CLASSES)
    if not failing.is_empty():
        table(
            f"The smallest classes of fewer than {report.as_they_leave.threshold} patients",
            [capital(field_name(name)) for name in failing.columns],
            [["not recorded" if cell is None else str(cell) for cell in row] for row in failing.iter_rows()],
            caption_seen=True,
        )
    table(
        "What becomes of each column",
        ["Column", "Becomes", "How"],
        [[one.column, one.became or "left out", one.why] for one in report.done.decisions],
        caption_seen=True,
    )


def _offer(file: CohortFile, profile: str) -> None:
    st.subheader("One archive", anchor=False)
    chosen = st.multiselect(
        "Formats",
        FORMATS,
        default=USUAL,
        format_func=_NAMES.__getitem__,
        help="CSV and Parquet are always in the package.",
        key="package formats",
    )
    purpose = st.text_input(
        "Purpose",
        max_chars=200,
        help="What it is for, and for whom; written to the trail. Name no patient.",
        key="package purpose",
    )
    asked = (file.sha256, profile, tuple(chosen), purpose, visitor.name())
    if not confirmed("export rows"):
        return
    if st.button("Record the export and prepare the archive", disabled=not purpose.strip()):
        st.session_state.pop(_OFFERED, None)
        try:
            with st.spinner("Writing the package"):
                content = answers.packed(file, profile, chosen, purpose)
        except RegistryError as problem:
            show(element("p", str(problem), class_="beside attention"))
            return
        st.session_state[_OFFERED] = (asked, content)
    if not purpose.strip():
        show(element("p", "Say what the export is for, to prepare the archive.", class_="beside"))
    kept = st.session_state.get(_OFFERED)
    # An archive made for another choice is not offered under this one.
    if kept is None or kept[0] != asked:
        return
    show(
        element(
            "p",
            "The export is recorded in the trail. Keep the archive where only those who need it can read it.",
            class_="beside",
        )
    )
    st.download_button(
        "Download the archive", kept[1], f"{file.name}.zip", "application/zip", icon=":material/download:"
    )
