"""A package against its manifest: every hash computed again, and what differs named."""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import polars as pl

from registry.errors import UsageProblem
from registry.numerals import grouped
from registry.package import canonical
from registry.package.guard import unguard

if TYPE_CHECKING:
    from pathlib import Path

MANIFEST = "MANIFEST.json"


@dataclass(frozen=True)
class Difference:
    """One thing that is not as the manifest says: which ``part``, and a sentence."""

    part: str
    message: str

    def __str__(self) -> str:
        return f"{self.part}: {self.message}"


def is_package(folder: Path) -> bool:
    """Whether a folder holds a package, by its manifest and the absence of a registry."""
    return (folder / MANIFEST).is_file() and not (folder / "site.toml").exists()


def read_manifest(path: Path) -> dict[str, Any]:
    """A manifest.

    Raises
    ------
    UsageProblem
        It cannot be read, or is not one of a package.
    """
    try:
        found = json.loads(path.read_text(encoding="utf-8"))
        found["files"], found["tables"]["procedures"]["columns"], found["tables"]["procedures"]["key"]
    except OSError as problem:
        raise UsageProblem(
            f"{path}: cannot be read ({problem.strerror}). Name the {MANIFEST} of a package."
        ) from None
    except (ValueError, KeyError, TypeError):
        raise UsageProblem(f"{path}: is not the manifest of a package. Name the {MANIFEST} of one.") from None
    return dict(found)


def verify_package(folder: Path) -> list[Difference]:
    """What differs; empty where every file and every row is as the manifest says.

    The rows of the CSV and Parquet files are brought into canonical form and hashed; of the
    other formats the bytes are.
    """
    manifest = read_manifest(folder / MANIFEST)
    found = _files(folder, manifest["files"])
    for name, table in manifest["tables"].items():
        for ending in ("csv", "parquet"):
            path = folder / "data" / f"{name}.{ending}"
            if path.is_file():
                found += _rows(path, f"data/{path.name}", table)
    return found


def _files(folder: Path, stated: dict[str, Any]) -> list[Difference]:
    found = []
    present = {one.relative_to(folder).as_posix() for one in folder.rglob("*") if one.is_file()} - {MANIFEST}
    for name in sorted(present | stated.keys()):
        if name not in present:
            found.append(Difference(name, "is missing."))
        elif name not in stated:
            found.append(Difference(name, "is not in the manifest: it was added."))
        elif _sha256(folder / name) != stated[name]["sha256"]:
            found.append(Difference(name, "is not the file that was written: its SHA-256 differs."))
    return found


def _sha256(path: Path) -> str:
    with path.open("rb") as handle:
        return hashlib.file_digest(handle, "sha256").hexdigest()


def _rows(path: Path, name: str, table: dict[str, Any]) -> list[Difference]:
    try:
        rows = read_rows(path, table["columns"])
    except (pl.exceptions.PolarsError, OSError) as problem:
        said = (str(problem).splitlines() or [type(problem).__name__])[0]
        return [Difference(name, f"its rows cannot be read as the manifest states them: {said}.")]
    stated = list(table["columns"])
    if rows.columns != stated:
        wrong = sorted(set(rows.columns) ^ set(stated)) or ["their order"]
        return [Difference(name, f"has other columns than the manifest states: {', '.join(wrong)}.")]
    if rows.height != table["rows"]:
        return [
            Difference(name, f"holds {grouped(rows.height)} rows, and {grouped(table['rows'])} were written.")
        ]
    if canonical.rows_sha256(rows, table["key"]) == table["rows_sha256"]:
        return []
    real = canonical.columns_sha256(rows, table["key"])
    wrong = [column for column, sha256 in table["columns_sha256"].items() if real[column] != sha256]
    return [Difference(name, f"its rows differ from those written, in {', '.join(wrong)}.")]


def read_rows(path: Path, columns: dict[str, str]) -> pl.DataFrame:
    """The rows of a CSV or Parquet file of a package, typed as the manifest says, without guards."""
    if path.suffix == ".parquet":
        return pl.read_parquet(path)
    return unguard(canonical.read_csv(path, columns))
