"""The command that summarises targeting errors as vectors: targeting."""

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

if TYPE_CHECKING:
    from registry.aim import Basis, Lengths, Mean, Summary

_COLUMNS = (
    "stratum",
    "of",
    "n",
    "figure",
    "direction",
    "mm",
    "lower",
    "upper",
    "upper_bound",
    "reason",
)


class Split(StrEnum):
    """What targeting errors can be split by."""

    APPROACH = "approach"
    DEVICE = "device"
    GUIDANCE = "guidance"
    SITE = "site"
    OPERATOR = "operator"
    YEAR = "year"
    QUARTER = "quarter"


class Directions(StrEnum):
    """In which directions means are taken."""

    NEEDLE = "needle"
    BREAST = "breast"


def targeting(
    folder: FolderArgument,
    as_of: AsOfOption = None,
    start: FromOption = None,
    end: ToOption = None,
    by: Annotated[Split | None, typer.Option("--by", help="Split by this.", show_default=False)] = None,
    directions: Annotated[
        Directions,
        typer.Option(
            help="Means along and across the needle (the needle axis with most procedures), or in directions of the breast."
        ),
    ] = Directions.NEEDLE,
    format_: FormatOption = Format.TABLE,
) -> None:
    """Targeting errors as vectors: mean with joint region, spread, motion, first attempt against last."""
    from registry import aim
    from registry.aim.within import sentence

    with reading(folder) as registry:
        moment = day(as_of, "--as-of") or today_at(registry.site)
        rows = aim.vectors(registry, as_of=moment, start=day(start, "--from"), end=day(end, "--to"))
        frames, minimum, stamp = registry.site.frames, registry.site.minimum_n, registry.stamp()
    wanted = [
        basis
        for basis, _ in aim.bases(rows, frames)
        if bool(basis.needle_axis) is (directions is Directions.NEEDLE)
    ]
    basis = wanted[0] if wanted else None
    found = (
        aim.by_stratum(rows, by.value, frames, basis) if by else [("all", aim.summary(rows, frames, basis))]
    )
    if format_ is Format.JSON:
        import json

        document = [
            {
                "stratum": name,
                "as_of": moment,
                "from": start,
                "to": end,
                "registry": stamp,
                **_nested(one),
            }
            for name, one in found
        ]
        say(json.dumps(document, indent=2, default=str, ensure_ascii=False))
        return
    few = minimum if format_ is Format.TABLE else 0
    print_rows([row for name, one in found for row in _rows(name, one, few)], format_, _COLUMNS)
    if format_ is Format.TABLE:
        _beside(found[0][1] if not by else aim.summary(rows, frames, basis), basis)
        if basis is not None:
            for one in aim.within(aim.points(rows, basis)):
                narrow.paragraph(sentence(one, minimum))
        say(f"As of {moment}; {stamp}.")
        say("Positions are compared after the procedure, never while the needle is in place.")


def _beside(whole: Summary, basis: Basis | None) -> None:
    """What the figures are about: directions, what was left out, what has no direction."""
    if basis is None:
        say("No procedure has a registered coordinate frame: total error only.")
    else:
        say(f"{basis.name}.")
        for axis in basis.uncorrected:
            say(f"Axis {axis} has no anatomical direction in the frame register: left and right are pooled.")
    left_out = ", ".join(f"{number} {reason}" for reason, number in whole.excluded.items())
    say(f"{whole.procedures} procedures; left out: {left_out or 'none'}.")
    moved = whole.attempts.moved
    say(f"Nearer at the last attempt than at the first: {moved.nearer} of {moved.n} whose needle was moved.")
    say(
        f"In the lengths but in no vector: {whole.without_frame} without a frame, {whole.unregistered} with one "
        "that site.toml does not describe."
    )


def _rows(stratum: str, one: Summary, few: int) -> list[dict[str, Any]]:
    """A summary as flat rows; figures of fewer procedures than ``few`` give the number only."""
    moved = one.attempts.moved
    parts = [
        *_length_rows("needle error", one.error, few),
        *_mean_rows("needle error", one.error_mean, one.basis, few),
        *_length_rows("target motion", one.motion, few),
        *_mean_rows("target motion", one.motion_mean, one.basis, few),
        *_length_rows("first attempt of all", one.attempts.first, few),
        *(
            _row(of, moved.n, "median", "length", found.radius, *found.ci, few=few)
            for of, found in (
                ("first attempt of the moved", moved.first),
                ("last attempt of the moved", moved.last),
            )
        ),
        _row(
            "last less first of the moved",
            moved.n,
            "median",
            "length",
            moved.change,
            *moved.change_limits,
            few=few,
        ),
    ]
    return [{"stratum": stratum, **part} for part in parts]


def _length_rows(of: str, found: Lengths, few: int) -> list[dict[str, Any]]:
    high = found.high
    return [
        _row(of, found.n, "median", "length", found.median.radius, *found.median.ci, few=few),
        {
            **_row(of, found.n, "95th percentile", "length", high.radius, *high.ci, few=few),
            "upper_bound": high.upper_bound if found.n >= few else None,
        },
    ]


def _mean_rows(of: str, found: Mean | None, basis: Basis | None, few: int) -> list[dict[str, Any]]:
    if found is None or basis is None:
        return []
    if found.mean is None or found.limits is None:
        return [{"of": of, "n": found.n, "figure": "mean", "reason": found.reason}]
    return [
        _row(of, found.n, "mean", axis.plus, mean, low, high, few=few)
        for axis, mean, (low, high) in zip(basis.directions, found.mean, found.limits, strict=True)
    ]


def _row(
    of: str,
    n: int,
    figure: str,
    direction: str,
    value: float | None,
    low: float | None,
    high: float | None,
    few: int = 0,
) -> dict[str, Any]:
    row: dict[str, Any] = {"of": of, "n": n, "figure": figure, "direction": direction}
    if n < max(few, 1):
        return {**row, "reason": f"fewer than {few}" if n else "no procedures"}
    reason = "" if low is not None and high is not None else "too few for a limit"
    return {**row, "mm": value, "lower": low, "upper": high, "reason": reason}


def _nested(one: Summary) -> dict[str, Any]:
    """A summary as it is, with the names of its fields."""
    from dataclasses import asdict

    made = asdict(one)
    made["basis"] = one.basis and one.basis.name
    made["directions"] = [axis.plus for axis in one.basis.directions] if one.basis else []
    for name in ("error_mean", "motion_mean"):
        if (mean := getattr(one, name)) is not None:
            made[name]["is_off"] = mean.is_off
    return made
