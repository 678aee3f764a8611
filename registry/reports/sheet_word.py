"""A sheet as Word: the same words, tables and figures; the same bytes for the same sheet."""

from __future__ import annotations

import io
import zipfile
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

from registry.reports.sheet import Drawing, Grid, Heading, Pairs, Words

if TYPE_CHECKING:
    from registry.reports.sheet import Block, Sheet

_DOTS_PER_INCH = 200
_EPOCH = (1980, 1, 1, 0, 0, 0)


def word(sheet: Sheet) -> bytes:
    """The sheet as a Word file; a draft says so at the top of every page."""
    import docx
    from docx.shared import Mm, Pt

    made = docx.Document()
    # Fixed, so that the same sheet gives the same bytes.
    core = made.core_properties
    core.title, core.author, core.last_modified_by = sheet.title, "biopsy-outcomes", "biopsy-outcomes"
    core.created = core.modified = datetime(sheet.dated.year, sheet.dated.month, sheet.dated.day, tzinfo=UTC)
    section = made.sections[0]
    section.page_width, section.page_height = Mm(210), Mm(297)
    section.left_margin = section.right_margin = Mm(sheet.margin_mm)
    section.top_margin = section.bottom_margin = Mm(sheet.margin_mm)
    made.styles["Normal"].font.size = Pt(sheet.text_pt)
    section.header.paragraphs[0].text = f"DRAFT. {sheet.standing}" if sheet.is_draft else sheet.standing
    section.footer.paragraphs[0].text = sheet.foot
    made.add_heading(sheet.title, level=1)
    for block in sheet.blocks:
        _add(made, block)
    for said in sheet.cautions:
        made.add_paragraph(said).style = made.styles["Caption"]
    return _same_bytes(made)


def _add(made: Any, block: Block) -> None:
    if isinstance(block, Heading):
        made.add_heading(block.text, level=block.level + 1)
    elif isinstance(block, Words):
        made.add_paragraph(block.text)
    elif isinstance(block, Pairs):
        _table(made, block.pairs, (1.0, 4.0), head=False)
    elif isinstance(block, Grid):
        made.add_paragraph(block.caption).style = made.styles["Caption"]
        _table(made, (block.heads, *block.rows), block.widths, head=True)
    else:
        _picture(made, block)


def _table(made: Any, rows: tuple[tuple[str, ...], ...], widths: tuple[float, ...], *, head: bool) -> None:
    from docx.oxml import OxmlElement

    table = made.add_table(rows=0, cols=len(widths))
    if head:
        table.style = made.styles["Table Grid"]
    section = made.sections[0]
    whole = section.page_width - section.left_margin - section.right_margin
    for row in rows:
        cells = table.add_row().cells
        for cell, text, width in zip(cells, row, widths, strict=True):
            cell.text = text
            cell.width = int(whole * width / sum(widths))
    if head:
        # Repeated on every page, and read as heads by assistive technology.
        table.rows[0]._tr.get_or_add_trPr().append(OxmlElement("w:tblHeader"))


def _picture(made: Any, one: Drawing) -> None:
    from docx.shared import Mm

    shape = made.add_picture(io.BytesIO(_png(one)), width=Mm(one.width_mm))
    shape._inline.docPr.set("descr", one.alt)


def _png(one: Drawing) -> bytes:
    """The drawing as a picture: Word takes no vector drawing from here."""
    import tempfile
    from pathlib import Path

    import typst

    with tempfile.TemporaryDirectory() as scratch:
        place = Path(scratch)
        (place / "one.svg").write_text(one.svg, encoding="utf-8")
        (place / "one.typ").write_text(
            f'#set page(width: {one.width_mm:g}mm, height: auto, margin: 0mm)\n#image("one.svg", width: 100%)\n',
            encoding="utf-8",
        )
        made = typst.compile(
            str(place / "one.typ"), root=scratch, format="png", ppi=_DOTS_PER_INCH, ignore_system_fonts=True
        )
    return made if isinstance(made, bytes) else made[0]


def _same_bytes(made: Any) -> bytes:
    """The file packed anew with fixed times."""
    packed, again = io.BytesIO(), io.BytesIO()
    made.save(packed)
    with zipfile.ZipFile(packed) as source, zipfile.ZipFile(again, "w", zipfile.ZIP_DEFLATED) as target:
        for name in sorted(source.namelist()):
            entry = zipfile.ZipInfo(name, _EPOCH)
            entry.compress_type = zipfile.ZIP_DEFLATED
            target.writestr(entry, source.read(name))
    return again.getvalue()
