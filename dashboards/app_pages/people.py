"""Page: who may sign in, with which roles."""

from __future__ import annotations

import streamlit as st

from dashboards import session
from dashboards.components.accounts import account_table, add_form, change_forms
from dashboards.components.confirm import confirmed
from dashboards.components.markup import element, show
from registry.people import accounts

lead = (
    "Accounts of this registry. A change ends the sessions of that account at once, and is an entry of the trail. "
    "Who keeps the accounts sees no patient by that alone."
)
show(element("p", lead, class_="lead"))
known = accounts.listed(session.registry())
if known:
    account_table(known)
else:
    show(element("p", "There are no accounts yet.", class_="beside"))
st.header("Change", anchor=False)
if confirmed("change accounts"):
    if known:
        change_forms(known)
    st.header("Add", anchor=False)
    add_form()
