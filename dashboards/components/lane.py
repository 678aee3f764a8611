"""One row of a strip: dot, interval, bounds, target and the last quarters on a shared axis."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from dashboards.components import words
from dashboards.components.markup import Markup, element

if TYPE_CHECKING:
    from collections.abc import Sequence

#: Ends an axis may have, and into how many parts each is divided.
_AXES = {0.05: 5, 0.1: 5, 0.2: 4, 0.3: 3, 0.5: 5, 1.0: 4}
#: Pixels: where the lane of the quarters begins, and the step from one to the next.
_LANE_TOP, _LANE_STEP = 24.0, 2.6


@dataclass(frozen=True)
class Target:
    """A target that the site has switched on: its value, 0 to 1, and whose it is."""

    value: float
    words: str


@dataclass(frozen=True)
class StripRow:
    """One row: its name, its result, the last quarters oldest first, and a target where one is set.

    ``heading`` opens a group of rows; rows with the same heading follow each other.
    """

    name: str
    result: dict[str, Any]
    quarters: tuple[tuple[str, dict[str, Any] | None], ...] = ()
    target: Target | None = None
    heading: str = ""


def axis_end(rows: Sequence[StripRow], minimum: int) -> float:
    """The smallest usual end of an axis, 0.05 to 1, that holds everything drawn."""
    highest = 0.0
    for row in rows:
        shown = words.figure(row.result, minimum)
        drawn = [
            shown.high,
            *(value for _, value in _quarter_values(row, minimum)),
            row.target.value if row.target else None,
        ]
        bounds = row.result.get("bounds") or {}
        drawn.append(bounds.get("upper") if shown.value is not None else None)
        highest = max([highest, *(value for value in drawn if value is not None)])
    return next(end for end in _AXES if highest <= end or end == 1.0)


def ticks(end: float) -> list[float]:
    """Values that are marked on an axis from 0 to ``end``."""
    return [end * part / _AXES[end] for part in range(_AXES[end] + 1)]


def _place(value: float, end: float) -> str:
    return f"{100 * value / end:.2f}%"


def _mark(kind: str, left: str, **style: str) -> Markup:
    rest = "".join(f";{name}:{value}" for name, value in style.items())
    return element("i", class_=kind, style=f"left:{left}{rest}")


def scale(end: float) -> Markup:
    """The labels of the axis, for the head of a table."""
    labels = [
        element("span", f"{100 * tick:g}", class_="tick", style=f"left:{_place(tick, end)}")
        for tick in ticks(end)[:-1]
    ]
    labels.append(element("span", f"{100 * end:g}{words.NARROW}%", class_="tick", style="left:100%"))
    return element("div", *labels, class_="scale")


def lane(row: StripRow, shown: words.Figure, minimum: int, end: float) -> Markup:
    """The drawing of one row, with its figures in words for those who cannot see it.

    Parameters
    ----------
    row, shown
        The row, and its result in words.
    minimum
        Smallest denominator for which a percentage is shown; it holds for quarters too.
    end
        Where the axis ends, from :func:`axis_end`.
    """
    marks = [_mark("grid zero" if tick == 0 else "grid", _place(tick, end)) for tick in ticks(end)]
    bounds = row.result.get("bounds") or {}
    if shown.value is not None and bounds.get("unknown") and bounds["lower"] is not None:
        marks.append(
            _mark(
                "unknown", _place(bounds["lower"], end), width=_place(bounds["upper"] - bounds["lower"], end)
            )
        )
    if shown.low is not None and shown.high is not None:
        kind = "span open" if shown.kind == "zero" else "span"
        marks.append(_mark(kind, _place(shown.low, end), width=_place(shown.high - shown.low, end)))
    if shown.value is not None:
        marks.append(_mark("dot hollow" if shown.kind == "zero" else "dot", _place(shown.value, end)))
    if row.target:
        marks.append(_mark("target", _place(row.target.value, end)))
    quarters = _quarter_values(row, minimum)
    for age, (_, value) in enumerate(reversed(quarters)):
        if value is not None:
            marks.append(
                _mark(f"quarter age{age}", _place(value, end), top=f"{_LANE_TOP + age * _LANE_STEP:.1f}px")
            )
    return element("div", *marks, class_="lane", role="img", aria_label=_spoken(row, shown, quarters))


def _quarter_values(row: StripRow, minimum: int) -> list[tuple[str, float | None]]:
    return [
        (name, one["proportion"] if one and one["denominator"] >= minimum else None)
        for name, one in row.quarters
    ]


def _spoken(row: StripRow, shown: words.Figure, quarters: list[tuple[str, float | None]]) -> str:
    parts = [shown.sentence]
    if row.target:
        parts.append(f"Target {words.percent(row.target.value)}, {row.target.words}.")
    known = [f"{name} {words.percent(value)}" for name, value in quarters if value is not None]
    if known:
        parts.append(f"By quarter: {', '.join(known)}.")
    return " ".join(parts)
