"""The shape of an attempt: an entry of bad_inputs.json as files, and what must be said of it.

Each is sent to a registry that holds the valid rows of ``tests.build``. ``reads_as`` says how
an entry is meant where its field has another form in the data dictionary.
"""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import TYPE_CHECKING

from tests.build import BASE

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

Row = dict[str, str]


@dataclass(frozen=True)
class Attempt:
    """One source and what becomes of it.

    ``files`` are the bytes by file name, ``make`` writes them where that takes more.
    ``held`` are file and line of the rows that must be held, ``column`` where, ``says`` the
    words that the sentence must hold. ``stored`` is a query and its rows afterwards, ``first``
    are rows that are stored before the others are sent.
    ``between`` is done between reading and accepting.
    """

    files: dict[str, bytes] = field(default_factory=dict)
    held: frozenset[tuple[str, int]] = frozenset()
    column: str = ""
    says: tuple[str, ...] = ()
    stored: tuple[str, list[tuple]] | None = None
    first: dict[str, list[Row]] = field(default_factory=dict)
    mapping: str = ""
    make: Callable[[Path], None] | None = None
    between: Callable[[Path], None] | None = None
    reads_as: str = ""


def table(rows: list[Row]) -> bytes:
    """Rows as a CSV file."""
    columns = list(dict.fromkeys(name for row in rows for name in row))
    text = io.StringIO()
    writer = csv.DictWriter(text, columns, restval="", lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return text.getvalue().encode("utf-8")


def files(**rows: list[Row]) -> dict[str, bytes]:
    return {f"{name}.csv": table(given) for name, given in rows.items()}


def full(name: str, **cells: str) -> Row:
    """The valid row of a table with other cells."""
    return BASE[name][0] | cells


def procedure(number: int, **cells: str) -> Row:
    """A procedure of its own on its own day, without marker and tracer times."""
    own = {"procedure_id": f"P{number}", "accession": f"ACC{number}"}
    own["started_at"] = f"{date(2025, 4, 1) + timedelta(days=number)}T09:30"
    empty = dict.fromkeys(("ended_at", "injected_at", "first_scan_at", "marker", "marker_shape"), "")
    return full("procedures", **{**empty, **own, **cells})


def rows_held(
    name: str, *rows: int, column: str, says: tuple[str, ...], reads_as: str = "", **sent: list[Row]
) -> Attempt:
    """Some rows (0 is the first) of one table are held."""
    return Attempt(
        files(**sent), frozenset((f"{name}.csv", row + 2) for row in rows), column, says, reads_as=reads_as
    )


def one_held(name: str, *says: str, column: str, reads_as: str = "", **cells: str) -> Attempt:
    """A changed row of the base is held."""
    return rows_held(name, 0, column=column, says=says, reads_as=reads_as, **{name: [full(name, **cells)]})
