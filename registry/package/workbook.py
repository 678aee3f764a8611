"""An XLSX workbook of tables, written part by part: text stays text, days are days.

Only what ECMA-376 needs for plain cells. No formula can come of a text: each is written as an
inline string, and the frames are guarded before (:mod:`registry.package.guard`) against what
happens when a cell is opened for editing or saved as CSV. The archive has fixed times, so the
same rows give the same bytes.
"""

from __future__ import annotations

import zipfile
from typing import TYPE_CHECKING
from xml.sax.saxutils import escape

import polars as pl

from registry.errors import UsageProblem
from registry.numerals import grouped
from registry.package.archive import entry

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping
    from pathlib import Path

#: Rows of a sheet in every program that opens the format, the header among them.
MOST_ROWS = 1_048_576
_CHUNK = 4000
_MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
_OFFICE = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
_PACKAGE = "http://schemas.openxmlformats.org/package/2006"
_HEAD = '<?xml version="1.0" encoding="UTF-8" standalone="yes"?>\n'
_CONTROL = r"[\x00-\x08\x0b\x0c\x0e-\x1f]"
#: Days count from here: 1900-01-01 is 1, and 1900 is taken for a leap year.
_DAY_ZERO = pl.date(1899, 12, 30)
_STYLES = (
    f'{_HEAD}<styleSheet xmlns="{_MAIN}"><numFmts count="1"><numFmt numFmtId="164" formatCode="yyyy\\-mm\\-dd"/></numFmts>'
    '<fonts count="2"><font><sz val="11"/><name val="Calibri"/></font><font><b/><sz val="11"/><name val="Calibri"/></font></fonts>'
    '<fills count="2"><fill><patternFill patternType="none"/></fill><fill><patternFill patternType="gray125"/></fill></fills>'
    '<borders count="1"><border/></borders><cellStyleXfs count="1"><xf/></cellStyleXfs>'
    '<cellXfs count="3"><xf/><xf numFmtId="164" applyNumberFormat="1"/><xf fontId="1" applyFont="1"/></cellXfs>'
    '<cellStyles count="1"><cellStyle name="Normal" xfId="0" builtinId="0"/></cellStyles></styleSheet>'
)


def write(sheets: Mapping[str, pl.DataFrame], path: Path) -> None:
    """Write a workbook, one sheet a table, the header in the first row.

    Raises
    ------
    UsageProblem
        A table has more rows than a sheet holds.
    """
    for name, frame in sheets.items():
        if frame.height >= MOST_ROWS:
            raise UsageProblem(
                f"--formats xlsx: {name} has {grouped(frame.height)} rows, and a sheet holds {grouped(MOST_ROWS - 1)}. Leave xlsx out."
            )
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as made:
        numbers = range(1, len(sheets) + 1)
        for part, text in _frame_of(list(sheets), numbers).items():
            made.writestr(entry(part), text)
        for number, frame in zip(numbers, sheets.values(), strict=True):
            with made.open(entry(f"xl/worksheets/sheet{number}.xml"), "w", force_zip64=True) as sheet:
                for part in _sheet(frame):
                    sheet.write(part.encode())


def _frame_of(names: list[str], numbers: range) -> dict[str, str]:
    """The parts around the sheets."""
    kinds = "application/vnd.openxmlformats-officedocument.spreadsheetml"
    types = "".join(
        f'<Override PartName="/xl/worksheets/sheet{n}.xml" ContentType="{kinds}.worksheet+xml"/>'
        for n in numbers
    )
    sheets = "".join(
        f'<sheet name="{escape(name[:31])}" sheetId="{n}" r:id="rId{n}"/>'
        for n, name in zip(numbers, names, strict=True)
    )
    links = "".join(
        f'<Relationship Id="rId{n}" Type="{_OFFICE}/worksheet" Target="worksheets/sheet{n}.xml"/>'
        for n in numbers
    )
    return {
        "[Content_Types].xml": f'{_HEAD}<Types xmlns="{_PACKAGE}/content-types">'
        '<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
        '<Default Extension="xml" ContentType="application/xml"/>'
        f'<Override PartName="/xl/workbook.xml" ContentType="{kinds}.sheet.main+xml"/>'
        f'<Override PartName="/xl/styles.xml" ContentType="{kinds}.styles+xml"/>{types}</Types>',
        "_rels/.rels": f'{_HEAD}<Relationships xmlns="{_PACKAGE}/relationships">'
        f'<Relationship Id="rId1" Type="{_OFFICE}/officeDocument" Target="xl/workbook.xml"/></Relationships>',
        "xl/workbook.xml": f'{_HEAD}<workbook xmlns="{_MAIN}" xmlns:r="{_OFFICE}"><sheets>{sheets}</sheets></workbook>',
        "xl/_rels/workbook.xml.rels": f'{_HEAD}<Relationships xmlns="{_PACKAGE}/relationships">{links}'
        f'<Relationship Id="rId{len(names) + 1}" Type="{_OFFICE}/styles" Target="styles.xml"/></Relationships>',
        "xl/styles.xml": _STYLES,
    }


def _sheet(frame: pl.DataFrame) -> Iterator[str]:
    yield (
        f'{_HEAD}<worksheet xmlns="{_MAIN}"><sheetViews><sheetView workbookViewId="0">'
        '<pane ySplit="1" topLeftCell="A2" state="frozen"/></sheetView></sheetViews><sheetData>'
    )
    heads = "".join(f'<c s="2" t="inlineStr"><is><t>{escape(name)}</t></is></c>' for name in frame.columns)
    yield f"<row>{heads}</row>"
    cells = [_cell(name, kind) for name, kind in frame.schema.items()]
    for part in frame.iter_slices(_CHUNK):
        row = pl.concat_str([pl.lit("<row>"), *cells, pl.lit("</row>")])
        yield "".join(part.select(row.alias("row"))["row"].to_list())
    yield "</sheetData></worksheet>"


def _cell(name: str, kind: pl.DataType) -> pl.Expr:
    """The cells of a column; an empty one holds its place."""
    one = pl.col(name)
    if kind == pl.Boolean:
        made = pl.when(one).then(pl.lit('<c t="b"><v>1</v></c>')).otherwise(pl.lit('<c t="b"><v>0</v></c>'))
    elif kind == pl.Date:
        made = pl.format('<c s="1"><v>{}</v></c>', (one - _DAY_ZERO).dt.total_days())
    elif kind.is_numeric():
        made = pl.format("<c><v>{}</v></c>", one)
    else:
        text = one.cast(pl.String).str.replace_all(_CONTROL, "")
        for character, written in (("&", "&amp;"), ("<", "&lt;"), (">", "&gt;")):
            text = text.str.replace_all(character, written, literal=True)
        made = pl.format('<c t="inlineStr"><is><t xml:space="preserve">{}</t></is></c>', text)
    return pl.when(one.is_null()).then(pl.lit("<c/>")).otherwise(made)
