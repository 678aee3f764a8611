"""The password once more, before something that must not be done from an unattended screen."""

from __future__ import annotations

from urllib.parse import urlencode

import streamlit as st

from dashboards import session, visitor
from dashboards.components.markup import element, show
from dashboards.gate.requests import SIGN_IN
from registry.errors import RegistryError


def confirmed(why: str) -> bool:
    """Whether the password was given within the last five minutes; asks for it where not.

    Parameters
    ----------
    why
        What it is needed for, after "To".
    """
    if visitor.is_confirmed(session.registry().clock()):
        return True
    show(element("p", f"To {why}, give your password again.", class_="beside"))
    if not visitor.has_password():
        again = f"{SIGN_IN}?{urlencode({'again': '1', 'next': '/'})}"
        show(element("p", element("a", "Sign in again", href=again, target="_self")))
        return False
    with st.form("confirm", border=False):
        password = st.text_input("Your password", type="password", autocomplete="current-password")
        if st.form_submit_button("Go on"):
            try:
                visitor.confirm(password)
            except RegistryError as problem:
                st.error(str(problem))
            else:
                st.rerun()
    return False
