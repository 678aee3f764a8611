"""Commands on what leaves: packages of rows, tables of counts, and the list of both."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from registry.commands.common import (
    AsOfOption,
    FolderArgument,
    Format,
    FormatOption,
    FromOption,
    ToOption,
    day,
    print_rows,
    say,
    today_at,
)
from registry.errors import UsageProblem

CohortOption = Annotated[
    Path | None, typer.Option("--cohort", help="Cohort file that chooses the rows.", show_default=False)
]
ReasonOption = Annotated[
    str | None,
    typer.Option("--reason", help="What it is for; written to the trail.", show_default=False),
]


def export(
    folder: FolderArgument,
    target: Annotated[
        Path | None, typer.Argument(help="New folder for the package.", show_default=False)
    ] = None,
    reason: ReasonOption = None,
    as_of: AsOfOption = None,
    start: FromOption = None,
    end: ToOption = None,
    cohort: CohortOption = None,
    profile: Annotated[
        str, typer.Option(help="How the rows are made less telling: internal, shifted or restricted.")
    ] = "internal",
    formats: Annotated[
        str, typer.Option(help="Files of rows, parted by commas: csv, parquet, dta, sav, xpt, xlsx.")
    ] = "csv,parquet",
    project: Annotated[
        str | None,
        typer.Option(
            help="Project whose study keys are used, so that its exports can be joined; a cohort file names its own.",
            show_default=False,
        ),
    ] = None,
    packed: Annotated[
        bool, typer.Option("--zip", help="One archive of the package beside it as well.")
    ] = False,
    from_manifest: Annotated[
        Path | None,
        typer.Option(
            "--from-manifest",
            help="Draw the rows of this MANIFEST.json again and compare; nothing is written.",
            show_default=False,
        ),
    ] = None,
) -> None:
    """Write procedures as a package of files with codebook, privacy report and manifest."""
    if from_manifest is not None:
        _again(folder, from_manifest)
        return
    if target is None or reason is None:
        raise UsageProblem("Name a new folder for the package, and say what it is for with --reason.")
    from registry.disclosure.profiles import profile_of
    from registry.engine import current_user
    from registry.package.asked import formats_of
    from registry.package.build import export as run
    from registry.store import Registry

    chosen, kinds = profile_of(profile), formats_of(formats.split(","))
    with Registry.open(folder, write=True) as registry:
        file = None
        if cohort is not None:
            from registry.cohorts import CohortFile

            if as_of or start or end or project:
                raise UsageProblem(
                    "A cohort file names its own days and project: leave --as-of, --from, --to and --project out."
                )
            file = CohortFile.read(cohort, registry.site.added_codes)
        report = run(
            registry,
            target,
            as_of=day(as_of, "--as-of") or today_at(registry.site),
            start=day(start, "--from"),
            end=day(end, "--to"),
            author=current_user(),
            reason=reason,
            profile=chosen,
            formats=kinds,
            cohort=file,
            project=project,
            packed=packed,
        )
    for line in report.lines():
        say(line)


def _again(folder: Path, manifest: Path) -> None:
    from registry.package.again import draw_again
    from registry.store import Registry

    with Registry.open(folder) as registry:
        found = draw_again(registry, manifest)
    for line in found.lines():
        say(line)
    if not found.as_known:
        raise typer.Exit(3)


#: What of an export has room in a table.
_IN_A_TABLE = ("entry", "time", "actor", "what", "purpose", "profile", "rows")


def exports(folder: FolderArgument, format_: FormatOption = Format.TABLE) -> None:
    """Who exported what, for what purpose and in which form."""
    from registry.commands.common import reading
    from registry.commands.narrow import WIDTH
    from registry.package.listing import COLUMNS
    from registry.package.listing import exports as run

    with reading(folder) as registry:
        rows = run(registry)
    if format_ is not Format.TABLE:
        print_rows(rows, format_, COLUMNS)
        return
    if not rows:
        say("Nothing was exported yet.")
        return
    print_rows(rows, format_, _IN_A_TABLE, width=WIDTH)
    say("Project, digest of the cohort file and number of files: --format json or csv.")


def counts(
    folder: FolderArgument,
    target: Annotated[Path, typer.Argument(help="New CSV file for the table.", show_default=False)],
    by: Annotated[
        list[str],
        typer.Option(
            "--by",
            help="Column whose values make the rows; given twice, the second makes the columns.",
            show_default=False,
        ),
    ],
    reason: ReasonOption = None,
    cohort: CohortOption = None,
    as_of: AsOfOption = None,
    start: FromOption = None,
    end: ToOption = None,
    upto: Annotated[
        int, typer.Option("--hide-up-to", help="Counts of 1 to so many are hidden, 10 or more.")
    ] = 10,
) -> None:
    """Release a table of counts with small cells hidden, unless an earlier one would uncover them."""
    from registry.cohorts import CohortFile
    from registry.engine import current_user
    from registry.package.counts import write_counts
    from registry.store import Registry

    with Registry.open(folder, write=True) as registry:
        made = write_counts(
            registry,
            target,
            by,
            purpose=reason or "",
            author=current_user(),
            as_of=day(as_of, "--as-of") or today_at(registry.site),
            start=day(start, "--from"),
            end=day(end, "--to"),
            cohort=CohortFile.read(cohort, registry.site.added_codes) if cohort else None,
            upto=upto,
        )
    frame = made.frame()
    print_rows(frame.to_dicts(), Format.TABLE, frame.columns)
    say(
        f"Release {made.number}, written to {target}. Counts of 1 to {made.upto}, and all that would give one away, are hidden."
    )
