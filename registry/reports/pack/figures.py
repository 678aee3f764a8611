"""Drawings of the pack, as SVG text with what they show in words."""

from __future__ import annotations

from dataclasses import dataclass
from html import escape
from typing import TYPE_CHECKING

from registry.reports.document import Figure

if TYPE_CHECKING:
    from collections.abc import Sequence

INK, MUTED, RULE, ACCENT = "#22303C", "#56636F", "#D9D5CC", "#0B5D66"
_FONT = "Libertinus Serif, Georgia, serif"
_ROW, _LEFT, _LANE, _RIGHT, _TOP = 17, 240, 300, 120, 26


@dataclass(frozen=True)
class Lane:
    """One row of the strip: rate and limits from 0 to 1, the figure in words, rates of quarters (newest first), targets."""

    title: str
    rate: float
    lower: float | None
    upper: float | None
    said: str
    quarters: tuple[float, ...] = ()
    targets: tuple[float, ...] = ()


def strip(lanes: Sequence[Lane], caption: str) -> Figure | None:
    """Dots with their intervals on one axis from 0 to 100 %; None without a row."""
    if not lanes:
        return None
    width, height = _LEFT + _LANE + _RIGHT, _TOP + _ROW * len(lanes) + 6
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" font-family="{_FONT}" font-size="9.5">'
    ]
    for tick in range(0, 101, 25):
        x = _LEFT + _LANE * tick / 100
        parts.append(
            f'<line x1="{x:.1f}" y1="{_TOP - 6}" x2="{x:.1f}" y2="{height - 4}" stroke="{RULE}" stroke-width="0.6"/>'
        )
        parts.append(
            f'<text x="{x:.1f}" y="{_TOP - 11}" text-anchor="middle" fill="{MUTED}" font-size="8.5">{tick} %</text>'
        )
    for place, one in enumerate(lanes):
        y = _TOP + _ROW * place + 4
        for age, rate in enumerate(one.quarters):
            parts.append(
                f'<circle cx="{_LEFT + _LANE * rate:.1f}" cy="{y + 4.6 + 0.9 * age:.1f}" r="1.1" fill="{MUTED}" fill-opacity="{1 - 0.09 * age:.2f}"/>'
            )
        for end in one.targets:
            x = _LEFT + _LANE * end
            parts.append(
                f'<line x1="{x:.1f}" y1="{y - 6}" x2="{x:.1f}" y2="{y + 6}" stroke="{INK}" stroke-width="1.4"/>'
            )
        parts.append(f'<text x="0" y="{y + 3:.1f}" fill="{INK}">{escape(one.title)}</text>')
        if one.lower is not None and one.upper is not None:
            low, high = (_LEFT + _LANE * value for value in (one.lower, one.upper))
            parts.append(
                f'<line x1="{low:.1f}" y1="{y}" x2="{high:.1f}" y2="{y}" stroke="{ACCENT}" stroke-width="2"/>'
            )
        x = _LEFT + _LANE * one.rate
        parts.append(
            f'<circle cx="{x:.1f}" cy="{y}" r="3.4" fill="{ACCENT}" stroke="white" stroke-width="0.8"/>'
        )
        parts.append(
            f'<text x="{width}" y="{y + 3:.1f}" text-anchor="end" fill="{MUTED}">{escape(one.said)}</text>'
        )
    parts.append("</svg>")
    alt = "; ".join(f"{one.title}: {one.said}" for one in lanes)
    return Figure("".join(parts), caption, alt)
