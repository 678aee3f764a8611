"""Checks of the chain over time: a shape and colour per scanner, local tolerances as broken lines."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from dashboards.components.palette import CONTRADICTION, GROUPS, INK, MUTED

if TYPE_CHECKING:
    import polars as pl

HEIGHT = 220
#: Space beyond the outermost mark or limit, as a share of the whole.
_MARGIN = 0.06


def checks_plot(
    frame: pl.DataFrame,
    column: str,
    title: str,
    *,
    centre: float | None,
    limits: tuple[float, ...] = (),
    zero: bool = False,
) -> dict[str, Any]:
    """Vega-Lite specification: one mark per check; one outside the tolerance is filled and ringed.

    Parameters
    ----------
    frame
        scanner, done_on (ISO), standing (within, outside or not judged) and the column drawn.
    column, title
        What is drawn upright, and the words of its axis.
    centre
        Line where nothing is amiss; None for none.
    limits
        Local tolerances.
    zero
        Whether the axis begins at 0.
    """
    names = frame.get_column("scanner").unique(maintain_order=True).to_list()
    marks = [GROUPS[place % len(GROUPS)] for place in range(len(names))]
    heights = [*frame.get_column(column).to_list(), *limits, *([] if centre is None else [centre])]
    low, high = min(heights), max(heights)
    margin = _MARGIN * (high - low or 1.0)
    # Stated, as the data reach the drawing after its axes.
    domain = [0.0 if zero else low - margin, high + margin]
    up = {
        "type": "quantitative",
        "scale": {"domain": domain, "nice": not zero, "zero": zero},
        "axis": {"title": title, "tickCount": 5},
    }
    days = sorted(frame.get_column("done_on").to_list())
    across = {
        "field": "done_on",
        "type": "temporal",
        "scale": {"domain": [days[0], days[-1]]},
        "axis": {"title": None, "format": "%Y-%m", "grid": False, "tickCount": 8},
    }
    legend = {"title": None, "orient": "top"}
    lines: list[tuple[float, list[int], str]] = [] if centre is None else [(centre, [1, 0], INK)]
    lines += [(one, [5, 4], MUTED) for one in limits]
    return {
        "width": "container",
        "height": HEIGHT,
        "layer": [
            *(
                {
                    "data": {"values": [{"line": height}]},
                    "mark": {"type": "rule", "color": colour, "strokeWidth": 1.2, "strokeDash": dash},
                    "encoding": {"y": {**up, "field": "line"}},
                }
                for height, dash, colour in lines
            ),
            {
                "data": {"values": frame.filter(frame.get_column("standing") == "outside").to_dicts()},
                "mark": {"type": "point", "size": 190, "color": CONTRADICTION, "strokeWidth": 1.6},
                "encoding": {"x": across, "y": {**up, "field": column}},
            },
            {
                "data": {"values": frame.to_dicts()},
                "mark": {"type": "point", "filled": False, "size": 45, "strokeWidth": 1.5, "opacity": 0.9},
                "encoding": {
                    "x": across,
                    "y": {**up, "field": column},
                    "color": {
                        "field": "scanner",
                        "type": "nominal",
                        "scale": {"domain": names, "range": [one[0] for one in marks]},
                        "legend": legend,
                    },
                    "shape": {
                        "field": "scanner",
                        "type": "nominal",
                        "scale": {"domain": names, "range": [one[1] for one in marks]},
                        "legend": legend,
                    },
                },
            },
        ],
    }
