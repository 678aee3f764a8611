"""Commands on tracer: what the specimens hold, and what the sources have left."""

from __future__ import annotations

from dataclasses import asdict
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
