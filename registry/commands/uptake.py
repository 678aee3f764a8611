"""Commands on tracer: what the specimens hold, and what the sources have left."""

from __future__ import annotations

from dataclasses import asdict
from enum import StrEnum
from typing import Annotated, Any

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

_SOURCE_COLUMNS = (
    "source_id",
    "site",
    "nuclide",
    "state",
    "reference_on",
    "reference_mbq",
    "activity_mbq",
    "left",
    "half_life",
    "leak_test_on",
    "reason",
)


def uptake(
    folder: FolderArgument,
    as_of: AsOfOption = None,
    start: FromOption = None,
    end: ToOption = None,
    format_: FormatOption = Format.TABLE,
) -> None:
    """Tracer in the specimens: decisions, ratios by diagnosis, curve, readings, dose per visit."""
    from registry.uptake import summary
    from registry.uptake.summary import COLUMNS

    with reading(folder) as registry:
        moment = day(as_of, "--as-of") or today_at(registry.site)
        rows = summary(
            registry,
            minimum_n=registry.site.minimum_n,
            as_of=moment,
            start=day(start, "--from"),
            end=day(end, "--to"),
        )
        stamp = registry.stamp()
    print_rows(rows, format_, COLUMNS)
    if format_ is Format.TABLE:
        say(f"As of {moment}; {stamp}.")
        say(
            "Tracer uptake is not cancer, and its absence is not benign; over an empty tray any tissue measures."
        )
        say("An audit of the record: it does not decide concordance, biopsy or treatment.")


def sources(
    folder: FolderArgument,
    as_of: AsOfOption = None,
    disposed: Annotated[bool, typer.Option("--disposed", help="List disposed sources too.")] = False,
    format_: FormatOption = Format.TABLE,
) -> None:
    """Radioactive sources with their activity on a day, and the share that is left."""
    from registry.uptake import sources as found
    from registry.uptake.constancy import DISPOSED

    with reading(folder) as registry:
        moment = day(as_of, "--as-of") or today_at(registry.site)
        rows = [asdict(one) for one in found(registry, on=moment) if disposed or one.state != DISPOSED]
    print_rows(rows, format_, _SOURCE_COLUMNS)
    if format_ is Format.TABLE:
        say(f"Activity on {moment}. A calculation, not a measurement; handle by the local rules.")


class Part(StrEnum):
    """What is printed of the chain."""

    COUNTS = "counts"
    PHANTOM = "phantom"
    CLOCK = "clock"
    LEAK = "leak-tests"


def constancy(
    folder: FolderArgument,
    part: Annotated[Part, typer.Argument(help="counts, phantom, clock or leak-tests.")] = Part.COUNTS,
    as_of: AsOfOption = None,
    format_: FormatOption = Format.TABLE,
) -> None:
    """Is the chain as it was: counts against expected ones, phantom errors, clocks, leak tests due."""
    from registry import uptake as chain
    from registry.uptake import words

    with reading(folder) as registry:
        moment = day(as_of, "--as-of") or today_at(registry.site)
        rows: list[dict[str, Any]]
        said: tuple[str, ...] = ()
        if part is Part.COUNTS:
            found = chain.constancy(registry, as_of=moment)
            rows, said = [asdict(one) for one in found], words.counts(found)
        elif part is Part.PHANTOM:
            checks = chain.phantom_checks(registry, as_of=moment)
            rows = [_phantom(one) for one in checks]
            said = words.phantom(chain.phantom_trends(checks))
        elif part is Part.CLOCK:
            clocks = chain.clock_checks(registry, as_of=moment)
            rows, said = [asdict(one) for one in clocks], words.clocks(clocks)
        else:
            tests = chain.leak_tests(registry, on=moment)
            rows, said = [asdict(one) for one in tests], words.leak_tests(tests)
        stated = words.tolerances(registry)
    if format_ is not Format.TABLE:
        print_rows(rows, format_)
        return
    print_rows([_in_a_table(one) for one in rows], format_, _PARTS[part], width=narrow.WIDTH)
    for sentence in (*said, stated):
        narrow.paragraph(sentence)
    say(f"As of {moment}.")


def _in_a_table(row: dict[str, Any]) -> dict[str, Any]:
    """Lengths and ratios with as many decimals in each line, so that they can be compared."""
    decimals = {"ratio": 3, "expected": 0, "length_mm": 2}
    return {
        name: f"{value:.{decimals[name]}f}" if name in decimals and value is not None else value
        for name, value in row.items()
    }


def _phantom(one: Any) -> dict[str, Any]:
    made = asdict(one)
    x, y, z = made.pop("error_mm")
    return {**made, "error_x_mm": x, "error_y_mm": y, "error_z_mm": z}


#: Columns of the tables; the other formats hold all.
_PARTS = {
    Part.COUNTS: ("scanner", "done_on", "source_id", "counts", "expected", "ratio", "outside"),
    Part.PHANTOM: ("scanner", "done_on", "error_x_mm", "error_y_mm", "error_z_mm", "length_mm", "outside"),
    Part.CLOCK: ("scanner", "done_on", "offset_s", "shift", "outside"),
    Part.LEAK: ("source_id", "site", "nuclide", "tested_on", "due_on", "days", "standing"),
}
