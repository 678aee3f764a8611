"""Where the SQL, vocabulary and mapping files lie, and how their headers are read."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING

from registry.errors import RegistryError

if TYPE_CHECKING:
    from collections.abc import Mapping
    from importlib.resources.abc import Traversable

_CHECKOUT = Path(__file__).resolve().parent.parent
_HEADER_LINE = re.compile(r"^-- ([a-z_]+):(?:\s(.*))?$")
_CONTINUATION = re.compile(r"^--\s{2,}(\S.*)$")


class HeaderProblem(RegistryError):
    """A SQL file shipped with the program, or added by a site, has a faulty header."""


@dataclass(frozen=True)
class SqlFile:
    """One SQL file: its name without ending, its header and its text.

    Parameters
    ----------
    name
        File name without ``.sql``.
    header
        Keys and texts of the comment block at the top; continuation lines are
        joined by one space.
    sql
        The whole text, comments included, so that it can be pasted into a console.
    """

    name: str
    header: dict[str, str]
    sql: str


def packaged(folder_name: str) -> Traversable:
    """Folder of data files: inside the package in a wheel, beside it in a checkout."""
    inside = files("registry").joinpath(folder_name)
    if inside.is_dir():
        return inside
    return _CHECKOUT / folder_name


def folder(name: str) -> Traversable:
    """One folder of ``sql/``: migrations, vocabulary, facts, measures, checks, ..."""
    return packaged("sql").joinpath(name)


def read_text(*path: str) -> str:
    """Text of one file below ``sql/``, line endings as LF."""
    place = packaged("sql")
    for part in path:
        place = place.joinpath(part)
    return place.read_text(encoding="utf-8").replace("\r\n", "\n")


def parse_header(text: str, where: str) -> dict[str, str]:
    """Header of a SQL file: ``-- key: text`` lines, continued by ``--     text``.

    Parameters
    ----------
    text
        The whole file.
    where
        Place named in messages.

    Raises
    ------
    HeaderProblem
        A key stands twice, or a comment line of the header is neither a key nor a
        continuation.
    """
    header: dict[str, str] = {}
    key = ""
    for line in text.splitlines():
        if not line.startswith("--"):
            break
        if match := _HEADER_LINE.match(line):
            key = match.group(1)
            if key in header:
                raise HeaderProblem(f"{where}: the header gives {key} twice. Keep one.")
            header[key] = (match.group(2) or "").strip()
        elif key and (more := _CONTINUATION.match(line)):
            header[key] = f"{header[key]} {more.group(1).strip()}".strip()
        else:
            raise HeaderProblem(
                f"{where}: header line {line!r} is neither '-- key: text' nor a continuation "
                "indented by at least two spaces. See 'Adding a measure' in DEVELOPERS.md."
            )
    return header


def check_keys(
    header: dict[str, str], required: frozenset[str], optional: frozenset[str], where: str
) -> None:
    """Refuse a header that lacks a key or has one that nobody reads.

    Raises
    ------
    HeaderProblem
        Every missing and every unknown key is named at once.
    """
    lacking = sorted(required - header.keys())
    unknown = sorted(header.keys() - required - optional)
    if not lacking and not unknown:
        return
    parts = []
    if lacking:
        parts.append(f"header lacks {', '.join(lacking)}")
    if unknown:
        parts.append(f"header has unknown {', '.join(unknown)}")
    raise HeaderProblem(f"{where}: {'; '.join(parts)}. See 'Adding a measure' in DEVELOPERS.md.")


def load_folder(name: str, required: frozenset[str], optional: frozenset[str] = frozenset()) -> list[SqlFile]:
    """All ``.sql`` files of one folder of ``sql/``, sorted by name, headers checked.

    Raises
    ------
    HeaderProblem
        As :func:`parse_header` and :func:`check_keys`.
    """
    found = []
    for entry in sorted(folder(name).iterdir(), key=lambda place: place.name):
        if not entry.name.endswith(".sql"):
            continue
        text = entry.read_text(encoding="utf-8").replace("\r\n", "\n")
        where = f"sql/{name}/{entry.name}"
        header = parse_header(text, where)
        check_keys(header, required, optional, where)
        found.append(SqlFile(entry.name.removesuffix(".sql"), header, text))
    return found


@cache
def queries(folder_name: str) -> Mapping[str, SqlFile]:
    """The plain queries of one folder of ``sql/`` by name: header keys are the folder's name, title, grain, note.

    Raises
    ------
    HeaderProblem
        As :func:`load_folder`; only ``note`` may be left out.
    """
    found = load_folder(folder_name, frozenset({folder_name, "title", "grain"}), frozenset({"note"}))
    return MappingProxyType({one.name: one for one in found})
