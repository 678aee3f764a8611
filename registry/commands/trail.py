"""The trail on the command line."""

from __future__ import annotations

from typing import Annotated

import typer

from registry.commands.common import FolderArgument, Format, FormatOption, day, print_rows, reading


def audit(
    folder: FolderArgument,
    since: Annotated[
        str | None, typer.Option(help="First day, in UTC (YYYY-MM-DD).", show_default=False)
    ] = None,
    actor: Annotated[str | None, typer.Option(help="Only what this one did.", show_default=False)] = None,
    action: Annotated[str | None, typer.Option(help="Only this, such as import.", show_default=False)] = None,
    outcome: Annotated[
        str | None, typer.Option(help="Only what ended so, such as refused.", show_default=False)
    ] = None,
    most: Annotated[int, typer.Option(help="At most so many entries.", min=1, max=1_000_000)] = 1000,
    format_: FormatOption = Format.TABLE,
) -> None:
    """Print the trail, the newest entry first: who did what, when, and how it ended."""
    from registry.trail import COLUMNS, events, in_words

    with reading(folder) as registry:
        rows = events(
            registry, since=day(since, "--since"), actor=actor, action=action, outcome=outcome, most=most
        )
    if format_ is not Format.JSON:
        rows = [{**one, "details": in_words(one["details"])} for one in rows]
    print_rows(rows, format_, COLUMNS)
