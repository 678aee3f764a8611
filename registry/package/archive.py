"""One archive of a package: the same files give the same bytes."""

from __future__ import annotations

import zipfile
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path

#: The earliest time that the format holds.
_TIME = (1980, 1, 1, 0, 0, 0)
_PACKED = {".parquet", ".xlsx"}
_CHUNK = 1 << 20


def entry(name: str) -> zipfile.ZipInfo:
    """A file of an archive without a time of its own, for its owner only."""
    made = zipfile.ZipInfo(name, _TIME)
    made.external_attr = 0o600 << 16
    made.compress_type = zipfile.ZIP_DEFLATED
    made._compresslevel = 1  # type: ignore[attr-defined] # no other way to state it for one entry
    return made


def pack(folder: Path, path: Path) -> None:
    """Write all files of a folder into a new archive, under the folder's name, in the order of their names."""
    with zipfile.ZipFile(path, "x", zipfile.ZIP_DEFLATED) as made:
        for file in sorted(one for one in folder.rglob("*") if one.is_file()):
            inside = entry(f"{path.stem}/{file.relative_to(folder).as_posix()}")
            if file.suffix in _PACKED:
                inside.compress_type = zipfile.ZIP_STORED
            with made.open(inside, "w", force_zip64=True) as target, file.open("rb") as source:
                while part := source.read(_CHUNK):
                    target.write(part)
    path.chmod(0o600)
