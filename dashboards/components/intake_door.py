"""The door of the registry as the intake page uses it: look, write, hold, dismiss."""

from __future__ import annotations

from typing import TYPE_CHECKING

from dashboards import session, visitor
from dashboards.answers import records
from registry.intake import Options, accept, quarantine

if TYPE_CHECKING:
    from pathlib import Path

    from registry.imports.received import Received
    from registry.intake import IntakeReport


def dry_run(received: Received) -> IntakeReport:
    """What an import would do; nothing is written."""
    return accept(
        session.registry(),
        received,
        author=visitor.name(),
        today=session.today(),
        options=Options(dry_run=True),
    )


def take_in(received: Received, reason: str) -> IntakeReport:
    """Write what passes; the reason stands beside every value that is replaced."""
    report = accept(
        session.registry(),
        received,
        author=visitor.name(),
        today=session.today(),
        options=Options(reason=reason or "import"),
    )
    session.registry().checkpoint()
    return report


def correctable_files() -> list[Path]:
    """Files of held rows of which at least one is still open."""
    places = {row["quarantine_id"].rpartition("-")[0] for row in records.held_rows().to_dicts()}
    folder = session.registry().folder / "held"
    return sorted(path for place in places for path in (folder / f"batch-{int(place):04d}").glob("*.csv"))


def dismiss(quarantine_id: str, reason: str) -> None:
    """Close a held row for good.

    Raises
    ------
    UsageProblem
        The reason is empty, or the row is no longer held.
    """
    quarantine.dismiss(session.registry(), quarantine_id, visitor.name(), reason)
