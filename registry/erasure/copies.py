"""Files of a registry folder that repeat what was received: raw/, held/ and what lies aside in inbox/.

From a CSV file named after a table the lines of the patient are taken out and every other
byte stays. Of any other file in which the patient stands nothing can be taken out without
reading it again through its mapping: it is removed whole.
"""

from __future__ import annotations

import hashlib
import os
import re
import zipfile
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING

from registry import received_files
from registry.dictionary import KEYS, tables
from registry.imports import quotes
from registry.imports.registry_csv import FORMAT
from registry.imports.returned import MARK, UNREADABLE

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from registry.erasure.theirs import Theirs
    from registry.store import Registry

_BYTE_MARK = b"\xef\xbb\xbf"
_NUMBERED = re.compile(r"-\d+$")
RAW, HELD, ASIDE = "raw", "held", "aside"


@dataclass(frozen=True)
class Copy:
    """One file in which the patient stands: ``lines`` to take out, 0 where it is removed whole."""

    path: Path
    place: str
    name: str
    lines: int

    @property
    def whole(self) -> bool:
        """Whether the file goes."""
        return not self.lines


def records(data: bytes) -> Iterator[bytes]:
    """Records of a CSV file with their line endings; a line whose quotation marks do not fit is one."""
    place = 0
    while place < len(data):
        end = quotes.record_end(data, place, b",")
        if end is None or end == place:
            end = data.find(b"\n", place) + 1 or len(data)
        yield data[place:end]
        place = end


def cells_of(record: bytes, header: list[str]) -> dict[str, str | None] | None:
    """Cells by header; None for a record that does not fit it."""
    try:
        cells = quotes.cells(record.decode("utf-8").rstrip("\r\n"), ",")
    except UnicodeDecodeError:
        return None
    return dict(zip(header, cells, strict=True)) if len(cells) == len(header) else None


def rows_of(data: bytes) -> Iterator[dict[str, str | None]]:
    """Rows of a CSV file whose header is in the fields of the dictionary; faulty ones are left out."""
    found = records(data)
    header = _header(next(found, b""))
    for one in found:
        if (cells := cells_of(one, header)) is not None:
            yield cells


def _header(record: bytes) -> list[str]:
    text = record.removeprefix(_BYTE_MARK).decode("utf-8", "replace").rstrip("\r\n")
    return [name.strip() for name in quotes.cells(text, ",")]


def without(
    data: bytes, is_theirs: Callable[[dict[str, str | None] | None, bytes], bool]
) -> tuple[bytes, int]:
    """The file without their records, and how many those were; the header stays."""
    found = records(data)
    first = next(found, b"")
    header = _header(first)
    kept, gone = [first], 0
    for one in found:
        if one.strip() and is_theirs(cells_of(one, header), one):
            gone += 1
        else:
            kept.append(one)
    return b"".join(kept), gone


def judge(
    theirs: Theirs, place: str, marks: frozenset[str]
) -> Callable[[dict[str, str | None] | None, bytes], bool]:
    """How a record of a file is told to be theirs; ``marks`` are the numbers of their held rows."""

    def is_theirs(cells: dict[str, str | None] | None, record: bytes) -> bool:
        if cells is None:
            return theirs.stand_in(record)
        if cells.get(MARK) in marks or theirs.own(cells):
            return True
        if place == HELD:  # headers may be those of any source
            return theirs.named_in(cells.values())
        return bool(cells.get(UNREADABLE)) and theirs.stand_in(record)

    return is_theirs


def received(registry: Registry) -> Iterator[tuple[Path, str, bool]]:
    """Files in raw/: path, name as received, and whether its lines can be told apart."""
    known = received_files.files(registry).kept
    for path in sorted((registry.folder / received_files.FOLDER).glob("*")):
        one = known.get(path.name)
        name = one.name if one else ""
        native = one is not None and one.format in (FORMAT, "")
        yield path, name or "a file that no import names", native and _is_native(name)


