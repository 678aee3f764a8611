"""Commands that count: measures, measure, worklist."""

from __future__ import annotations

from enum import StrEnum
from typing import TYPE_CHECKING, Annotated, Any

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

if TYPE_CHECKING:
    from pathlib import Path

_COLUMNS = (
    "measure",
    "stratum",
    "numerator",
    "denominator",
    "proportion",
    "lower",
    "upper",
    "interval",
    "bounds",
    "excluded",
    "patients",
)
_QUANTITY_COLUMNS = (
    "measure",
    "stratum",
    "unit",
    "n",
    "missing",
    "median",
    "lower",
    "upper",
    "q1",
    "q3",
    "p5",
    "p95",
    "excluded",
)


class Interval(StrEnum):
    """Interval method of a proportion."""

    WILSON = "wilson"
    EXACT = "exact"
    JEFFREYS = "jeffreys"
    CLUSTERED = "clustered"


class Stratum(StrEnum):
    """What a measure can be split by."""

    SITE = "site"
    OPERATOR = "operator"
    GUIDANCE = "guidance"
    APPROACH = "approach"
    ASSESSMENT = "assessment"
    FINDING_TYPE = "finding_type"
    INDICATION = "indication"
    CORRELATE = "correlate"
    DEVICE = "device"
    GAUGE = "gauge"
    YEAR = "year"
    QUARTER = "quarter"


ByOption = Annotated[Stratum | None, typer.Option("--by", help="Split by this.", show_default=False)]
IntervalOption = Annotated[Interval, typer.Option("--interval", help="Interval method.")]
ConfidenceOption = Annotated[
    float, typer.Option("--confidence", help="Two-sided confidence of the interval.", min=0.5, max=0.9999)
]


def measures(
    folder: Annotated[
        str | None,
        typer.Argument(help="Registry folder; without it the measures are only listed.", show_default=False),
    ] = None,
    as_of: AsOfOption = None,
    start: FromOption = None,
    end: ToOption = None,
    by: ByOption = None,
    interval: IntervalOption = Interval.WILSON,
    confidence: ConfidenceOption = 0.95,
    format_: FormatOption = Format.TABLE,
) -> None:
    """All measures of a registry; without a folder, the list of measures."""
    from pathlib import Path

    from registry.measures import load_measures

    known = load_measures()
    if folder is None:
        rows = [{"measure": one.id, "kind": one.kind, "title": one.title} for one in known.values()]
        print_rows(rows, format_, ("measure", "kind", "title"))
        return
    ids = [one.id for one in known.values() if one.kind in ("proportion", "quantity")]
    _evaluate(Path(folder), ids, as_of, start, end, by, interval, confidence, format_)


def measure(
    folder: FolderArgument,
    name: Annotated[
        list[str],
        typer.Argument(help="One or more measures; see: biopsy-outcomes measures.", show_default=False),
    ],
    as_of: AsOfOption = None,
    start: FromOption = None,
    end: ToOption = None,
    by: ByOption = None,
    interval: IntervalOption = Interval.WILSON,
    confidence: ConfidenceOption = 0.95,
    procedures: Annotated[
        bool, typer.Option("--procedures", help="List the procedures behind the number.")
    ] = False,
    format_: FormatOption = Format.TABLE,
) -> None:
    """One measure: count, interval, exclusions; or the procedures behind it."""
    if procedures:
        _procedures(folder, name, as_of, start, end, by, format_)
    else:
        _evaluate(folder, name, as_of, start, end, by, interval, confidence, format_)


def _known(ids: list[str]) -> None:
    import difflib

    from registry.measures import load_measures

    known = load_measures()
    for one in ids:
        if one not in known:
            near = difflib.get_close_matches(one, known, n=1)
            guess = f" Did you mean {near[0]}?" if near else ""
            raise UsageProblem(f"{one}: there is no such measure.{guess} See: biopsy-outcomes measures")


def _evaluate(
    folder: Path,
    ids: list[str],
    as_of: str | None,
    start: str | None,
    end: str | None,
    by: Stratum | None,
    interval: Interval,
    confidence: float,
    format_: Format,
) -> None:
    from registry.measures import evaluate
    from registry.store import Registry

    _known(ids)
    with Registry.open(folder) as registry:
        moment = day(as_of, "--as-of") or today_at(registry.site)
        results = evaluate(
            registry,
            ids,
            as_of=moment,
            start=day(start, "--from"),
            end=day(end, "--to"),
            by=by.value if by else None,
            interval=interval.value,
            confidence=confidence,
        )
        minimum = registry.site.minimum_n
    rows = [one.to_dict() for one in results]
    if format_ is Format.JSON:
        import json

        say(json.dumps(rows, indent=2, default=str, ensure_ascii=False))
        return
    _print_kinds(rows, format_, minimum)
    if format_ is Format.TABLE:
        say(f"As of {moment}; {rows[0]['registry'] if rows else ''}.")
        say("An audit of the record: it does not decide concordance, biopsy or treatment.")


def _print_kinds(rows: list[dict[str, Any]], format_: Format, minimum: int) -> None:
    """Each kind of result in a table of its own."""
    proportions = [row for row in rows if "numerator" in row]
    quantities = [row for row in rows if "median" in row]
    others = [row for row in rows if row not in proportions and row not in quantities]
    if format_ is Format.TABLE:
        proportions = [_without_percentage(row, minimum) for row in proportions]
    for group, columns in ((proportions, _COLUMNS), (quantities, _QUANTITY_COLUMNS)):
        if group:
            print_rows(group, format_, columns)
    for row in others:
        for part in row.get("rows", [row]):
            print_rows([part], format_)


def _without_percentage(row: dict[str, Any], minimum: int) -> dict[str, Any]:
    """Below the site's minimum only counts are shown; an empty denominator says so."""
    if row["denominator"] == 0:
        return {**row, "proportion": "no procedures", "lower": None, "upper": None}
    if row["denominator"] < minimum:
        return {**row, "proportion": f"fewer than {minimum}", "lower": None, "upper": None}
    return row


def _procedures(
    folder: Path,
    ids: list[str],
    as_of: str | None,
    start: str | None,
    end: str | None,
    by: Stratum | None,
    format_: Format,
) -> None:
    from registry.measures import procedures
    from registry.store import Registry

    _known(ids)
    with Registry.open(folder) as registry:
        moment = day(as_of, "--as-of") or today_at(registry.site)
        for one in ids:
            found = procedures(
                registry,
                one,
                as_of=moment,
                start=day(start, "--from"),
                end=day(end, "--to"),
                by=by.value if by else None,
            )
            print_rows(found.to_dicts(), format_, found.columns)


def worklist(
    folder: FolderArgument,
    name: Annotated[
        str | None, typer.Argument(help="Worklist; without it they are listed.", show_default=False)
    ] = None,
    as_of: AsOfOption = None,
    format_: FormatOption = Format.TABLE,
) -> None:
    """What waits for somebody: reviews, reports, follow-ups."""
    from registry.store import Registry
    from registry.worklists import load_worklists, rows

    known = load_worklists()
    if name is None:
        print_rows(
            [{"worklist": one.name, "title": one.title} for one in known.values()],
            format_,
            ("worklist", "title"),
        )
        return
    if name.replace("-", "_") not in known:
        raise UsageProblem(f"{name}: there is no such worklist. Known: {', '.join(known)}.")
    with Registry.open(folder) as registry:
        found = rows(registry, name.replace("-", "_"), as_of=day(as_of, "--as-of") or today_at(registry.site))
    print_rows(found.to_dicts(), format_, found.columns)
