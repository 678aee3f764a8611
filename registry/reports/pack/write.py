"""The pack on disk: PDF, Word and a folder of CSV; the same bytes whenever it is made again."""

from __future__ import annotations

from typing import TYPE_CHECKING

import polars as pl

from registry.errors import FileProblem
from registry.package.guard import guard
from registry.reports.pdf import pdf
from registry.reports.word import word

if TYPE_CHECKING:
    from pathlib import Path

    from registry.reports.pack.build import Pack


def write_pack(pack: Pack, target: Path) -> list[Path]:
    """Write all files into a new folder.

    Raises
    ------
    FileProblem
        The folder is there already.
    """
    if target.exists():
        raise FileProblem(f"{target}: is there already. Name a new folder, or move it away.")
    made = {"quality.pdf": pdf(pack.document), "quality.docx": word(pack.document)}
    target.mkdir(mode=0o700, parents=True)
    tables = target / "tables"
    tables.mkdir(mode=0o700)
    written = []
    for name, content in made.items():
        (target / name).write_bytes(content)
        written.append(target / name)
    for name, lines in pack.rows.items():
        frame = pl.DataFrame(lines, infer_schema_length=None, strict=False) if lines else pl.DataFrame()
        path = tables / f"{name}.csv"
        path.write_text(guard(frame)[0].write_csv() if lines else "", encoding="utf-8")
        written.append(path)
    for path in written:
        path.chmod(0o600)
    return written
