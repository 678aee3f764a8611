"""Commands that set documents of the meeting: its minutes, and the page out to the pathologist."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from registry.commands.common import FolderArgument, reading, say

OutOption = Annotated[
    Path,
    typer.Option("--out", help="Folder for the files; made where it does not exist.", show_default=False),
]


def minutes(
    folder: FolderArgument,
    meeting: Annotated[str, typer.Argument(help="Key of the meeting.", show_default=False)],
    out: OutOption,
    draft: Annotated[
        bool, typer.Option("--draft", help="As the record gives them now, though they are signed.")
    ] = False,
) -> None:
    """Write the minutes of a meeting as PDF and Word: as they were signed last, or as a draft."""
    from registry.meetings import minutes as service
    from registry.reports import minutes as printed

    with reading(folder) as registry:
        found = service.draft(registry, meeting) if draft else service.latest(registry, meeting)
    name = f"minutes-{meeting}{'-draft' if found.is_draft else ''}"
    _write(out, {f"{name}.pdf": printed.pdf(found), f"{name}.docx": printed.word(found)})


def pathology_request(
    folder: FolderArgument,
    procedure: Annotated[str, typer.Argument(help="Key of the procedure.", show_default=False)],
    out: OutOption,
) -> None:
    """Write the page that goes to the pathologist with the specimens, as PDF and Word."""
    from registry.reports import request_page
    from registry.reports.pathology_request import pathology_request as asked

    with reading(folder) as registry:
        found = asked(registry, procedure)
    name = f"pathology-request-{procedure}"
    _write(out, {f"{name}.pdf": request_page.pdf(found), f"{name}.docx": request_page.word(found)})


def _write(out: Path, files: dict[str, bytes]) -> None:
    from registry.errors import FileProblem

    try:
        out.mkdir(parents=True, exist_ok=True)
        for name, content in files.items():
            # A key comes from the record and may hold what no file name may.
            safe = "".join(one if one.isalnum() or one in "-_." else "_" for one in name)
            (out / safe).write_bytes(content)
            say(f"Wrote {out / safe}")
    except OSError as problem:
        raise FileProblem(f"{out}: cannot be written ({problem.strerror}). Choose another folder.") from None
