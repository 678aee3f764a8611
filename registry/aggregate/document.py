"""The file of counts: what stands in it, its hash, and reading it strictly."""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass, field
from datetime import date
from typing import TYPE_CHECKING, Any

from registry.aggregate.pieces import Piece, piece_in, piece_out
from registry.errors import FileProblem

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from registry.aggregate.bins import Bin

FORMAT, VERSION = "aggregate of a biopsy registry", 2
FIRST = 1
"""The version without cross-tables, curves and bins; its files are still read."""
SMALL = 5
"""Counts from 1 to below this do not stand in a file that may go anywhere (common practice)."""

_LARGEST = 50_000_000
_HEAD = [
    "format",
    "version",
    "service",
    "sites",
    "as_of",
    "from",
    "to",
    "by",
    "internal",
    "smallest_cell",
    "program",
    "definitions_sha256",
    "measures",
    "tables_and_curves",
    "left_out",
    "sha256",
]
_CELL = [
    "x",
    "n",
    "patients",
    "missing",
    "total",
    "squares",
    "median",
    "bins",
    "excluded",
    "unknown",
    "clusters",
    "withheld",
]


@dataclass(frozen=True)
class Cell:
    """One measure in one stratum.

    ``x`` of ``n``; ``patients`` distinct in the denominator, None where withheld. Of a
    quantity x is None, ``total`` and ``squares`` are the sum of the values and of their
    squares, ``median`` is the median at this place, ``bins`` are (from, to below, number), see
    :mod:`registry.aggregate.bins`, None in files of version 1, ``missing`` counts those
    without a value. ``unknown`` as :class:`registry.measures.counting.Counts`, None where
    withheld. ``clusters`` are (y, n, patients), in internal files only. ``withheld`` names
    what was left out because it was small.
    """

    n: int
    x: int | None = None
    patients: int | None = None
    missing: int = 0
    total: float | None = None
    squares: float | None = None
    median: float | None = None
    bins: tuple[Bin, ...] | None = None
    excluded: Mapping[str, int] = field(default_factory=dict)
    unknown: Mapping[str, int] | None = field(default_factory=dict)
    clusters: tuple[tuple[int, int, int], ...] | None = None
    withheld: tuple[str, ...] = ()

    def counts(self) -> dict[str, int]:
        """Every count of the cell by what it counts."""
        made = {"denominator": self.n, "missing": self.missing}
        if self.x is not None:
            made |= {"numerator": self.x, "rest": self.n - self.x}
        if self.patients is not None:
            made["patients"] = self.patients
        made |= {f"from {lower:g} to {upper:g}": count for lower, upper, count in self.bins or ()}
        made |= {f"left out: {reason}": count for reason, count in self.excluded.items()}
        made |= {f"unknown: {sign}": count for sign, count in (self.unknown or {}).items()}
        return made


@dataclass(frozen=True)
class Counted:
    """A measure of the file: digest of its SQL, the local settings it reads, its cells by stratum."""

    kind: str
    sha256: str
    settings: Mapping[str, Any]
    strata: Mapping[str, Cell]


@dataclass(frozen=True)
class CountedPiece:
    """A cross-table or curve of the file, as :class:`Counted`."""

    kind: str
    sha256: str
    settings: Mapping[str, Any]
    strata: Mapping[str, Piece]


