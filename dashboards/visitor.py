"""Who looks at a page: asked of the gate's table at each use, never kept in the page.

Without the gate (a test, a program on the machine) it is the operating-system user.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from dashboards import owned
from dashboards.gate.desk import VISITOR
from dashboards.gate.requests import COOKIE
from registry.errors import Refused
from registry.people import accounts, current, operators
from registry.people.acting import CONFIRMED_FOR, DEMO, MACHINE
from registry.people.settings import ACCOUNTS

if TYPE_CHECKING:
    from datetime import datetime, timedelta

    from registry.people import Action, Actor


def _token() -> str | None:
    return st.context.cookies.get(COOKIE)


def known() -> Actor | None:
    """Whoever holds the session of this browser; named to ``registry.people.ask`` by the server."""
    if owned.desk is None:
        return None
    return VISITOR if owned.desk.is_open else owned.desk.sessions.who(_token(), touch=True)


def actor() -> Actor | None:
    """Who looks, or None once the session has ended."""
    return current()


def name() -> str:
    """Who stands in the trail for what is done on a page.

    Raises
    ------
    Refused
        The session has ended.
    """
    found = actor()
    if found is None:
        raise Refused("Your session has ended, and nothing was saved. Sign in and try again.")
    return found.name


def may(action: Action) -> bool:
    """Whether whoever looks may do this; pages leave out what they may not."""
    found = actor()
    return found is not None and found.may(action)


def scope() -> str:
    """Whose results by operator are shown, as a part of what answers are kept under."""
    found = actor()
    if found is None:
        return "nobody"
    whose = operators(found)
    return "all" if whose is None else f"operator {whose}"


def time_left() -> timedelta | None:
    """Until the page locks; None where it has, or never does."""
    if owned.desk is None or owned.desk.is_open:
        return None
    return owned.desk.sessions.left(_token())


def has_ended() -> bool:
    """Whether the session is over, without counting as a click."""
    return owned.desk is not None and not owned.desk.is_open and owned.desk.sessions.left(_token()) is None


def why_ended() -> str | None:
    """Why the session is over, if it is remembered."""
    return owned.desk.sessions.why(_token()) if owned.desk is not None else None


def signs_in() -> bool:
    """Whether people sign in here at all."""
    return owned.desk is not None and not owned.desk.is_open


def has_password() -> bool:
    """Whether whoever looks has a password of this registry, to be asked for again."""
    return owned.desk is not None and owned.desk.method == ACCOUNTS


def sign_out() -> None:
    """End the session of this browser."""
    if owned.desk is not None:
        owned.desk.sessions.end(_token())


def confirm(password: str) -> None:
    """Take the password once more, for what asks for it.

    Raises
    ------
    Refused
        It is wrong.
    """
    if owned.desk is not None:
        accounts.verify(owned.desk.registry, name(), password)
        owned.desk.sessions.confirm(_token())


def is_confirmed(now: datetime) -> bool:
    """Whether whoever looks has proved who it is a short time ago, or never has to."""
    found = actor()
    if found is None:
        return False
    if found.via in (MACHINE, DEMO):
        return True
    return found.confirmed_at is not None and now - found.confirmed_at <= CONFIRMED_FOR
