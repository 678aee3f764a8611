"""A document as PDF: tagged, archivable, and the same bytes whenever it is made again."""

from __future__ import annotations

import json
from datetime import UTC, datetime, time
from importlib.resources import files
from typing import TYPE_CHECKING

from registry.reports.document import missing_writer

if TYPE_CHECKING:
    from typing import Any

    from registry.reports.document import Document

#: PDF/A-2a needs tags as PDF/UA-1 does; the setter refuses a figure without words.
STANDARDS: list[Any] = ["a-2a", "ua-1"]


def pdf(document: Document) -> bytes:
    """The bytes of the PDF.

    Raises
    ------
    UsageProblem
        The library that sets it is not installed.
    """
    try:
        import typst
    except ImportError:
        raise missing_writer("typst") from None
    template = files("registry").joinpath("reports", "document.typ").read_bytes()
    # The day of the report, not the clock: who prints it again gets the same file.
    moment = int(datetime.combine(document.day, time(), tzinfo=UTC).timestamp())
    made: bytes = typst.compile(
        template,
        format="pdf",
        ignore_system_fonts=True,
        sys_inputs={"document": json.dumps(document.plain(), ensure_ascii=False)},
        pdf_standards=STANDARDS,
        timestamp=moment,
    )
    return made
