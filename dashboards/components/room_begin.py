"""In the room, before the first stamp: which finding, and which procedure."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import streamlit as st

from dashboards import session
from dashboards.answers import entry as entries
from dashboards.answers import room as answers
from dashboards.components import room_state as state
from dashboards.components.markup import element, show
from dashboards.components.procedure_list import RECORD_PAGE
from registry.errors import RegistryError
from registry.vocabulary import label, labels

if TYPE_CHECKING:
    from collections.abc import Mapping

_FINDING, _NEW = "room finding", "room new"
_NEW_FIELDS = ("laterality", "modality", "finding_type", "assessment")


def resume() -> None:
    """Go on with the procedure that the address names, after a reload or another page."""
    if state.is_open():
        # Fields that were not drawn meanwhile are forgotten; the drafts still hold them.
        if state.key("targeting", "planned_x_mm") not in st.session_state:
            state.go_on(st.session_state[state.OPEN])
        return
    linked = session.linked(session.PROCEDURE)
    if linked and not state.go_on(linked):
        st.query_params.pop(session.PROCEDURE, None)


def choose() -> None:
    """Procedures begun and not saved, then the finding and the key of a new one."""
    if saved := st.session_state.get(state.SAVED):
        _saved(saved)
    _begun()
    finding = _finding()
    if finding:
        _procedure(finding)


def _saved(procedure_id: str) -> None:
    st.success(f"Procedure {procedure_id} is saved.")
    st.page_link(
        RECORD_PAGE,
        label="Open its record: positions and what the rules point out stand there",
        icon=":material/arrow_forward:",
        query_params={session.PROCEDURE: procedure_id},
    )


def _begun() -> None:
    for one in answers.begun():
        left, right = st.columns([3, 1])
        if left.button(f"Go on with {one.row_key}", key=f"go on {one.row_key}", width="stretch"):
            state.go_on(one.row_key)
            st.rerun()
        # Two touches: a glove comes down beside the button it was meant for.
        with right.popover("Discard", width="stretch"):
            gone = st.button("For good", key=f"drop {one.row_key}", width="stretch")
        if gone:
            for row in answers.begun(one.row_key):
                entries.discard(row.table, row.row_key)
            st.rerun()


def _finding() -> str | None:
    found = {row["finding_id"]: row for row in answers.findings().to_dicts()}
    if new := st.session_state.pop(_NEW, None):
        st.session_state[_FINDING] = new
        st.success(f"Finding {new} is saved.")
    chosen = st.selectbox(
        "Finding to be sampled",
        list(found),
        index=None,
        key=_FINDING,
        placeholder="Choose one, or write its key",
        accept_new_options=True,
        format_func=lambda one: f"{one}: {finding_words(found[one])}" if one in found else one,
    )
    if chosen is None:
        with st.expander("A finding that is not recorded yet"):
            _new_finding()
        return None
    if chosen not in found and not entries.opened("findings", {"finding_id": chosen}).version:
        show(element("p", f"{chosen}: no such finding is recorded.", class_="beside attention"))
        return None
    return str(chosen)


def finding_words(row: Mapping[str, Any]) -> str:
    """A finding in one phrase: where it lies, what it is, how suspicious."""
    if row.get("clock_position"):
        place = f"{row['clock_position']} h"
    else:
        place = label("findings", "region", row["region"]).lower() if row.get("region") else ""
    size = f"{float(row['size_mm']):g} mm" if row.get("size_mm") else ""
    what = " ".join(
        part for part in (label("findings", "finding_type", row["finding_type"]).lower(), size) if part
    )
    side = label("findings", "laterality", row["laterality"])
    return ", ".join(part for part in (side, place, what, f"category {row['assessment']}") if part)


def _new_finding() -> None:
    with st.form("new finding", border=False):
        given = {
            "finding_id": st.text_input("Key of the finding *"),
            "patient_id": st.text_input(
                "Patient identifier *", help="Kept with the identifiers, never in a draft."
            ),
            "found_on": st.text_input("Found on *", placeholder="2026-06-30"),
        }
        for name in _NEW_FIELDS:
            words = labels("findings", name)
            picked = st.selectbox(
                f"{name.replace('_', ' ').capitalize()} *",
                list(words),
                index=None,
                format_func=words.__getitem__,
            )
            given[name] = picked or ""
        given["clock_position"] = st.text_input("Clock position, 1 to 12")
        given["size_mm"] = st.text_input("Size [mm]")
        show(element("p", "Only for a patient who is not in the registry yet:", class_="beside"))
        sexes = labels("patients", "sex")
        patient = {
            "sex": st.selectbox("Sex", list(sexes), index=None, format_func=sexes.__getitem__) or "",
            "birth_date": st.text_input("Birth date", placeholder="1970-06-30"),
        }
        sent = st.form_submit_button("Save the finding", type="primary", width="stretch")
    if sent:
        rows = {"findings": [given]}
        if any(patient.values()):
            rows = {"patients": [{"patient_id": given["patient_id"], **patient}], **rows}
        try:
            answers.save(rows)
        except RegistryError as problem:
            st.error(str(problem))
        else:
            st.session_state[_NEW] = given["finding_id"].strip()
            st.rerun()


def _procedure(finding: str) -> None:
    known = answers.habits()
    words = labels("procedures", "guidance")
    tracers = labels("procedures", "tracer")
    procedure_id = st.text_input("Key of the procedure *", key="room new procedure_id", max_chars=60)
    site = st.selectbox(
        "Site *",
        known["sites"],
        index=0 if len(known["sites"]) == 1 else None,
        accept_new_options=True,
        key="room new site",
    )
    operator = st.selectbox(
        "Operator (a code) *",
        known["operators"],
        index=None,
        accept_new_options=True,
        key="room new operator",
    )
    guidance = st.selectbox(
        "Guided by *", list(words), index=None, format_func=words.__getitem__, key="room new guidance"
    )
    tracer = st.selectbox(
        "Tracer", list(tracers), index=None, format_func=tracers.__getitem__, key="room new tracer"
    )
    given = {
        "procedure_id": procedure_id.strip(),
        "finding_id": finding,
        "site": site or "",
        "operator": operator or "",
        "guidance": guidance or "",
        "tracer": tracer or "",
    }
    lacking = [name for name in ("procedure_id", "site", "operator", "guidance") if not given[name]]
    if not st.button("Begin", type="primary", width="stretch"):
        return
    if lacking:
        st.error(f"Not begun: {', '.join(name.replace('_', ' ') for name in lacking)} missing.")
    elif entries.opened("procedures", given).version:
        st.error(
            f"Not begun: procedure {given['procedure_id']} is in the registry already. Choose another key, or correct it on page Entry."
        )
    else:
        st.session_state.pop(state.SAVED, None)
        state.begin({name: text for name, text in given.items() if text})
        st.rerun()
