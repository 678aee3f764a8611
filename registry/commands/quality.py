"""Commands of the quality committee: operators and sites beside one another, the yearly table."""

from __future__ import annotations

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

if TYPE_CHECKING:
    from collections.abc import Sequence


def units(
    folder: FolderArgument,
    measure: Annotated[
        str, typer.Argument(help="A proportion; see: biopsy-outcomes measures.", show_default=False)
    ],
    by: Annotated[str, typer.Option("--by", help="operator or site.")] = "operator",
    as_of: AsOfOption = None,
    start: FromOption = None,
    end: ToOption = None,
    format_: FormatOption = Format.TABLE,
) -> None:
    """Operators or sites beside one another for one proportion; nobody is ranked."""
    from registry import units as beside

    with reading(folder) as registry:
        made = beside.funnel(
            registry,
            measure,
            by=by,
            as_of=day(as_of, "--as-of") or today_at(registry.site),
            start=day(start, "--from"),
            end=day(end, "--to"),
            minimum=registry.site.minimum_n,
        )
    if format_ is Format.JSON:
        import json

        say(json.dumps(made.to_dict(), indent=2, ensure_ascii=False, default=str))
        return
    if format_ is Format.CSV:
        print_rows([_flat(one) for one in made.to_dict()["units"]], format_)
        return
    print_rows([_unit(one) for one in made.units], format_, width=narrow.WIDTH)
    for sentence in made.sentences:
        narrow.paragraph(sentence)
    say(f"As of {made.as_of}; {made.registry}.")


def _flat(one: dict[str, Any]) -> dict[str, Any]:
    """A unit with its limits and its background as columns of their own."""
    limits = dict(zip(_LIMITS, one.pop("limits") or [None] * len(_LIMITS), strict=True))
    background = one.pop("background") or {}
    supervisors = "; ".join(background.pop("supervisors", ()))
    return {**one, **limits, **{name: background.get(name) for name in _BROUGHT}, "supervisors": supervisors}


_LIMITS = ("limit_0_1", "limit_2_5", "limit_97_5", "limit_99_9")
_BROUGHT = ("role", "experience_before", "procedures", "attempted", "supervised")


def _unit(one: Any) -> dict[str, Any]:
    made: dict[str, Any] = {
        "unit": one.code or ("" if one.own else "(not named)"),
        "x / n": f"{one.x} / {one.n}",
    }
    if not one.looked_at:
        return {**made, "rate (95 % interval)": "counts only", **dict.fromkeys(_EMPTY, "")}
    background = one.background
    return {
        **made,
        "rate (95 % interval)": f"{100 * one.proportion:.1f} % ({100 * one.lower:.1f} to {100 * one.upper:.1f})",
        "expected": "" if one.expected is None else f"{one.expected:.1f}",
        "shrunken": "" if one.shrunken is None else f"{100 * one.shrunken:.1f} %",
        "outside": one.outside,
        "flag": "look" if one.flagged else "",
        "before": ""
        if background is None or background.experience_before is None
        else background.experience_before,
    }


_EMPTY = ("expected", "shrunken", "outside", "flag", "before")


def yearly(
    folder: FolderArgument,
    until: Annotated[
        str, typer.Option("--until", help="Last day of the twelve months (YYYY-MM-DD).", show_default=False)
    ],
    by: Annotated[str, typer.Option("--by", help="device, guidance or site.")] = "device",
    as_of: AsOfOption = None,
    format_: FormatOption = Format.TABLE,
) -> None:
    """The yearly table: procedures, results, repeats by reason, complications that needed treatment."""
    from registry import quality

    last = day(until, "--until")
    assert last is not None
    with reading(folder) as registry:
        made = quality.yearly(
            registry, until=last, as_of=day(as_of, "--as-of") or today_at(registry.site), by=by
        )
    if format_ is Format.JSON:
        import json

        say(json.dumps(made.to_dict(), indent=2, ensure_ascii=False))
        return
    if format_ is Format.CSV:
        print_rows(_cells(made), format_)
        return
    say(f"Procedures from {made.start} to {made.until}.")
    for one in made.tables:
        for caption, places in one.parts():
            say(f"\n{caption}")
            for columns in _in_width(places):
                print_rows(_printed(one, columns), format_, width=narrow.WIDTH)
    held = [text for text, holds in made.identities if holds]
    broken = [text for text, holds in made.identities if not holds]
    narrow.paragraph(f"Checked: {'; '.join(held)}.")
    if broken:
        narrow.paragraph(f"Does not hold: {'; '.join(broken)}.")
    narrow.paragraph(
        f"Still open: {made.waiting_report} reports and the complications of {made.waiting_complication} procedures of the "
        f"last 30 days; repeats of {made.waiting_repeat} procedures of the last 365 days."
    )
    narrow.paragraph(made.note)
    say(f"As of {made.as_of}; {made.registry}.")


def _cells(made: Any) -> list[dict[str, Any]]:
    return [
        {"part": one.name, "row": row, "column": column, "procedures": number}
        for one in made.tables
        for (row, _), counts in zip(one.rows, one.counts, strict=True)
        for (column, _), number in zip(one.columns, counts, strict=True)
    ]


#: Columns of counts that a line of 100 characters has room for beside the first.
_WIDE = 5


def _in_width(places: Sequence[int]) -> list[list[int]]:
    """Places of the columns of each table that is printed: all procedures first in each."""
    return [[0, *places[first : first + _WIDE]] for first in range(1, max(len(places), 2), _WIDE)]


def _printed(one: Any, columns: list[int]) -> list[dict[str, Any]]:
    return [
        {"": text, **{one.columns[place][1]: counts[place] for place in columns}}
        for (_, text), counts in zip(one.rows, one.counts, strict=True)
    ]
