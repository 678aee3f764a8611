"""A cohort file on the page: built from inputs, loaded, saved and frozen. The command runs the same file."""

from __future__ import annotations

import json
from datetime import date
from typing import Any

import streamlit as st

from dashboards import session, visitor
from dashboards.answers import cohorts as answers
from dashboards.components.cohort_filter import filter_rows
from dashboards.components.markup import element, show
from registry.cohorts import INDEX_DATES, REFERENCE_STANDARDS, UNITS, CohortFile
from registry.errors import RegistryError
from registry.people import Action

Json = dict[str, Any]
#: The draft, and a number that rises when it is replaced, so that the inputs are drawn anew.
_DRAFT, _DRAWN = "cohort draft", "cohort drawn"
_STANDARDS = {
    "none": "None asked for",
    "excision": "Excision with a diagnosis",
    "follow_up": "Cancer, or follow-up",
    "excision_or_follow_up": "Cancer, excision or follow-up",
}
_DAYS = {
    "started_on": "Start of the procedure",
    "found_on": "Day of the finding",
    "biopsy_advised_on": "Biopsy advised",
    "first_report_on": "First report",
}


def builder() -> CohortFile | None:
    """Draw the inputs; the cohort file that they say, or None with what is still wanting."""
    _take_up()
    draft, mark = _draft(), f"cohort {st.session_state.get(_DRAWN, 0)}"
    made = {**draft, **_head(draft, mark)}
    st.subheader("Population", anchor=False)
    made["population"] = filter_rows(draft.get("population"), f"{mark} population", optional=True)
    st.subheader("Steps, in order", anchor=False)
    made["steps"] = _steps(draft.get("steps") or [], mark, made)
    st.session_state[_DRAFT] = made
    try:
        file = answers.parsed(json.dumps(made).encode(), "This cohort")
    except RegistryError as problem:
        show(element("p", str(problem), class_="beside attention"))
        return None
    _keep(file)
    return file


def _draft() -> Json:
    if _DRAFT not in st.session_state:
        st.session_state[_DRAFT] = {
            "cohort_file": 1,
            "name": "new-cohort",
            "version": 1,
            "previous": None,
            "title": "Sampled procedures",
            "unit": "procedure",
            "project": "Research project",
            "plan": None,
            "index_date": "started_on",
            "as_of": session.usual_as_of().isoformat(),
            "start": None,
            "end": None,
            "minimum_follow_up_days": None,
            "reference_standard": "none",
            "population": {"field": "is_sampled", "operator": "eq", "value": True},
            "steps": [],
        }
    return dict(st.session_state[_DRAFT])


def _replace(document: Json) -> None:
    """Another draft: every input is drawn anew from it."""
    st.session_state[_DRAFT] = document
    st.session_state[_DRAWN] = st.session_state.get(_DRAWN, 0) + 1


def _take_up() -> None:
    """Load a file, or one that is frozen."""
    with st.expander("Load a cohort file, or one that is frozen"):
        given = st.file_uploader("Cohort file (JSON)", ["json"], key="cohort file")
        if given is not None and st.button("Load the file"):
            _load(given.getvalue(), given.name)
        kept = {f"{one.name}, version {one.version}": one for one in answers.frozen()}
        if not kept:
            show(element("p", "No cohort file is frozen in this registry yet.", class_="beside"))
            return
        chosen = st.selectbox("Frozen", list(kept), index=None, placeholder="Choose one")
        if chosen is None:
            return
        one = kept[chosen]
        show(
            element(
                "p",
                f"Frozen by {one.author} on {one.frozen_at:%Y-%m-%d}; SHA-256 {one.sha256}.",
                class_="beside",
            )
        )
        left, right = st.columns(2)
        if left.button("Load it as it is", width="stretch"):
            _load(one.content.encode(), chosen)
        if right.button("Begin the next version from it", width="stretch"):
            newest = max(other.version for other in kept.values() if other.name == one.name)
            last = kept[f"{one.name}, version {newest}"]
            _replace({**json.loads(one.content), "version": newest + 1, "previous": last.sha256})
            st.rerun()


def _load(content: bytes, name: str) -> None:
    try:
        document = answers.parsed(content, name).plain()
    except RegistryError as problem:
        show(element("p", str(problem), class_="beside attention"))
        return
    _replace(document)
    st.rerun()


