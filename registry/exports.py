"""The cohort export: one row per procedure, with codebook and manifest.

What leaves is an allow-list. Each column of the cohort's SQL is declared in its header
with where it comes from and how sensitive it is; a column that is not declared, and any
identifier or free text, stops the export. Patients get a random number per export, so
that two exports cannot be joined; the stored pseudonym never leaves the engine.
"""

from __future__ import annotations

import hashlib
import json
import os
import random
import secrets
import shutil
import tempfile
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC
from pathlib import Path
from typing import TYPE_CHECKING, Any

import polars as pl

from registry import audit, facts, provenance, store
from registry.codebook import CAUTIONS, COHORT, Cohort, codebook, codebook_page, load_cohort
from registry.errors import FileProblem, UsageProblem
from registry.identity import PSEUDONYM_LENGTH
from registry.people import Action, require

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from datetime import date

    import duckdb

    from registry.store import Registry

#: A spreadsheet takes a text that begins so for a formula.
_FORMULA = r"^[=+\-@\t\r＝＋－＠]"
#: Patients in a class smaller than this are easily known again (common practice).
_SMALL_CLASS = 11
_CLASS_BY = ("ten years of age", "year", "breast", "site")
GUARD_RULE = (
    "Text cells of the CSV files that begin with = + - @, a tab, a return or a full-width form of these "
    "carry a leading apostrophe; the Parquet file holds them as recorded."
)


@dataclass(frozen=True)
class ExportReport:
    """What was written: ``files`` maps a name to its SHA-256, ``flow`` is (step, left out, remaining)."""

    folder: Path
    rows: int
    patients: int
    files: dict[str, str]
    flow: tuple[tuple[str, int, int], ...]
    guarded: dict[str, int]

    def lines(self) -> list[str]:
        """The report as plain text lines."""
        made = [f"Wrote {self.rows:,} procedures of {self.patients:,} patients to {self.folder}"]
        made += [
            f"  {step}: {left:,} left out, {remaining:,} remaining" for step, left, remaining in self.flow
        ]
        made += [f"  {name}  SHA-256 {sha256}" for name, sha256 in self.files.items()]
        if cells := sum(self.guarded.values()):
            made.append(
                f"{cells:,} text cells that a spreadsheet would take for a formula begin with an apostrophe in the CSV."
            )
        return [*made, CAUTIONS[1]]


# -- what may leave ----------------------------------------------------------------


def _refuse_undeclared(frame: pl.DataFrame, cohort: Cohort) -> None:
    """The SQL gives exactly what its header declares, and no pseudonym under another name."""
    declared = [column.name for column in cohort.columns]
    if frame.columns != declared:
        unknown = [name for name in frame.columns if name not in declared]
        missing = [name for name in declared if name not in frame.columns]
        what = (
            f"gives {', '.join(unknown)}, not declared"
            if unknown
            else f"lacks {', '.join(missing)}"
            if missing
            else "has another order"
        )
        raise UsageProblem(
            f"sql/cohorts/{COHORT}.sql {what} in its header. Nothing was exported: a column leaves only when it is classified there."
        )
    pseudonym = rf"^[0-9a-f]{{{PSEUDONYM_LENGTH}}}$"
    for name, kind in frame.schema.items():
        if kind == pl.String and frame[name].str.contains(pseudonym).any():
            raise UsageProblem(
                f"Column {name} of the export holds what looks like a stored pseudonym. Nothing was exported."
            )


# -- the rows ----------------------------------------------------------------------


def _numbered(values: Sequence[str], shuffle: random.Random) -> pl.DataFrame:
    """Each value once with a number drawn without regard to its order."""
    numbers = list(range(1, len(values) + 1))
    shuffle.shuffle(numbers)
    return pl.DataFrame(
        {"code": list(values), "number": numbers}, schema={"code": pl.String, "number": pl.Int32}
    )


@dataclass(frozen=True)
class _Request:
    """What was asked for, by whom and why."""

    as_of: date
    start: date | None
    end: date | None
    author: str
    reason: str

    @property
    def period(self) -> dict[str, date | None]:
        """Parameters of the cohort's SQL."""
        return {"start": self.start, "end": self.end}

    def check(self) -> None:
        """Refuse an empty reason and a period that ends before it begins."""
        if not self.reason.strip():
            raise UsageProblem(
                "An export needs a reason, which is kept in the trail. Give one with --reason."
            )
        if self.start and self.end and self.start > self.end:
            raise UsageProblem(
                f"The period runs from {self.start} to {self.end}: the first day is after the last. Swap them."
            )


@dataclass(frozen=True)
class _Taken:
    frame: pl.DataFrame
    flow: tuple[tuple[str, int, int], ...]
    stamp: dict[str, Any]
    head: audit.Head
    comments: dict[str, str]


