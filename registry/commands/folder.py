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
) -> None:
    """Bring the schema of a registry to this version of the program."""
    from registry import migrations
    from registry.store import Registry

    with Registry.open(folder, write=True, migrate=not list_only) as registry, registry.cursor() as cursor:
        pending = migrations.pending(cursor, "migrations")
        done = sorted(migrations.applied(cursor))
    say(
        f"Schema {done[-1] if done else 0}. "
        + (f"Pending: {', '.join(pending)}" if pending else "Nothing pending.")
    )


def check(folder: FolderArgument, format_: FormatOption = Format.TABLE) -> None:
    """Run the data checks over the whole registry, and apply a changed site.toml."""
    from registry import checks
    from registry.store import Registry

    with Registry.open(folder, write=True) as registry:
        found = checks.check_registry(registry, today_at(registry.site))
    print_rows(found.to_dicts(), format_, found.columns)
    if not found.filter(found["severity"] != "note").is_empty():
        raise typer.Exit(1)


def verify(folder: FolderArgument) -> None:
    """Check the trail, its anchor, the row counts and every stored value."""
    from registry.store import Registry
    from registry.verify import verify as run

    with Registry.open(folder, check_anchor=False) as registry:
        findings = run(registry)
    for finding in findings:
        say(str(finding))
    if findings:
        raise typer.Exit(3)
    say("The trail, its anchor, all counts and all rows agree.")
