"""The command that says how many procedures a question needs."""

from __future__ import annotations

from typing import Annotated

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

_COLUMNS = ("question", "procedures", "months", "note")


def plan(
    folder: FolderArgument,
    measure: Annotated[
        str, typer.Argument(help="A proportion; see: biopsy-outcomes measures.", show_default=False)
    ],
    half_width: Annotated[
        float, typer.Option("--half-width", help="Half the width of the interval, a proportion.")
    ] = 0.02,
    factor: Annotated[
        float, typer.Option("--factor", help="Rise of the rate that should be seen; 2 is a doubling.")
    ] = 2.0,
    rate: Annotated[
        float | None,
        typer.Option(
            "--rate", help="Rate to plan for, a proportion. Default: the observed one.", show_default=False
        ),
    ] = None,
    power: Annotated[float, typer.Option("--power", help="Probability of seeing the rise.")] = 0.8,
    confidence: Annotated[
        float, typer.Option("--confidence", help="Two-sided confidence of the interval.")
    ] = 0.95,
    as_of: AsOfOption = None,
    start: FromOption = None,
    end: ToOption = None,
    format_: FormatOption = Format.TABLE,
) -> None:
    """How many procedures, and months, until a rate is known or a rise is seen."""
    from registry import planning

    with reading(folder) as registry:
        made = planning.plan(
            registry,
            measure,
            as_of=day(as_of, "--as-of") or today_at(registry.site),
            start=day(start, "--from"),
            end=day(end, "--to"),
            half_width=half_width,
            factor=factor,
            rate=rate,
            power=power,
            confidence=confidence,
            minimum=registry.site.minimum_n,
        )
    if format_ is Format.JSON:
        import json

        say(json.dumps(made.to_dict(), indent=2, ensure_ascii=False))
        return
    # In a table the sentences below say what the notes do, and the lines stay short.
    columns = _COLUMNS[:3] if format_ is Format.TABLE else _COLUMNS
    print_rows([vars(one) for one in made.needs], format_, columns)
    if format_ is Format.TABLE:
        say(f"{made.title}.")
        for sentence in made.sentences:
            narrow.paragraph(sentence)
        say(f"As of {made.as_of}; {made.registry}.")
