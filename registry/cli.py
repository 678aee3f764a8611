"""The command ``biopsy-outcomes``: arguments to one call, its answer to text and exit code."""

from __future__ import annotations

import io
import os
import sys
from typing import Annotated

import typer

from registry import __version__
from registry.commands import (
    account,
    aggregate,
    cohort,
    erasing,
    export,
    folder,
    intake,
    measures,
    meeting,
    meeting_reports,
    monitoring,
    output,
    planning,
    quality,
    report,
    safety,
    targeting,
    trail,
    uptake,
)
from registry.errors import RegistryError

app = typer.Typer(
    name="biopsy-outcomes",
    help="Outcome registry with radiology-pathology correlation for image-guided breast biopsy.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)
app.command()(folder.create)
app.command("import")(intake.import_)
app.command()(intake.held)
app.command()(intake.withdraw)
app.command()(folder.check)
app.command()(measures.worklist)
app.command()(measures.measure)
app.command()(measures.measures)
app.command()(targeting.targeting)
app.command()(uptake.uptake)
app.command()(uptake.sources)
app.command()(uptake.constancy)
app.command()(planning.plan)
app.command()(monitoring.monitor)
app.command()(monitoring.compare)
app.command()(quality.units)
app.command()(quality.yearly)
app.command()(meeting.timeliness)
app.command()(meeting.agreement)
app.command("recall")(meeting.recall_identified)
app.command()(export.export)
app.command()(export.exports)
app.command()(export.counts)
app.add_typer(aggregate.app, name="aggregate")
app.add_typer(cohort.app, name="cohort")
app.command()(output.demo)
app.command()(output.dashboard)
app.command()(folder.migrate)
app.command()(folder.verify)
app.command()(safety.backup)
app.command()(safety.restore)
app.command()(safety.drill)
app.command()(safety.recover)
app.command()(safety.doctor)
app.command()(erasing.hold)
app.command()(erasing.erase)
app.command("audit")(trail.audit)
app.add_typer(account.app, name="account")
report.app.command()(meeting_reports.minutes)
report.app.command("pathology-request")(meeting_reports.pathology_request)
app.add_typer(report.app, name="report")
app.command()(output.handbook)

_INTERRUPTED = 130


def _version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"biopsy-outcomes {__version__}")
        raise typer.Exit


@app.callback()
def root(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version.")
    ] = False,
) -> None:
    """Outcome registry with radiology-pathology correlation for image-guided breast biopsy.

    An audit tool: it checks the record, not the patient. Decisions belong to qualified
    clinicians under their local protocol.
    """


def _set_streams() -> None:
    """Files and pipes hold UTF-8; what a screen cannot show is a question mark on it, and no traceback."""
    for stream in (sys.stdout, sys.stderr):
        if not isinstance(stream, io.TextIOWrapper):
            continue
        if stream.isatty() or "PYTHONIOENCODING" in os.environ:
            stream.reconfigure(errors="replace")
        else:
            stream.reconfigure(encoding="utf-8")


def main() -> None:
    """Run the command line; a user's mistake ends in a sentence and an exit code."""
    # The engine imports pandas at the first bound value if it can, which costs 80 MB and
    # half of a command's time, and no command needs it. A command that comes to need it
    # takes this line out of its way first: sys.modules.pop("pandas", None).
    sys.modules.setdefault("pandas", None)  # type: ignore[arg-type]
    _set_streams()
    try:
        app()
    except RegistryError as problem:
        print(problem, file=sys.stderr)
        sys.exit(problem.exit_code)
    except KeyboardInterrupt:
        print("Interrupted; nothing of the running step was written.", file=sys.stderr)
        sys.exit(_INTERRUPTED)
