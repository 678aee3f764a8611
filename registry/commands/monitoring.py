"""Commands that watch a measure over time, and that compare periods or groups."""

from __future__ import annotations

import json
from dataclasses import asdict
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
from registry.commands.measures import ByOption, Interval, IntervalOption
from registry.errors import UsageProblem

if TYPE_CHECKING:
    from datetime import date

    from registry.monitoring import LaterCancer

MeasureArgument = Annotated[
    str, typer.Argument(help="A measure; see: biopsy-outcomes measures.", show_default=False)
]


def monitor(
    folder: FolderArgument,
    measure: MeasureArgument,
    watched_from: Annotated[
        str | None,
        typer.Option(
            "--watched-from",
            help="First watched day; what lies before it shows what is usual.",
            show_default=False,
        ),
    ] = None,
    only: Annotated[
        str | None,
        typer.Option("--only", help="Only these procedures, such as operator=OP02.", show_default=False),
    ] = None,
    accepted: Annotated[
        float | None,
        typer.Option(
            "--accepted",
            help="Accepted rate, a proportion. Default: that before the watch.",
            show_default=False,
        ),
    ] = None,
    factor: Annotated[float, typer.Option("--factor", help="Rise looked for; 2 is a doubling.")] = 2.0,
    limit: Annotated[
        int | None,
        typer.Option(
            "--limit", help="Height at which the sum signals. Default: from --years.", show_default=False
        ),
    ] = None,
    years: Annotated[
        float, typer.Option("--years", help="False signals are rarer than one in so many years.")
    ] = 5.0,
    by_month: Annotated[bool, typer.Option("--by-month", help="Months in place of quarters.")] = False,
    adjusted: Annotated[
        bool, typer.Option("--adjusted", help="The sum adjusted for what was known before the biopsy.")
    ] = False,
    as_of: AsOfOption = None,
    start: FromOption = None,
    end: ToOption = None,
    format_: FormatOption = Format.TABLE,
) -> None:
    """Watch a measure: run chart with exact limits, running sum, run lengths, signals."""
    from registry import monitoring
    from registry.measures import load_measures
    from registry.monitoring import words

    with reading(folder) as registry:
        asked: dict[str, Any] = {
            "as_of": day(as_of, "--as-of") or today_at(registry.site),
            "start": day(start, "--from"),
            "end": day(end, "--to"),
            "watched_from": day(watched_from, "--watched-from"),
            "within": _within(only),
            "minimum": registry.site.minimum_n,
        }
        made: Any
        rows: list[dict[str, Any]] = []
        found = load_measures().get(measure)
        if found is not None and found.kind == "quantity":
            made = monitoring.weighted(registry, measure, **asked)
            said = words.weighted(made)
        elif adjusted:
            if asked["watched_from"] is None:
                raise UsageProblem("The model is fitted before the watch. Give --watched-from.")
            made = monitoring.adjusted(registry, measure, odds_ratio=factor, years=years, **asked)
            said = words.adjusted(made)
        else:
            made = monitoring.cumulative(
                registry, measure, accepted=accepted, factor=factor, limit=limit, years=years, **asked
            )
            said = words.cumulative(made)
            per = "month" if by_month else "quarter"
            least = registry.site.minimum_n
            found_points = monitoring.points(made.watched, made.accepted.rate, per)
            rows = [_period(one, least) for one in found_points]
            about = words.runs(
                monitoring.about_the_median(found_points, least),
                [one for one in found_points if one.n >= least],
                per,
            )
            said = (*said, *([about] if about else []))
    signals = [words.signal(one, number) for number, one in enumerate(made.signals, 1)]
    if format_ is Format.JSON:
        answer = {
            "measure": measure,
            "as_of": made.watched.as_of.isoformat(),
            "registry": made.watched.registry,
            "design": made.design,
            "periods": rows,
            "run_length": _run_lengths(made),
            "signals": [
                {**vars(one), "on": one.on.isoformat(), "since": one.since.isoformat()}
                for one in made.signals
            ],
            "sentences": list(said),
        }
        say(json.dumps(answer, indent=2, ensure_ascii=False, default=str))
        return
    if format_ is Format.CSV:
        keys, days = made.watched.during.get_column("procedure_id"), made.watched.during.get_column("day")
        path = zip(keys, days, made.path, strict=True)
        print_rows([{"procedure_id": k, "day": d, "height": h} for k, d, h in path], format_)
        return
    if rows:
        print_rows([_narrow(one) for one in rows], format_, width=narrow.WIDTH)
    say(f"{made.watched.title}.")
    for sentence in (*said, *(signals or ["No signal."])):
        narrow.paragraph(sentence)
    say(f"As of {made.watched.as_of}; {made.watched.registry}.")