def aside(registry: Registry) -> Iterator[tuple[Path, str, str, bool]]:
    """Files of held rows and those that the inbox moved aside: path, place, name, lines told apart."""
    held = [registry.folder / "held"]
    done = [path for name in ("done", "held") for path in [registry.folder / "inbox" / name]]
    for place, folders in ((HELD, held), (ASIDE, done)):
        for folder in folders:
            for path in sorted(folder.rglob("*")):
                if path.is_file():
                    name = str(path.relative_to(registry.folder))
                    yield path, place, name, place == HELD or _is_native(path.name)


def _is_native(name: str) -> bool:
    path = Path(name)
    return path.suffix.lower() == ".csv" and _NUMBERED.sub("", path.stem).lower() in tables()


def _has_fields(data: bytes, name: str) -> bool:
    """Whether the headers are those of the table after which a file is named, and not a source's own."""
    return KEYS[table_of(name)][0] in _header(next(records(data), b""))


def table_of(name: str) -> str:
    """Table after which a file is named."""
    return _NUMBERED.sub("", Path(name).stem).lower()


def find(registry: Registry, theirs: Theirs, marks: frozenset[str], linked: frozenset[str]) -> list[Copy]:
    """Every file in which the patient stands.

    Parameters
    ----------
    marks
        Numbers of their held rows.
    linked
        Hashes of files, not named after a table, from whose batch a row of theirs came.
    """
    found = []
    everything = [(path, RAW, name, native) for path, name, native in received(registry)]
    for path, place, name, native in [*everything, *aside(registry)]:
        data = path.read_bytes()
        if native and (place == HELD or _has_fields(data, name)):
            _, lines = without(data, judge(theirs, place, marks))
            if lines:
                found.append(Copy(path, place, name, lines))
        elif (place == RAW and path.name in linked) or theirs.stand_in(_unpacked(data)):
            found.append(Copy(path, place, name, 0))
    return found


def _unpacked(data: bytes) -> bytes:
    """The bytes, and those of the parts of a workbook."""
    if not data.startswith(b"PK\x03\x04"):
        return data
    try:
        with zipfile.ZipFile(BytesIO(data)) as packed:
            return b"\n".join(packed.read(one) for one in packed.infolist())
    except (zipfile.BadZipFile, OSError, RuntimeError, NotImplementedError):
        return data


def waiting(registry: Registry, theirs: Theirs) -> list[str]:
    """Files in the inbox that still wait to be imported and in which the patient stands."""
    inbox = registry.folder / "inbox"
    paths = [path for path in sorted(inbox.rglob("*")) if path.is_file()]
    return [
        str(path.relative_to(inbox))
        for path in paths
        if path.relative_to(inbox).parts[0] not in ("done", "held")
        and theirs.stand_in(_unpacked(path.read_bytes()))
    ]


def write_beside(copy: Copy, theirs: Theirs, marks: frozenset[str]) -> str:
    """Write a received file without their lines under its new hash; empty where it goes whole."""
    if copy.whole:
        return ""
    data, _ = without(copy.path.read_bytes(), judge(theirs, copy.place, marks))
    sha256 = hashlib.sha256(data).hexdigest()
    _write(copy.path.with_name(sha256), data)
    return sha256


def clean(copy: Copy, theirs: Theirs, marks: frozenset[str]) -> None:
    """Take their lines out of a file that no hash binds; without a line left it goes."""
    if copy.whole:
        copy.path.unlink(missing_ok=True)
        return
    data, _ = without(copy.path.read_bytes(), judge(theirs, copy.place, marks))
    if len(list(records(data))) <= 1:
        copy.path.unlink()
        return
    fresh = copy.path.with_name(f".{copy.path.name}.new")
    _write(fresh, data)
    fresh.replace(copy.path)


def _write(path: Path, data: bytes) -> None:
    descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
    with os.fdopen(descriptor, "wb") as handle:
        handle.write(data)
        handle.flush()
        os.fsync(handle.fileno())
