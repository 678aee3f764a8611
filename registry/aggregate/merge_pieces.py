"""Cross-tables and curves of several services, by the functions that a single run uses."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from registry.aggregate.pieces import CurveCell, TableCell, sum_of
from registry.measures import load_measures
from registry.measures.b_category import table_of
from registry.measures.counting import Counts
from registry.measures.curve import curve_of
from registry.measures.strata import ALL, in_order

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from datetime import date

    from registry.aggregate.document import Document
    from registry.aggregate.pieces import Piece, Step
    from registry.measures.results import CategoryTable, Curve


@dataclass(frozen=True)
class EventTable:
    """A curve over all places: at risk, cancers, deaths and ends of follow-up by interval.

    ``curve`` is the estimate at fixed days with its limits; None where a file does not hold
    the days, which stand in internal files only.
    """

    measure: str
    stratum: str
    n: int
    steps: Mapping[str, tuple[Step, ...]]
    curve: Curve | None

    def to_dict(self) -> dict[str, Any]:
        """JSON-able."""
        names = ("from", "to", "at_risk", "cancers", "deaths", "followed_no_further")
        return {
            "measure": self.measure,
            "stratum": self.stratum,
            "n": self.n,
            "intervals": [
                {"estimate": estimate, **dict(zip(names, step, strict=True))}
                for estimate, steps in self.steps.items()
                for step in steps
            ],
            "curve": None if self.curve is None else self.curve.to_dict(),
        }


def merged_pieces(
    files: Sequence[Document],
    left_out: dict[str, str],
    *,
    interval: str,
    confidence: float,
    stamp: str,
    dates: Mapping[str, date | None],
) -> tuple[tuple[CategoryTable, ...], tuple[EventTable, ...]]:
    """Cross-tables and curves of all places, stratum by stratum, and as a whole where they are split.

    Parameters
    ----------
    left_out
        What cannot be merged; a whole of which a stratum is withheld is added to it.
    """
    tables, curves = [], []
    for (name, stratum), pieces in _found(files, left_out).items():
        piece = sum_of(pieces)
        counts = Counts(denominator=piece.n, patients=piece.patients or 0, excluded=dict(piece.excluded))
        measure = load_measures()[name]
        if isinstance(piece, TableCell):
            groups = None if piece.groups is None else [(list(one), number) for one, number in piece.groups]
            tables.append(
                table_of(measure, stratum, piece.rows(), groups, counts, interval, confidence, stamp, dates)
            )
        elif isinstance(piece, CurveCell):
            made = (
                None
                if piece.days is None
                else curve_of(measure, stratum, piece.days, counts, confidence, stamp, dates)
            )
            curves.append(EventTable(name, stratum, piece.n, piece.steps, made))
    return tuple(tables), tuple(curves)


def _found(files: Sequence[Document], left_out: dict[str, str]) -> dict[tuple[str, str], list[Piece]]:
    found: dict[tuple[str, str], list[Piece]] = {}
    for one in files:
        for name, counted in one.pieces.items():
            for stratum, piece in counted.strata.items():
                if name not in left_out and f"{name}, {stratum}" not in left_out:
                    found.setdefault((name, stratum), []).append(piece)
    if files[0].by is not None:
        for (name, _), pieces in list(found.items()):
            if any(key.startswith(f"{name}, ") for key in left_out):
                left_out.setdefault(f"{name}, {ALL}", "one of its strata is withheld")
            else:
                found.setdefault((name, ALL), []).extend(pieces)
    return dict(sorted(found.items(), key=lambda one: (one[0][0], in_order(one[0][1]))))
