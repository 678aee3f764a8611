"""What a printed document of the meeting is made of; set as PDF and as Word from the same parts."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from datetime import date


@dataclass(frozen=True)
class Heading:
    """A heading; level 1 is the largest below the title."""

    text: str
    level: int = 1


@dataclass(frozen=True)
class Words:
    """A paragraph."""

    text: str


@dataclass(frozen=True)
class Pairs:
    """Headings with their words beside them."""

    pairs: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class Grid:
    """A table with a caption; rows as wide as its heads. ``widths`` are parts of the whole."""

    caption: str
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    widths: tuple[float, ...]


@dataclass(frozen=True)
class Drawing:
    """A vector drawing (SVG) and the words that replace it; width in mm."""

    svg: str
    alt: str
    width_mm: float = 170.0


Block = Heading | Words | Pairs | Grid | Drawing


@dataclass(frozen=True)
class Sheet:
    """A document of a day (``dated``): ``standing`` stands at the top of every page, ``foot`` at the bottom; a draft is marked across it."""

    title: str
    standing: str
    blocks: tuple[Block, ...]
    cautions: tuple[str, ...]
    foot: str
    dated: date
    is_draft: bool = False
    text_pt: float = 9.5
    margin_mm: float = 20.0
    language: str = field(default="en")
