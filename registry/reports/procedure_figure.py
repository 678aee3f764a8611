"""The line of a procedure and its targeting planes as one vector figure, with the words that replace it.

Drawn from what the minutes hold, so that a signed figure can be drawn again from what was signed.
"""

from __future__ import annotations

from math import ceil
from typing import TYPE_CHECKING, Any
from xml.sax.saxutils import escape, quoteattr

if TYPE_CHECKING:
    from collections.abc import Sequence

INK, MUTED, RULE, ACCENT, CONTRADICTION, PAPER = (
    "#22303C",
    "#5B6670",
    "#D9D5CC",
    "#0B5D66",
    "#A23B2A",
    "#FFFFFF",
)
#: Unit lengths of the drawing: width of the whole, height of the line, side of one plane.
WIDTH, LINE_HEIGHT, PLANE = 700, 62, 150
_SIZE = 10
_DOT = 6
Json = dict[str, Any]


def figure(entry: Json) -> tuple[str, str]:
    """The figure of one procedure of the minutes, and its text alternative.

    Parameters
    ----------
    entry
        From :func:`registry.meetings.entries.entry_of`.

    Returns
    -------
    tuple
        SVG text, and what it shows in words.
    """
    target = entry["target"]
    parts = _line(entry["line"])
    height = LINE_HEIGHT
    if target is not None:
        parts += _planes(target, LINE_HEIGHT + 14)
        height += 14 + PLANE + 34
    words = line_words(entry["line"]) + (f" {target_words(target)}" if target is not None else "")
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{WIDTH}" height="{height}" '
        f'viewBox="0 0 {WIDTH} {height}" role="img" aria-label={quoteattr(words)}>'
    )
    return f"{head}{''.join(parts)}</svg>", words


def line_words(stations: Sequence[Json]) -> str:
    """The stations in words: state, day, days between."""
    said = []
    for one in stations:
        when = f" on {one['on']}" if one["on"] else ""
        after = f", {_days(one['days'])} after the station before" if one["days"] is not None else ""
        changed = ", changed after the decision" if one["changed"] else ""
        said.append(f"{one['name']} {one['state']}{when}{after}{changed}")
    return f"Line of the procedure: {'; '.join(said)}."


def target_words(target: Json) -> str:
    """The two planes in words, mm."""
    along = target["along_mm"]
    parts = [f"{abs(along):.1f} mm {'deeper than' if along >= 0 else 'short of'} the target"]
    for value, (plus, minus) in zip((target["first_mm"], target["second_mm"]), target["across"], strict=True):
        parts.append(f"{abs(value):.1f} mm {plus if value >= 0 else minus}")
    aperture = f" Aperture {target['aperture_mm']:g} mm long." if target["aperture_mm"] is not None else ""
    return f"Aperture centre {', '.join(parts)}. {target['frame']}.{aperture}"


def _days(number: int) -> str:
    return "same day" if number == 0 else f"{number} day{'' if abs(number) == 1 else 's'}"


def _after(number: int) -> str:
    return "on the same day" if number == 0 else f"{_days(number)} after the station before"


def _text(
    x: float,
    y: float,
    text: str,
    *,
    size: float = _SIZE,
    fill: str = INK,
    anchor: str = "start",
    bold: bool = False,
) -> str:
    weight = ' font-weight="bold"' if bold else ""
    return (
        f'<text x="{x:.2f}" y="{y:.2f}" font-size="{size:g}" fill="{fill}" text-anchor="{anchor}" '
        f'font-family="Libertinus Serif, serif"{weight}>{escape(text)}</text>'
    )


# -- the line ------------------------------------------------------------------------


def _line(stations: Sequence[Json]) -> list[str]:
    step, y = WIDTH / len(stations), 22.0
    made = []
    for place, one in enumerate(stations):
        x = place * step + _DOT + 3
        if place:
            dashes = ' stroke-dasharray="2 4"' if one["state"] in ("missing", "not due") else ""
            made.append(
                f'<line x1="{x - step + _DOT + 2:.2f}" y1="{y}" x2="{x - _DOT - 2:.2f}" y2="{y}" stroke="{MUTED}" stroke-width="1.5"{dashes}/>'
            )
            if one["days"] is not None:
                made.append(
                    _text(x - step / 2, y - 9, _days(one["days"]), size=9, fill=MUTED, anchor="middle")
                )
        made += _dot(x, y, one)
        made.append(_text(x - _DOT, y + 22, one["name"], bold=True))
        made.append(_text(x - _DOT, y + 35, one["on"] or one["state"], size=9, fill=MUTED))
    return made


