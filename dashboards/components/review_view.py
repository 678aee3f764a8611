"""The reviewer's own determination, and after it what the rules propose."""

from __future__ import annotations

import streamlit as st

from dashboards import visitor
from dashboards.answers import concordance as answers
from dashboards.components.markup import element, joined, show
from dashboards.components.record_sampling import was_it_sampled
from registry.errors import RegistryError
from registry.people import Action
from registry.vocabulary import label

#: Determination -> key of the keyboard: their initials, but C is taken by the page server.
KEYS = {"concordant": "1", "discordant": "2", "indeterminate": "3"}
_PRESENTER = "presenter view"


def own_view(procedure_id: str) -> str | None:
    """Ask for the own determination, or show it; None while it is due.

    Returns
    -------
    str or None
        The determination, "" where flags were asked for without one.
    """
    kept = answers.own_view(procedure_id)
    if kept is not None:
        said = label("reviews", "determination", kept.determination) if kept.determination else "none given"
        show(
            element(
                "p",
                f"Your own determination, {kept.recorded_at:%Y-%m-%d %H:%M} UTC: {said.lower()}.",
                class_="result",
            )
        )
        return kept.determination or ""
    if not visitor.may(Action.DECIDE):
        show(element("p", "Flags are shown to reviewers, after their own determination.", class_="beside"))
        return None
    show(
        element(
            "p",
            "Does the pathology explain the finding? Your own determination first; then the flags. Keys 1, 2, 3; N for the next procedure.",
            class_="beside",
        )
    )
    columns = st.columns([1, 1, 1.35, 1])  # the longest word fits at 900 pixels too
    for column, (code, shortcut) in zip(columns, KEYS.items(), strict=False):
        if column.button(
            label("reviews", "determination", code),
            shortcut=shortcut,
            width="stretch",
            key=f"own {code} {procedure_id}",
        ):
            _record(procedure_id, code)
    if columns[3].button(
        "Go without",
        width="stretch",
        key=f"own none {procedure_id}",
        help="The flags are shown, and the review says that they came first.",
    ):
        _record(procedure_id, None)
    return None


def presenter_view() -> bool:
    """Whether the screen is shared, so that no accession number and no free text stands on it."""
    state = st.session_state

    def turn() -> None:
        state[_PRESENTER] = not state.get(_PRESENTER, False)

    is_on = bool(state.get(_PRESENTER, False))
    # A button, not a switch: with the focus on a switch the keys of the page do nothing.
    st.button(
        "Leave the presenter view" if is_on else "Presenter view",
        key="turn presenter view",
        on_click=turn,
        help="For a shared screen: no accession number, no free text, only codes and keys.",
    )
    return is_on


def _record(procedure_id: str, determination: str | None) -> None:
    try:
        answers.record_own_view(procedure_id, determination)
    except RegistryError as problem:
        st.error(str(problem))
        return
    st.rerun()


def proposed(procedure_id: str) -> None:
    """Flags as prompts, each with its rule, and the probability that the target was sampled."""
    found = answers.flags(procedure_id)
    if found:
        show(
            element(
                "ul",
                joined(
                    element(
                        "li",
                        one.sentence,
                        " ",
                        element("small", f"Rule {one.rule}, version {one.version}; {one.source}."),
                    )
                    for one in found
                ),
                class_="problems flags",
            )
        )
        show(
            element(
                "p",
                f"Prompts from the rules in force ({found[0].rules[:12]}): they decide nothing, and their silence says nothing.",
                class_="beside",
            )
        )
    else:
        show(
            element(
                "p",
                "No rule speaks. That says nothing of whether the pathology explains the finding.",
                class_="beside",
            )
        )
    with st.expander("Probability that the target was sampled"):
        was_it_sampled(procedure_id)
