"""The process that owns a registry folder: opened before the first visitor, kept until the end.

Run by ``dashboards.launch.command``; the arguments are those of the page server.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path
from zoneinfo import ZoneInfo

from dashboards import owned, visitor
from dashboards.gate.desk import check_start, desk_of
from dashboards.launch import ALLOW_ROOT, FOLDER
from registry.errors import RegistryError
from registry.intake.inbox import take_inbox
from registry.keeper import AUTHOR, Keeper
from registry.people import ask, deny_by_default
from registry.store import Registry

_ADDRESS = "--server.address"


def main() -> int:
    """Open the folder, keep it, serve the pages; give the folder back when the server ends."""
    from streamlit.web import cli

    try:
        registry = Registry.open(Path(os.environ[FOLDER]), write=True)
    except RegistryError as problem:
        print(problem, file=sys.stderr)
        return problem.exit_code
    try:
        desk = desk_of(registry)
        check_start(
            registry,
            desk,
            address=_address(sys.argv),
            is_root=hasattr(os, "geteuid") and os.geteuid() == 0,
            allow_root=os.environ.get(ALLOW_ROOT) == "1",
        )
    except RegistryError as problem:
        registry.close()
        print(problem, file=sys.stderr)
        return problem.exit_code
    # Otherwise whoever speaks from loopback could say where it comes from.
    os.environ["FORWARDED_ALLOW_IPS"] = ""
    keeper = Keeper(registry, take_in=_take_in, sweep=desk.sessions.sweep)
    owned.registry, owned.keeper, owned.desk = registry, keeper, desk
    deny_by_default()
    ask(visitor.known)
    keeper.start()
    try:
        cli.main(prog_name="streamlit", standalone_mode=False)
    finally:
        keeper.stop()
        registry.close()
    return 0


def _take_in(registry: Registry) -> list[str]:
    """Import what lies in the inbox; nothing to say where nothing lies there."""
    today = registry.clock().astimezone(ZoneInfo(registry.site.time_zone)).date()
    report = take_inbox(registry, author=AUTHOR, today=today)
    return report.lines() if report.batches or report.left else []


def _address(arguments: list[str]) -> str:
    """Where the server will listen; it listens everywhere unless told."""
    if _ADDRESS in arguments[:-1]:
        return arguments[arguments.index(_ADDRESS) + 1]
    return "0.0.0.0"


if __name__ == "__main__":
    sys.exit(main())
