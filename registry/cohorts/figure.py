"""The flow of a cohort as one vector figure, with the words that replace it.

Stages stand one below another on the left; what was left out between two of them stands to the
right of the arrow, reason by reason. Nothing is told by colour alone.
"""

from __future__ import annotations

import textwrap
from dataclasses import dataclass, field
from typing import TYPE_CHECKING
from xml.sax.saxutils import escape, quoteattr

from registry.cohorts.flow import BESIDE, BOX, END, START, STEP
from registry.numerals import grouped

if TYPE_CHECKING:
    from collections.abc import Sequence

    from registry.cohorts.flow import FlowStep

INK, MUTED, PAPER = "#22303C", "#56636F", "#FFFFFF"
_FONT = "Libertinus Serif, Georgia, serif"
WIDTH, _STAGE, _SIDE, _SIDE_X = 760, 230, 470, 290
_SIZE, _LINE, _PAD, _GAP = 12, 16, 9, 16
#: Characters that a line of a stage and of a side box has room for.
_IN_STAGE, _IN_SIDE = 34, 74
#: Key of a step -> the stage that it leads to; every other step leads to those eligible.
_STAGES = {
    "sampled": "with tissue taken",
    "reported": "with a conclusive report",
    "reference_standard": "reference standard met",
}
_ELIGIBLE = "eligible"


@dataclass
class _Stage:
    label: str
    remaining: int
    #: What was left out on the way to it: (indent, text), and what is only said beside it.
    reasons: list[tuple[int, str]] = field(default_factory=list)


def flow_figure(flow: Sequence[FlowStep]) -> tuple[str, str]:
    """The flow as a figure, and its text alternative.

    Parameters
    ----------
    flow
        As drawn, from start to end.

    Returns
    -------
    tuple
        SVG text, and what it shows in words.
    """
    parts: list[str] = []
    y = 0.0
    for place, one in enumerate(_stages(flow)):
        if place:
            y = _between(parts, one.reasons, y)
        y = _stage(parts, one, y)
    words = flow_words(flow)
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{WIDTH + 8}" height="{y + 9:.0f}" viewBox="-4 -4 {WIDTH + 8} {y + 9:.0f}" '
        f'font-family="{_FONT}" font-size="{_SIZE}" role="img" aria-label={quoteattr(words)}>'
    )
    return f"{head}{''.join(parts)}</svg>", words


def flow_words(flow: Sequence[FlowStep]) -> str:
    """The flow in one line of words."""
    said = []
    for one in flow:
        if one.kind in (START, END):
            said.append(f"{grouped(one.remaining)} {one.label}")
        elif one.kind == STEP:
            said.append(f"{grouped(one.left_out)} left out ({one.label}), {grouped(one.remaining)} remain")
        else:
            said.append(f"of these {grouped(one.left_out)} {one.label}")
    return "; ".join(said) + "."


def _stages(flow: Sequence[FlowStep]) -> list[_Stage]:
    """Steps gathered into stages; the last one is what is analysed."""
    made: list[_Stage] = []
    for one in flow:
        if one.kind == START:
            made.append(_Stage(one.label, one.remaining))
            continue
        if one.kind == END:
            if len(made) == 1:
                made.append(_Stage(one.label, one.remaining))
            made[-1].label = one.label
            continue
        label = _one_each(flow) if one.key == "first" else _STAGES.get(one.key.partition(".")[0], _ELIGIBLE)
        if one.kind == STEP and made[-1].label != label:
            made.append(_Stage(label, one.remaining))
        stage = made[-1]
        stage.remaining = one.remaining
        if one.kind == STEP and one.left_out:
            stage.reasons.append((0, f"{grouped(one.left_out)} {one.label}"))
        elif one.kind == BOX:
            stage.reasons.append((1, f"{grouped(one.left_out)} {one.label}"))
        elif one.kind == BESIDE:
            stage.reasons.append((0, f"{grouped(one.left_out)} stay in: {one.label}"))
    return made


def _one_each(flow: Sequence[FlowStep]) -> str:
    """What is left once each unit has one procedure; the last line of the flow names the unit."""
    return f"{flow[-1].label.partition(' ')[0]}, each with one procedure"


def _stage(parts: list[str], one: _Stage, y: float) -> float:
    """A box on the left; where it ends."""
    lines = [grouped(one.remaining), *textwrap.wrap(one.label, _IN_STAGE)]
    height = _LINE * len(lines) + 2 * _PAD
    parts.append(
        f'<rect x="1" y="{y + 1:.1f}" width="{_STAGE}" height="{height:.1f}" fill="{PAPER}" stroke="{INK}" stroke-width="1.2"/>'
    )
    for place, line in enumerate(lines):
        weight = ' font-weight="bold"' if place == 0 else ""
        parts.append(
            f'<text x="{_STAGE / 2:.1f}" y="{y + _PAD + _LINE * (place + 0.8):.1f}" text-anchor="middle" fill="{INK}"{weight}>{escape(line)}</text>'
        )
    return y + height + 1


def _between(parts: list[str], reasons: Sequence[tuple[int, str]], y: float) -> float:
    """The arrow down from ``y``, with the reasons beside it; where the next stage begins."""
    lines: list[tuple[int, str]] = []
    for indent, text in reasons or [(0, "none left out")]:
        wrapped = textwrap.wrap(text, _IN_SIDE - 3 * indent)
        lines += [(indent + (1 if place else 0), line) for place, line in enumerate(wrapped)]
    height = _LINE * len(lines) + 2 * _PAD
    middle = y + _GAP + height / 2
    end = y + height + 2 * _GAP
    x = _STAGE / 2
    parts.append(
        f'<line x1="{x}" y1="{y:.1f}" x2="{x}" y2="{end - 6:.1f}" stroke="{INK}" stroke-width="1.2"/>'
        f'<path d="M{x - 4} {end - 8:.1f}L{x + 4} {end - 8:.1f}L{x} {end:.1f}Z" fill="{INK}"/>'
        f'<line x1="{x}" y1="{middle:.1f}" x2="{_SIDE_X}" y2="{middle:.1f}" stroke="{MUTED}" stroke-width="1"/>'
        f'<rect x="{_SIDE_X}" y="{y + _GAP:.1f}" width="{_SIDE - 1}" height="{height:.1f}" fill="{PAPER}" stroke="{MUTED}" stroke-width="1"/>'
    )
    for place, (indent, line) in enumerate(lines):
        parts.append(
            f'<text x="{_SIDE_X + _PAD + 14 * indent}" y="{y + _GAP + _PAD + _LINE * (place + 0.8):.1f}" fill="{INK if not indent else MUTED}">{escape(line)}</text>'
        )
    return end
