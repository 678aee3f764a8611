"""The groups of pages along the top: which of them the open page belongs to."""

from __future__ import annotations

import streamlit as st


def mark_group(place: int) -> None:
    """Underline one group.

    Parameters
    ----------
    place
        Its number among the groups that have a page to open, from 0.
    """
    where = f'[data-testid="stTopNav"] > :nth-child({int(place) + 1}) [data-testid="stTopNavSection"]'
    st.html(f"<style>{where} {{ box-shadow: inset 0 -2px 0 var(--accent); border-radius: 0; }}</style>")
