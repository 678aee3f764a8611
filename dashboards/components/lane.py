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
    """A target that the site has switched on: its value, 0 to 1, and whose it is.

    ``until`` is the other end where the target is a range.
    """

    value: float
    words: str
    until: float | None = None

    @property
    def figure(self) -> str:
        """Its value or range as a percentage."""
        return words.percent(self.value) if self.until is None else words.span(self.value, self.until)


@dataclass(frozen=True)
class StripRow:
    """One row: its name, its result, the last quarters oldest first, and the targets that are switched on.

    ``heading`` opens a group of rows; rows with the same heading follow each other.
    """

    name: str
    result: dict[str, Any]
    quarters: tuple[tuple[str, dict[str, Any] | None], ...] = ()
    targets: tuple[Target, ...] = ()
    heading: str = ""


def axis_end(rows: Sequence[StripRow], minimum: int) -> float:
    """The smallest usual end of an axis, 0.05 to 1, that holds everything drawn."""
    highest = 0.0
    for row in rows:
        shown = words.figure(row.result, minimum)
        drawn = [
            shown.high,
            *(value for _, value in _quarter_values(row, minimum)),
            *(one.until or one.value for one in row.targets),
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
    for one in row.targets:
        marks.append(_mark("target", _place(one.value, end)))
        if one.until is not None:
            marks.append(_mark("target", _place(one.until, end)))
            width = _place(one.until - one.value, end)
            marks.append(_mark("target-range", _place(one.value, end), width=width))
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
    parts += [f"Target {one.figure}, {one.words}." for one in row.targets]
    known = [f"{name} {words.percent(value)}" for name, value in quarters if value is not None]
    if known:
        parts.append(f"By quarter: {', '.join(known)}.")
    return " ".join(parts)
