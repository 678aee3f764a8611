"""Printed reports: the pack of the quality committee."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import Annotated

import typer

from registry.commands.common import AsOfOption, FolderArgument, day, reading, say, today_at
from registry.errors import FileProblem, UsageProblem

app = typer.Typer(
    help="Printed reports: the pack of the quality committee, minutes, requests.", no_args_is_help=True
)


def moment(text: str | None, option: str) -> datetime | None:
    """A moment with a time zone, given on the command line.

    Raises
    ------
    UsageProblem
        Not a moment, or without a time zone.
    """
    if text is None:
        return None
    try:
        found = datetime.fromisoformat(text)
    except ValueError:
        found = None
    if found is None or found.tzinfo is None:
        raise UsageProblem(
            f"{option} {text}: is not a moment with a time zone. Write it as 2026-06-30T12:00:00+00:00."
        )
    return found


@app.command()
def quality(
    folder: FolderArgument,
    out: Annotated[Path, typer.Option("--out", help="New folder for the files.", show_default=False)],
    start: Annotated[
        str, typer.Option("--from", help="First day on which a procedure started.", show_default=False)
    ],
    end: Annotated[
        str, typer.Option("--to", help="Last day on which a procedure started.", show_default=False)
    ],
    as_of: AsOfOption = None,
    known_at: Annotated[
        str | None,
        typer.Option(
            "--known-at",
            help="As the record was known at a moment (2026-06-30T12:00:00+00:00).",
            show_default=False,
        ),
    ] = None,
    shareable: Annotated[
        bool, typer.Option("--shareable", help="Leave out small cells and single procedures.")
    ] = False,
    smallest: Annotated[
        int, typer.Option("--smallest", help="With --shareable: counts of 1 to so many are left out.")
    ] = 10,
) -> None:
    """The pack of the quality committee: PDF, Word and every table as CSV."""
    from contextlib import nullcontext

    from registry.known import as_known
    from registry.reports.pack import quality_pack, write_pack

    first, last = day(start, "--from"), day(end, "--to")
    assert first is not None
    assert last is not None
    then = moment(known_at, "--known-at")
    if out.exists():
        raise FileProblem(f"{out}: is there already. Name a new folder, or move it away.")
    with reading(folder) as registry:
        on = day(as_of, "--as-of") or today_at(registry.site)
        if then is not None and then > registry.clock():
            raise UsageProblem(
                f"--known-at {known_at}: lies ahead. What will be known then is not on record; give a moment that has passed."
            )
        with as_known(registry, then) if then else nullcontext(registry) as known:
            pack = quality_pack(
                known, start=first, end=last, as_of=on, shareable=shareable, smallest=smallest
            )
    for path in write_pack(pack, out):
        say(f"Wrote {path}")
