"""The entry script: the list of pages and the sidebar that all of them obey."""

from __future__ import annotations

from pathlib import Path

import streamlit as st

from dashboards import session
from dashboards.components.cautions import demo_banner, footer
from dashboards.components.sidebar import sidebar
from registry.errors import RegistryError

HERE = Path(__file__).resolve().parent
#: Pixels: leaves a readable page beside it at 900.
SIDEBAR_WIDTH = 256

PAGES = {
    "Meeting": {"overview": "Overview"},
    "Quality": {
        "sampling_yield": "Sampling yield",
        "specimen_uptake": "Specimen uptake",
        "targeting": "Targeting",
        "concordance": "Radiology-pathology concordance",
        "repeat_and_excision": "Repeat biopsy and excision",
        "complications": "Complications",
    },
    "Records": {"procedure_record": "Procedure record", "intake": "Intake"},
    "About": {"measure_handbook": "Measure handbook"},
}


def page(name: str, title: str) -> st.Page:
    """One page; its address is its name with hyphens, the overview's is the root."""
    place = HERE / "app_pages" / f"{name}.py"
    return st.Page(place, title=title, url_path=name.replace("_", "-"), default=name == "overview")


def main() -> None:
    """Draw the sidebar and the page that was asked for."""
    st.set_page_config(
        page_title="Biopsy outcomes", page_icon=str(HERE / "components" / "icon.svg"), layout="wide"
    )
    st.html(HERE / "components" / "page.css")
    chosen = st.navigation({group: [page(*one) for one in pages.items()] for group, pages in PAGES.items()})
    try:
        session.set_filters(sidebar(chosen.url_path.replace("-", "_")))
        if session.is_demo():
            demo_banner()
        st.title(chosen.title)
        chosen.run()
        footer(session.registry().stamp())
    except RegistryError as problem:
        st.error(str(problem))


if __name__ == "__main__":
    main()
