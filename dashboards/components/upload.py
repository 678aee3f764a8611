"""Files from the browser to the readers, by way of a folder that is removed again."""

from __future__ import annotations

import tempfile
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import streamlit as st

from dashboards.components.markup import element, show
from dashboards.components.tables import table
from dashboards.components.words import plural
from dashboards.launch import UPLOAD_MB
from registry.dictionary import tables
from registry.errors import FileProblem
from registry.imports import mapped, registry_csv
from registry.imports.apart import try_apart
from registry.imports.mapping import read_mapping

if TYPE_CHECKING:
    from collections.abc import Iterator

    from streamlit.runtime.uploaded_file_manager import UploadedFile

    from registry.imports.received import Received, SourceTable

NATIVE, MAPPED = "CSV files named after the tables", "One CSV or XLSX file with a mapping"
PREVIEW_ROWS, PREVIEW_COLUMNS = 5, 8
NOT_SHOWN = "(not shown)"


@dataclass(frozen=True)
class Upload:
    """Files as they came: several of the native form, or one with its mapping."""

    files: tuple[UploadedFile, ...]
    mapping: UploadedFile | None = None


def upload_form() -> Upload | None:
    """Ask for the files; None until they are complete."""
    form = st.radio("Form of the files", [NATIVE, MAPPED], horizontal=True)
    # A larger file is marked by the page server with no more than a sign.
    show(
        element(
            "p",
            f"Up to {UPLOAD_MB} MB a file; a larger one is refused here. Put it into the folder inbox, or use the command import.",
            class_="beside",
        )
    )
    if form == NATIVE:
        files = st.file_uploader(
            "CSV files, such as procedures.csv and pathology.csv", type="csv", accept_multiple_files=True
        )
        return Upload(tuple(files)) if files else None
    source = st.file_uploader("CSV or XLSX file", type=["csv", "xlsx", "dat"])
    mapping = st.file_uploader("Mapping file (TOML)", type="toml")
    return Upload((source,), mapping) if source and mapping else None


@contextmanager
def received_files(upload: Upload) -> Iterator[Received]:
    """What a reader made of the files; their copies are removed at the end.

    Raises
    ------
    FileProblem
        A file cannot be used, or two have one name.
    """
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch)
        for one in upload.files:
            place = folder / "files" / Path(one.name).name
            place.parent.mkdir(exist_ok=True)
            if place.exists():
                raise FileProblem(f"{place.name}: was given twice. Nothing was read. Remove one of the two.")
            place.write_bytes(one.getvalue())
        if upload.mapping is None:
            try_apart(folder / "files")
            yield registry_csv.read(folder / "files")
            return
        mapping = folder / Path(upload.mapping.name).name
        mapping.write_bytes(upload.mapping.getvalue())
        source = folder / "files" / Path(upload.files[0].name).name
        try_apart(source, mapping)
        yield mapped.read(source, read_mapping(mapping))


def preview(received: Received) -> None:
    """The first rows of each table as they were understood, before any rule is applied."""
    st.header("As it was read", anchor=False)
    for one in received.tables:
        names = [name for name in one.frame.columns if not name.startswith("_")]
        fold = st.expander(
            f"{one.table}: {plural(one.frame.height, 'row')}, {plural(len(names), 'column')}",
            key=f"preview {one.table}",
            on_change="rerun",
        )
        if fold.open:
            with fold:
                _first_rows(one, names)


def _first_rows(one: SourceTable, names: list[str]) -> None:
    """The first rows; identifiers and free text are named, not shown."""
    kept = names[:PREVIEW_COLUMNS]
    hidden = {field.name for field in tables()[one.table].fields if field.sensitive}
    rows = [
        [NOT_SHOWN if name in hidden and value is not None else value for name, value in row.items()]
        for row in one.frame.select(kept).head(PREVIEW_ROWS).to_dicts()
    ]
    more = f"; {len(kept)} of {len(names)} columns" if len(names) > len(kept) else ""
    table(f"{one.table}, first rows{more}", kept, rows, caption_seen=True)
