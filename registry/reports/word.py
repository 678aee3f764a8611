"""A document as Word file: real headings, tables with a header row, figures with words beside them."""

from __future__ import annotations

import io
import zipfile
from datetime import datetime, time
from typing import TYPE_CHECKING, Any

from registry.reports import word_look
from registry.reports.document import Bullets, Facts, Figure, Paragraph, Table, missing_writer

if TYPE_CHECKING:
    from registry.reports.document import Block, Document

_DOTS_PER_INCH = 200
_LINE_CM = 17.0
_TABLE_POINTS = 8.5
_TERM_AND_TEXT = (0.22, 0.78)


def word(document: Document) -> bytes:
    """The bytes of the file, the same whenever it is made again.

    Raises
    ------
    UsageProblem
        The library that writes it is not installed.
    """
    try:
        import docx
        from docx.shared import Cm
    except ImportError:
        raise missing_writer("python-docx") from None
    made = docx.Document()
    page = made.sections[0]
    page.page_width, page.page_height = Cm(21.0), Cm(29.7)
    page.left_margin = page.right_margin = Cm(1.7 if document.compact else 2.0)
    word_look.set_styles(made, 9 if document.compact else 10)
    _properties(made, document)
    page.header.paragraphs[0].text = document.head_words
    page.footer.paragraphs[0].text = document.foot or f"{document.title}, {document.day.isoformat()}"
    made.add_heading(document.title, level=0)
    if document.subtitle:
        made.add_paragraph(document.subtitle)
    for section in document.sections:
        heading = made.add_heading(section.title, level=section.level) if section.title else None
        if section.new_page:
            # A break of its own would leave an empty page where the one before is full.
            start = heading or made.add_paragraph()
            start.paragraph_format.page_break_before = True
        for block in section.blocks:
            _block(made, block)
    if document.cautions:
        made.add_heading("Cautions", level=1)
        _block(made, Bullets(document.cautions))
    if document.provenance:
        made.add_heading("Where this comes from", level=1)
        _block(made, Facts(document.provenance))
    kept = io.BytesIO()
    made.save(kept)
    return _same_bytes(kept.getvalue())


def _properties(made: Any, document: Document) -> None:
    core = made.core_properties
    moment = datetime.combine(document.day, time())
    core.title, core.subject, core.author = document.title, document.subtitle, "biopsy-outcomes"
    core.created = core.modified = moment
    core.last_modified_by, core.revision, core.comments = "biopsy-outcomes", 1, ""


def _block(made: Any, block: Block) -> None:
    from docx.shared import RGBColor

    if isinstance(block, Paragraph):
        run = made.add_paragraph().add_run(block.text)
        run.bold = block.tone == "strong" or None
        if block.tone in ("small", "attention"):
            run.font.color.rgb = RGBColor(
                *(word_look.MUTED if block.tone == "small" else word_look.ATTENTION)
            )
    elif isinstance(block, Bullets):
        for text in block.texts:
            made.add_paragraph(text, style="List Bullet")
    elif isinstance(block, Facts):
        word_look.table(made, (), block.terms, frozenset(), _LINE_CM, _TABLE_POINTS, _TERM_AND_TEXT)
    elif isinstance(block, Figure):
        _picture(made, block)
    else:
        _table(made, block)


def _table(made: Any, block: Table) -> None:
    caption = made.add_paragraph()
    caption.add_run(block.caption).bold = True
    caption.paragraph_format.keep_with_next = True
    word_look.table(made, block.heads, block.rows, block.numeric, _LINE_CM, _TABLE_POINTS, block.widths)
    for note in block.notes:
        _block(made, Paragraph(note, "small"))


def _picture(made: Any, block: Figure) -> None:
    from docx.shared import Cm

    shape = made.add_picture(io.BytesIO(_png(block.svg)), width=Cm(_LINE_CM * block.width))
    shape._inline.docPr.set("descr", block.alt)
    if block.caption:
        made.paragraphs[-1].paragraph_format.keep_with_next = True
        _block(made, Paragraph(block.caption, "small"))


def _png(svg: str) -> bytes:
    """The drawing as a picture, set with the fonts of the PDF: Word takes no vector drawing from here."""
    try:
        import typst
    except ImportError:
        raise missing_writer("typst") from None
    drawn = b'#set page(width: 170mm, height: auto, margin: 0mm)\n#image(bytes(sys.inputs.at("svg")), format: "svg", width: 100%)\n'
    made = typst.compile(
        drawn, format="png", ppi=_DOTS_PER_INCH, ignore_system_fonts=True, sys_inputs={"svg": svg}
    )
    return made if isinstance(made, bytes) else made[0]


def _same_bytes(made: bytes) -> bytes:
    """The archive with a fixed time on each part: zip keeps the clock otherwise."""
    kept = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(made)) as given,
        zipfile.ZipFile(kept, "w", zipfile.ZIP_DEFLATED) as written,
    ):
        for one in sorted(given.namelist()):
            part = zipfile.ZipInfo(one, date_time=(1980, 1, 1, 0, 0, 0))
            part.compress_type = zipfile.ZIP_DEFLATED
            part.external_attr = 0o600 << 16
            written.writestr(part, given.read(one))
    return kept.getvalue()