def compare(
    folder: FolderArgument,
    measure: MeasureArgument,
    periods: Annotated[
        tuple[str, str] | None,
        typer.Option(
            "--periods",
            help="Two periods, each as 2025-01-01:2025-06-30 or 2025 or 2025-Q1.",
            show_default=False,
        ),
    ] = None,
    by: ByOption = None,
    groups: Annotated[
        tuple[str, str] | None,
        typer.Option("--groups", help="The two values of --by that are compared.", show_default=False),
    ] = None,
    as_of: AsOfOption = None,
    start: FromOption = None,
    end: ToOption = None,
    interval: IntervalOption = Interval.WILSON,
    confidence: Annotated[
        float, typer.Option("--confidence", help="Two-sided confidence.", min=0.5, max=0.9999)
    ] = 0.95,
    format_: FormatOption = Format.TABLE,
) -> None:
    """Compare a proportion, or cancer_after_benign, in two periods (--periods) or between groups (--by)."""
    from registry import monitoring
    from registry.monitoring.later_cancer import MEASURE

    if (periods is None) == (by is None):
        raise UsageProblem("Say what to compare: either --periods A B or --by STRATUM.")
    if periods is not None and (start or end):
        raise UsageProblem("--from and --to go with --by; the periods bound themselves.")
    with reading(folder) as registry:
        shared: dict[str, Any] = {
            "as_of": day(as_of, "--as-of") or today_at(registry.site),
            "confidence": confidence,
            "minimum": registry.site.minimum_n,
        }
        between: dict[str, Any] = {
            "start": day(start, "--from"),
            "end": day(end, "--to"),
            "pair": groups,
        }
        spans = None if periods is None else [_period_of(text) for text in periods]
        if measure == MEASURE:
            followed = (
                monitoring.later_cancer_in_periods(registry, spans[0], spans[1], **shared)
                if spans is not None
                else monitoring.later_cancer_by_group(registry, str(by and by.value), **between, **shared)
            )
            _print_followed(followed, format_)
            return
        shared["interval"] = interval.value
        made = (
            monitoring.compare_periods(registry, measure, spans[0], spans[1], **shared)
            if spans is not None
            else monitoring.compare_groups(registry, measure, str(by and by.value), **between, **shared)
        )
        minimum = registry.site.minimum_n
    rows = made.to_dict()["rows"]
    if format_ is Format.JSON:
        say(json.dumps(made.to_dict(), indent=2, ensure_ascii=False))
        return
    if format_ is Format.CSV:
        columns = ("measure", "group", "numerator", "denominator", "proportion", "lower", "upper", "interval")
        print_rows(rows, format_, columns)
        return
    narrow.print_proportions([{**row, "stratum": row["group"]} for row in rows], minimum)
    for sentence in made.sentences:
        narrow.paragraph(sentence)
    say(f"As of {made.as_of}; {made.registry}.")


