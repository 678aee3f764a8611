"""Commands that keep a registry safe: backup, restore, drill, recover, doctor."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from registry.commands.common import FolderArgument, Format, FormatOption, print_rows, say, today_at
from registry.errors import UsageProblem


def backup(
    folder: FolderArgument,
    place: Annotated[
        Path | None,
        typer.Option("--to", help="Folder of the backups; site.toml names it otherwise.", show_default=False),
    ] = None,
) -> None:
    """Copy everything but the key to a new folder, with a manifest of what it holds."""
    from registry.backup import backup as run
    from registry.engine import current_user
    from registry.keeper import backup_place
    from registry.store import Registry

    with Registry.open(folder, write=True) as registry:
        chosen = place or backup_place(registry)
        if chosen is None:
            raise UsageProblem(
                "Where should the backup go? Name it with --to FOLDER, or set backup_folder under [service] in site.toml."
            )
        made = run(registry, chosen, author=current_user())
    say(made.line())
    say("The site key is not in it: keep the key elsewhere.")


def restore(
    source: Annotated[Path, typer.Argument(help="Folder of one backup.", show_default=False)],
    target: Annotated[Path, typer.Argument(help="New registry folder.", show_default=False)],
    key_file: Annotated[
        Path, typer.Option("--key-file", help="The site key, from where it is kept.", show_default=False)
    ],
    swap: Annotated[
        Path | None,
        typer.Option(
            "--swap",
            help="Then let it take the place of this folder, which is kept aside.",
            show_default=False,
        ),
    ] = None,
) -> None:
    """Lay a backup out under a new name and verify it there; with --swap put it to use."""
    from registry import restore as restoring
    from registry.engine import current_user
    from registry.store import Registry, utc_now

    found = restoring.restore(source, target, key_file=key_file, author=current_user())
    say(f"Restored and verified: {found.line()}")
    if swap is None:
        return
    with Registry.open(swap, write=True, check_anchor=False):
        pass  # nobody else has it open
    aside = restoring.swap(target, swap, utc_now())
    say(f"{swap} is now the restored registry; the one before lies in {aside}.")


def drill(folder: FolderArgument) -> None:
    """Try a restore from end to end beside the registry, and write to the trail how it went."""
    from registry.engine import current_user
    from registry.restore import drill as run
    from registry.store import Registry

    with Registry.open(folder, write=True) as registry:
        done = run(registry, as_of=today_at(registry.site), author=current_user())
    say(done.line())


def recover(
    folder: FolderArgument,
    accept: Annotated[
        bool, typer.Option("--accept", help="Go on without what is missing; the old files are kept.")
    ] = False,
    reason: Annotated[str, typer.Option(help="Why the loss is accepted; written to the trail.")] = "",
) -> None:
    """After damage: say what opens and what is missing; with --accept go on without it."""
    from registry import recover as recovering
    from registry.engine import current_user
    from registry.store import utc_now

    if not accept:
        found = recovering.look(folder, now=utc_now())
        for line in found.lines():
            say(line)
        if not found.sound:
            say(
                "Nothing was changed. Restore a backup that has it all, or go on without it: "
                f"biopsy-outcomes recover {folder} --accept --reason TEXT"
            )
            raise typer.Exit(3)
        return
    found, aside = recovering.recover(folder, reason=reason, author=current_user(), clock=utc_now)
    for line in found.lines():
        say(line)
    say(f"The registry goes on from there. The files as they were found lie in {aside}.")


def doctor(folder: FolderArgument, format_: FormatOption = Format.TABLE) -> None:
    """One screen: can this registry be left running? Exit code 1 where something is wrong."""
    from registry.doctor import WRONG, examine
    from registry.store import utc_now

    lines = examine(folder, now=utc_now())
    print_rows([one.to_dict() for one in lines], format_, ("part", "state", "seen", "what to do"))
    if any(one.state == WRONG for one in lines):
        raise typer.Exit(1)
