"""Reports as PDF and Word: text stays text, the same bytes twice, tagged, figures with words."""

from __future__ import annotations

import io
import re
import subprocess
from dataclasses import replace
from datetime import date
from typing import TYPE_CHECKING

import docx
import pytest

from registry.reports.document import Bullets, Document, Facts, Figure, Paragraph, Section, Table
from registry.reports.pdf import pdf
from registry.reports.word import word

if TYPE_CHECKING:
    from pathlib import Path

SVG = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 200 40"><line x1="10" y1="20" x2="190" y2="20" stroke="#0B5D66"/></svg>'
#: What the setter, the word processor or a spreadsheet would take for something else than text.
HOSTILE = [
    "#code[x]",
    "*bold*",
    "$x^2$",
    "<b>tag</b>",
    "=1+1",
    "a & b",
    "@cite",
    "\\section{x}",
    "`raw`",
    "// no comment",
]
REPORT = Document(
    title="Minutes",
    subtitle="SITE-A",
    day=date(2026, 7, 2),
    sections=(
        Section(
            "First",
            (
                Paragraph("A sentence."),
                Bullets(("one thing", "another")),
                Facts((("Chair", "radiologist"),)),
                Table(
                    "Cells",
                    ("cell", "n"),
                    tuple((text, str(i)) for i, text in enumerate(HOSTILE)),
                    frozenset({1}),
                    ("A note.",),
                ),
                Figure(SVG, "A line", "A line from left to right"),
            ),
        ),
    ),
    cautions=("A caution.",),
    provenance=(("Program", "biopsy-outcomes"),),
    mark="Draft",
)


def text_of(made: bytes, place: Path) -> str:
    path = place / "report.pdf"
    path.write_bytes(made)
    return subprocess.run(
        ["pdftotext", "-layout", str(path), "-"], capture_output=True, text=True, check=True
    ).stdout


def together(text: str) -> str:
    """Without spaces: what reads a PDF back guesses them from the distances."""
    return re.sub(r"\s+", "", text)


def facts_of(made: bytes, place: Path) -> str:
    path = place / "report.pdf"
    path.write_bytes(made)
    return subprocess.run(["pdfinfo", str(path)], capture_output=True, text=True, check=True).stdout


@pytest.mark.parametrize("text", HOSTILE)
def test_text_stays_text_in_the_pdf(tmp_path, text):
    assert together(text) in together(text_of(pdf(REPORT), tmp_path))


def test_text_stays_text_in_the_word_file():
    made = docx.Document(io.BytesIO(word(REPORT)))
    cells = [row.cells[0].text for row in made.tables[1].rows[1:]]

    assert cells == HOSTILE


def test_the_pdf_is_tagged_and_says_its_title(tmp_path):
    said = facts_of(pdf(REPORT), tmp_path)

    assert "Tagged:          yes" in said
    assert "Title:           Minutes" in said


@pytest.mark.parametrize("writer", [pdf, word])
def test_twice_the_same_bytes(writer):
    assert writer(REPORT) == writer(REPORT)


@pytest.mark.parametrize("writer", [pdf, word])
def test_another_day_gives_another_file(writer):
    assert writer(REPORT) != writer(replace(REPORT, day=date(2026, 7, 3)))


def test_a_draft_is_marked_on_every_page(tmp_path):
    long = replace(
        REPORT, sections=(Section("Long", (Table("Rows", ("n",), tuple((str(i),) for i in range(150))),)),)
    )
    pages = text_of(pdf(long), tmp_path).split("\f")[:-1]

    assert len(pages) > 2
    assert all("Draft" in page for page in pages)


def test_the_head_of_a_table_is_repeated_on_every_page(tmp_path):
    long = replace(
        REPORT,
        sections=(Section("Long", (Table("Rows", ("head of it",), tuple((str(i),) for i in range(150))),)),),
    )
    pages = text_of(pdf(long), tmp_path).split("\f")[:3]

    assert all("head of it" in page for page in pages)


def test_a_word_table_says_which_row_is_its_head():
    made = docx.Document(io.BytesIO(word(REPORT)))

    assert "tblHeader" in made.tables[1].rows[0]._tr.xml
    assert "tblHeader" not in made.tables[1].rows[1]._tr.xml


def test_a_figure_without_words_is_refused():
    with pytest.raises(ValueError, match="without words"):
        Figure(SVG, "A line", "  ")


def test_a_figure_keeps_its_words_in_the_word_file():
    made = docx.Document(io.BytesIO(word(REPORT)))

    assert [one._inline.docPr.get("descr") for one in made.inline_shapes] == ["A line from left to right"]


def test_a_row_of_another_length_is_refused():
    with pytest.raises(ValueError, match="2 cells under 1"):
        Table("Cells", ("a",), (("1", "2"),))


def test_headings_are_headings_in_the_word_file():
    made = docx.Document(io.BytesIO(word(REPORT)))

    assert [one.text for one in made.paragraphs if one.style.name == "Heading 1"] == [
        "First",
        "Cautions",
        "Where this comes from",
    ]
