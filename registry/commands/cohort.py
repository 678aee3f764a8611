"""Commands of the researcher: a cohort file checked, drawn, described, analysed and frozen."""

from __future__ import annotations

import json
import sys
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from registry.commands import narrow
from registry.commands.common import FolderArgument, Format, FormatOption, print_rows, reading, say
from registry.commands.measures import ConfidenceOption, Interval, IntervalOption, print_results
from registry.errors import FileProblem
from registry.numerals import grouped

if TYPE_CHECKING:
    from collections.abc import Iterator

    from registry.cohorts import CohortFile, Drawn
    from registry.store import Registry

app = typer.Typer(
    help="Cohorts of a study: check a cohort file, see its flow and its first table, analyse it, freeze it.",
    no_args_is_help=True,
)
FileArgument = Annotated[
    Path, typer.Argument(help="Cohort file (JSON); see docs/cohorts.md.", show_default=False)
]
FigureOption = Annotated[
    Path | None, typer.Option("--figure", help="Also write the flow as a figure (SVG).", show_default=False)
]


@app.command("check")
def check(
    file: FileArgument,
    registry: Annotated[
        Path | None,
        typer.Option(
            "--registry", help="Registry whose own codes may stand in the file.", show_default=False
        ),
    ] = None,
) -> None:
    """Read a cohort file strictly, and say what it holds and its SHA-256."""
    from registry.cohorts import CohortFile

    if registry is None:
        made = CohortFile.read(file)
    else:
        with reading(registry) as opened:
            made = CohortFile.read(file, opened.site.added_codes)
    say(f"{made.name}, version {made.version}: {made.title}")
    say(f"Project {made.project}; unit {made.unit}; as of {made.as_of}; {len(made.steps)} steps.")
    say(f"SHA-256 {made.sha256}")


@app.command("flow")
def flow(
    folder: FolderArgument,
    file: FileArgument,
    figure: FigureOption = None,
    format_: FormatOption = Format.TABLE,
) -> None:
    """From all procedures to those analysed: how many each step leaves out, and why."""
    from registry.cohorts import flow_figure

    with _drawn(folder, file) as (_, drawn):
        rows = [vars(one) for one in drawn.flow]
        if figure is not None:
            _write(figure, flow_figure(drawn.flow)[0])
        if format_ is not Format.TABLE:
            print_rows(rows, format_)
            return
        print_rows(
            [
                {
                    "": "    " + one.label if one.kind in ("box", "beside") else one.label,
                    "left out": one.left_out if one.kind in ("step", "box") else None,
                    "stay in": one.left_out if one.kind == "beside" else None,
                    "remaining": one.remaining if one.kind != "box" else None,
                }
                for one in drawn.flow
            ],
            format_,
            width=narrow.WIDTH,
        )
        _end(drawn)


@app.command("table-one")
def table_one(
    folder: FolderArgument,
    file: FileArgument,
    by: Annotated[
        str | None, typer.Option("--by", help="Split, such as guidance, site or year.", show_default=False)
    ] = None,
    column: Annotated[
        list[str] | None,
        typer.Option("--column", help="A column to describe; may be repeated.", show_default=False),
    ] = None,
    means: Annotated[
        bool, typer.Option("--means", help="Mean and SD in place of median and quartiles.")
    ] = False,
    format_: FormatOption = Format.TABLE,
) -> None:
    """Who and what the cohort holds, by groups, with what is not recorded and standardised differences."""
    from registry.cohorts import table_one as describe

    with _drawn(folder, file) as (registry, drawn):
        made = describe(drawn, by=by, columns=column, minimum=registry.site.minimum_n)
    if format_ is Format.JSON:
        say(json.dumps(made.to_dict(), indent=2, ensure_ascii=False))
        return
    if format_ is Format.CSV:
        print_rows(made.frame.to_dicts(), format_, made.frame.columns)
        return
    print_rows(made.rows(means=means), format_, width=None)
    narrow.paragraph(made.note(means=means))
    _end(drawn)


