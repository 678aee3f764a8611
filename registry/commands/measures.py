"""Commands that count: measures, measure, worklist."""

from __future__ import annotations

from enum import StrEnum
from typing import TYPE_CHECKING, Annotated, Any

import typer

from registry.commands import narrow
from registry.commands.common import (
    AsOfOption,
    FolderArgument,
    Format,
    FormatOption,
    FromOption,
    ToOption,
    day,
    print_rows,
    reading,
    say,
    today_at,
)
from registry.errors import UsageProblem

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date
    from pathlib import Path

    from registry.store import Registry

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

    _known(ids)
    with reading(folder) as registry:
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
        wider = (
            _wider(registry, results, moment, day(start, "--from"), day(end, "--to"), by, confidence)
            if format_ is Format.TABLE and interval is not Interval.CLUSTERED
            else []
        )
    rows = [one.to_dict() for one in results]
    if format_ is Format.JSON:
        import json

        say(json.dumps(rows, indent=2, default=str, ensure_ascii=False))
        return
    print_results(rows, format_, minimum)
    if format_ is Format.TABLE:
        for line in wider:
            narrow.paragraph(line)
        say(f"As of {moment}; {rows[0]['registry'] if rows else ''}.")
        say("An audit of the record: it does not decide concordance, biopsy or treatment.")


def _wider(
    registry: Registry,
    results: Sequence[object],
    as_of: date,
    start: date | None,
    end: date | None,
    by: Stratum | None,
    confidence: float,
) -> list[str]:
    """Lines for the proportions whose plain interval is more than ten per cent too narrow."""
    from registry.measures import WORTH_SAYING, CategoryTable, ProportionResult, clustering_effects

    shown = {
        (one.measure, one.stratum)
        for one in results
        if isinstance(one, ProportionResult) and one.numerator and one.denominator >= registry.site.minimum_n
    }
    ids = sorted({measure for measure, _ in shown})
    stratum = by.value if by else None
    effects = clustering_effects(
        registry, ids, as_of=as_of, start=start, end=end, by=stratum, confidence=confidence
    )
    ratios = [(_named(*key), one.ratio) for key, one in effects.items() if key in shown]
    for one in results:
        if isinstance(one, CategoryTable):
            ratios += [
                (_named(f"{one.measure}.{ratio.name}", one.stratum), ratio.clustering)
                for ratio in one.ratios
                if ratio.x and ratio.n >= registry.site.minimum_n
            ]
    wide = [(name, ratio) for name, ratio in sorted(ratios) if ratio is not None and ratio > WORTH_SAYING]
    if not wide:
        return []
    return [
        "Several procedures of one patient are alike, and the interval that allows for it is more than 10 % wider for "
        f"{', '.join(f'{name} ({ratio:.2f} times)' for name, ratio in wide)}. Ask for it with --interval clustered."
    ]


def _named(measure: str, stratum: str) -> str:
    return measure if stratum == "all" else f"{measure}, {stratum}"


def print_results(rows: list[dict[str, Any]], format_: Format, minimum: int) -> None:
    """Each kind of result in a table of its own."""
    proportions = [row for row in rows if "numerator" in row]
    quantities = [row for row in rows if "median" in row]
    others = [row for row in rows if row not in proportions and row not in quantities]
    if format_ is Format.TABLE:
        if proportions:
            narrow.print_proportions(proportions, minimum)
        if quantities:
            narrow.print_quantities(quantities)
        if proportions or quantities:
            narrow.say_left_out()
    else:
        for group, columns in ((proportions, _COLUMNS), (quantities, _QUANTITY_COLUMNS)):
            if group:
                print_rows(group, format_, columns)
    for row in others:
        if "assumptions" in row:
            _print_sampling(row, format_, minimum)
    told = [row for row in others if "assumptions" not in row]
    if format_ is not Format.TABLE:
        for measure in dict.fromkeys(row["measure"] for row in told):
            own = [row for row in told if row["measure"] == measure]
            parts = [
                {"measure": measure, "stratum": row["stratum"], **part} for row in own for part in row["rows"]
            ]
            print_rows(parts, format_)
        return
    for row in told:
        show = narrow.print_categories if "cells" in row else narrow.print_curve
        show(row, minimum)
    if curves := [row for row in told if "cells" not in row]:
        narrow.say_of_curves(curves[0])


def _print_sampling(row: dict[str, Any], format_: Format, minimum: int) -> None:
    """Shares with everything that they assume; counts only below the site's minimum."""
    parts = [{"stratum": row["stratum"], **part} for part in row["rows"]]
    if format_ is not Format.TABLE:
        print_rows(parts, format_)
        return
    left_out = sum(row["excluded"].values())
    say(
        f"{row['measure']}, {row['stratum']}: {row['n']} procedures of {row['patients']} patients, {left_out} left out; "
        f"hours not known or not placed: {row['hours_not_known']}."
    )
    print_rows(
        [{"left out because": reason, "procedures": number} for reason, number in row["excluded"].items()],
        format_,
    )
    if row["n"] < minimum:
        say(f"Fewer than {minimum} procedures: counts only.")
    else:
        print_rows(parts, format_)
        say(f"Numerical error (standard error) at most {row['numerical_error']:.2g}.")
    for sentence in (*row["assumptions"], row["caution"]):
        say(f"- {sentence}")


def _procedures(
    folder: Path,
    ids: list[str],
    as_of: str | None,
    start: str | None,
    end: str | None,
    by: Stratum | None,
    format_: Format,
) -> None:
    from registry import sampling
    from registry.measures import procedures

    _known(ids)
    with reading(folder) as registry:
        moment = day(as_of, "--as-of") or today_at(registry.site)
        for one in ids:
            period = {"as_of": moment, "start": day(start, "--from"), "end": day(end, "--to")}
            split = by.value if by else None
            found = (
                sampling.sampling_procedures(registry, **period, by=split)  # type: ignore[arg-type]
                if one == sampling.MEASURE
                else procedures(registry, one, **period, by=split)  # type: ignore[arg-type]
            )
            shown = found.columns
            if one == sampling.MEASURE and format_ is Format.TABLE:
                # The inputs beside the figures are for a file: a table has no room for them.
                shown = shown[: shown.index("numerical_error") + 1]
            print_rows(found.to_dicts(), format_, shown)


def worklist(
    folder: FolderArgument,
    name: Annotated[
        str | None, typer.Argument(help="Worklist; without it they are listed.", show_default=False)
    ] = None,
    as_of: AsOfOption = None,
    format_: FormatOption = Format.TABLE,
) -> None:
    """What waits for somebody: reviews, reports, follow-ups."""
    from registry.worklists import load_worklists, rows

    known = load_worklists()
    if name is None:
        print_rows(
            [{"worklist": one.name, "title": one.title} for one in known.values()],
            format_,
            ("worklist", "title"),
        )
        return
    asked = known.get(name.replace("-", "_"))
    if asked is None:
        raise UsageProblem(f"{name}: there is no such worklist. Known: {', '.join(known)}.")
    with reading(folder) as registry:
        found = rows(registry, asked.name, as_of=day(as_of, "--as-of") or today_at(registry.site))
    if format_ is not Format.TABLE:
        print_rows(found.to_dicts(), format_, found.columns)
        return
    words = [
        {name: value.replace("_", " ") if isinstance(value, str) else value for name, value in row.items()}
        for row in found.select(asked.narrow).to_dicts()
    ]
    print_rows(words, format_, asked.narrow, width=narrow.WIDTH)
    if found.height:
        say(f"{asked.title}: {found.height} in all. Every column: --format json or csv.")