def _dot(x: float, y: float, one: Json) -> list[str]:
    """Filled where recorded, half filled where a part is missing, hollow where nothing is; ringed where changed."""
    state = one["state"]
    dashes = ' stroke-dasharray="2 2"' if state == "not due" else ""
    edge = INK if state == "missing" else MUTED if state == "not due" else ACCENT
    fill = ACCENT if state == "recorded" else PAPER
    made = [
        f'<circle cx="{x:.2f}" cy="{y}" r="{_DOT}" fill="{fill}" stroke="{edge}" stroke-width="1.5"{dashes}/>'
    ]
    if state == "partly":
        made.append(
            f'<path d="M {x:.2f} {y - _DOT} A {_DOT} {_DOT} 0 0 0 {x:.2f} {y + _DOT} Z" fill="{ACCENT}"/>'
        )
    if one["changed"]:
        made.append(
            f'<circle cx="{x:.2f}" cy="{y}" r="{_DOT + 3.5}" fill="none" stroke="{CONTRADICTION}" stroke-width="1.5"/>'
        )
    return made


# -- the planes ----------------------------------------------------------------------


def _planes(target: Json, top: float) -> list[str]:
    """Both planes that hold the needle, to one scale; right is deeper."""
    half = (target["aperture_mm"] or 0.0) / 2
    furthest = max(abs(target["along_mm"]) + half, abs(target["first_mm"]), abs(target["second_mm"]), 5.0)
    reach = float(ceil(furthest * 1.1))
    made = []
    for place, value in enumerate((target["first_mm"], target["second_mm"])):
        plus, minus = target["across"][place]
        left = place * (WIDTH / 2)
        made += _plane(left, top, reach, target["along_mm"], value, half)
        made.append(_text(left + PLANE + 8, top + 10, f"up: {plus}", size=9, fill=MUTED))
        made.append(_text(left + PLANE + 8, top + PLANE - 2, f"down: {minus}", size=9, fill=MUTED))
        made.append(_text(left + PLANE + 8, top + PLANE / 2 + 3, "right: deeper", size=9, fill=MUTED))
        made.append(
            _text(
                left,
                top + PLANE + 13,
                f"{value:+.1f} mm across, {target['along_mm']:+.1f} mm along the needle",
                size=9,
            )
        )
    return made


def _plane(left: float, top: float, reach: float, along: float, across: float, half: float) -> list[str]:
    scale = PLANE / 2 / reach
    cx, cy = left + PLANE / 2, top + PLANE / 2
    x, y = cx + along * scale, cy - across * scale
    bar = 10.0 if reach >= 10 else 5.0 if reach >= 5 else 1.0
    made = [
        f'<rect x="{left:.2f}" y="{top:.2f}" width="{PLANE}" height="{PLANE}" fill="none" stroke="{RULE}"/>',
        f'<line x1="{cx - 7:.2f}" y1="{cy:.2f}" x2="{cx + 7:.2f}" y2="{cy:.2f}" stroke="{CONTRADICTION}" stroke-width="1.5"/>',
        f'<line x1="{cx:.2f}" y1="{cy - 7:.2f}" x2="{cx:.2f}" y2="{cy + 7:.2f}" stroke="{CONTRADICTION}" stroke-width="1.5"/>',
    ]
    if half:
        made.append(
            f'<rect x="{x - half * scale:.2f}" y="{y - 3:.2f}" width="{2 * half * scale:.2f}" height="6" fill="none" '
            f'stroke="{ACCENT}" stroke-width="1.2"/>'
        )
    made += [
        f'<circle cx="{x:.2f}" cy="{y:.2f}" r="3" fill="{ACCENT}"/>',
        f'<line x1="{left + 5:.2f}" y1="{top + PLANE - 6:.2f}" x2="{left + 5 + bar * scale:.2f}" y2="{top + PLANE - 6:.2f}" stroke="{INK}" stroke-width="1.5"/>',
        _text(left + 5, top + PLANE - 10, f"{bar:g} mm", size=8.5),
    ]
    return made
