"""A sheet as PDF: tagged, PDF/A, and the same bytes for the same sheet."""

from __future__ import annotations

import json
import tempfile
from dataclasses import asdict
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from registry.errors import FileProblem

if TYPE_CHECKING:
    from registry.reports.sheet import Block, Sheet

#: PDF/A for the archive; level a asks for a tagged file, with a text for each figure.
STANDARD: Final = "a-2a"


def pdf(sheet: Sheet) -> bytes:
    """The sheet as PDF; its text goes in as data, so that none of it is taken for markup.

    Raises
    ------
    FileProblem
        It could not be set.
    """
    import typst

    day = sheet.dated
    content = {
        **asdict(sheet),
        "blocks": [_block(one) for one in sheet.blocks],
        "dated": day.isoformat(),
        "day": [day.year, day.month, day.day],
    }
    with tempfile.TemporaryDirectory() as scratch:
        place = Path(scratch)
        (place / "data.json").write_text(json.dumps(content, ensure_ascii=False), encoding="utf-8")
        template = files("registry").joinpath("reports", "sheet.typ").read_text(encoding="utf-8")
        (place / "sheet.typ").write_text(template, encoding="utf-8")
        try:
            made = typst.compile(
                str(place / "sheet.typ"),
                root=scratch,
                format="pdf",
                pdf_standards=[STANDARD],
                ignore_system_fonts=True,
                timestamp=0,
            )
        except RuntimeError as problem:
            raise FileProblem(f"The document could not be set: {str(problem).splitlines()[0]}") from None
    if not isinstance(made, bytes):
        raise FileProblem("The document could not be set.")
    return made


def _block(one: Block) -> dict[str, Any]:
    return {"kind": type(one).__name__.lower(), **asdict(one)}