def _take(registry: Registry, cohort: Cohort, request: _Request, shuffle: random.Random) -> _Taken:
    """Rows, flow and stamp, all from one state of the record."""
    people = {
        "patient": "SELECT DISTINCT patient FROM procedure_facts",
        "operator": "SELECT operator FROM procedures UNION SELECT supervisor FROM procedures WHERE supervisor IS NOT NULL",
    }
    with registry.cursor() as cursor, facts.at(cursor, request.as_of):
        for column, source in people.items():
            values = sorted(row[0] for row in cursor.execute(source).fetchall())
            cursor.register(f"study_{column}", _numbered(values, shuffle).rename({"code": column}).to_arrow())
        frame = store.frame(cursor, cohort.sql, request.period)
        flow = _flow(cursor, request.period)
        head = audit.head(cursor)
        comments = cursor.execute(
            "SELECT column_name, comment FROM duckdb_columns() WHERE table_name = 'procedure_facts' AND comment IS NOT NULL"
        ).fetchall()
    return _Taken(frame, flow, provenance.stamp(registry, as_of=request.as_of), head, dict(comments))


def _flow(cursor: duckdb.DuckDBPyConnection, period: dict[str, Any]) -> tuple[tuple[str, int, int], ...]:
    """How many procedures each step leaves out, in order."""
    total, inside, kept = cursor.execute(
        "WITH unit AS (SELECT coalesce(f.started_on >= CAST($start AS DATE), true) AND coalesce(f.started_on <= CAST($end AS DATE), true) AS inside, "
        "p.research_use IS NOT DISTINCT FROM 'objected' AS objected "
        "FROM procedure_facts AS f LEFT JOIN patients AS p ON p.patient = f.patient) "
        "SELECT count(*), count(*) FILTER (WHERE inside), count(*) FILTER (WHERE inside AND NOT objected) FROM unit",
        period,
    ).fetchall()[0]
    return (
        ("procedures started up to the as-of day", 0, total),
        ("started outside the period", total - inside, inside),
        ("patient objects to research use", inside - kept, kept),
    )


