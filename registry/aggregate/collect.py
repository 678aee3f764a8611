"""Count a registry into a file that holds no row of any patient."""

from __future__ import annotations

import hashlib
import re
from typing import TYPE_CHECKING, Any

from registry import __version__, audit, provenance, store
from registry.aggregate.bins import binned
from registry.aggregate.document import SMALL, Cell, Counted, CountedPiece, Document
from registry.aggregate.pieces import (
    CATEGORIES,
    OUTCOMES,
    CurveCell,
    TableCell,
    event_table,
)
from registry.aggregate.withholding import cell_for_anybody, piece_for_anybody, shown
from registry.errors import FileProblem, UsageProblem
from registry.measures import counting, load_measures
from registry.measures.b_category import table_counts
from registry.measures.curve import curve_counts
from registry.measures.definition import PROPORTION, QUANTITY, TABLE, TIME_TO_EVENT, Measure
from registry.measures.strata import Question, in_order
from registry.people import Action, require
from registry.stats.quantiles import spread
from registry.whole_file import write_whole

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date
    from pathlib import Path

    from registry.aggregate.pieces import Piece
    from registry.measures.counting import Classified, Clusters, Counts, Reader
    from registry.store import Registry

OPERATOR = "operator"
_NOT_COUNTS = {"sampling": "a probability per procedure is no count"}
_WHY = f"it holds, or would tell beside the others, a count from 1 to {SMALL - 1}"


def collect(
    registry: Reader,
    *,
    as_of: date,
    start: date | None = None,
    end: date | None = None,
    by: str | None = None,
    internal: bool = False,
) -> Document:
    """Count every proportion, quantity, cross-table and curve.

    Parameters
    ----------
    registry
        An open registry.
    as_of, start, end
        As :func:`registry.measures.evaluate`.
    by
        A stratum, but not the operator: results of single people do not leave the service.
    internal
        Keep small counts, and what each patient has; for a centre that is bound like the
        service itself. Otherwise counts from 1 to 4, and what would give them away, are withheld.

    Raises
    ------
    UsageProblem
        Split by operator, an unknown stratum, a period that ends before it begins, or no
        procedure in it.
    """
    require(Action.AGGREGATES, registry)
    if by == OPERATOR:
        raise UsageProblem(
            "--by operator: results of single people do not leave the service. Choose another split, or none."
        )
    question = Question(as_of, start, end, by)
    measures = load_measures()
    rates = [one for one in measures.values() if one.kind == PROPORTION]
    lengths = [one for one in measures.values() if one.kind == QUANTITY]
    pieces = [one for one in measures.values() if one.kind in (TABLE, TIME_TO_EVENT)]
    with counting.classified(registry, question) as units:
        counts, values = counting.count_and_measure(units, [*rates, *lengths])
        patients = counting.per_patient(units, rates) if internal else {}
        made = {one.id: _pieces(units, one) for one in pieces}
    sites = _sites(registry, question)
    told = frozenset() if internal else shown(registry, question)
    cells: dict[str, dict[str, Cell]] = {one.id: {} for one in (*rates, *lengths)}
    left_out = {one.id: _NOT_COUNTS[one.kind] for one in measures.values() if one.kind in _NOT_COUNTS}
    for (name, stratum), one in sorted(counts.items(), key=lambda pair: (pair[0][0], in_order(pair[0][1]))):
        cell = _rate(one, patients.get((name, stratum), ([], [], [])) if internal else None)
        if measures[name].kind == QUANTITY:
            cell = _length(one, values.get((name, stratum), ()))
        kept_cell = cell if internal else cell_for_anybody(cell, name, stratum, told)
        if kept_cell is None:
            left_out[f"{name}, {stratum}"] = _WHY
        else:
            cells[name][stratum] = kept_cell
    kept: dict[str, dict[str, Piece]] = {}
    for name, strata in made.items():
        kept[name] = {}
        for stratum, piece in sorted(strata.items(), key=lambda pair: in_order(pair[0])):
            given = piece if internal else piece_for_anybody(piece, name, stratum, told)
            if given is None:
                left_out[f"{name}, {stratum}"] = _WHY
            else:
                kept[name][stratum] = given
    return Document(
        registry.site.name,
        sites,
        as_of,
        start,
        end,
        by,
        internal,
        f"biopsy-outcomes {__version__}",
        provenance.definitions_sha256(*provenance.DEFINITIONS),
        {
            one.id: Counted(one.kind, digest(one), settings(registry, one), cells[one.id])
            for one in sorted((*rates, *lengths), key=lambda one: one.id)
        },
        left_out,
        {
            one.id: CountedPiece(one.kind, digest(one), settings(registry, one), kept[one.id])
            for one in sorted(pieces, key=lambda one: one.id)
        },
    )


