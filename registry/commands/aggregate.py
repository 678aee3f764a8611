"""Commands on files of counts: write one, and merge those of several services."""

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
    say,
    today_at,
)
from registry.commands.measures import Interval, IntervalOption

if TYPE_CHECKING:
    from registry.aggregate import Merged

app = typer.Typer(
    help="Files of counts for several services: written without a row of any patient, and merged.",
    no_args_is_help=True,
)


@app.command("export")
def export(
    folder: FolderArgument,
    out: Annotated[Path, typer.Option("--out", help="New file.", show_default=False)],
    by: Annotated[
        str | None,
        typer.Option("--by", help="Split, such as site or guidance; not operator.", show_default=False),
    ] = None,
    internal: Annotated[
        bool,
        typer.Option(
            "--internal", help="Keep counts from 1 to 4, for a centre bound like the service itself."
        ),
    ] = False,
    as_of: AsOfOption = None,
    start: FromOption = None,
    end: ToOption = None,
) -> None:
    """Write the counts of every measure to a file that holds no row of any patient."""
    from registry.aggregate import write
    from registry.engine import current_user
    from registry.store import Registry

    with Registry.open(folder, write=True) as registry:
        made = write(
            registry,
            out,
            as_of=day(as_of, "--as-of") or today_at(registry.site),
            start=day(start, "--from"),
            end=day(end, "--to"),
            by=by,
            internal=internal,
            author=current_user(),
        )
    say(f"Wrote {len(made.measures)} measures of site {', '.join(made.sites)} to {out}")
    say(f"SHA-256 {made.sha256}")
    if internal:
        narrow.paragraph(
            "Internal: holds counts from 1 to 4, by which a patient could be recognised. Hand it on only where the service's own rules apply."
        )
    for name, why in made.left_out.items():
        narrow.paragraph(f"Not in it: {name}: {why}.")


@app.command("merge")
def merge(
    files: Annotated[
        list[Path], typer.Argument(help="Files that `aggregate export` wrote.", show_default=False)
    ],
    interval: IntervalOption = Interval.WILSON,
    internal: Annotated[
        bool, typer.Option("--internal", help="Take files that hold counts from 1 to 4.")
    ] = False,
    format_: FormatOption = Format.TABLE,
) -> None:
    """Merge the counts of several services, as one run over all of them would count."""
    from registry import aggregate

    made = aggregate.merge(
        [aggregate.read(path) for path in files], internal=internal, interval=interval.value
    )
    if format_ is Format.JSON:
        say(json.dumps(made.to_dict(), indent=2, ensure_ascii=False))
        return
    if format_ is Format.CSV:
        print_rows(_flat(made), format_)
        return
    _print_told([_row(one) for one in made.rates])
    _print_told([_length(one) for one in made.lengths if one.n])
    for table in made.tables:
        say(f"B categories, {table.stratum}: {table.total} procedures.")
        print_rows([_ratio(one) for one in table.ratios], format_, width=narrow.WIDTH)
    for curve in made.curves:
        say(f"Cancer after a benign result, {curve.stratum}: {curve.n} procedures, events by interval.")
        print_rows(_intervals(curve), format_, width=narrow.WIDTH)
        if curve.curve is not None:
            print_rows(_read(curve.curve), format_, width=narrow.WIDTH)
    for name, why in made.left_out.items():
        narrow.paragraph(f"Not merged: {name}: {why}.")
    for note in made.notes:
        narrow.paragraph(note)
    say(f"Sites {', '.join(made.sites)}; as of {made.as_of}.")
    for service, sha256 in made.sources:
        say(f"  {service}  SHA-256 {sha256}")


def _print_told(rows: list[dict[str, Any]]) -> None:
    """A table without the columns that tell nothing: a stratum where none is split, what is empty throughout."""
    untold = {
        name
        for name in (rows[0] if rows else ())
        if {row[name] for row in rows} <= {"", None, *(["all"] if name == "stratum" else [])}
    }
    if rows:
        print_rows(rows, Format.TABLE, [name for name in rows[0] if name not in untold], width=narrow.WIDTH)


def _row(one: Any) -> dict[str, Any]:
    result, pool = one.result, one.pool
    made = {"measure": result.measure, "stratum": result.stratum}
    made["x / n"] = f"{result.numerator} / {result.denominator}"
    made["rate % (95 %)"] = _percent(result.proportion, result.lower, result.upper)
    made["middle place"] = _percent(pool.middle, pool.lower, pool.upper)
    further = pool.further_lower is not None and pool.further_upper is not None
    made["further place"] = (
        f"{100 * pool.further_lower:.1f} to {100 * pool.further_upper:.1f}" if further else ""
    )
    return made


def _percent(rate: float | None, lower: float | None, upper: float | None) -> str:
    if rate is None or lower is None or upper is None:
        return ""
    return f"{100 * rate:.1f} ({100 * lower:.1f} to {100 * upper:.1f})"


def _length(one: Any) -> dict[str, Any]:
    return {
        "quantity": one.measure,
        "stratum": one.stratum,
        "n": one.n,
        "mean": one.mean,
        "SD": one.sd,
        "place medians": f"{one.lowest:.3g} to {one.highest:.3g}",
        "median of all": "" if one.median_from is None else f"{one.median_from:.3g} to {one.median_to:.3g}",
        "unit": one.unit,
    }


def _ratio(one: Any) -> dict[str, Any]:
    return {
        "ratio": one.words,
        "x / n": f"{one.x} / {one.n}",
        "rate % (95 %)": _percent(one.proportion, one.lower, one.upper),
    }


def _intervals(made: Any) -> list[dict[str, Any]]:
    return [
        {
            "estimate": row["estimate"],
            "days": f"{row['from']} to {row['to']}" if row["to"] is not None else f"{row['from']} on",
            "at risk": row["at_risk"],
            "cancers": row["cancers"],
            "deaths": row["deaths"],
            "followed no further": row["followed_no_further"],
        }
        for row in made.to_dict()["intervals"]
    ]


def _read(made: Any) -> list[dict[str, Any]]:
    return [
        {
            "estimate": row["estimate"],
            "by day": row["days"],
            "incidence % (95 %)": _percent(row["incidence"], row["lower"], row["upper"]),
            "at risk": row["at_risk"],
        }
        for row in made.to_dict()["rows"]
    ]


def _flat(made: Merged) -> list[dict[str, Any]]:
    rows = []
    for one in made.rates:
        shown = one.to_dict()
        parts, pool = shown.pop("parts"), shown.pop("pool")
        bounds = shown.pop("bounds") or {}
        rows.append(
            {
                **shown,
                "withheld": "; ".join(shown["withheld"]),
                **{f"bounds_{name}": bounds.get(name) for name in ("lower", "upper", "unknown")},
                **{f"pool_{name}": pool[name] for name in _POOL},
                "parts": "; ".join(f"{p['place']} {p['numerator']}/{p['denominator']}" for p in parts),
            }
        )
    return rows


_POOL = ["units", "middle", "lower", "upper", "further_lower", "further_upper", "between", "reason"]
