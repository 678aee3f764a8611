"""Commands on the registry folder: create, migrate, check, verify."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from registry.commands.common import FolderArgument, Format, FormatOption, print_rows, say, today_at


def create(
    folder: FolderArgument,
    time_zone: Annotated[str, typer.Option(help="Time zone of the service (IANA name).")] = "UTC",
    name: Annotated[str, typer.Option(help="Name of the service, for reports.")] = "Unnamed service",
    key_file: Annotated[
        Path | None, typer.Option(help="Where the site key goes, if not into the folder.", show_default=False)
    ] = None,
) -> None:
    """Make an empty registry folder."""
    from registry import store

    store.create(folder, time_zone=time_zone, name=name, key_file=key_file)
    say(f"Made the registry {folder}. Read {folder / 'site.toml'}: it holds the local protocol.")
    say("Keep the site key apart from backups; without it pseudonyms and trail cannot be checked.")


def migrate(
    folder: FolderArgument,
    list_only: Annotated[bool, typer.Option("--list", help="Only say what would be applied.")] = False,
    place: Annotated[
        Path | None,
        typer.Option(
            "--backup-to",
            help="Where the backup before it goes; site.toml or the parent folder otherwise.",
            show_default=False,
        ),
    ] = None,
) -> None:
    """Bring a registry to this version of the program: on a copy, compared, then swapped."""
    from registry import site as site_file
    from registry import upgrade
    from registry.engine import current_user
    from registry.store import SITE, Registry, utc_now

    pending = upgrade.pending(folder)
    stale = not pending and upgrade.derives_otherwise(folder)
    if list_only:
        waiting = [*pending, *(["the kept rows, which this program derives otherwise"] if stale else [])]
        say(f"Pending: {', '.join(waiting)}." if waiting else "Nothing pending.")
        return
    if not pending:
        with Registry.open(folder, write=True):
            pass  # opened for writing, it derives them
        say("The kept rows were derived anew; no migration was pending." if stale else "Nothing pending.")
        return
    site = site_file.read(folder / SITE)
    chosen = place or (Path(site.backup_folder) if site.backup_folder else folder.resolve().parent)
    done = upgrade.upgrade(folder, chosen, as_of=today_at(site), author=current_user(), clock=utc_now)
    for line in done.lines():
        say(line)


def check(
    folder: FolderArgument,
    show_all: Annotated[
        bool, typer.Option("--all", help="In a table, every note too; without it they are counted.")
    ] = False,
    format_: FormatOption = Format.TABLE,
) -> None:
    """Run the data checks over the whole registry, and apply a changed site.toml."""
    from registry import checks
    from registry.store import Registry

    with Registry.open(folder, write=True) as registry:
        found = checks.check_registry(registry, today_at(registry.site))
    is_note = found["severity"] == "note"
    if show_all or format_ is not Format.TABLE:
        print_rows(found.to_dicts(), format_, found.columns)
    else:
        rows = found.filter(~is_note)
        if rows.is_empty():
            say("No row contradicts another, none is doubtful.")
        else:
            print_rows(rows.to_dicts(), format_, found.columns)
        _print_notes(found.filter(is_note).to_dicts())
    if not is_note.all():
        raise typer.Exit(1)


def _print_notes(notes: list[dict[str, str]]) -> None:
    """How often each note is due, and what it says: there is nothing to correct."""
    if not notes:
        return
    counted: dict[tuple[str, str, str], int] = {}
    for one in notes:
        place = (one["check"], one["message"], one["hint"])
        counted[place] = counted.get(place, 0) + 1
    rows = [
        {"note": check, "rows": count, "message": f"{message} {hint}"}
        for (check, message, hint), count in sorted(counted.items())
    ]
    say("Notes, counted (--all lists their rows):")
    print_rows(rows, Format.TABLE, width=100)


def verify(
    folder: Annotated[
        Path, typer.Argument(help="Registry folder, or the folder of a package.", show_default=False)
    ],
) -> None:
    """Check a registry (trail, anchor, counts, every stored value), or a package against its manifest."""
    from registry.package.verify import is_package, verify_package
    from registry.store import Registry
    from registry.verify import verify as run

    if is_package(folder):
        differences = verify_package(folder)
        for difference in differences:
            say(str(difference))
        if differences:
            raise typer.Exit(3)
        say(
            "Every file is as the manifest says, and the rows in CSV and Parquet have the hash that it states."
        )
        return

    with Registry.open(folder, check_anchor=False) as registry:
        findings = run(registry)
    for finding in findings:
        say(str(finding))
    if findings:
        raise typer.Exit(3)
    say("The trail, its anchor, all counts and all rows agree.")
