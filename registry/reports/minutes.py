"""Minutes set on paper: PDF and Word from the same document."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, Any

from registry.reports import minutes_words as words
from registry.reports import pdf as printed
from registry.reports import word as written
from registry.reports.document import Block, Document, Facts, Figure, Paragraph, Section, Table
from registry.reports.procedure_figure import figure

if TYPE_CHECKING:
    from registry.meetings.minutes import Minutes


def pdf(minutes: Minutes) -> bytes:
    """The minutes as PDF."""
    return printed.pdf(document(minutes))


def word(minutes: Minutes) -> bytes:
    """The minutes as Word."""
    return written.word(document(minutes))


def document(minutes: Minutes) -> Document:
    """What is set: opening, each procedure with its figure, what is open, who is told, proof."""
    sections = [Section("", (Facts(tuple(words.opening(minutes))),))]
    number = 0
    for title, entries in (("Decided", minutes.decided), ("On the list and not decided", minutes.undecided)):
        if entries:
            sections.append(Section(title, ()))
        for entry in entries:
            number += 1
            sections.append(_entry(number, entry))
    sections += _tables(minutes)
    end: list[Block] = []
    if minutes.erased:
        end.append(
            Paragraph(
                f"What these minutes said of {minutes.erased} procedures was removed when a patient was erased."
            )
        )
    sections.append(Section("Signature", (*end, Facts(tuple(words.proof(minutes))))))
    kept = minutes.kept
    return Document(
        title=words.title(minutes),
        subtitle="",
        day=date.fromisoformat(minutes.opening["held_on"]),
        sections=tuple(sections),
        cautions=words.CAUTIONS,
        provenance=(),
        head=words.standing(minutes),
        foot=f"SHA-256 {kept.sha256}" if kept else f"Not signed. {minutes.opening['stamp']}",
        is_draft=minutes.is_draft,
    )


def _entry(number: int, entry: dict[str, Any]) -> Section:
    svg, alt = figure(entry)
    said = [*(f"{change}." for change in entry["changes"]), entry["missing"]]
    blocks = (
        Facts(tuple(words.decision(entry))),
        Figure(svg, "", alt),
        Facts(tuple((name, text) for name, text in entry["facts"])),
        Paragraph(" ".join(said)),
    )
    return Section(words.entry_title(number, entry), blocks, level=2)


def _tables(minutes: Minutes) -> list[Section]:
    told: Block = Paragraph("Nothing was decided.")
    if tells := words.tells(minutes):
        told = Table("One row a decision", words.TELL_HEADS, tuple(tells), widths=(1, 1, 1, 1.4))
    left: Block = Paragraph("Earlier meetings left nothing open.")
    if rows := words.actions(minutes):
        widths = (1.1, 1.9, 1.1, 1.1, 1.5, 1.1, 1.1)
        left = Table("Neither booked nor done", words.ACTION_HEADS, tuple(rows), widths=widths)
    return [
        Section("Who tells the patient, and when", (told,)),
        Section("Left open by earlier meetings", (left,)),
    ]
