"""Panels with axes as SVG text: what the drawings of printed reports are made of."""

from __future__ import annotations

from dataclasses import dataclass, field
from html import escape
from math import floor, log10
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

INK, MUTED, RULE, ACCENT, ATTENTION, CONTRADICTION = (
    "#22303C",
    "#56636F",
    "#D9D5CC",
    "#0B5D66",
    "#B7791F",
    "#A23B2A",
)
FONT = "Libertinus Serif, Georgia, serif"
SIZE = 8.0
Span = tuple[float, float]


def text(
    x: float, y: float, words: str, *, anchor: str = "start", size: float = SIZE, fill: str = MUTED
) -> str:
    """One line of text; lengths in points, y at its foot."""
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" font-size="{size:g}" fill="{fill}">'
        f"{escape(words)}</text>"
    )


def drawing(width: float, height: float, parts: Iterable[str]) -> str:
    """The whole drawing, lengths in points."""
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:g} {height:g}" font-family="{FONT}">'
        f"{''.join(parts)}</svg>"
    )


def ticks(low: float, high: float, about: int = 4) -> list[float]:
    """Round numbers within an axis, roughly so many."""
    step = (high - low) / max(1, about)
    scale = 10 ** floor(log10(step))
    step = next(one * scale for one in (1, 2, 2.5, 5, 10) if one * scale >= step * 0.999)
    first = -floor(-low / step + 1e-9)
    return [k * step for k in range(first, floor(high / step + 1e-9) + 1)]


def shares(low: float, high: float) -> list[tuple[float, str]]:
    """Ticks of an axis of shares, in per cent."""
    found = ticks(low, high)
    digits = 0 if all(abs(100 * one - round(100 * one)) < 1e-6 for one in found) else 1
    return [(one, f"{100 * one:.{digits}f} %") for one in found]


@dataclass
class Panel:
    """A drawing area with its axes: ``place`` is left, top, width and height in points."""

    place: tuple[float, float, float, float]
    across: Span
    up: Span
    parts: list[str] = field(default_factory=list)

    def x(self, value: float) -> float:
        """Points from the left edge of the drawing."""
        low, high = self.across
        return self.place[0] + self.place[2] * (value - low) / ((high - low) or 1.0)

    def y(self, value: float) -> float:
        """Points from the top of the drawing; what lies beyond the axis is drawn at its end."""
        low, high = self.up
        kept = min(max(value, low), high)
        return self.place[1] + self.place[3] * (1.0 - (kept - low) / ((high - low) or 1.0))

    def head(self, words: str) -> None:
        """A title above the panel."""
        self.parts.append(text(self.place[0], self.place[1] - 7, words, size=SIZE + 0.5, fill=INK))

    def upright(self, labels: Sequence[tuple[float, str]]) -> None:
        """Thin lines with their labels at the left."""
        left, _, width, _ = self.place
        for value, words in labels:
            y = self.y(value)
            self.parts.append(_stroke(left, y, left + width, y, RULE, 0.5))
            self.parts.append(text(left - 4, y + 2.6, words, anchor="end"))

    def below(self, labels: Sequence[tuple[float, str]], title: str = "") -> None:
        """Labels below the panel, and what they are."""
        left, top, width, height = self.place
        foot = top + height
        self.parts.append(_stroke(left, foot, left + width, foot, MUTED, 0.6))
        for value, words in labels:
            x = self.x(value)
            self.parts.append(_stroke(x, foot, x, foot + 2.5, MUTED, 0.6))
            self.parts.append(text(x, foot + 10.5, words, anchor="middle"))
        if title:
            self.parts.append(text(left + width / 2, foot + 20.5, title, anchor="middle"))

    def line(
        self,
        points: Sequence[tuple[float, float]],
        colour: str,
        *,
        width: float = 1.0,
        dash: str = "",
        steps: bool = False,
    ) -> None:
        """A line through points; ``steps`` goes across before it goes up."""
        if not points:
            return
        path = [f"M{self.x(points[0][0]):.1f} {self.y(points[0][1]):.1f}"]
        for a, b in points[1:]:
            path.append(f"H{self.x(a):.1f}V{self.y(b):.1f}" if steps else f"L{self.x(a):.1f} {self.y(b):.1f}")
        broken = f' stroke-dasharray="{dash}"' if dash else ""
        self.parts.append(
            f'<path d="{"".join(path)}" fill="none" stroke="{colour}" stroke-width="{width:g}"{broken}/>'
        )

    def level(self, value: float, colour: str = INK, *, dash: str = "", width: float = 0.8) -> None:
        """A line across the whole panel."""
        self.line([(self.across[0], value), (self.across[1], value)], colour, dash=dash, width=width)

    def bar(self, x: float, low: float, high: float, colour: str = ACCENT) -> None:
        """An interval, upright."""
        self.parts.append(
            f'<line x1="{self.x(x):.1f}" y1="{self.y(low):.1f}" x2="{self.x(x):.1f}" y2="{self.y(high):.1f}" '
            f'stroke="{colour}" stroke-width="2.6" stroke-opacity="0.35"/>'
        )

    def mark(
        self, x: float, y: float, shape: str, *, fill: str = ACCENT, edge: str = "#FFFFFF", size: float = 3.2
    ) -> None:
        """A circle, square, diamond or triangle."""
        a, b, s = self.x(x), self.y(y), size
        corners = {
            "square": ((-s, -s), (s, -s), (s, s), (-s, s)),
            "diamond": ((0, -1.4 * s), (1.4 * s, 0), (0, 1.4 * s), (-1.4 * s, 0)),
            "triangle": ((0, -1.3 * s), (1.2 * s, s), (-1.2 * s, s)),
        }
        style = f'fill="{fill}" stroke="{edge}" stroke-width="0.8"'
        if shape not in corners:
            self.parts.append(f'<circle cx="{a:.1f}" cy="{b:.1f}" r="{s:g}" {style}/>')
            return
        path = " ".join(f"{a + dx:.1f},{b + dy:.1f}" for dx, dy in corners[shape])
        self.parts.append(f'<polygon points="{path}" {style}/>')

    def say(
        self, x: float, y: float, words: str, *, dx: float = 0, dy: float = 0, anchor: str = "start"
    ) -> None:
        """Text at a place of the panel."""
        self.parts.append(text(self.x(x) + dx, self.y(y) + dy, words, anchor=anchor, fill=INK))


def _stroke(x1: float, y1: float, x2: float, y2: float, colour: str, width: float) -> str:
    return (
        f'<line x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}" '
        f'stroke="{colour}" stroke-width="{width:g}"/>'
    )
