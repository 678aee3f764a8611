"""Minutes on the page: as a draft, signed, amended; taken away as PDF and Word."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import streamlit as st

from dashboards import visitor
from dashboards.answers import meetings as answers
from dashboards.components.confirm import confirmed
from dashboards.components.markup import element, show
from dashboards.components.tables import table
from registry.errors import RegistryError
from registry.meetings.minutes import changed_since
from registry.people import Action

if TYPE_CHECKING:
    from collections.abc import Callable

    from registry.meetings.minutes import Minutes

WORD = "application/vnd.openxmlformats-officedocument.wordprocessingml.document"


def minutes(one: dict[str, Any]) -> None:
    """What was signed, or the draft; and what whoever looks may do with it."""
    key = one["meeting_id"]
    there = answers.signed(key)
    if there:
        _versions(there)
    shown = there[-1] if there else answers.draft(key)
    told = len(shown.decided) - len(shown.not_told)
    show(
        element(
            "p",
            f"{'Signed' if there else 'Draft'}: {len(shown.decided)} decided, {len(shown.undecided)} not decided, "
            f"{len(shown.actions)} left open by earlier meetings; {told} of {len(shown.decided)} recorded as told.",
            class_="result",
        )
    )
    _take_away(key, shown)
    if not visitor.may(Action.SIGN):
        return
    if there:
        _amend(key, there[-1])
    elif shown.decided and confirmed("sign the minutes"):
        show(
            element(
                "p",
                "Signing closes the meeting. What is signed stays as it is; a later change stands beside it as an amendment.",
                class_="beside",
            )
        )
        if st.button("Sign the minutes", type="primary"):
            _done(lambda: answers.sign(key))


def _versions(there: tuple[Minutes, ...]) -> None:
    rows = [
        [
            str(kept.number),
            f"{kept.signed_at:%Y-%m-%d %H:%M}",
            kept.signed_by,
            f"amends {kept.amends}: {kept.reason}" if kept.amends else "",
            kept.sha256[:16],
            f"{kept.head_seq} {kept.head_mac[:16]}",
        ]
        for kept in (one.kept for one in there)
        if kept is not None
    ]
    heads = [
        "Minutes",
        "Signed (UTC)",
        "By",
        "Amendment",
        "Digest, beginning",
        "Head of the trail, beginning",
    ]
    table("Signed minutes of this meeting", heads, rows)


def _take_away(key: str, shown: Minutes) -> None:
    name = f"minutes-{key}{'-draft' if shown.is_draft else ''}"
    if not st.toggle("Prepare PDF and Word", key=f"files of {key}"):
        return
    pdf, word = answers.files(key, shown)
    left, right, _ = st.columns([1, 1, 2])
    left.download_button(
        "Download PDF", pdf, f"{name}.pdf", "application/pdf", key=f"pdf {key}", width="stretch"
    )
    right.download_button("Download Word", word, f"{name}.docx", WORD, key=f"word {key}", width="stretch")


def _amend(key: str, last: Minutes) -> None:
    changed = changed_since(answers.draft(key), last)
    if not changed:
        show(element("p", "The record still says what was signed.", class_="beside"))
        return
    show(element("p", f"Changed since they were signed: {', '.join(changed)}.", class_="change"))
    if confirmed("amend the minutes"):
        with st.form("amend", border=False):
            reason = st.text_input("Why they are amended (name no patient)", max_chars=300)
            sent = st.form_submit_button("Sign the amendment")
        if sent:
            _done(lambda: answers.amend(key, reason))


def _done(work: Callable[[], object]) -> None:
    try:
        work()
    except RegistryError as problem:
        st.error(str(problem))
    else:
        st.rerun()
