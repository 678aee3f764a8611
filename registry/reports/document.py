"""What a printed report says, apart from how it is set: the same document becomes PDF and Word."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, TypeAlias

from registry.errors import UsageProblem

if TYPE_CHECKING:
    from datetime import date

Block: TypeAlias = "Paragraph | Bullets | Facts | Table | Figure"


@dataclass(frozen=True)
class Paragraph:
    """Running text. ``tone`` is body, small, strong or attention."""

    text: str
    tone: str = "body"


@dataclass(frozen=True)
class Bullets:
    """Short sentences, one below the other."""

    texts: tuple[str, ...]


@dataclass(frozen=True)
class Facts:
    """Names and what they are, in two columns."""

    terms: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class Table:
    """Cells as text. ``numeric`` names the columns that are set flush right; ``notes`` stand below.

    ``widths`` are parts of the whole line; without them the setter chooses.
    """

    caption: str
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    numeric: frozenset[int] = frozenset()
    notes: tuple[str, ...] = ()
    widths: tuple[float, ...] = ()

    def __post_init__(self) -> None:
        if self.widths and len(self.widths) != len(self.heads):
            raise ValueError(f"{self.caption}: {len(self.widths)} widths for {len(self.heads)} heads")
        for row in self.rows:
            if len(row) != len(self.heads):
                raise ValueError(f"{self.caption}: a row of {len(row)} cells under {len(self.heads)} heads")


@dataclass(frozen=True)
class Figure:
    """A drawing with what it shows in words, for whoever cannot see it. ``width`` is a share of the line.

    An empty ``caption`` is left out.
    """

    svg: str
    caption: str
    alt: str
    width: float = 1.0

    def __post_init__(self) -> None:
        if not self.alt.strip():
            raise ValueError(f"{self.caption or 'Figure'}: a figure without words for whoever cannot see it")


@dataclass(frozen=True)
class Section:
    """A heading and what stands under it; ``level`` 1 or 2. An empty title is left out."""

    title: str
    blocks: tuple[Block, ...]
    level: int = 1
    new_page: bool = False


@dataclass(frozen=True)
class Document:
    """A whole report.

    ``mark`` is printed at the head of every page (such as "Confidential"), empty for none;
    ``head`` and ``foot`` stand there as well, in place of the title and the day. A draft is
    marked across every page. A ``compact`` document is set small, to keep to one page. ``day``
    is the clinical day of the report: files made twice are the same byte for byte, so no
    clock is read. ``provenance`` stands at the end.
    """

    title: str
    subtitle: str
    day: date
    sections: tuple[Section, ...]
    cautions: tuple[str, ...]
    provenance: tuple[tuple[str, str], ...]
    mark: str = ""
    head: str = ""
    foot: str = ""
    is_draft: bool = False
    compact: bool = False
    language: str = "en"

    @property
    def head_words(self) -> str:
        """What stands at the head of every page, the mark included."""
        return " ".join(part for part in ("DRAFT." if self.is_draft else "", self.mark, self.head) if part)

    def plain(self) -> dict[str, Any]:
        """The document as JSON-able data, every text as text."""
        return {
            "title": self.title,
            "subtitle": self.subtitle,
            "day": self.day.isoformat(),
            "mark": self.mark,
            "head": self.head,
            "foot": self.foot,
            "is_draft": self.is_draft,
            "compact": self.compact,
            "language": self.language,
            "sections": [
                {
                    "title": one.title,
                    "level": one.level,
                    "new_page": one.new_page,
                    "blocks": [_plain(block) for block in one.blocks],
                }
                for one in self.sections
            ],
            "cautions": list(self.cautions),
            "provenance": [list(pair) for pair in self.provenance],
        }


def _plain(block: Block) -> dict[str, Any]:
    if isinstance(block, Paragraph):
        return {"kind": "paragraph", "text": block.text, "tone": block.tone}
    if isinstance(block, Bullets):
        return {"kind": "bullets", "texts": list(block.texts)}
    if isinstance(block, Facts):
        return {"kind": "facts", "terms": [list(pair) for pair in block.terms]}
    if isinstance(block, Figure):
        return {
            "kind": "figure",
            "svg": block.svg,
            "caption": block.caption,
            "alt": block.alt,
            "width": block.width,
        }
    return {
        "kind": "table",
        "caption": block.caption,
        "heads": list(block.heads),
        "rows": [list(row) for row in block.rows],
        "numeric": sorted(block.numeric),
        "notes": list(block.notes),
        "widths": list(block.widths),
    }


def missing_writer(name: str) -> UsageProblem:
    """The sentence for a program that was installed without what writes reports."""
    return UsageProblem(
        f"Reports need the library {name}, which is not installed. Install them with: pip install 'biopsy-outcomes[reports]'"
    )