def small_classes(frame: pl.DataFrame) -> dict[str, Any]:
    """How few patients share what can point to one of them: measured, not assumed.

    Returns
    -------
    dict
        ``by`` (what makes a class), ``classes``, ``patients_in_smallest``, and the number
        of ``classes_below`` the ``threshold`` of patients; zeros for an empty export.
    """
    keys = [pl.col("age_years") // 10, pl.col("started_on").dt.year(), pl.col("laterality"), pl.col("site")]
    sizes = frame.group_by(keys).agg(pl.col("patient_no").n_unique().alias("patients"))["patients"]
    return {
        "by": list(_CLASS_BY),
        "classes": sizes.len(),
        "patients_in_smallest": min(sizes.to_list(), default=0),
        "threshold": _SMALL_CLASS,
        "classes_below": int((sizes < _SMALL_CLASS).sum()),
    }


# -- writing -----------------------------------------------------------------------


def guard(frame: pl.DataFrame) -> tuple[pl.DataFrame, dict[str, int]]:
    """Text that a spreadsheet would run gets a leading apostrophe; numbers stay numbers.

    Returns
    -------
    (frame, cells)
        ``cells`` counts the guarded cells of each column that has one.
    """
    cells, changed = {}, []
    for name, kind in frame.schema.items():
        if kind != pl.String:
            continue
        found = frame[name].str.contains(_FORMULA)
        if count := int(found.sum() or 0):
            cells[name] = count
            changed.append(
                pl.when(pl.col(name).str.contains(_FORMULA))
                .then("'" + pl.col(name))
                .otherwise(pl.col(name))
                .alias(name)
            )
    return frame.with_columns(changed), cells


def export(
    registry: Registry,
    folder: Path,
    *,
    as_of: date,
    start: date | None = None,
    end: date | None = None,
    author: str,
    reason: str,
    seed: int | None = None,
) -> ExportReport:
    """Write procedures.csv and .parquet, codebook.csv and .md, and MANIFEST.json.

    Parameters
    ----------
    registry
        Open for writing: the export is an entry of its trail.
    folder
        New, or empty; neither in the registry folder nor in the program.
    as_of
        Nothing dated after this day counts.
    start, end
        First and last day on which a procedure started.
    author, reason
        Who exports, and what for.
    seed
        For tests: draws the study numbers again. Left out, they are unpredictable.

    Raises
    ------
    UsageProblem
        No reason, a folder that may not be used, or a column that is not classified.
    FileProblem
        The files cannot be written; nothing is left under the folder's name.
    """
    author = require(Action.EXPORT, registry, confirmed=True).author(author)
    request = _Request(as_of, start, end, author, reason)
    request.check()
    if not registry.write:
        raise UsageProblem(
            f"{registry.folder}: is open for reading only, and an export is an entry of its trail."
        )
    target = _target(registry, folder)
    cohort = load_cohort()
    taken = _take(registry, cohort, request, secrets.SystemRandom() if seed is None else random.Random(seed))
    _refuse_undeclared(taken.frame, cohort)
    with _apart(target) as place:
        files, guarded = _write_tables(place, cohort, taken, registry)
        manifest = _manifest(registry, cohort, taken, request)
        manifest["files"] = {name: {"sha256": sha256, "rows": rows} for name, (sha256, rows) in files.items()}
        manifest["small_classes"] = small_classes(taken.frame)
        manifest["guarded"] = {"rule": GUARD_RULE, "cells": guarded}
        path = place / "MANIFEST.json"
        path.write_text(json.dumps(manifest, indent=2, ensure_ascii=False) + "\n", encoding="utf-8")
        hashes = {**{name: sha256 for name, (sha256, _) in files.items()}, path.name: _sealed(path)}
        asked = {key: manifest[key] for key in ("as_of", "from", "to", "reason")}
        details = {"files": hashes, "rows": taken.frame.height, **asked}
        registry.record(audit.Entry(author, "export", "cohort", COHORT, details))
    return ExportReport(
        target, taken.frame.height, taken.frame["patient_no"].n_unique(), hashes, taken.flow, guarded
    )


def _program_folders() -> list[Path]:
    """Where the program lies: its packages, and the checkout around them if it is one."""
    own = Path(__file__).resolve().parent
    around = own.parent
    return (
        [around]
        if (around / "pyproject.toml").is_file()
        else [around / name for name in ("registry", "dashboards", "synthetic_data")]
    )


def _target(registry: Registry, folder: Path) -> Path:
    target = folder.resolve()
    for place, what in [
        (registry.folder, "the registry folder"),
        *((one, "the program's own folder") for one in _program_folders()),
    ]:
        if target.is_relative_to(place.resolve()):
            raise UsageProblem(
                f"{folder}: lies in {what}, which is no place for an export. Name a folder elsewhere."
            )
    if target.exists() and (not target.is_dir() or any(target.iterdir())):
        raise UsageProblem(f"{folder}: exists and is not empty. Name a new folder for the export.")
    if not target.parent.is_dir():
        raise UsageProblem(
            f"{target.parent}: there is no such folder. Make it, or name another place for the export."
        )
    return target


@contextmanager
def _apart(target: Path) -> Iterator[Path]:
    """A folder beside the target that takes its name only when all is written."""
    place = None
    try:
        place = Path(tempfile.mkdtemp(prefix=f".{target.name}-", dir=target.parent))
        yield place
        if target.exists():
            target.rmdir()
        place.rename(target)
    except OSError as problem:
        why = problem.strerror or "the disk does not take it"
        raise FileProblem(
            f"The export was not written: {why}. Nothing is left under {target}. Free some space or name another place."
        ) from None
    finally:
        if place is not None:
            shutil.rmtree(place, ignore_errors=True)


def _sealed(path: Path) -> str:
    """Force a written file to disk, for its owner only; its SHA-256."""
    path.chmod(0o600)
    with path.open("r+b") as handle:
        os.fsync(handle.fileno())
        return hashlib.file_digest(handle, "sha256").hexdigest()


def _write_tables(
    place: Path, cohort: Cohort, taken: _Taken, registry: Registry
) -> tuple[dict[str, tuple[str, int]], dict[str, int]]:
    """Write all files but the manifest; their SHA-256 and rows, and the guarded cells by column."""
    book = codebook(taken.frame, cohort, taken.comments, registry.site.added_codes)
    plain, guarded = guard(taken.frame)
    try:
        plain.write_csv(place / "procedures.csv")
        taken.frame.write_parquet(place / "procedures.parquet")
        guard(book)[0].write_csv(place / "codebook.csv")
    except pl.exceptions.PolarsError:
        raise OSError(None, "the disk does not take it") from None
    (place / "codebook.md").write_text(codebook_page(book, cohort), encoding="utf-8")
    made = {}
    for path in sorted(place.iterdir()):
        rows = taken.frame.height if path.stem == "procedures" else book.height
        made[path.name] = (_sealed(path), rows)
    return made, guarded


def _manifest(registry: Registry, cohort: Cohort, taken: _Taken, request: _Request) -> dict[str, Any]:
    """Everything about the export but its files."""
    return {
        "title": cohort.title,
        "invented": (registry.folder / "DEMO").exists(),
        **taken.stamp,
        "from": request.start.isoformat() if request.start else None,
        "to": request.end.isoformat() if request.end else None,
        "service": registry.site.name,
        "written_at": registry.clock().astimezone(UTC).isoformat(timespec="seconds"),
        "author": request.author,
        "reason": request.reason,
        "trail": {"seq": taken.head.seq, "mac": taken.head.mac},
        "cohort_sql_sha256": hashlib.sha256(cohort.sql.encode()).hexdigest(),
        "flow": [
            {"step": step, "left_out": left, "remaining": remaining} for step, left, remaining in taken.flow
        ],
        "withheld": dict(cohort.withheld),
        "cautions": list(CAUTIONS),
    }