@dataclass(frozen=True)
class Document:
    """A whole file; ``left_out`` says of each thing that is not in it why.

    ``pieces`` are cross-tables and curves, none in a file of version 1.

    ``sha256`` is that of everything else in canonical form.
    """

    service: str
    sites: tuple[str, ...]
    as_of: date
    start: date | None
    end: date | None
    by: str | None
    internal: bool
    program: str
    definitions_sha256: str
    measures: Mapping[str, Counted]
    left_out: Mapping[str, str]
    pieces: Mapping[str, CountedPiece] = field(default_factory=dict)
    version: int = VERSION

    @property
    def defined(self) -> Mapping[str, Counted | CountedPiece]:
        """Every measure of the file."""
        return {**self.measures, **self.pieces}

    def body(self) -> dict[str, Any]:
        """Everything but the hash, JSON-able."""
        return {
            "format": FORMAT,
            "version": self.version,
            "service": self.service,
            "sites": list(self.sites),
            "as_of": self.as_of.isoformat(),
            "from": self.start and self.start.isoformat(),
            "to": self.end and self.end.isoformat(),
            "by": self.by,
            "internal": self.internal,
            "smallest_cell": 1 if self.internal else SMALL,
            "program": self.program,
            "definitions_sha256": self.definitions_sha256,
            "measures": {
                name: {
                    "kind": one.kind,
                    "sha256": one.sha256,
                    "settings": dict(one.settings),
                    "strata": {
                        stratum: _cell_out(cell, self.version) for stratum, cell in one.strata.items()
                    },
                }
                for name, one in self.measures.items()
            },
            **({} if self.version == FIRST else {"tables_and_curves": self._pieces_out()}),
            "left_out": dict(self.left_out),
        }

    def _pieces_out(self) -> dict[str, Any]:
        return {
            name: {
                "kind": one.kind,
                "sha256": one.sha256,
                "settings": dict(one.settings),
                "strata": {stratum: piece_out(piece) for stratum, piece in one.strata.items()},
            }
            for name, one in self.pieces.items()
        }

    @property
    def sha256(self) -> str:
        """SHA-256 of the body in canonical form."""
        return _digest(self.body())

    def text(self) -> str:
        """The file, ending with a line feed; the same bytes for the same counts."""
        return json.dumps({**self.body(), "sha256": self.sha256}, indent=1, ensure_ascii=False) + "\n"

    def small(self) -> list[str]:
        """Measures with a count from 1 to below the smallest that may go anywhere."""
        return [
            name
            for name, one in self.defined.items()
            if any(0 < count < SMALL for cell in one.strata.values() for count in cell.counts().values())
        ]


