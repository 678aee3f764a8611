"""Who looks: the name in the sidebar, the time until the page locks, and the page that is locked."""

from __future__ import annotations

from datetime import timedelta
from urllib.parse import urlencode, urlsplit

import streamlit as st

from dashboards import visitor
from dashboards.components.markup import element, show
from dashboards.gate import sessions
from dashboards.gate.requests import SIGN_IN

#: Seconds between two looks whether the page has to lock.
_LOOK_SECONDS = 20

_WHY = {
    sessions.IDLE: ("Locked", "Nobody clicked for a while, so nothing of the registry is shown any more."),
    sessions.TOO_LONG: ("Locked", "The session has reached its longest time."),
    sessions.CHANGED: ("Locked", "Your account was changed by an administrator."),
    sessions.SIGNED_OUT: ("Signed out", "You have signed out."),
}


def person() -> None:
    """Name, roles, the time left and the way out; nothing where nobody signs in."""
    actor = visitor.actor()
    if actor is None or not visitor.signs_in():
        return
    with st.sidebar, st.container(key="person"):
        show(
            element(
                "p",
                element("strong", actor.name),
                element("br"),
                ", ".join(sorted(actor.roles)),
                class_="person",
            )
        )
        _time_left()
        st.button("Sign out", on_click=visitor.sign_out, type="tertiary")


@st.fragment(run_every=_LOOK_SECONDS)
def _time_left() -> None:
    """Redrawn by itself; a look is no click, so it does not keep the session open."""
    left = visitor.time_left()
    if left is None:
        st.rerun()
    minutes = max(1, round(left / timedelta(minutes=1)))
    show(element("p", f"Locks after {minutes} min without a click", class_="person quiet"))


def locked() -> None:
    """Instead of the page, once the session has ended."""
    title, text = _WHY.get(visitor.why_ended() or "", ("Locked", "The session has ended."))
    st.title(title)
    again = f"{SIGN_IN}?{urlencode({'next': _here()})}"
    show(element("p", text, class_="lead"))
    show(element("p", element("a", "Sign in again", href=again, target="_self"), class_="lead"))


def _here() -> str:
    """The page in the address bar, to come back to."""
    path = urlsplit(st.context.url or "/").path or "/"
    asked = urlencode(st.query_params.to_dict())
    return f"{path}?{asked}" if asked else path


def not_for_you(title: str) -> None:
    """Instead of a page that none of the roles opens."""
    actor = visitor.actor()
    held = ", ".join(sorted(actor.roles)) if actor else "none"
    st.title(title)
    text = f"This page is not open to your roles: {held}. An administrator of the registry gives roles."
    show(element("p", text, class_="lead"))