@app.command("measures")
def measures(
    folder: FolderArgument,
    file: FileArgument,
    measure: Annotated[
        list[str] | None,
        typer.Option("--measure", help="A measure; may be repeated. Default: all.", show_default=False),
    ] = None,
    interval: IntervalOption = Interval.WILSON,
    confidence: ConfidenceOption = 0.95,
    format_: FormatOption = Format.TABLE,
) -> None:
    """Measures of the handbook among the procedures of the cohort."""
    from registry.cohorts import cohort_measures

    with _drawn(folder, file) as (registry, drawn):
        results = cohort_measures(registry, drawn, measure, interval=interval.value, confidence=confidence)
        minimum = registry.site.minimum_n
    rows = [one.to_dict() for one in results]
    if format_ is Format.JSON:
        say(json.dumps(rows, indent=2, default=str, ensure_ascii=False))
        return
    print_results(rows, format_, minimum)
    if format_ is Format.TABLE:
        _end(drawn)


@app.command("outcomes")
def outcomes(
    folder: FolderArgument,
    file: FileArgument,
    interval: IntervalOption = Interval.WILSON,
    confidence: ConfidenceOption = 0.95,
    format_: FormatOption = Format.TABLE,
) -> None:
    """Upgrades and missed cancers: what is pending left out, as best and as worst."""
    from registry.cohorts import outcomes as find

    with _drawn(folder, file) as (registry, drawn):
        found = find(registry, drawn, interval=interval.value, confidence=confidence)
        minimum = registry.site.minimum_n
    if format_ is not Format.TABLE:
        print_rows([one.to_dict() for one in found], format_)
        return
    print_rows([_outcome(one, minimum) for one in found], format_, width=narrow.WIDTH)
    narrow.paragraph(
        f"Interval: {found[0].method}, {100 * confidence:g} %. Pending as best: none of what is not known had counted; "
        "as worst: all of it had. Asked of the procedures that came as far as the reference standard."
    )
    _end(drawn)


def _outcome(one: Any, minimum: int) -> dict[str, Any]:
    made = {
        "measure": one.measure,
        "reading": one.reading,
        "x / n": f"{grouped(one.numerator)} / {grouped(one.denominator)}",
    }
    if not one.denominator:
        said = "no procedures"
    elif one.denominator < minimum:
        said = f"fewer than {minimum}: counts only"
    else:
        said = f"{100 * one.proportion:.1f} % ({100 * one.lower:.1f} to {100 * one.upper:.1f})"
    return {**made, "rate (interval)": said, "pending": one.pending}


@app.command("model")
def model(
    folder: FolderArgument,
    file: FileArgument,
    outcome: Annotated[
        str,
        typer.Option(
            "--outcome", help="A proportion of the handbook, such as cancer_at_biopsy.", show_default=False
        ),
    ],
    covariates: Annotated[
        str, typer.Option("--covariates", help="Columns, parted by commas.", show_default=False)
    ],
    method: Annotated[str, typer.Option("--method", help="gee (clustered by patient) or firth.")] = "gee",
    confidence: ConfidenceOption = 0.95,
    format_: FormatOption = Format.TABLE,
) -> None:
    """Logistic regression over the cohort: odds ratios with their intervals."""
    from registry.cohorts import model as fit

    # The regression over patients needs it, and the command line has put it out of the way.
    sys.modules.pop("pandas", None)
    names = [one.strip() for one in covariates.split(",") if one.strip()]
    with _drawn(folder, file) as (registry, drawn):
        made = fit(registry, drawn, outcome=outcome, covariates=names, method=method, confidence=confidence)
    if format_ is Format.JSON:
        say(json.dumps(made.to_dict(), indent=2, ensure_ascii=False))
        return
    if format_ is Format.CSV:
        print_rows(made.rows(), format_)
        return
    say(f"{made.outcome}: {made.events} of {made.n} procedures, {made.patients} patients.")
    print_rows(
        [
            {
                "covariate": one["covariate"],
                "level": one["level"] or "",
                "against": one["reference"] or "",
                f"odds ratio ({100 * confidence:g} % interval)": f"{one['odds_ratio']:.3g} ({one['odds_ratio_lower']:.3g} to {one['odds_ratio_upper']:.3g})",
            }
            for one in made.rows()
        ],
        format_,
        width=narrow.WIDTH,
    )
    narrow.paragraph(f"{made.printed[0].upper()}{made.printed[1:]}.")
    if made.left_out:
        narrow.paragraph(
            "Left out: " + "; ".join(f"{number} {why}" for why, number in made.left_out.items()) + "."
        )
    for one in made.cautions:
        narrow.paragraph(one)
    _end(drawn)


