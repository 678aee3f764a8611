"""``datapackage.json`` after Data Package 2.0: what a program needs to read the tables."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from registry.package.book import listed

if TYPE_CHECKING:
    from collections.abc import Sequence

    import polars as pl

    from registry.package.book import Entry

SCHEMA = "https://datapackage.org/profiles/2.0/datapackage.json"
_TYPES = {"text": "string", "yes/no": "boolean", "date": "date", "integer": "integer", "decimal": "number"}


def resource(
    name: str, path: str, entries: Sequence[Entry], key: Sequence[str], title: str
) -> dict[str, Any]:
    """A table described by its codebook."""
    return {
        "name": name,
        "type": "table",
        "title": title,
        **_file(path),
        "schema": {
            "fields": [_field(one, one.name in key) for one in entries],
            "primaryKey": list(key),
            "missingValues": [""],
        },
    }


def plain_resource(name: str, path: str, frame: pl.DataFrame, title: str) -> dict[str, Any]:
    """A table that needs no codebook."""
    kinds = {name: ("integer" if kind.is_integer() else "string") for name, kind in frame.schema.items()}
    fields = [{"name": name, "type": kind} for name, kind in kinds.items()]
    return {
        "name": name,
        "type": "table",
        "title": title,
        **_file(path),
        "schema": {"fields": fields, "missingValues": [""]},
    }


def descriptor(
    name: str, title: str, version: str, created: str, resources: list[dict[str, Any]]
) -> dict[str, Any]:
    """The whole file."""
    return {
        "$schema": SCHEMA,
        "name": name,
        "title": title,
        "version": version,
        "created": created,
        "resources": resources,
    }


def _file(path: str) -> dict[str, Any]:
    return {
        "path": path,
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "dialect": {"delimiter": ",", "lineTerminator": "\n", "header": True},
    }


def _field(entry: Entry, is_key: bool) -> dict[str, Any]:
    made: dict[str, Any] = {
        "name": entry.name,
        "type": _TYPES[entry.type],
        "title": entry.label,
        "description": entry.definition,
    }
    constraints: dict[str, Any] = {}
    if entry.type == "yes/no":
        made |= {"trueValues": ["true"], "falseValues": ["false"]}
    if entry.is_coded:
        # Checkers of version 1 know nothing of categories, so the list stands twice.
        made["categories"] = [{"value": code, "label": label} for code, label in entry.codes.items()]
        constraints["enum"] = list(entry.codes)
    elif entry.codes:
        made["description"] += f" ({listed(entry.codes)})"
    if entry.unit:
        made["unit"] = entry.unit
    if is_key:
        constraints |= {"required": True, "unique": True}
    if constraints:
        made["constraints"] = constraints
    return made
