"""The table that an accrediting body asks for once a year, for any twelve months, in counts.

Each cell is a condition on the rows of ``sql/quality/yearly.sql``, so that the list behind
it is the rows for which it holds, and nothing is counted twice in two ways.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

import polars as pl

from registry.errors import UsageProblem
from registry.people import Action, require
from registry.quality.lists import asked, files
from registry.quality.twelve_months import first_day
from registry.vocabulary import labels

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date

    from registry.measures.counting import Reader

ALL, NOT_RECORDED = "all", "not recorded"
WAYS = ("device", "guidance", "site")

REPORT_DAYS, REPEAT_DAYS, COMPLICATION_DAYS = 30, 365, 30
"""Days after which a report, a repeat and a complication are no longer waited for."""

_RESULTS = {
    "cancer": "Cancer",
    "high_risk": "High-risk lesion",
    "suspicious": "Suspicious, neither benign nor malignant",
    "benign": "Benign or normal",
    "insufficient": "Insufficient sample",
    "no report yet": "No report yet",
}
_REPEATED_BY = {
    "vacuum_assisted": "Vacuum-assisted biopsy",
    "core_needle": "Core needle biopsy",
    "other needle": "Other or unstated device",
    "excision": "Excision",
    "not done": "Advised, not done",
}
_FOUND = {
    "cancer": "Found: cancer",
    "high_risk": "Found: high-risk",
    "benign": "Found: benign",
    "other or not known": "Found: other or not known",
}


@dataclass(frozen=True)
class Table:
    """One part of the yearly table: rows and columns as (key, label), counts of procedures row by row."""

    name: str
    title: str
    rows: tuple[tuple[str, str], ...]
    columns: tuple[tuple[str, str], ...]
    counts: tuple[tuple[int, ...], ...]

    def count(self, row: str, column: str = ALL) -> int:
        """One cell; 0 for a row or a column that did not occur."""
        keys = [key for key, _ in self.rows], [key for key, _ in self.columns]
        if row not in keys[0] or column not in keys[1]:
            return 0
        return self.counts[keys[0].index(row)][keys[1].index(column)]

    def heads(self, places: Sequence[int]) -> list[str]:
        """Names of columns above the table that says by its caption what was found."""
        texts = [self.columns[place][1] for place in places]
        return [
            text.removeprefix("Found: ").capitalize() if text.startswith("Found: ") else text
            for text in texts
        ]

    def parts(self) -> tuple[tuple[str, tuple[int, ...]], ...]:
        """Caption and places of the columns of each table that is drawn.

        How repeats were done and what they found stand one below the other, as eleven columns
        find no room on a page.
        """
        found = tuple(place for place, (key, _) in enumerate(self.columns) if key.startswith("found "))
        others = tuple(place for place in range(len(self.columns)) if place not in found)
        if not found:
            return ((self.title, others),)
        title = self.title.partition(", how")[0]
        return ((f"{title} and how it was done", others), (f"{title} and what was found", (0, *found)))


@dataclass(frozen=True)
class Yearly:
    """The yearly table: procedures and results, repeats by reason, complications that needed treatment.

    ``waiting_report``, ``waiting_repeat`` and ``waiting_complication`` count procedures for
    which it is too early; ``identities`` says what was checked and whether it holds.
    """

    start: date
    until: date
    by: str
    procedures: Table
    repeats: Table
    complications: Table
    waiting_report: int
    waiting_repeat: int
    waiting_complication: int
    identities: tuple[tuple[str, bool], ...]
    note: str
    as_of: date
    registry: str

    @property
    def tables(self) -> tuple[Table, ...]:
        """The three parts in their order."""
        return self.procedures, self.repeats, self.complications

    def to_dict(self) -> dict[str, Any]:
        """JSON-able, dates in ISO form."""
        days = {name: getattr(self, name).isoformat() for name in ("start", "until", "as_of")}
        return {**asdict(self), **days}


def yearly_rows(registry: Reader, *, until: date, as_of: date) -> pl.DataFrame:
    """The procedures of the twelve months, one row each, as ``sql/quality/yearly.sql`` describes them.

    Raises
    ------
    UsageProblem
        The twelve months end after the as-of date.
    Refused
        Whoever asks may not see procedures.
    """
    require(Action.PROCEDURES, registry)
    return _rows(registry, until, as_of)


def yearly(registry: Reader, *, until: date, as_of: date, by: str = "device") -> Yearly:
    """The yearly table for the twelve months that end on a day.

    Parameters
    ----------
    registry
        An open registry.
    until
        Last day of the twelve months, on which a procedure may have started.
    as_of
        Nothing dated after this day counts; not before ``until``.
    by
        What procedures and complications are split by: device, guidance or site.

    Raises
    ------
    UsageProblem
        The twelve months end after the as-of date, or another way of splitting.
    """
    require(Action.FIGURES, registry)
    if by not in WAYS:
        raise UsageProblem(f"--by {by}: the yearly table is split by {', '.join(WAYS)}. Choose one of them.")
    rows = _rows(registry, until, as_of)
    procedures, repeats, complications = (_table(*one, rows) for one in _parts(rows, by))
    days, sampled = pl.col("days_since"), pl.col("status") == "completed"
    return Yearly(
        start=first_day(until),
        until=until,
        by=by,
        procedures=procedures,
        repeats=repeats,
        complications=complications,
        waiting_report=rows.filter(
            sampled & (days < REPORT_DAYS) & (pl.col("result") == "no report yet")
        ).height,
        waiting_repeat=rows.filter(sampled & (days < REPEAT_DAYS)).height,
        waiting_complication=rows.filter(
            (pl.col("status") != "cancelled") & (days < COMPLICATION_DAYS)
        ).height,
        identities=_identities(procedures, repeats),
        note=files()["yearly"].note,
        as_of=as_of,
        registry=registry.stamp(),
    )


def behind(
    rows: pl.DataFrame, table: str, row: str, column: str = ALL, *, by: str = "device"
) -> pl.DataFrame:
    """The procedures behind one cell.

    Parameters
    ----------
    rows
        As :func:`yearly_rows` gives them.
    table
        procedures, repeats or complications.
    row, column
        Keys of the cell.
    by
        As the table was split.
    """
    of_rows, of_columns = next(one[2:] for one in _parts(rows, by) if one[0] == table)
    return rows.filter(_of(of_rows, row) & _of(of_columns, column))


def counted(
    registry: Reader, *, until: date, as_of: date, by: str = "device"
) -> dict[tuple[str, str, str], list[str]]:
    """Keys of the procedures behind every cell, by table, row and column; arguments as :func:`yearly`."""
    rows = _rows(registry, until, as_of)
    return {
        (name, row, column): rows.filter((of_row & of_column).fill_null(value=False))
        .get_column("procedure_id")
        .to_list()
        for name, _, of_rows, of_columns in _parts(rows, by)
        for row, _, of_row in of_rows
        for column, _, of_column in of_columns
    }


Conditions = list[tuple[str, str, pl.Expr]]


def _rows(registry: Reader, until: date, as_of: date) -> pl.DataFrame:
    if until > as_of:
        raise UsageProblem(
            f"The twelve months end on {until}, after the as-of date {as_of}: what happened until then is not known. "
            "Choose an earlier last day, or a later as-of date."
        )
    given = f"later_tissue AS (\n{files()['later_tissue'].sql}\n)"
    found = asked(registry, "yearly", as_of=as_of, start=first_day(until), end=until, given=given)
    return found.sort("started_on", "procedure_id")


def _parts(rows: pl.DataFrame, by: str) -> tuple[tuple[str, str, Conditions, Conditions], ...]:
    """Name, title, rows and columns of the three parts in their order."""
    split = _split(rows, by)
    repeats = "Repeat biopsy needed, by reason, how it was done and what was found"
    return (
        ("procedures", "Procedures and what they found", _procedure_rows(), split),
        ("repeats", repeats, _reason_rows(rows), _repeat_columns()),
        ("complications", "Complications that needed treatment", _kind_rows(rows), split),
    )


def _table(name: str, title: str, rows: Conditions, columns: Conditions, frame: pl.DataFrame) -> Table:
    cells = [
        (of_row & of_column).fill_null(value=False).sum().alias(f"{i} {j}")
        for i, (_, _, of_row) in enumerate(rows)
        for j, (_, _, of_column) in enumerate(columns)
    ]
    counted = [int(one) for one in frame.select(cells).row(0)]
    width = len(columns)
    return Table(
        name,
        title,
        tuple((key, label) for key, label, _ in rows),
        tuple((key, label) for key, label, _ in columns),
        tuple(tuple(counted[i * width : (i + 1) * width]) for i in range(len(rows))),
    )


def _of(conditions: Conditions, key: str) -> pl.Expr:
    return next(condition for name, _, condition in conditions if name == key).fill_null(value=False)


def _procedure_rows() -> Conditions:
    status, result = pl.col("status"), pl.col("result")
    made: Conditions = [
        (ALL, "Procedures begun or booked", pl.lit(value=True) & status.is_not_null()),
        ("cancelled", "Cancelled before the needle was in", status == "cancelled"),
        ("abandoned", "Abandoned without tissue", status == "abandoned"),
        ("completed", "Tissue taken", status == "completed"),
    ]
    return [*made, *((key, f"– {label}", result == key) for key, label in _RESULTS.items())]


def _reason_rows(rows: pl.DataFrame) -> Conditions:
    reason = pl.col("repeat_reason")
    known = labels("procedures", "repeat_reason")
    own = sorted(set(rows.get_column("repeat_reason").drop_nulls().to_list()) - set(known))
    named = {**known, **{code: code for code in own}}
    return [
        (ALL, "Repeat needed", reason.is_not_null()),
        *((key, f"– {label}", reason == key) for key, label in named.items()),
    ]


def _repeat_columns() -> Conditions:
    how, found = pl.col("repeated_by"), pl.col("repeat_found")
    needed = pl.col("repeat_reason").is_not_null()
    named = [key for key in _REPEATED_BY if key != "other needle"]
    made: Conditions = [(ALL, "All", needed)]
    made += [
        (key, label, ~how.is_in(named) if key == "other needle" else how == key)
        for key, label in _REPEATED_BY.items()
    ]
    plain = [key for key in _FOUND if key != "other or not known"]
    made += [
        (f"found {key}", label, ~found.is_in(plain) if key == "other or not known" else found == key)
        for key, label in _FOUND.items()
    ]
    return made


def _kind_rows(rows: pl.DataFrame) -> Conditions:
    kinds = pl.col("treated_complications")
    occurred = set(rows.get_column("treated_complications").explode().drop_nulls().to_list())
    known = labels("complications", "kind")
    codes = [*(code for code in known if code in occurred), *sorted(occurred - set(known))]
    made: Conditions = [(ALL, "Procedures with at least one", kinds.list.len() > 0)]
    return [*made, *((code, f"– {known.get(code, code)}", kinds.list.contains(code)) for code in codes)]


def _split(rows: pl.DataFrame, by: str) -> Conditions:
    occurred = rows.get_column(by)
    codes = sorted(occurred.drop_nulls().unique().to_list())
    names = {} if by == "site" else labels("procedures", by)
    order = {code: place for place, code in enumerate(names)}
    codes.sort(key=lambda code: (order.get(code, len(order)), code))
    made: Conditions = [(ALL, "All", pl.lit(value=True) & pl.col("status").is_not_null())]
    made += [(code, names.get(code, code), pl.col(by) == code) for code in codes]
    if occurred.null_count():
        made.append((NOT_RECORDED, "Not recorded", pl.col(by).is_null()))
    return made


def _identities(procedures: Table, repeats: Table) -> tuple[tuple[str, bool], ...]:
    sampled = procedures.count("completed")
    parts = [procedures.count(one) for one in ("cancelled", "abandoned", "completed")]
    needed = repeats.count(ALL)
    reasons = [repeats.count(key) for key, _ in repeats.rows if key != ALL]
    return (
        ("procedures = cancelled + abandoned + with tissue", procedures.count(ALL) == sum(parts)),
        ("with tissue = sum of what was found", sampled == sum(procedures.count(one) for one in _RESULTS)),
        ("repeats = sum of reasons", needed == sum(reasons)),
        ("repeats = sum of how", needed == sum(repeats.count(ALL, one) for one in _REPEATED_BY)),
        (
            "repeats = sum of what was found",
            needed == sum(repeats.count(ALL, f"found {one}") for one in _FOUND),
        ),
    )