@app.command("freeze")
def freeze(folder: FolderArgument, file: FileArgument) -> None:
    """Keep a cohort file in the registry as it is; a later version names it by its SHA-256."""
    from registry.cohorts import CohortFile
    from registry.cohorts import freeze as keep
    from registry.engine import current_user
    from registry.store import Registry

    with Registry.open(folder, write=True) as registry:
        made = CohortFile.read(file, registry.site.added_codes)
        kept = keep(registry, made, author=current_user())
    say(
        f"{kept.name}, version {kept.version}, was frozen by {kept.author} at {kept.frozen_at:%Y-%m-%d %H:%M} UTC."
    )
    say(f"SHA-256 {kept.sha256}")


@app.command("list")
def list_(
    folder: FolderArgument,
    show: Annotated[
        str | None, typer.Option("--show", help="Print one frozen file, as NAME:VERSION.", show_default=False)
    ] = None,
    format_: FormatOption = Format.TABLE,
) -> None:
    """Frozen cohort files of a registry."""
    from registry.cohorts import frozen

    with reading(folder) as registry:
        found = frozen(registry)
    if show is not None:
        wanted = [one for one in found if f"{one.name}:{one.version}" == show]
        if not wanted:
            raise FileProblem(
                f"{show}: no such cohort file is frozen. Write NAME:VERSION as cohort list shows them."
            )
        say(json.dumps(json.loads(wanted[0].content), indent=2, ensure_ascii=False))
        return
    rows = [
        {
            "name": one.name,
            "version": one.version,
            "title": json.loads(one.content)["title"],
            "author": one.author,
            "frozen_at": f"{one.frozen_at:%Y-%m-%d %H:%M}",
            "sha256": one.sha256,
        }
        for one in found
    ]
    print_rows(rows, format_, ("name", "version", "title", "author", "frozen_at", "sha256"))


@contextmanager
def _drawn(folder: Path, file: Path) -> Iterator[tuple[Registry, Drawn]]:
    """The registry for reading, and the cohort of a file drawn from it."""
    from registry.cohorts import CohortFile, draw

    with reading(folder) as registry:
        made: CohortFile = CohortFile.read(file, registry.site.added_codes)
        yield registry, draw(registry, made)


def _end(drawn: Drawn) -> None:
    one = drawn.cohort_file
    units = f"{one.unit}s" if one.unit != "patient" else "patients"
    said = f"{grouped(drawn.frame.height)} {units}" + (
        "" if one.unit == "patient" else f" of {grouped(drawn.patients)} patients"
    )
    say(f"{one.name}, version {one.version}: {said}, as of {one.as_of}; SHA-256 {one.sha256}.")
    say("An audit of the record: it does not decide concordance, biopsy or treatment.")


def _write(path: Path, text: str) -> None:
    try:
        path.write_text(text, encoding="utf-8")
    except OSError as problem:
        raise FileProblem(f"{path}: cannot be written: {problem.strerror}.") from None
    say(f"Wrote {path}")