def _print_followed(made: LaterCancer, format_: Format) -> None:
    if format_ is Format.JSON:
        say(json.dumps(made.to_dict(), indent=2, ensure_ascii=False))
        return
    rows = [asdict(one) for one in made.groups]
    if format_ is Format.TABLE:
        for one in rows:
            one["years"] = round(one["years"], 1)
            limits = (one.pop("rate"), one.pop("lower"), one.pop("upper"))
            hidden = one["procedures"] < made.minimum or None in limits
            one["in 1,000 years"] = (
                "counts only"
                if hidden
                else "{:.1f} ({:.1f} to {:.1f})".format(*limits)
                if one["cancers"]
                else f"at most {limits[2]:.1f} (one-sided)"
            )
    print_rows(rows, format_)
    if format_ is Format.TABLE:
        for sentence in made.sentences[len(rows) :]:
            narrow.paragraph(sentence)
        say(f"As of {made.as_of}; {made.registry}.")


def _within(only: str | None) -> dict[str, str]:
    if only is None:
        return {}
    name, equals, value = only.partition("=")
    if not (name and equals and value):
        raise UsageProblem(f"--only {only}: is not name=value. Write it as operator=OP02.")
    return {name: value}


def _run_lengths(made: Any) -> dict[str, Any]:
    """Run lengths in procedures: means, and medians where they are known."""
    after = getattr(made, "after_rise", None) or getattr(made, "after_shift", None)
    both = {"in_control": made.in_control, "after_change": after}
    return {
        name: vars(one) if hasattr(one, "arl") else {"arl": one, "median": None} for name, one in both.items()
    }


def _period(one: Any, minimum: int) -> dict[str, Any]:
    """A point of the run chart as a row; below the minimum counts only."""
    shown = one.n >= minimum
    limits = one.limits if shown else None
    return {
        "period": one.period,
        "x": one.x,
        "n": one.n,
        "rate": one.rate if shown else None,
        "lower": one.low if shown else None,
        "upper": one.high if shown else None,
        "limit_0_1": limits and limits[0],
        "limit_2_5": limits and limits[1],
        "limit_97_5": limits and limits[2],
        "limit_99_9": limits and limits[3],
        "lower_3_errors": one.three_errors[0] if shown and one.three_errors else None,
        "upper_3_errors": one.three_errors[1] if shown and one.three_errors else None,
        "beyond": one.beyond if shown else None,
    }


def _narrow(row: dict[str, Any]) -> dict[str, Any]:
    """The same in percent, few columns."""
    made = {"period": row["period"], "x / n": f"{row['x']} / {row['n']}"}
    if row["rate"] is None:
        return {**made, "rate % (95 % interval)": "too few", "95 % limits": "", "99.8 % limits": "", "": ""}
    rate, low, high, outer, inner, upper, most = (
        100 * row[name]
        for name in ("rate", "lower", "upper", "limit_0_1", "limit_2_5", "limit_97_5", "limit_99_9")
    )
    return {
        **made,
        "rate % (95 % interval)": f"{rate:.1f} ({low:.1f} to {high:.1f})",
        "95 % limits": f"{inner:.1f} to {upper:.1f}",
        "99.8 % limits": f"{outer:.1f} to {most:.1f}",
        "": "outside" if row["beyond"] else "",
    }


def _period_of(text: str) -> tuple[date, date]:
    """A year, a quarter, or two days parted by a colon."""
    import re
    from datetime import date, timedelta

    if found := re.fullmatch(r"(\d{4})(?:-Q([1-4]))?", text):
        year, quarter = int(found[1]), found[2]
        if quarter is None:
            return date(year, 1, 1), date(year, 12, 31)
        month = 3 * int(quarter) - 2
        end = date(year + month // 10, (month + 2) % 12 + 1, 1) - timedelta(days=1)
        return date(year, month, 1), end
    first, colon, last = text.partition(":")
    if not colon:
        raise UsageProblem(f"--periods {text}: is no period. Write 2025-01-01:2025-06-30, 2025 or 2025-Q1.")
    begin, end_ = day(first, "--periods"), day(last, "--periods")
    assert begin is not None and end_ is not None
    if begin > end_:
        raise UsageProblem(f"--periods {text}: the first day is after the last. Swap them.")
    return begin, end_
