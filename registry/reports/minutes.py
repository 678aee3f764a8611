"""Minutes set on paper: PDF and Word from the same parts."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, Any

from registry.reports import minutes_words as words
from registry.reports import sheet_pdf, sheet_word
from registry.reports.procedure_figure import figure
from registry.reports.sheet import Block, Drawing, Grid, Heading, Pairs, Sheet, Words

if TYPE_CHECKING:
    from registry.meetings.minutes import Minutes


def pdf(minutes: Minutes) -> bytes:
    """The minutes as PDF."""
    return sheet_pdf.pdf(sheet(minutes))


def word(minutes: Minutes) -> bytes:
    """The minutes as Word."""
    return sheet_word.word(sheet(minutes))


def sheet(minutes: Minutes) -> Sheet:
    """What is set: opening, each procedure with its figure, what is open, who is told, proof."""
    blocks: list[Block] = [Pairs(tuple(words.opening(minutes)))]
    number = 0
    for title, entries in (("Decided", minutes.decided), ("On the list and not decided", minutes.undecided)):
        if entries:
            blocks.append(Heading(title))
        for entry in entries:
            number += 1
            blocks += _entry(number, entry)
    blocks += _tables(minutes)
    if minutes.erased:
        blocks.append(
            Words(
                f"What these minutes said of {minutes.erased} procedures was removed when a patient was erased."
            )
        )
    blocks += [Heading("Signature"), Pairs(tuple(words.proof(minutes)))]
    kept = minutes.kept
    foot = f"SHA-256 {kept.sha256}" if kept else f"Not signed. {minutes.opening['stamp']}"
    return Sheet(
        words.title(minutes),
        words.standing(minutes),
        tuple(blocks),
        words.CAUTIONS,
        foot,
        date.fromisoformat(minutes.opening["held_on"]),
        is_draft=minutes.is_draft,
    )


def _entry(number: int, entry: dict[str, Any]) -> list[Block]:
    svg, alt = figure(entry)
    blocks: list[Block] = [
        Heading(words.entry_title(number, entry), 2),
        Pairs(tuple(words.decision(entry))),
        Drawing(svg, alt),
        Pairs(tuple((name, said) for name, said in entry["facts"])),
    ]
    said = [*(f"{change}." for change in entry["changes"]), entry["missing"]]
    return [*blocks, Words(" ".join(said))]


def _tables(minutes: Minutes) -> list[Block]:
    blocks: list[Block] = [Heading("Who tells the patient, and when")]
    if tells := words.tells(minutes):
        blocks.append(Grid("One row a decision", words.TELL_HEADS, tuple(tells), (1, 1, 1, 1.4)))
    else:
        blocks.append(Words("Nothing was decided."))
    blocks.append(Heading("Left open by earlier meetings"))
    if rows := words.actions(minutes):
        blocks.append(
            Grid(
                "Neither booked nor done",
                words.ACTION_HEADS,
                tuple(rows),
                (1.1, 1.9, 1.1, 1.1, 1.5, 1.1, 1.1),
            )
        )
    else:
        blocks.append(Words("Earlier meetings left nothing open."))
    return blocks
