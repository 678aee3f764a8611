"""A choice of one of several, or of all of them together."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from streamlit.delta_generator import DeltaGenerator


def one_or_all(
    place: DeltaGenerator,
    label: str,
    codes: Iterable[str],
    *,
    whole: str,
    words: Callable[[str], str] = str,
    key: str | None = None,
    disabled: bool = False,
) -> str | None:
    """A select box whose first entry stands for no choice.

    Parameters
    ----------
    place
        Where the box is drawn.
    codes
        What can be chosen; none of them is empty.
    whole
        What the first entry is called.
    words
        What a code is called.

    Returns
    -------
    str or None
        The code; None for the first entry.
    """
    # Not None as an option: after a rerun the page would draw it as nothing chosen.
    chosen = place.selectbox(
        label,
        ["", *codes],
        format_func=lambda code: words(code) if code else whole,
        key=key,
        disabled=disabled,
    )
    return chosen or None
