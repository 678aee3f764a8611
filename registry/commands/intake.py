"""Commands that bring rows in, hold them or take them out: import, held, withdraw."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from registry.commands.common import FolderArgument, Format, FormatOption, print_rows, say, today_at
from registry.errors import UsageProblem

if TYPE_CHECKING:
    from registry.intake import InboxReport, IntakeReport


def import_(
    folder: FolderArgument,
    source: Annotated[
        Path | None,
        typer.Argument(
            help="Folder of CSV files named after the tables, one such file, or a file for --mapping; "
            "without it everything in the inbox of the registry.",
            show_default=False,
        ),
    ] = None,
    mapping: Annotated[
        Path | None, typer.Option(help="Mapping file (TOML) of a CSV or XLSX source.", show_default=False)
    ] = None,
    dry_run: Annotated[bool, typer.Option("--dry-run", help="Do everything but write.")] = False,
    all_or_nothing: Annotated[
        bool, typer.Option("--all-or-nothing", help="Refuse the batch when any row would be held.")
    ] = False,
    held_share_max: Annotated[
        float | None,
        typer.Option(
            help="Refuse the batch when more than this share of its rows would be held.",
            show_default=False,
            min=0,
            max=1,
        ),
    ] = None,
    ignore_unknown: Annotated[
        bool,
        typer.Option("--ignore-unknown", help="Leave out columns that the data dictionary does not have."),
    ] = False,
    include_hidden: Annotated[
        bool, typer.Option("--include-hidden", help="Take hidden rows and sheets of a workbook too.")
    ] = False,
    reason: Annotated[str, typer.Option(help="Why, for corrections; kept in the history.")] = "import",
    format_: FormatOption = Format.TABLE,
) -> None:
    """Read files, check every row, and write those that pass."""
    from registry.engine import current_user
    from registry.imports import mapped, registry_csv
    from registry.imports.mapping import read_mapping
    from registry.intake import Options, Reading, accept, take_inbox
    from registry.store import Registry

    if source is not None and not source.exists():
        raise UsageProblem(f"{source}: there is no such file or folder.")
    options = Options(dry_run, all_or_nothing, held_share_max, reason)
    report: InboxReport | IntakeReport
    with Registry.open(folder, write=True) as registry:
        stated = read_mapping(mapping) if mapping else None
        author, today = current_user(), today_at(registry.site)
        if source is None:
            how = Reading(stated, ignore_unknown, include_hidden)
            report = take_inbox(registry, author=author, today=today, options=options, reading=how)
        else:
            received = (
                mapped.read(source, stated, include_hidden=include_hidden)
                if stated
                else registry_csv.read(source, ignore_unknown=ignore_unknown)
            )
            report = accept(registry, received, author=author, today=today, options=options)
        registry.checkpoint()
    if format_ is Format.JSON:
        say(json.dumps(report.to_dict(), indent=2, default=str, ensure_ascii=False))
    else:
        for line in report.lines():
            say(line)
    if report.exit_code:
        raise typer.Exit(report.exit_code)


def held(
    folder: FolderArgument,
    dismiss: Annotated[
        str | None, typer.Option(help="Close this held row for good.", show_default=False)
    ] = None,
    reason: Annotated[str, typer.Option(help="Why it is dismissed.")] = "",
    format_: FormatOption = Format.TABLE,
) -> None:
    """List the rows that are held, and why; or dismiss one."""
    from registry.engine import current_user
    from registry.intake import quarantine
    from registry.store import Registry

    with Registry.open(folder, write=dismiss is not None) as registry:
        if dismiss is not None:
            quarantine.dismiss(registry, dismiss, current_user(), reason)
            say(f"{dismiss} is dismissed.")
            return
        found = quarantine.open_rows(registry)
    print_rows(found.to_dicts(), format_, found.columns)


def withdraw(
    folder: FolderArgument,
    table: Annotated[str, typer.Argument(help="Table of the data dictionary.", show_default=False)],
    key: Annotated[
        list[str],
        typer.Argument(
            help="Key of the row, such as P1, or R1 P1 2 for the second version of a report.",
            show_default=False,
        ),
    ],
    reason: Annotated[
        str, typer.Option(help="Why; kept in the history and the trail. Names no person.", show_default=False)
    ],
) -> None:
    """Take one row out of the current record; it stays in the history."""
    from registry.engine import current_user
    from registry.intake import withdraw as run
    from registry.store import Registry

    with Registry.open(folder, write=True) as registry:
        done = run(registry, table, key, author=current_user(), reason=reason)
        registry.checkpoint()
    for line in done.lines():
        say(line)