def _digest(body: Mapping[str, Any]) -> str:
    text = json.dumps(body, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    return hashlib.sha256(text.encode("utf-8")).hexdigest()


def _cell_out(cell: Cell, version: int) -> dict[str, Any]:
    made = {name: getattr(cell, name) for name in _fields(version)}
    if "bins" in made:
        made["bins"] = None if cell.bins is None else [list(one) for one in cell.bins]
    made["excluded"] = dict(cell.excluded)
    made["unknown"] = None if cell.unknown is None else dict(cell.unknown)
    made["clusters"] = None if cell.clusters is None else [list(one) for one in cell.clusters]
    made["withheld"] = list(cell.withheld)
    return made


def _fields(version: int) -> list[str]:
    return [name for name in _CELL if version != FIRST or name != "bins"]


# -- reading ---------------------------------------------------------------------------


def read(path: Path) -> Document:
    """Read a file of counts.

    Raises
    ------
    FileProblem
        It cannot be read, is none, was changed since it was written, or does not hold
        together.
    """
    name = path.name
    try:
        if path.stat().st_size > _LARGEST:
            raise FileProblem(f"{name}: is larger than any file of counts. Is it the right file?")
        given = json.loads(path.read_text(encoding="utf-8"))
    except OSError as problem:
        raise FileProblem(f"{name}: cannot be read: {problem.strerror}.") from None
    except (UnicodeDecodeError, ValueError, RecursionError):
        raise FileProblem(
            f"{name}: is no JSON text. Name a file that `aggregate export` has written."
        ) from None
    if not isinstance(given, dict) or given.get("format") != FORMAT:
        raise FileProblem(f"{name}: is no file of counts. Name a file that `aggregate export` has written.")
    if given.get("version") not in (FIRST, VERSION):
        raise FileProblem(
            f"{name}: has version {given.get('version')!r}; this program reads {FIRST} and {VERSION}. Write it again with the same program as here."
        )
    kept = {key: value for key, value in given.items() if key != "sha256"}
    heads = [one for one in _HEAD if given["version"] != FIRST or one != "tables_and_curves"]
    if sorted(given) != sorted(heads) or given["sha256"] != _digest(kept):
        raise FileProblem(
            f"{name}: does not agree with its own SHA-256: it was changed after it was written. Ask for the file anew."
        )
    try:
        return _document(kept)
    except (KeyError, TypeError, ValueError, AttributeError) as problem:
        raise FileProblem(
            f"{name}: does not hold together ({problem}). Ask for the file to be written anew."
        ) from None


def _document(given: dict[str, Any]) -> Document:
    sites = tuple(str(one) for one in given["sites"])
    if not sites or len(set(sites)) != len(sites):
        raise ValueError("sites are missing or stand twice")
    return Document(
        str(given["service"]),
        sites,
        date.fromisoformat(given["as_of"]),
        given["from"] and date.fromisoformat(given["from"]),
        given["to"] and date.fromisoformat(given["to"]),
        given["by"] and str(given["by"]),
        given["internal"] is True,
        str(given["program"]),
        str(given["definitions_sha256"]),
        {
            str(name): Counted(
                str(one["kind"]),
                str(one["sha256"]),
                dict(one["settings"]),
                {str(stratum): _cell_in(cell, given["version"]) for stratum, cell in one["strata"].items()},
            )
            for name, one in given["measures"].items()
        },
        {str(name): str(why) for name, why in given["left_out"].items()},
        {
            str(name): CountedPiece(
                str(one["kind"]),
                str(one["sha256"]),
                dict(one["settings"]),
                {str(stratum): piece_in(piece, one["kind"]) for stratum, piece in one["strata"].items()},
            )
            for name, one in given.get("tables_and_curves", {}).items()
        },
        given["version"],
    )


def _cell_in(given: dict[str, Any], version: int) -> Cell:
    if sorted(given) != sorted(_fields(version)):
        raise ValueError("a cell lacks a field or has one too many")
    clusters = given["clusters"]
    cell = Cell(
        n=given["n"],
        x=given["x"],
        patients=given["patients"],
        missing=given["missing"],
        total=_float(given["total"]),
        squares=_float(given["squares"]),
        median=_float(given["median"]),
        bins=None
        if given.get("bins") is None
        else tuple((_bound(a), _bound(b), n) for a, b, n in given["bins"]),
        excluded=dict(given["excluded"]),
        unknown=None if given["unknown"] is None else dict(given["unknown"]),
        clusters=None if clusters is None else tuple((y, n, patients) for y, n, patients in clusters),
        withheld=tuple(str(one) for one in given["withheld"]),
    )
    found = [*cell.counts().values(), *(number for one in cell.clusters or () for number in one)]
    if not all(type(one) is int and one >= 0 for one in found):
        raise ValueError("a count is no whole number from 0 on")
    if cell.patients is not None and cell.patients > cell.n:
        raise ValueError("more patients than procedures")
    if cell.bins is not None and (
        sum(one[2] for one in cell.bins) not in (0, cell.n) or any(one[0] > one[1] for one in cell.bins)
    ):
        raise ValueError("the bins of a quantity do not add up to its values")
    if cell.clusters is not None:
        sums = [sum(one[i] * one[2] for one in cell.clusters) for i in (0, 1)]
        if sums != [cell.x, cell.n]:
            raise ValueError("the counts by patient do not add up to those of the measure")
    return cell


def _bound(value: Any) -> float:
    found = _float(value)
    if found is None:
        raise ValueError("a bin without a bound")
    return found


def _float(value: Any) -> float | None:
    if value is None or (isinstance(value, int | float) and not isinstance(value, bool)):
        return None if value is None else float(value)
    raise ValueError("a number is none")
