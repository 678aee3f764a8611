"""Markup that cannot be broken by text: every piece of text is escaped on the way in."""

from __future__ import annotations

import re
from html import escape
from typing import TYPE_CHECKING

import streamlit as st

if TYPE_CHECKING:
    from collections.abc import Iterable

_NAME = re.compile(r"^[a-z][a-z0-9-]*$")
_EMPTY = frozenset({"br", "hr", "img", "col"})


class Markup(str):
    """Text that is markup already; anything else is escaped."""

    __slots__ = ()


def element(name: str, *children: str | Markup | None, **attributes: str | int | float | None) -> Markup:
    """One element with its children.

    Parameters
    ----------
    name
        Name of the element.
    children
        Text, which is escaped, or :class:`Markup`; None is left out.
    attributes
        ``class_`` and ``aria_label`` are written class and aria-label; None is left out.

    Raises
    ------
    ValueError
        A name that is none; names never come from data.
    """
    names = {key: key.rstrip("_").replace("_", "-") for key in attributes}
    for one in (name, *names.values()):
        if not _NAME.match(one):
            raise ValueError(f"not the name of an element or attribute: {one!r}")
    given = "".join(
        f' {names[key]}="{escape(str(value))}"' for key, value in attributes.items() if value is not None
    )
    if name in _EMPTY:
        return Markup(f"<{name}{given}>")
    inner = "".join(
        child if isinstance(child, Markup) else escape(child) for child in children if child is not None
    )
    return Markup(f"<{name}{given}>{inner}</{name}>")


def joined(parts: Iterable[Markup]) -> Markup:
    """Several elements one after the other."""
    return Markup("".join(parts))


def show(markup: Markup) -> None:
    """Put markup on the page.

    Raises
    ------
    TypeError
        Plain text, which has not been escaped.
    """
    if not isinstance(markup, Markup):
        raise TypeError("only markup made by element() goes to a page")
    st.html(markup)
