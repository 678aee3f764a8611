"""Read and check what a mapping says of one field."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Protocol

import polars as pl

from registry.imports.header import nearest
from registry.imports.mapping_parts import COMPARATORS, LETTERS, UNITS, FieldSource, folded, spaced

if TYPE_CHECKING:
    from registry.dictionary import Field


class _Notes(Protocol):
    """Takes the faults of a mapping file."""

    def add(self, key: str, sentence: str, *within: str) -> None:
        """Note a fault of a key, with the keys around it."""


@dataclass(frozen=True)
class _OfField:
    """Takes the faults of one field."""

    faults: _Notes
    field: Field

    def add(self, key: str, sentence: str, *_: str) -> None:
        """Note a fault of an option of the field."""
        self.faults.add(key, sentence, f"tables.{self.field.table}", self.field.name)


KINDS = ("column", "first_of", "join", "constant", "row")
_FORMATS = ("date_format", "datetime_format", "time_format")
#: Options of each kind of source.
_OPTIONS = {
    "column": (
        "codes",
        "unit",
        "suffix",
        "split",
        "pattern",
        "letters",
        "width",
        "comparator",
        "if_empty",
        *_FORMATS,
    ),
    "first_of": (
        "codes",
        "unit",
        "suffix",
        "split",
        "pattern",
        "letters",
        "width",
        "comparator",
        "if_empty",
        *_FORMATS,
    ),
    "join": ("with", "letters", *_FORMATS),
    "constant": (),
    "row": (),
}
#: Parts of a date or time that are the same in every language and never two digits short.
_DIRECTIVES = {"date_format": "Ymd", "datetime_format": "YmdHMSfIpz", "time_format": "HMSfIp"}
_NEEDED = {"date_format": "Ymd", "datetime_format": "YmdH", "time_format": "H"}
_ROW_NUMBER = re.compile(r"\{row(?::0?\d+)?\}")


def read_field(field: Field, value: object, plain: dict[str, Any], faults: _Notes) -> FieldSource | None:
    """What a mapping says of one field; None where it says nothing that can be used.

    Parameters
    ----------
    field
        The field of the data dictionary.
    value
        The inline table of the mapping.
    plain
        Keys at the top of the mapping, which hold for every field.
    faults
        Takes what is wrong.
    """
    name = f"{field.table}.{field.name}"
    faults = _OfField(faults, field)
    kinds = [kind for kind in KINDS if isinstance(value, dict) and kind in value]
    if not isinstance(value, dict) or len(kinds) != 1:
        faults.add(field.name, f'{name} needs one of {", ".join(KINDS)}, such as {{ column = "..." }}.')
        return None
    kind = kinds[0]
    allowed = (kind, *_OPTIONS[kind])
    for key in value:
        if key not in allowed:
            near = nearest(key, allowed) or "."
            faults.add(key, f"{name}: {key} is no option of {kind}{near}")
    read: dict[str, Any] = {"field": field, "kind": kind}
    _read_source(read, kind, value[kind], name, faults)
    _read_texts(read, kind, value, name, faults)
    _read_numbers(read, value, name, faults)
    for key in _FORMATS:
        if text := value.get(key, plain.get(key, "")):
            if key in value:
                check_format(key, text, faults)
            read[key] = text
    return FieldSource(**read)


def _is_text(value: object) -> bool:
    return isinstance(value, str) and bool(value.strip())


def _read_source(read: dict[str, Any], kind: str, value: object, name: str, faults: _Notes) -> None:
    if kind in ("first_of", "join"):
        if isinstance(value, list) and len(value) > 1 and all(map(_is_text, value)):
            read["columns"] = tuple(spaced(one) for one in value)
        else:
            faults.add(kind, f"{name}: {kind} must be a list of two or more columns.")
        if kind == "join" and read["field"].type == "timestamp" and len(read.get("columns", "  ")) != 2:
            faults.add(kind, f"{name}: join of a timestamp takes two columns, the date and the time.")
    elif kind == "constant" and isinstance(value, (int, float)) and not isinstance(value, bool):
        read["text"] = str(value)
    elif not _is_text(value):
        faults.add(kind, f"{name}: {kind} must be a text.")
    elif kind == "column":
        read["columns"] = (spaced(str(value)),)
    else:
        read["text"] = str(value)
        rest = _ROW_NUMBER.sub("", str(value))
        if kind == "row" and (rest == value or "{" in rest or "}" in rest):
            faults.add(kind, f'{name}: row must hold {{row}} or {{row:04}}, such as "M{{row:04}}".')


def _read_texts(read: dict[str, Any], kind: str, value: dict[str, Any], name: str, faults: _Notes) -> None:
    if kind == "join":
        joined = value.get("with", "")
        if not isinstance(joined, str):
            faults.add("with", f"{name}: with must be a text.")
        read["text"] = joined
    if "codes" in value:
        codes = value["codes"]
        if isinstance(codes, dict) and codes and all(isinstance(code, (str, int)) for code in codes.values()):
            read["codes"] = {folded(word): str(code) for word, code in codes.items()}
            if len(read["codes"]) < len(codes):
                faults.add("codes", f"{name}: two words of codes are the same but for letter case.")
        else:
            faults.add("codes", f'{name}: codes must be {{ "word of the source" = "code", ... }}.')
    if "letters" in value:
        read["letters"] = value["letters"]
        if value["letters"] not in LETTERS:
            faults.add("letters", f"{name}: letters must be upper or lower.")
    if "if_empty" in value:
        read["if_empty"] = value["if_empty"]
        if not _is_text(value["if_empty"]):
            faults.add("if_empty", f"{name}: if_empty must be a text.")
    if "pattern" in value:
        read["pattern"] = value["pattern"]
        _check_pattern(value["pattern"], name, faults)
    if "split" in value:
        split = value["split"]
        if (
            isinstance(split, dict)
            and set(split) == {"by", "part"}
            and _is_separator(split["by"])
            and _is_count(split["part"])
        ):
            read["split_by"], read["split_part"] = split["by"], split["part"]
        else:
            faults.add("split", f'{name}: split must be {{ by = "/", part = 1 }}; the first part is 1.')


def _is_separator(value: object) -> bool:
    return isinstance(value, str) and bool(value)


def _is_count(value: object) -> bool:
    return isinstance(value, int) and not isinstance(value, bool) and value >= 1


def _check_pattern(value: object, name: str, faults: _Notes) -> None:
    """A pattern must be one that takes linear time, with one group."""
    if isinstance(value, str):
        try:
            pl.Series([""]).str.extract(value, 1)
            groups = re.compile(value).groups
        except (pl.exceptions.ComputeError, re.error):
            groups = 0
        if groups == 1:
            return
    faults.add(
        "pattern", f"{name}: pattern must be a regular expression with one group, without look-around."
    )


def _read_numbers(read: dict[str, Any], value: dict[str, Any], name: str, faults: _Notes) -> None:
    field: Field = read["field"]
    if "unit" in value:
        read["unit"] = value["unit"]
        if value["unit"] != field.unit and (value["unit"], field.unit) not in UNITS:
            known = [source for source, target in UNITS if target == field.unit]
            can = f"from {', '.join(known)}" if known else "from no other unit"
            faults.add("unit", f"{name} is kept in {field.unit or 'no unit'}; it can be converted {can}.")
    if "suffix" in value:
        suffixes = [value["suffix"]] if isinstance(value["suffix"], str) else value["suffix"]
        if isinstance(suffixes, list) and suffixes and all(map(_is_text, suffixes)):
            read["suffixes"] = tuple(folded(one) for one in suffixes)
        else:
            faults.add("suffix", f'{name}: suffix must be a text or a list of texts, such as ["G", "gauge"].')
    if "width" in value:
        read["width"] = value["width"]
        if not _is_count(value["width"]):
            faults.add("width", f"{name}: width must be a whole number from 1.")
    if "comparator" in value:
        read["comparator"] = value["comparator"]
        if value["comparator"] not in COMPARATORS:
            faults.add("comparator", f"{name}: comparator must be {' or '.join(COMPARATORS)}.")
    if field.type not in ("integer", "decimal"):
        for key in ("unit", "suffix", "comparator"):
            if key in value:
                faults.add(key, f"{name} is no number; {key} does not apply.")


def check_format(key: str, text: object, faults: _Notes) -> None:
    """Refuse a date or time format that is not plain."""
    if not isinstance(text, str):
        faults.add(key, f"{key} must be a text such as %d.%m.%Y.")
        return
    used = re.findall(r"%(.?)", text)
    if "y" in used:
        faults.add(key, f"{key}: years of two digits (%y) are not read; the century would be a guess.")
        return
    strange = [f"%{one}" for one in used if one not in _DIRECTIVES[key]]
    lacking = [f"%{one}" for one in _NEEDED[key] if one not in used and not (one == "H" and "I" in used)]
    if strange:
        faults.add(
            key,
            f"{key}: {', '.join(strange)} is not read here; allowed: {', '.join('%' + d for d in _DIRECTIVES[key])}.",
        )
    elif lacking:
        faults.add(key, f"{key}: {', '.join(lacking)} is missing.")
    elif len(set(used)) < len(used):
        faults.add(key, f"{key}: a part stands twice.")
