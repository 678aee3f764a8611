"""What is wrong with a row: one problem is one cell and one rule."""

from __future__ import annotations

from dataclasses import dataclass

#: Held until corrected; held until a person confirms it; accepted and listed.
HOLD, REVIEW, WARNING = "hold", "review", "warning"


@dataclass(frozen=True)
class Problem:
    """One problem of one row.

    ``row_no`` is the row's number within the batch and table, ``column`` the field of
    the data dictionary, ``message`` what is wrong (never an identifier, a birth date
    or free text), ``hint`` what to do.
    """

    table: str
    row_no: int
    column: str
    rule: str
    severity: str
    message: str
    hint: str = ""


def shown(value: str | None, sensitive: bool) -> str:
    """A value as a message may repeat it."""
    if value is None:
        return "Nothing"
    if sensitive:
        return "The value"
    short = value if len(value) <= 40 else value[:37] + "..."
    return repr(short)
