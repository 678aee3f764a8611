"""The entry script: the list of pages and the sidebar that all of them obey."""

from __future__ import annotations

from pathlib import Path

import streamlit as st

from dashboards import session, visitor
from dashboards.components.cautions import demo_banner, footer
from dashboards.components.menu import mark_group
from dashboards.components.person import locked, not_for_you, person
from dashboards.components.sidebar import sidebar
from registry.errors import RegistryError
from registry.people import Action

HERE = Path(__file__).resolve().parent
#: Pixels: leaves a readable page beside it at 900.
SIDEBAR_WIDTH = 256

PAGES = {
    "Meeting": {
        "overview": "Overview",
        "concordance_review": "Concordance review",
        "meetings": "Meetings",
        "follow_up_due": "Follow-up due",
    },
    "Quality": {
        "sampling_yield": "Sampling yield",
        "specimen_uptake": "Specimen uptake",
        "targeting": "Targeting",
        "concordance": "Radiology-pathology concordance",
        "repeat_and_excision": "Repeat biopsy and excision",
        "complications": "Complications",
        "monitoring": "Monitoring",
        "comparison": "Comparison",
        "operators_and_sites": "Operators and sites",
        "yearly_table": "Yearly table",
        "timeliness": "Timeliness",
        "agreement": "Agreement",
        "completeness": "Completeness",
        "sources_and_constancy": "Sources and constancy",
    },
    "Records": {
        "procedure_record": "Procedure record",
        "in_the_room": "In the room",
        "entry": "Entry",
        "intake": "Intake",
    },
    "Research": {"cohort_export": "Cohort export"},
    "Registry": {"trail": "Trail", "people": "People"},
    "About": {"measure_handbook": "Measure handbook", "targets": "Targets"},
}
#: Page -> what whoever opens it must be allowed to do; the others show figures.
OPENED_BY = {
    "procedure_record": Action.RECORD,
    "concordance_review": Action.RECORD,
    "follow_up_due": Action.WORKLISTS,
    "agreement": Action.PROCEDURES,
    "intake": Action.ENTER,
    "entry": Action.ENTER,
    "in_the_room": Action.ENTER,
    "meetings": Action.RECORD,
    "cohort_export": Action.COHORTS,
    "trail": Action.TRAIL,
    "people": Action.PEOPLE,
    # Definitions are no data, and everybody may read them.
    "measure_handbook": None,
    "targets": None,
    # A running sum is made of single procedures.
    "monitoring": Action.PROCEDURES,
}


def opens(name: str) -> bool:
    """Whether whoever looks may open a page."""
    action = OPENED_BY.get(name, Action.FIGURES)
    return action is None or visitor.may(action)


def page(name: str, title: str, first: str) -> st.Page:
    """One page; its address is its name with hyphens, that of the first one is the root.

    A page that is not for whoever looks is not listed, and says so when its address is written.
    """
    path = name.replace("_", "-")
    if not opens(name):
        # A function of its own for each: pages are told apart by it.
        return st.Page(lambda: not_for_you(title), title=title, url_path=path, visibility="hidden")
    place = HERE / "app_pages" / f"{name}.py"
    return st.Page(place, title=title, url_path=path, default=name == first)


def group_of(name: str) -> int:
    """Number of the group of a page among those that have a page to open."""
    seen = [pages for pages in PAGES.values() if any(map(opens, pages))]
    return next((place for place, pages in enumerate(seen) if name in pages), len(seen))


def main() -> None:
    """Draw the sidebar and the page that was asked for."""
    st.set_page_config(
        page_title="Biopsy outcomes", page_icon=str(HERE / "components" / "icon.svg"), layout="wide"
    )
    st.html(HERE / "components" / "page.css")
    if visitor.has_ended():
        locked()
        return
    first = next(name for pages in PAGES.values() for name in pages if opens(name))
    chosen = st.navigation(
        {group: [page(*one, first) for one in pages.items()] for group, pages in PAGES.items()},
        position="top",
    )
    mark_group(group_of(chosen.url_path.replace("-", "_") or first))
    person()
    if not opens(chosen.url_path.replace("-", "_") or first):
        chosen.run()
        return
    try:
        session.set_filters(sidebar(chosen.url_path.replace("-", "_") or first))
        if session.is_demo():
            demo_banner()
        st.title(chosen.title)
        chosen.run()
        footer(session.registry().stamp())
    except RegistryError as problem:
        st.error(str(problem))


if __name__ == "__main__":
    main()