def _head(draft: Json, mark: str) -> Json:
    """Everything about the cohort but who belongs to it."""
    made: Json = {}
    left, right = st.columns([2, 1])
    made["title"] = left.text_input("Title", draft["title"], max_chars=200, key=f"{mark} title")
    made["name"] = right.text_input(
        "Name", draft["name"], max_chars=64, key=f"{mark} name", help="Small letters, digits and hyphens."
    )
    left, right = st.columns([1, 2])
    made["project"] = left.text_input(
        "Research project", draft["project"], max_chars=100, key=f"{mark} project"
    )
    plan = right.text_input(
        "Analysis plan (where it is kept)", draft["plan"] or "", max_chars=500, key=f"{mark} plan"
    )
    made["plan"] = plan or None
    boxes = st.columns(2)
    made["unit"] = boxes[0].selectbox(
        "Unit of analysis", UNITS, UNITS.index(draft["unit"]), format_func=str.capitalize, key=f"{mark} unit"
    )
    made["index_date"] = boxes[1].selectbox(
        "Index date",
        INDEX_DATES,
        INDEX_DATES.index(draft["index_date"]),
        format_func=_DAYS.__getitem__,
        key=f"{mark} index",
        help="The day that the period below is about.",
    )
    boxes = st.columns(3)
    made["start"] = _day(boxes[0], "From", draft["start"], f"{mark} start")
    made["end"] = _day(boxes[1], "To", draft["end"], f"{mark} end")
    made["as_of"] = _day(boxes[2], "Cohort as of", draft["as_of"], f"{mark} as of")
    boxes = st.columns(2)
    made["reference_standard"] = boxes[0].selectbox(
        "Reference standard",
        REFERENCE_STANDARDS,
        REFERENCE_STANDARDS.index(draft["reference_standard"]),
        format_func=_STANDARDS.__getitem__,
        key=f"{mark} standard",
    )
    made["minimum_follow_up_days"] = boxes[1].number_input(
        "Minimum follow-up [d]",
        1,
        36_525,
        draft["minimum_follow_up_days"],
        key=f"{mark} days",
        help="Procedures started later than so many days before the as-of day are not yet due.",
    )
    return made


def _day(box: Any, label: str, given: str | None, key: str) -> str | None:
    chosen = box.date_input(label, date.fromisoformat(given) if given else None, format="YYYY-MM-DD", key=key)
    return chosen.isoformat() if isinstance(chosen, date) else None


def _steps(given: list[Json], mark: str, document: Json) -> list[Json]:
    """Steps one below another, each with its filter; added at the end, taken out anywhere."""
    made: list[Json] = []
    gone = None
    for place, one in enumerate(given):
        with st.container(border=True):
            kind, label, out = st.columns([1, 3, 1], vertical_alignment="bottom")
            step = {
                "kind": kind.selectbox(
                    f"Step {place + 1}",
                    ["include", "exclude"],
                    ["include", "exclude"].index(one["kind"]),
                    format_func={"include": "Keep those", "exclude": "Leave out those"}.__getitem__,
                    key=f"{mark} step {place} kind",
                ),
                "label": label.text_input(
                    "who are", one["label"], max_chars=100, key=f"{mark} step {place} label"
                ),
            }
            if out.button("Take out", key=f"{mark} step {place} out", width="stretch"):
                gone = place
            made.append({**step, "filter": filter_rows(one["filter"], f"{mark} step {place}")})
    added = st.button("Add a step", icon=":material/add:")
    if added or gone is not None:
        steps = [step for place, step in enumerate(made) if place != gone]
        if added:
            first = {"field": "age_years", "operator": "ge", "value": 18}
            steps.append({"kind": "include", "label": "of 18 years and over", "filter": first})
        _replace({**document, "steps": steps})
        st.rerun()
    return made


def _keep(file: CohortFile) -> None:
    """Save the file, or freeze it."""
    show(
        element(
            "p",
            f"{file.name}, version {file.version}; SHA-256 {file.sha256}.",
            class_="beside",
        )
    )
    left, right, _ = st.columns([1, 1, 2])
    left.download_button(
        "Save the file",
        json.dumps(file.plain(), indent=2, ensure_ascii=False).encode(),
        f"{file.name}-{file.version}.json",
        "application/json",
        width="stretch",
    )
    if not visitor.may(Action.COHORTS):
        return
    if right.button(
        "Freeze it", width="stretch", help="Kept in the registry as it is; a change makes the next version."
    ):
        try:
            kept = answers.freeze(file)
        except RegistryError as problem:
            show(element("p", str(problem), class_="beside attention"))
        else:
            show(
                element(
                    "p", f"Frozen on {kept.frozen_at:%Y-%m-%d %H:%M} UTC by {kept.author}.", class_="result"
                )
            )
