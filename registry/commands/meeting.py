"""Commands around the meeting: how long the steps take, and whether those who decide agree."""

from __future__ import annotations

import json
from pathlib import Path
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
    from datetime import date

    from registry.agreement import Agreement
    from registry.store import Registry
    from registry.timeliness import Interval


def timeliness(
    folder: FolderArgument,
    as_of: AsOfOption = None,
    start: FromOption = None,
    end: ToOption = None,
    by: Annotated[str | None, typer.Option("--by", help="site, year or quarter.", show_default=False)] = None,
    faults: Annotated[
        bool,
        typer.Option("--faults", help="List the steps dated before the one they follow, one line each."),
    ] = False,
    format_: FormatOption = Format.TABLE,
) -> None:
    """Days from finding to advice, biopsy, report, review, telling the patient and action."""
    from registry import timeliness as steps

    with reading(folder) as registry:
        on = day(as_of, "--as-of") or today_at(registry.site)
        if faults:
            if by is not None:
                raise UsageProblem("--faults lists procedures one by one and is not split. Leave --by out.")
            _faults(registry, on, day(start, "--from"), day(end, "--to"), format_)
            return
        made = steps.timeliness(registry, as_of=on, start=day(start, "--from"), end=day(end, "--to"), by=by)
        minimum, stamp = registry.site.minimum_n, registry.stamp()
    if format_ is not Format.TABLE:
        print_rows([one.to_dict() for one in made], format_)
        return
    print_rows([_interval(one, minimum, by is not None) for one in made], format_, width=narrow.WIDTH)
    narrow.paragraph(
        "Days of the calendar; median with its 95 % order-statistic limits. Limits are local and stand under [timeliness] "
        "in site.toml; without one no share is shown. Steps dated before the one they follow are left out and counted as faults; "
        "--faults lists them."
    )
    say(f"As of {on}; {stamp}.")


def _faults(registry: Registry, on: date, start: date | None, end: date | None, format_: Format) -> None:
    """Steps dated before the one they follow; one of both dates is wrong."""
    from registry import timeliness as steps

    found = steps.faults(registry, as_of=on, start=start, end=end)
    rows = found.to_dicts()
    if format_ is not Format.TABLE:
        print_rows(rows, format_, found.columns)
        return
    stamp = f"As of {on}; {registry.stamp()}."
    if not rows:
        say(f"No step is dated before the one it follows. {stamp}")
        return
    print_rows(
        [{**row, "interval": steps.INTERVALS[row["interval"]]} for row in rows], format_, width=narrow.WIDTH
    )
    say(f"One of the two dates is wrong: correct it in its record. {stamp}")


def _interval(one: Interval, minimum: int, split: bool) -> dict[str, Any]:
    limits = "" if one.lower is None or one.upper is None else f" ({one.lower:g} to {one.upper:g})"
    share = ""
    if one.limit is not None and one.within is not None:
        share = f"{one.within} / {one.n} in {one.limit:g} d"
        if one.n >= minimum and one.share is not None:
            share += f", {100 * one.share:.0f} %"
    made = {"interval": one.words, **({"stratum": one.stratum} if split else {})}
    return {
        **made,
        "n": one.n,
        "median, d": "" if one.median is None else f"{one.median:g}{limits}",
        "quartiles": "" if one.q1 is None else f"{one.q1:g} to {one.q3:g}",
        "90 %": "" if one.p90 is None else f"{one.p90:g}",
        "in the local limit": share,
        "missing": one.missing,
        "faults": one.negative,
    }


def agreement(
    folder: FolderArgument,
    as_of: AsOfOption = None,
    start: FromOption = None,
    end: ToOption = None,
    format_: FormatOption = Format.TABLE,
) -> None:
    """Do those who decide agree: provisional with joint, two readers, flags with decisions."""
    from registry import agreement as audit
    from registry.agreement import words

    with reading(folder) as registry:
        on = day(as_of, "--as-of") or today_at(registry.site)
        made = audit.agreement(registry, as_of=on, start=day(start, "--from"), end=day(end, "--to"))
        minimum, stamp = registry.site.minimum_n, registry.stamp()
    if format_ is Format.JSON:
        say(json.dumps(made.to_dict(), indent=2, ensure_ascii=False))
        return
    if format_ is Format.CSV:
        print_rows([_flat(one) for one in made.to_dict()["pairs"]], format_)
        return
    print_rows([_pair(one, minimum) for one in made.pairs], format_, width=narrow.WIDTH)
    for one in made.pairs:
        if said := words.changed(one, minimum):
            narrow.paragraph(f"{one.words}. {said}")
    narrow.paragraph(words.read_by_several(made.several, minimum))
    first = made.own_view_first
    share = "" if first.share is None or first.n < minimum else f", {100 * first.share:.0f} %"
    narrow.paragraph(
        f"Decided before flags were shown: {first.x} of {first.n}{share}; not recorded in {first.not_recorded}."
    )
    narrow.paragraph(
        "Counts: both discordant, the first alone, the second alone, neither. Kappa falls when one answer is rare; read it with the "
        "counts and AC1. Flags are those that the rules in force propose on the record as it stands now."
    )
    say(f"As of {on}; {stamp}.")


def _flat(one: dict[str, Any]) -> dict[str, Any]:
    for name in ("kappa_ci", "ac1_ci"):
        low, high = one.pop(name)
        one |= {f"{name[:-3]}_lower": low, f"{name[:-3]}_upper": high}
    moved = one.pop("change")
    low, high = moved["ci"]
    return {
        **one,
        "difference": moved["difference"],
        "difference_lower": low,
        "difference_upper": high,
        "p": moved["p"],
    }


def _pair(one: Agreement, minimum: int) -> dict[str, Any]:
    def with_limits(value: float | None, limits: tuple[float | None, float | None]) -> str:
        if value is None or one.n < minimum:
            return ""
        low, high = limits
        return f"{value:z.2f}" + ("" if low is None or high is None else f" ({low:z.2f} to {high:z.2f})")

    return {
        "pair": one.words,
        "n": one.n,
        "counts": f"{one.both} / {one.first_only} / {one.second_only} / {one.neither}",
        "kappa": with_limits(one.kappa, one.kappa_ci),
        "AC1": with_limits(one.ac1, one.ac1_ci),
        "one only": one.unpaired,
    }


def recall_identified(
    folder: FolderArgument,
    purpose: Annotated[
        str,
        typer.Option(
            "--reason", help="What the identifiers are for; written to the trail.", show_default=False
        ),
    ],
    out: Annotated[Path, typer.Option("--out", help="CSV file to write.", show_default=False)],
    as_of: AsOfOption = None,
) -> None:
    """Identifiers of those whose follow-up is due, as CSV for a letter merge; written to the trail."""
    from registry.follow_up import recall
    from registry.package.guard import guard
    from registry.store import Registry

    if out.exists():
        raise UsageProblem(f"{out}: is there already. Name another file, or move it away.")
    with Registry.open(folder, write=True) as registry:
        rows = recall(registry, as_of=day(as_of, "--as-of") or today_at(registry.site), purpose=purpose)
    out.touch(mode=0o600)
    guard(rows)[0].write_csv(out)
    say(f"{out}: {rows.height} patients. The file names people: keep it no longer than the letters need.")
