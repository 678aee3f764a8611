"""Page: bring rows in; look before anything is written; see what is held and why."""

from __future__ import annotations

import streamlit as st

from dashboards.components import cautions
from dashboards.components.held_rows import held_rows
from dashboards.components.intake_door import dry_run, take_in
from dashboards.components.intake_report import intake_report
from dashboards.components.markup import element, show
from dashboards.components.upload import preview, received_files, upload_form
from registry.errors import RegistryError

lead = (
    "Files in, checked row by row. Rows that pass are written; rows that fail are held with the reason and come back as a file "
    "that can be corrected. Nothing is written until you press Import."
)
show(element("p", lead, class_="lead"))
chosen = upload_form()
if chosen is not None:
    try:
        with received_files(chosen) as received:
            preview(received)
            st.header("What would happen", anchor=False)
            intake_report(dry_run(received))
            reason = st.text_input(
                "Reason, for corrections",
                value="import",
                help="Kept in the history beside every value that this import replaces.",
            )
            if st.button("Import", type="primary"):
                done = take_in(received, reason)
                # Said once it has: whoever reads it may go on to another page.
                st.header("What happened", anchor=False)
                intake_report(done)
    except RegistryError as problem:
        st.error(str(problem))

st.header("Held rows", anchor=False)
held_rows()
cautions.caution(
    "Whoever uploads a file is named in the trail. Identifiers are kept apart from the clinical facts and are not shown here."
)
