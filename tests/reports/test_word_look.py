"""How a Word file looks: nothing is painted behind text, columns fit what they hold."""

from __future__ import annotations

import io
from dataclasses import replace
from datetime import date

import docx
import pytest

from registry.reports.document import Document, Facts, Section, Table
from registry.reports.word import word
from registry.reports.word_look import column_widths

TABLE = Table("Rates", ("Measure", "x / n"), (("Cancer at biopsy", "184 / 468"),), frozenset({1}))
REPORT = Document(
    title="Report",
    subtitle="",
    day=date(2026, 7, 2),
    sections=(Section("First", (TABLE, Facts((("Chair", "radiologist"),)))),),
    cautions=(),
    provenance=(),
)


@pytest.fixture(scope="module")
def made():
    return docx.Document(io.BytesIO(word(REPORT)))


def test_no_table_is_painted(made):
    """Ink on a dark head cannot be read: neither the cells nor the style of a table may shade."""
    for one in made.tables:
        assert "w:shd" not in one._tbl.xml
        assert "w:shd" not in one.style.element.xml


def test_text_and_headings_have_one_typeface_of_their_own(made):
    """A typeface of the library's theme would go before the one that is named."""
    for name in ("Normal", "Title", "Heading 1", "Heading 2"):
        style = made.styles[name]
        assert style.font.name == "Georgia"
        assert str(style.font.color.rgb) == "22303C"
        assert "Theme=" not in style.element.rPr.rFonts.xml.partition("rFonts")[2].split("/>")[0]


def test_a_figure_stays_on_one_line(made):
    cell = made.tables[0].rows[1].cells[1]

    assert cell.text == "184 / 468"
    assert "w:noWrap" in cell._tc.xml
    assert "w:noWrap" not in made.tables[0].rows[1].cells[0]._tc.xml


def test_the_properties_of_a_table_stand_in_the_order_of_the_standard(made):
    """ECMA-376, part 1: what is out of order makes a file that a word processor offers to repair."""
    order = ["tblStyle", "tblW", "jc", "tblInd", "tblBorders", "tblLayout", "tblLook"]

    for one in made.tables:
        found = [element.tag.partition("}")[2] for element in one._tbl.tblPr]
        assert "tblBorders" in found
        assert found == sorted(found, key=order.index)


def test_a_row_does_not_part_over_two_pages(made):
    assert all("w:cantSplit" in row._tr.xml for one in made.tables for row in one.rows)


@pytest.mark.parametrize(
    ("heads", "rows"), [(["Measure", "n"], [["a" * 80, "1"]]), ([], [["a", "b", "c"]]), ([], [["", ""]])]
)
def test_columns_fill_the_line(heads, rows):
    assert sum(column_widths(heads, rows, 17.0)) == pytest.approx(17.0)


def test_a_column_holds_its_longest_word():
    """At 8.5 points a letter takes about 1.6 mm: 17 cm hold some hundred of them."""
    narrow, wide = column_widths(["Procedures", "Reason"], [["1", "not sampled on the day " * 4]], 17.0)

    assert narrow / 0.16 > len("Procedures")
    assert wide > narrow


def test_a_long_head_over_short_cells_wraps():
    """Nine kinds of device over counts leave the first column room for its words."""
    heads = ["Reason", *["Vacuum-assisted biopsy of it"] * 4]
    first, *others = column_widths(heads, [["Asked for by the pathologist", "1", "2", "3", "4"]], 17.0)

    assert first > max(others)


def test_where_the_line_is_too_short_the_columns_of_several_words_give_way():
    """Two columns of one word of 12 letters hold it; the text beside them takes the rest of 8 cm."""
    heads = ["Insufficient", "Text", "Insufficient"]
    first, text, last = column_widths(heads, [["1", "a few words " * 9, "2"]], 8.0, points=8.0)

    assert first == pytest.approx(last)
    # 8 points are 2.8 mm; a wide letter takes six tenths of that
    assert first >= 12 * 0.6 * 0.28
    assert text < 8.0 - 2 * 12 * 0.6 * 0.28


def test_a_date_is_not_broken_at_its_hyphens():
    """Ten letters of six tenths of 2.8 mm, however much text stands beside it."""
    date, _ = column_widths(["Due", "Text"], [["2025-04-09", "a few words " * 30]], 6.0, points=8.0)

    assert date >= 10 * 0.6 * 0.28


def test_a_share_that_is_wished_yields_to_a_word():
    narrow, wide = column_widths(["Procedures", "Reason"], [["1", "not sampled"]], 17.0, shares=[1, 40])

    assert narrow >= 10 * 0.6 * 0.28
    assert narrow + wide == pytest.approx(17.0)


def test_a_share_that_is_wished_is_given_where_the_words_leave_it():
    assert column_widths(["a", "b"], [["c", "d"]], 16.0, shares=[1, 3]) == pytest.approx([4.0, 12.0])


def test_the_same_look_in_a_compact_document():
    compact = docx.Document(io.BytesIO(word(replace(REPORT, compact=True))))

    assert compact.styles["Normal"].font.size.pt == 9
    assert compact.tables[0].rows[0].cells[0].paragraphs[0].runs[0].bold
