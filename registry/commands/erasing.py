"""Commands of a patient's rights and of the law: erase, hold."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from registry.commands.common import FolderArgument, say
from registry.errors import UsageProblem

if TYPE_CHECKING:
    from registry.erasure import Plan

PatientArgument = Annotated[
    str, typer.Argument(help="Identifier or pseudonym of the patient.", show_default=False)
]
ReasonOption = Annotated[
    str, typer.Option(help="Why; kept in the trail. Names no person.", show_default=False)
]


def erase(
    folder: FolderArgument,
    patient: PatientArgument,
    reason: ReasonOption,
    yes: Annotated[bool, typer.Option("--yes", help="Do not ask to type the identifier again.")] = False,
) -> None:
    """Remove what names a patient for good, and take the clinical rows out of the current record."""
    from registry.engine import current_user
    from registry.erasure import erase as run
    from registry.holds import normal

    def agree(plan: Plan) -> bool:
        for line in plan.lines():
            say(line)
        if yes:
            return True
        again = str(
            typer.prompt("This cannot be undone. Type the identifier again", default="", show_default=False)
        )
        if normal(again) != normal(patient):
            raise UsageProblem("That is not the same identifier. Nothing was erased.")
        return True

    done = run(folder, patient, reason=reason, author=current_user(), agree=agree)
    for line in done.lines():
        say(line)
    say(f"Check it: biopsy-outcomes verify {folder}")


def hold(
    folder: FolderArgument,
    patient: PatientArgument,
    reason: ReasonOption,
    lift: Annotated[bool, typer.Option("--lift", help="Lift the hold instead of setting one.")] = False,
) -> None:
    """Put a patient under legal hold: nothing of theirs is withdrawn or erased until it is lifted."""
    from registry.engine import current_user
    from registry.holds import lift_hold, set_hold
    from registry.store import Registry

    with Registry.open(folder, write=True) as registry:
        run = lift_hold if lift else set_hold
        found = run(registry, patient, author=current_user(), reason=reason)
    say(f"The legal hold of patient {found} is lifted." if lift else f"Patient {found} is under legal hold.")
