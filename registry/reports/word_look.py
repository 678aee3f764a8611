"""How a Word file looks: one typeface in one ink, and tables with hairlines under their rows."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Sequence

INK, MUTED, ATTENTION = (0x22, 0x30, 0x3C), (0x56, 0x63, 0x6F), (0x85, 0x56, 0x0F)
TYPEFACE = "Georgia"
_RULE = "C9C4B8"
_HEADINGS = {"Title": 20, "Heading 1": 14, "Heading 2": 11.5, "Heading 3": 10.5}
#: A column is as wide as its longest text, within these numbers of letters; a word is not broken.
_FEWEST, _MOST = 4, 34
#: What the space beside a cell takes, in letters.
_BESIDE = 3
#: Width of a letter, in heights of the type: that of a wide serif, which stands in where ours is missing.
_LETTER = 0.6
_CM_OF_POINT = 2.54 / 72
_DATE = re.compile(r"\d{4}-\d\d-\d\d")
#: What is not broken over two lines: a date, a word, or a part of one up to its hyphen.
_UNBROKEN = re.compile(rf"{_DATE.pattern}|[^\s-]+-?")
_AFTER_BORDERS = ("shd", "tblLayout", "tblCellMar", "tblLook", "tblCaption", "tblDescription")
#: So many columns are set a size smaller.
_MANY_COLUMNS = 9
#: Figures such as "464 / 499" are not broken up to so many letters.
_WHOLE = 12


def set_styles(made: Any, points: float) -> None:
    """Give text and headings their typeface, size and ink, in place of those of the library's template."""
    from docx.oxml.ns import qn
    from docx.shared import Pt, RGBColor

    for name, size in {"Normal": points, **_HEADINGS}.items():
        style = made.styles[name]
        style.font.name, style.font.size, style.font.color.rgb = TYPEFACE, Pt(size), RGBColor(*INK)
        fonts = style.element.rPr.rFonts
        for place in ("asciiTheme", "hAnsiTheme", "eastAsiaTheme", "cstheme"):
            # A typeface of the theme goes before the one that is named.
            fonts.attrib.pop(qn(f"w:{place}"), None)
        for border in style.element.findall(f".//{qn('w:pBdr')}"):
            border.getparent().remove(border)


def table(
    made: Any,
    heads: Sequence[str],
    rows: Sequence[Sequence[str]],
    numeric: frozenset[int],
    width_cm: float,
    points: float,
    shares: Sequence[float] = (),
) -> None:
    """A table over the whole line; its head is repeated on each page and read aloud as such.

    ``shares`` are the parts of the line that the columns take where their words leave them that much.
    """
    every = [heads, *rows] if heads else rows
    if len(every[0]) >= _MANY_COLUMNS:
        points -= 1
    widths = column_widths(heads, rows, width_cm, numeric, points, shares)
    grid = _grid(made, every, numeric, widths, points)
    if not heads:
        return
    from docx.oxml import OxmlElement
    from docx.shared import RGBColor

    first = grid.rows[0]
    first._tr.get_or_add_trPr().append(OxmlElement("w:tblHeader"))
    for cell in first.cells:
        for run in cell.paragraphs[0].runs:
            run.bold, run.font.color.rgb = True, RGBColor(*MUTED)


def _grid(
    made: Any,
    rows: Sequence[Sequence[str]],
    numeric: frozenset[int],
    widths_cm: Sequence[float],
    points: float,
) -> Any:
    from docx.enum.text import WD_ALIGN_PARAGRAPH
    from docx.oxml import OxmlElement
    from docx.shared import Cm, Pt

    widths = [Cm(one) for one in widths_cm]
    grid = made.add_table(rows=0, cols=len(widths))
    grid.autofit = False
    _hairlines(grid)
    for column, width in zip(grid.columns, widths, strict=True):
        column.width = width
    for row in rows:
        line = grid.add_row()
        line._tr.get_or_add_trPr().append(OxmlElement("w:cantSplit"))
        for column, (cell, text) in enumerate(zip(line.cells, row, strict=True)):
            cell.width = widths[column]
            paragraph = cell.paragraphs[0]
            paragraph.paragraph_format.space_after = Pt(0)
            paragraph.add_run(text).font.size = Pt(points)
            if _is_whole(column, text, numeric):
                cell._tc.get_or_add_tcPr().append(OxmlElement("w:noWrap"))
            if column in numeric:
                paragraph.alignment = WD_ALIGN_PARAGRAPH.RIGHT
    made.add_paragraph().paragraph_format.space_after = Pt(0)
    return grid


def column_widths(
    heads: Sequence[str],
    rows: Sequence[Sequence[str]],
    width_cm: float,
    numeric: frozenset[int] = frozenset(),
    points: float = 8.0,
    shares: Sequence[float] = (),
) -> list[float]:
    """Widths in cm that add up to that of the line; heads may wrap, words and figures do not.

    By the longest text of each column, or by the ``shares`` of the line that are wished. Where the
    line is too short for all of it, the columns with more than one word give way first.
    """
    letter = points * _LETTER * _CM_OF_POINT
    least, most = [], []
    for place, column in enumerate(zip(heads, *rows, strict=True) if heads else zip(*rows, strict=True)):
        cells = column[1:] if heads else column
        longest = max(map(len, cells), default=0)
        whole = [text for text in cells if _is_whole(place, text, numeric)]
        word = max((len(word) for text in column for word in _UNBROKEN.findall(text)), default=0)
        least.append(letter * (_BESIDE + max(_FEWEST, word, *map(len, whole))))
        most.append(letter * (_BESIDE + min(longest, _MOST)))
    if shares:
        most = [width_cm * one / sum(shares) for one in shares]
    most = [max(pair) for pair in zip(least, most, strict=True)]
    short, long = sum(least), sum(most)
    room = min(max(width_cm, short), long)
    grown = (room - short) / (long - short) if long > short else 0.0
    widths = [low + grown * (high - low) for low, high in zip(least, most, strict=True)]
    return [width_cm * one / sum(widths) for one in widths]


def _is_whole(column: int, text: str, numeric: frozenset[int]) -> bool:
    """Whether a cell stays on one line: a date, or a number with what belongs to it."""
    is_figure = column in numeric and len(text) <= _WHOLE and text[:1].isdigit()
    return is_figure or _DATE.fullmatch(text) is not None


def _hairlines(grid: Any) -> None:
    from docx.oxml import OxmlElement
    from docx.oxml.ns import qn

    borders = OxmlElement("w:tblBorders")
    for side in ("top", "bottom", "insideH"):
        line = OxmlElement(f"w:{side}")
        for name, value in (("val", "single"), ("sz", "4"), ("space", "0"), ("color", _RULE)):
            line.set(qn(f"w:{name}"), value)
        borders.append(line)
    properties = grid._tbl.tblPr
    # The standard states an order (ECMA-376, part 1, 17.4.59), and word processors hold to it.
    later = [one for one in properties if one.tag in {qn(f"w:{name}") for name in _AFTER_BORDERS}]
    if later:
        later[0].addprevious(borders)
    else:
        properties.append(borders)
