"""Part of the pack: cancer after a benign result over time, by both estimates."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import polars as pl

from registry.disclosure.cells import HIDDEN
from registry.measures import curve, drawn_steps
from registry.numerals import grouped
from registry.reports.document import Section, Table
from registry.reports.pack import charts
from registry.reports.pack.asked import AT_RISK, Part
from registry.reports.pack.cells import percent, span

if TYPE_CHECKING:
    from registry.measures import CurveEstimate
    from registry.reports.pack.asked import Asked, Rows


def afterwards(asked: Asked) -> Part:
    """Cancer after a benign result at one, two and three years, by both estimates."""
    found = curve(asked.registry, **asked.period)  # type: ignore[arg-type]
    rows = found.to_dict()["rows"]
    cells = tuple(
        (
            str(row["estimate"]),
            f"{row['days']}",
            *(
                (HIDDEN,) * 3
                if _is_hidden(asked, row)
                else (percent(row["incidence"]), span(row["lower"], row["upper"]), grouped(row["at_risk"]))
                if row["at_risk"]
                else ("nobody followed so long", "", "0")
            ),
        )
        for row in rows
    )
    made = Table(
        "Cancer after a benign result, death competing",
        ("Estimate", "Days", "Cumulative incidence", "95 % interval", "At risk"),
        cells,
        frozenset((1, 2, 4)),
        (
            "lost is usually too high, as women come back because something is found; free too low, as what was not looked for was not found.",
        ),
    )
    files: Rows = {"cancer_after_benign": [row for row in rows if not _is_hidden(asked, row)]}
    drawn = None
    if not asked.rule.upto:
        # Each step is a single procedure.
        frames = {one.name: _steps(one) for one in found.estimates.values()}
        files["cancer_after_benign_steps"] = [
            {"estimate": name, **row} for name, frame in frames.items() for row in frame.to_dicts()
        ]
        if found.n >= asked.minimum:
            drawn = charts.steps(
                [(f"Estimate: {name}", drawn_steps(one)) for name, one in found.estimates.items()],
                max(one.at[-1] for one in found.estimates.values()),
                "Cumulative incidence of cancer after a benign result by two estimates, with 95 % limits; the table holds the figures at fixed days.",
            )
    blocks = (*((drawn,) if drawn else ()), made)
    return Part(Section("Cancer after a benign result", blocks), files)


def _is_hidden(asked: Asked, row: dict[str, Any]) -> bool:
    """Whether those at risk or with cancer by a day of the curve are few, or would show a few."""
    return asked.told.hides(AT_RISK, str(row["estimate"]), str(row["days"]))


def _steps(one: CurveEstimate) -> pl.DataFrame:
    return pl.DataFrame(
        {
            "days": one.step_days,
            "incidence": one.steps,
            "lower": one.step_lower,
            "upper": one.step_upper,
            "at_risk": one.step_at_risk,
        },
        schema_overrides={"lower": pl.Float64, "upper": pl.Float64},
    )
