"""Read and check a mapping file (TOML). All faults of a file are named at once."""

from __future__ import annotations

import hashlib
import re
import tomllib
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from registry.dictionary import TABLE_ORDER, tables
from registry.errors import FileProblem
from registry.imports.delimited import ENCODINGS
from registry.imports.header import nearest
from registry.imports.mapping_fields import check_format, read_field
from registry.imports.mapping_parts import Condition, FieldSource, Mapping, RowSource, folded, spaced

if TYPE_CHECKING:
    from pathlib import Path

_TEXT, _WHOLE, _FLAG, _TEXTS = "a text", "a whole number from 1", "true or false", "a list of texts"
_KEYS = {
    "name": _TEXT,
    "version": _TEXT,
    "description": _TEXT,
    "format": _TEXT,
    "encoding": _TEXT,
    "delimiter": _TEXT,
    "decimal": _TEXT,
    "thousands": _TEXT,
    "sheet": _TEXT,
    "header_row": _WHOLE,
    "columns": _TEXTS,
    "comment_prefix": _TEXT,
    "fill_down": _TEXTS,
    "null_words": _TEXTS,
    "date_format": _TEXT,
    "datetime_format": _TEXT,
    "time_format": _TEXT,
    "time_zone": _TEXT,
    "serial_dates": _FLAG,
    "ignored": _TEXTS,
}
_CSV_ONLY = ("encoding", "delimiter", "columns", "comment_prefix")
_XLSX_ONLY = ("sheet", "serial_dates")
_DELIMITERS = (",", ";", "\t", "|", ":")


@dataclass
class Faults:
    """Faults of a mapping file, each with the line on which its key stands."""

    name: str
    text: str
    found: list[str] = field(default_factory=list)

    def add(self, key: str, sentence: str, *within: str) -> None:
        """Note a fault of a key; ``within`` are the keys around it, outermost first."""
        place, found = 0, False
        for one in (*within, key):
            match = re.compile(rf"(?m)^[^#\n]*?(?<![\w.]){re.escape(one)}(?!\w)").search(self.text, place)
            if match:
                # The key may stand on the same line as the one around it.
                place, found = self.text.rfind("\n", 0, match.end()) + 1, True
        line = f", line {1 + self.text.count(chr(10), 0, place)}" if found else ""
        self.found.append(f"{self.name}{line}: {sentence}")


def _is(value: object, kind: str) -> bool:
    if kind == _TEXT:
        return isinstance(value, str) and bool(value)
    if kind == _WHOLE:
        return isinstance(value, int) and not isinstance(value, bool) and value >= 1
    if kind == _FLAG:
        return isinstance(value, bool)
    return isinstance(value, list) and all(isinstance(one, str) and one for one in value)


def read_mapping(path: Path) -> Mapping:
    """Read a mapping file.

    Parameters
    ----------
    path
        TOML file as docs/mapping.md describes it.

    Raises
    ------
    FileProblem
        The file is no TOML or holds anything that is not understood; every fault is
        named, with its line.
    """
    try:
        raw = path.read_bytes()
        text = raw.decode("utf-8").replace("\r\n", "\n")
        data = tomllib.loads(text)
    except OSError as problem:
        raise FileProblem(f"{path.name}: the mapping cannot be read ({problem.strerror}).") from None
    except UnicodeDecodeError:
        raise FileProblem(f"{path.name}: the mapping is not UTF-8. Save it as UTF-8.") from None
    except tomllib.TOMLDecodeError as problem:
        raise FileProblem(f"{path.name}: the mapping is no valid TOML: {problem}.") from None
    faults = Faults(path.name, text)
    plain = _plain_keys(data, faults)
    skip = _condition(data["skip_rows"], "skip_rows", "words", faults) if "skip_rows" in data else None
    rows = _all_rows(data.get("tables"), faults, plain)
    if faults.found:
        raise FileProblem("\n".join(faults.found))
    return _made(plain, rows, skip, hashlib.sha256(raw).hexdigest())


def _made(plain: dict[str, Any], rows: list[RowSource], skip: Condition | None, sha256: str) -> Mapping:
    texts: dict[str, Any] = {
        key: tuple(map(spaced, plain[key])) for key in ("columns", "fill_down", "ignored") if key in plain
    }
    same = (
        "name",
        "version",
        "format",
        "encoding",
        "delimiter",
        "decimal",
        "thousands",
        "sheet",
        "header_row",
    )
    kept = {key: plain[key] for key in (*same, "comment_prefix", "time_zone", "serial_dates") if key in plain}
    words = frozenset(folded(word) for word in plain.get("null_words", []))
    return Mapping(**kept, **texts, sha256=sha256, rows=tuple(rows), null_words=words, skip=skip)


# -- keys at the top ---------------------------------------------------------------


