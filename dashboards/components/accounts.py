"""People page: the accounts, and what an administrator does to them."""

from __future__ import annotations

import secrets
from typing import TYPE_CHECKING

import streamlit as st

from dashboards import session
from dashboards.components.markup import element, show
from dashboards.components.tables import table
from registry.errors import RegistryError
from registry.people import Role, accounts

if TYPE_CHECKING:
    from collections.abc import Callable

    from registry.people.accounts import Account

_ROLES = [str(one) for one in Role]


def account_table(known: list[Account]) -> None:
    """Names, roles and state, in the order of the names."""
    rows = [
        [
            one.name,
            ", ".join(one.roles),
            one.operator,
            "locked" if one.locked else "",
            "" if one.password else "signs in with the hospital's account",
            one.changed_at[:10],
        ]
        for one in known
    ]
    table("Accounts", ["Name", "Roles", "Operator", "State", "Password", "Changed"], rows)


def add_form() -> None:
    """A new account; its password is invented and shown once."""
    with st.form("add account", border=False, clear_on_submit=True):
        name = st.text_input("Name")
        roles = st.multiselect("Roles", _ROLES)
        operator = st.text_input("Operator code, for somebody who performs biopsies")
        without = st.checkbox("Signs in with the hospital's account, without a password of this registry")
        if st.form_submit_button("Add the account"):
            made = None if without else secrets.token_urlsafe(15)
            _done(
                lambda: accounts.add(
                    session.registry(),
                    name.strip(),
                    made,
                    [Role(one) for one in roles],
                    operator.strip() or None,
                ),
                f"{name.strip()} was added." + (f" Password, shown only now: {made}" if made else ""),
            )


def change_forms(known: list[Account]) -> None:
    """Lock, unlock, new password, other roles; each ends the sessions of the account at once."""
    name = st.selectbox("Account", [one.name for one in known])
    chosen = next(one for one in known if one.name == name)
    registry = session.registry()
    roles = st.multiselect("Roles of the account", _ROLES, list(chosen.roles), key=f"roles of {name}")
    left, middle, right = st.columns(3)
    if left.button("Set these roles"):
        _done(
            lambda: accounts.set_roles(registry, name, [Role(one) for one in roles]),
            f"{name} has these roles.",
        )
    if middle.button("Unlock" if chosen.locked else "Lock"):
        _done(
            lambda: accounts.lock(registry, name, locked=not chosen.locked),
            f"{name} is {'unlocked' if chosen.locked else 'locked'}.",
        )
    if chosen.password and right.button("New password"):
        made = secrets.token_urlsafe(15)
        _done(lambda: accounts.reset(registry, name, made), f"New password of {name}, shown only now: {made}")


def _done(work: Callable[[], None], text: str) -> None:
    try:
        work()
    except RegistryError as problem:
        st.error(str(problem))
    else:
        show(element("p", text, class_="result", role="status"))
