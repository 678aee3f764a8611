"""Accounts for signing in to the pages: add, lock, unlock, reset, roles, list."""

from __future__ import annotations

import secrets
import sys
from typing import Annotated

import typer

from registry.commands.common import FolderArgument, Format, FormatOption, print_rows, say
from registry.people.roles import Role

app = typer.Typer(help="Accounts for signing in to the pages.", no_args_is_help=True, rich_markup_mode=None)

NameArgument = Annotated[str, typer.Argument(help="Name of the account.", show_default=False)]
RoleOption = Annotated[list[Role], typer.Option("--role", help="A role; may be given several times.")]
GenerateOption = Annotated[bool, typer.Option("--generate", help="Invent a password and print it once.")]


def _password(generate: bool) -> str:
    """A password from the prompt, from standard input, or a new one that is printed once."""
    if generate:
        made = secrets.token_urlsafe(15)
        say(f"Password, shown only now: {made}")
        return made
    if not sys.stdin.isatty():
        return sys.stdin.readline().rstrip("\r\n")
    return str(typer.prompt("Password", hide_input=True, confirmation_prompt=True))


@app.command()
def add(
    folder: FolderArgument,
    name: NameArgument,
    role: RoleOption,
    operator: Annotated[
        str | None, typer.Option(help="Operator code of a person who performs biopsies.", show_default=False)
    ] = None,
    generate: GenerateOption = False,
    no_password: Annotated[
        bool,
        typer.Option("--no-password", help="For somebody whom the hospital's own sign-in names."),
    ] = False,
) -> None:
    """Add an account; the password is asked for, or read from standard input."""
    from registry.people import accounts
    from registry.store import Registry

    password = None if no_password else _password(generate)
    with Registry.open(folder, write=True) as registry:
        accounts.add(registry, name, password, role, operator)
    say(f"Added {name}: {', '.join(sorted(role))}.")


@app.command()
def reset(folder: FolderArgument, name: NameArgument, generate: GenerateOption = False) -> None:
    """Give an account a new password and unlock it."""
    from registry.people import accounts
    from registry.store import Registry

    password = _password(generate)
    with Registry.open(folder, write=True) as registry:
        accounts.reset(registry, name, password)
    say(f"{name} has a new password.")


@app.command()
def lock(folder: FolderArgument, name: NameArgument) -> None:
    """Lock an account; its sessions end."""
    _lock(folder, name, True)


@app.command()
def unlock(folder: FolderArgument, name: NameArgument) -> None:
    """Unlock an account."""
    _lock(folder, name, False)


def _lock(folder: FolderArgument, name: str, locked: bool) -> None:
    from registry.people import accounts
    from registry.store import Registry

    with Registry.open(folder, write=True) as registry:
        accounts.lock(registry, name, locked=locked)
    say(f"{name} is {'locked' if locked else 'unlocked'}.")


@app.command()
def roles(folder: FolderArgument, name: NameArgument, role: RoleOption) -> None:
    """Give an account these roles instead of those it has."""
    from registry.people import accounts
    from registry.store import Registry

    with Registry.open(folder, write=True) as registry:
        accounts.set_roles(registry, name, role)
    say(f"{name}: {', '.join(sorted(role))}.")


@app.command("list")
def list_(folder: FolderArgument, format_: FormatOption = Format.TABLE) -> None:
    """The accounts with their roles."""
    from registry.people import accounts

    print_rows(
        [
            {
                "account": one.name,
                "roles": ", ".join(one.roles),
                "operator": one.operator,
                "locked": "locked" if one.locked else "",
                "changed": one.changed_at,
            }
            for one in accounts.read(folder).values()
        ],
        format_,
        ("account", "roles", "operator", "locked", "changed"),
    )
