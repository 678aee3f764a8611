"""Rows entered by hand: through the same door as a file, and written whole or not at all."""

from __future__ import annotations

from typing import TYPE_CHECKING

from registry.errors import BatchRefused
from registry.imports import form
from registry.intake.accept import Options, accept
from registry.people import Action, require

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from datetime import date

    from registry.store import Registry


def enter(
    registry: Registry,
    table: str,
    row: Mapping[str, str | None],
    *,
    today: date,
    reason: str,
    author: str = "",
) -> None:
    """Bring one row of a table in.

    A form holds nothing back: what a rule refuses is said at once, and corrected on the spot.

    Parameters
    ----------
    registry
        Open for writing.
    table, row
        Table of the data dictionary, and field -> text; an empty text says nothing.
    today
        The day at the site.
    reason
        Why, for the history.
    author
        Who enters it, where a program on the machine does it for somebody.

    Raises
    ------
    Refused
        The actor may not enter rows.
    BatchRefused
        A rule of the data dictionary refuses it: the sentences of all rules that do.
    """
    require(Action.ENTER, registry, kind=table)
    enter_together(registry, {table: [row]}, today=today, reason=reason, author=author)


def enter_together(
    registry: Registry,
    rows: Mapping[str, Sequence[Mapping[str, str | None]]],
    *,
    today: date,
    reason: str,
    author: str = "",
) -> None:
    """Bring rows of several tables in that belong together: all of them, or none.

    Parameters
    ----------
    registry, today, reason, author
        As :func:`enter`.
    rows
        Table -> its rows, each field -> text.

    Raises
    ------
    Refused, BatchRefused
        As :func:`enter`.
    """
    require(Action.ENTER, registry)
    report = accept(
        registry,
        form.received(rows),
        author=author,
        today=today,
        options=Options(all_or_nothing=True, reason=reason),
    )
    if report.refused or report.total.held:
        said = [f"{one.column}: {one.message} {one.hint}".strip() for one in report.problems]
        raise BatchRefused("Nothing was saved. " + " ".join(said or [report.refused]))