def _plain_keys(data: dict[str, Any], faults: Faults) -> dict[str, Any]:
    known = (*_KEYS, "skip_rows", "tables")
    for key in data:
        if key not in known:
            faults.add(key, f"unknown key {key}{nearest(key, known) or '.'}")
    if isinstance(data.get("version"), int):
        data = {**data, "version": str(data["version"])}
    plain = {}
    for key, kind in _KEYS.items():
        if key in data:
            if _is(data[key], kind):
                plain[key] = data[key]
            else:
                faults.add(key, f"{key} must be {kind}.")
    faults.found += [
        f"{faults.name}: the key {key} is missing."
        for key in ("name", "version", "format")
        if key not in data
    ]
    _check_values(plain, faults)
    return plain


def _check_values(plain: dict[str, Any], faults: Faults) -> None:
    listed = {
        "format": ("csv", "xlsx"),
        "encoding": ENCODINGS,
        "delimiter": _DELIMITERS,
        "decimal": (".", ","),
    }
    for key, allowed in listed.items():
        if key in plain and plain[key] not in allowed:
            faults.add(key, f"{key} must be one of {', '.join(map(repr, allowed))}.")
    other = _XLSX_ONLY if plain.get("format") == "csv" else _CSV_ONLY
    for key in other:
        if key in plain and plain.get("format") in ("csv", "xlsx"):
            faults.add(key, f"{key} does not apply to format {plain['format']}.")
    for key in ("date_format", "datetime_format", "time_format"):
        if key in plain:
            check_format(key, plain[key], faults)
    if "thousands" in plain:
        if plain["thousands"] not in (".", ",", "'", " ", "\u00a0", "\u202f"):
            faults.add("thousands", "thousands must be one of '.', ',', an apostrophe or a space.")
        elif plain["thousands"] == plain.get("decimal", "."):
            faults.add("thousands", "thousands and decimal are the same sign.")
    if plain.get("delimiter", ",") == plain.get("decimal") and plain.get("format") == "csv":
        # Allowed where such cells are quoted, but far more often a slip.
        faults.add("decimal", "decimal and delimiter are the same sign.")
    if "columns" in plain and "header_row" in plain:
        faults.add(
            "columns",
            "columns names the columns of a file without a header; header_row cannot stand beside it.",
        )
    if len(set(plain.get("columns", []))) < len(plain.get("columns", [])):
        faults.add("columns", "columns holds a name twice.")
    if "time_zone" in plain and not _is_zone(plain["time_zone"]):
        faults.add("time_zone", "time_zone is not a known time zone, such as Europe/Lisbon or UTC.")


def _is_zone(name: str) -> bool:
    try:
        ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        return False
    return True


def _condition(value: object, key: str, words_key: str, faults: Faults) -> Condition | None:
    if isinstance(value, str) and value and key == "when":
        return Condition(spaced(value))
    if isinstance(value, dict):
        column, words = value.get("column"), value.get(words_key)
        if set(value) == {"column", words_key} and _is(column, _TEXT) and _is(words, _TEXTS):
            return Condition(spaced(str(column)), tuple(folded(word) for word in words or []))
    faults.add(
        key,
        f'{key} must be {{ column = "...", {words_key} = ["...", ...] }}'
        + (" or a column name." if key == "when" else "."),
    )
    return None


# -- tables ------------------------------------------------------------------------


def _all_rows(value: object, faults: Faults, plain: dict[str, Any]) -> list[RowSource]:
    if not isinstance(value, dict) or not value:
        faults.found.append(f"{faults.name}: no [tables.<table>.fields] says which column feeds which field.")
        return []
    rows = []
    for name, described in value.items():
        if name not in tables():
            faults.add(
                f"tables.{name}", f"no table is called {name}{nearest(name, list(TABLE_ORDER)) or '.'}"
            )
            continue
        for one in described if isinstance(described, list) else [described]:
            if row := _row(name, one, faults, plain):
                rows.append(row)
    return sorted(rows, key=lambda row: TABLE_ORDER.index(row.table))


def _row(name: str, described: object, faults: Faults, plain: dict[str, Any]) -> RowSource | None:
    if not isinstance(described, dict) or not isinstance(described.get("fields"), dict):
        faults.add(f"tables.{name}", f"table {name} needs [tables.{name}.fields].")
        return None
    for key in described:
        if key not in ("fields", "when"):
            near = nearest(key, ("fields", "when")) or "."
            faults.add(key, f"unknown key {key} in table {name}{near}", f"tables.{name}")
    condition = _condition(described["when"], "when", "words", faults) if "when" in described else None
    table, sources = tables()[name], []
    for key, value in described["fields"].items():
        if key not in table.names:
            near = nearest(key, list(table.names)) or "."
            faults.add(key, f"{name} has no field {key}{near}", f"tables.{name}")
        elif source := read_field(table[key], value, plain, faults):
            sources.append(source)
    lacking = [key for key in table.key if table[key].always_required and key not in described["fields"]]
    if lacking:
        faults.add(
            f"tables.{name}",
            f"{name} needs the field{'s' if len(lacking) > 1 else ''} {', '.join(lacking)}, which name its rows.",
        )
    return RowSource(name, tuple(_in_order(sources, table.names)), condition)


def _in_order(sources: list[FieldSource], names: tuple[str, ...]) -> list[FieldSource]:
    return sorted(sources, key=lambda one: names.index(one.field.name))