def _pieces(units: Classified, measure: Measure) -> dict[str, Piece]:
    """Stratum -> cross-table or curve, with everything that an internal file holds."""
    found: dict[str, Piece] = {}
    if measure.kind == TABLE:
        for stratum, cells, groups, counts in table_counts(units, measure):
            held = {name: [0] * len(CATEGORIES) for name in OUTCOMES}
            unresolved = [0] * len(CATEGORIES)
            for category, outcome, is_resolved, number in cells:
                held[outcome][CATEGORIES.index(category)] += number
                if outcome == "n" and not is_resolved:
                    unresolved[CATEGORIES.index(category)] += number
            found[stratum] = TableCell(
                counts.denominator,
                counts.patients,
                {name: tuple(row) for name, row in held.items()},
                tuple(unresolved),
                counts.excluded,
                tuple(sorted((tuple(one), number) for one, number in groups)),
            )
        return found
    for stratum, rows, counts in curve_counts(units, measure):
        found[stratum] = CurveCell(
            counts.denominator,
            counts.patients,
            {name: event_table(one) for name, one in rows.items()},
            counts.excluded,
            {name: tuple(one) for name, one in rows.items()},
        )
    return found


def digest(measure: Measure) -> str:
    """SHA-256 of the SQL of a measure."""
    return hashlib.sha256(measure.sql.replace("\r\n", "\n").encode("utf-8")).hexdigest()


def settings(registry: Reader, measure: Measure) -> dict[str, Any]:
    """Local settings that a measure reads, by name; a setting that is not stated is None."""
    named = set(re.findall(r"'(\w+)'", measure.body)) if "site_setting" in measure.body else set()
    with registry.cursor() as cursor:
        rows = store.frame(cursor, "SELECT name, number, day FROM site_setting ORDER BY name").rows()
        made: dict[str, Any] = {
            name: number if day is None else day.isoformat() for name, number, day in rows if name in named
        }
        if "uptake_window" in measure.body:
            windows = store.frame(
                cursor, "SELECT tracer, from_minutes, to_minutes FROM uptake_window ORDER BY tracer"
            )
            made |= {f"uptake window, {tracer}": [low, high] for tracer, low, high in windows.rows()}
    return made


def _sites(registry: Reader, question: Question) -> tuple[str, ...]:
    sql = (
        f"SELECT DISTINCT site FROM procedure_facts WHERE {question.condition} "
        "AND started_on <= CAST($as_of AS DATE) ORDER BY site"
    )
    with registry.cursor() as cursor:
        found = store.frame(cursor, sql, question.parameters).get_column("site").to_list()
    if not found:
        raise UsageProblem("No procedure lies in the period: there is nothing to write. Choose a longer one.")
    return tuple(found)


def _rate(one: Counts, clusters: Clusters | None) -> Cell:
    return Cell(
        n=one.denominator,
        x=one.numerator,
        patients=one.patients,
        excluded=one.excluded,
        unknown=one.unknown,
        clusters=None if clusters is None else tuple(zip(*clusters, strict=True)),
    )


def _length(one: Counts, values: Sequence[float] | Any) -> Cell:
    numbers = [float(value) for value in values]
    return Cell(
        n=one.denominator,
        patients=one.patients,
        missing=one.missing,
        total=sum(numbers, 0.0),
        squares=sum((value * value for value in numbers), 0.0),
        median=spread(numbers).median,
        bins=binned(numbers),
        excluded=one.excluded,
    )


def write(
    registry: Registry,
    path: Path,
    *,
    as_of: date,
    start: date | None = None,
    end: date | None = None,
    by: str | None = None,
    internal: bool = False,
    author: str,
) -> Document:
    """Write the file, with an entry of the trail that binds its hash.

    Parameters
    ----------
    registry
        Open for writing: what leaves is an entry of its trail.
    path
        A new file, not in the registry folder.
    as_of, start, end, by, internal
        As :func:`collect`.
    author
        Who writes it.

    Raises
    ------
    UsageProblem
        As :func:`collect`; a file that exists or a place that may not be used.
    FileProblem
        The file cannot be written; nothing is left under its name.
    """
    author = require(Action.AGGREGATES, registry).author(author)
    if path.resolve().is_relative_to(registry.folder.resolve()):
        raise UsageProblem(f"{path.name}: lies in the registry folder. Name a file elsewhere.")
    if path.exists():
        raise UsageProblem(f"{path.name}: exists. Name a new file.")
    made = collect(registry, as_of=as_of, start=start, end=end, by=by, internal=internal)
    _save(path, made.text())
    details = {
        "sha256": made.sha256,
        "as_of": as_of,
        "from": start,
        "to": end,
        "by": by,
        "internal": internal,
        "measures": len(made.measures),
    }
    try:
        registry.record(audit.Entry(author, "export", "aggregate", "aggregate", details))
    except BaseException:
        path.unlink(missing_ok=True)
        raise
    return made


def _save(path: Path, text: str) -> None:
    try:
        write_whole(path, text)
    except OSError as problem:
        raise FileProblem(
            f"{path.name}: cannot be written: {problem.strerror}. Name another place."
        ) from None
