"""The rows of a package drawn again from the registry, and why they differ where they do."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from typing import TYPE_CHECKING, Any

import polars as pl

from registry import provenance
from registry.cohorts import CohortFile
from registry.disclosure.profiles import profile_of
from registry.errors import UsageProblem
from registry.known import as_known
from registry.numerals import grouped
from registry.package.asked import Asked
from registry.package.build import profile_sha256
from registry.package.canonical import kind_of, rows_sha256, sorted_by
from registry.package.rows import TABLE, take, treated
from registry.package.verify import read_manifest, read_rows
from registry.people import Action, require

if TYPE_CHECKING:
    from pathlib import Path

    from registry.known import KnownRegistry
    from registry.store import Registry


@dataclass(frozen=True)
class Again:
    """How the rows drawn again compare.

    ``as_known`` and ``now`` say whether the rows of the record as it was known then, and as it
    is now, have the hash that the manifest states; ``messages`` are sentences on what differs.
    """

    stated: str
    as_known: bool
    now: bool
    messages: tuple[str, ...]

    def lines(self) -> list[str]:
        """The comparison as plain text lines."""
        made = []
        if self.as_known:
            made.append(f"The same rows: drawn from the record as it was known then, SHA-256 {self.stated}.")
        made += self.messages
        if self.now:
            made.append("The record as it is now gives the same rows, too.")
        return made


def draw_again(registry: Registry, manifest_path: Path) -> Again:
    """Draw the rows of a package again, from the record as it was known then and as it is now.

    Parameters
    ----------
    registry
        Open for reading or writing; it is not changed, and no study key is drawn.
    manifest_path
        The manifest of a package; with the package beside it, the first row that differs is named.

    Raises
    ------
    UsageProblem
        Not a manifest, or the package was made without a project, so its numbers are kept nowhere.
    """
    require(Action.EXPORT, registry, confirmed=True)
    manifest = read_manifest(manifest_path)
    asked = _asked(manifest, manifest_path.parent, registry)
    table = manifest["tables"][TABLE]
    stated = str(table["rows_sha256"])
    with as_known(registry, datetime.fromisoformat(manifest["known_at"])) as known:
        then, gone = _rows(registry, known, asked)
    current, _ = _rows(registry, registry, asked)
    same_then = rows_sha256(then, table["key"]) == stated
    same_now = rows_sha256(current, table["key"]) == stated
    messages = []
    if not same_then:
        messages += _why(manifest, asked, gone)
        messages.append(
            _first(manifest_path.parent, table, then, "The rows drawn again as they were known then")
        )
    if not same_now:
        messages.append(
            _first(manifest_path.parent, table, current, "The record changed since: as it is now it")
        )
    return Again(stated, same_then, same_now, tuple(messages))


def _asked(manifest: dict[str, Any], folder: Path, registry: Registry) -> Asked:
    if not manifest.get("project"):
        raise UsageProblem(
            "This package was made without a project: its numbers were drawn for it alone and are kept nowhere, so the same "
            "rows cannot be drawn again. Export under a project (a cohort file, or --project) to be able to."
        )
    cohort = None
    if manifest["cohort"]:
        path = folder / "cohort.json"
        cohort = CohortFile.read(path, registry.site.added_codes)
        if cohort.sha256 != manifest["cohort_sha256"]:
            raise UsageProblem(f"{path}: is not the cohort file of this manifest: its SHA-256 differs.")

    def day(name: str) -> date | None:
        return date.fromisoformat(manifest[name]) if manifest[name] else None

    return Asked(
        date.fromisoformat(manifest["as_of"]),
        day("from"),
        day("to"),
        manifest["author"],
        manifest["reason"],
        profile_of(manifest["profile"]),
        tuple(manifest["formats"]),
        manifest["project"],
        cohort,
    )


def _rows(registry: Registry, record: Registry | KnownRegistry, asked: Asked) -> tuple[pl.DataFrame, int]:
    done, gone = treated(registry, record, take(record, asked), asked, draws=False)
    return done.frame, gone


def _why(manifest: dict[str, Any], asked: Asked, gone: int) -> list[str]:
    """What is known to have changed beside the record."""
    made = []
    if manifest["definitions_sha256"] != provenance.definitions_sha256(*provenance.DEFINITIONS):
        made.append(
            f"Other definitions: the package was made by {manifest['program']} with other SQL of facts and measures."
        )
    if manifest.get("profile_sha256") != profile_sha256(asked.profile):
        made.append(f"Profile {asked.profile.name} does something else with columns than it did then.")
    if gone:
        made.append(
            f"The study keys of {grouped(gone)} patients are no longer kept: they were erased since, or their rows are new."
        )
    return made


def _first(folder: Path, table: dict[str, Any], rows: pl.DataFrame, what: str) -> str:
    """The first row that differs, in the order of the canonical form."""
    written = next(
        (
            read_rows(path, table["columns"])
            for ending in ("parquet", "csv")
            if (path := folder / "data" / f"{TABLE}.{ending}").is_file()
        ),
        None,
    )
    if written is None:
        return f"{what} gives {grouped(rows.height)} rows with another hash. Put the manifest beside its data/ to see the first row that differs."
    key = table["key"]
    if rows.columns != written.columns:
        wrong = ", ".join(sorted(set(rows.columns) ^ set(written.columns))) or "their order"
        return f"{what} has other columns: {wrong}."
    before, after = (_keyed(one, key) for one in (written, rows))
    for one in sorted(before.keys() | after.keys(), key=str):
        if before.get(one) != after.get(one):
            return f"{what} differs first at {', '.join(key)} {one}: {_between(before.get(one), after.get(one), rows.columns)}."
    kinds = [n for n in rows.columns if kind_of(rows.schema[n]) != kind_of(written.schema[n])]
    return f"{what} has the same values in another type: {', '.join(kinds) or 'not found'}."


def _keyed(rows: pl.DataFrame, key: list[str]) -> dict[Any, tuple[Any, ...]]:
    places = [rows.columns.index(name) for name in key]
    return {
        row[places[0]] if len(places) == 1 else tuple(row[p] for p in places): row
        for row in sorted_by(rows, key).iter_rows()
    }


def _between(before: tuple[Any, ...] | None, after: tuple[Any, ...] | None, columns: list[str]) -> str:
    if before is None:
        return "the row was not in the package"
    if after is None:
        return "the row is no longer there"
    wrong = [name for name, one, other in zip(columns, before, after, strict=True) if one != other]
    return f"it has other values in {', '.join(wrong)}"
