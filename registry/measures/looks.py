"""Cancer after a benign result, known only to have come between two looks at the target."""

from __future__ import annotations

from dataclasses import dataclass
from math import inf
from typing import TYPE_CHECKING

import numpy as np

from registry import facts, store
from registry.measures.curve import READ_AT
from registry.measures.definition import chosen
from registry.measures.strata import Question
from registry.measures.whose import permitted
from registry.sqlfiles import queries
from registry.stats.time_to_event import turnbull

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import date

    import polars as pl

    from registry.measures.counting import Reader

MOST_CELLS = 4_000_000
"""Distinct pairs of looks times days on which cancer came: above it the estimate takes too long."""


@dataclass(frozen=True)
class LooksCurve:
    """Share with a cancer by the looks between which it came to light (Turnbull).

    ``steps`` holds (after day, up to day, share at most before, share at least after):
    somewhere after the first and up to the second day the share rises from the third to
    the fourth value; between two steps it is flat. ``read`` holds for each fixed day of
    ``at`` the lowest and the highest share that the estimate allows there, None beyond
    the last look (``last_look``, days). ``reason`` says why nothing could be estimated.
    Deaths end the looks and are no competing event here.
    """

    n: int
    cancers: int
    between_looks: int
    steps: tuple[tuple[int, int, float, float], ...]
    at: tuple[int, ...]
    read: tuple[tuple[float, float] | None, ...]
    last_look: int
    as_of: date
    registry: str
    reason: str = ""


def looks(
    registry: Reader,
    *,
    as_of: date,
    start: date | None = None,
    end: date | None = None,
    within: Mapping[str, str] | None = None,
) -> pl.DataFrame:
    """Between which looks a cancer came: procedure_id, last_without, first_with, in days after the procedure.

    ``first_with`` is null where no cancer came to light. The procedures are those that
    ``cancer_after_benign`` counts.

    Parameters
    ----------
    registry, as_of, start, end, within
        As :func:`registry.measures.evaluate`.
    """
    within = permitted(registry, None, within)
    (measure,) = chosen(["cancer_after_benign"])
    question = Question(as_of, start, end, None, dict(within or {}))
    sql = (
        f"WITH {facts.relations()},\nbenign_unit AS (\n{measure.body}\n),\n"
        f"look AS (\n{queries('follow_up')['looks'].sql}\n)\n"
        "SELECT look.* FROM look JOIN procedure_facts AS facts ON facts.procedure_id = look.procedure_id "
        f"WHERE {question.condition} ORDER BY look.procedure_id"
    )
    with facts.at(registry, as_of) as cursor:
        return store.frame(cursor, sql, question.parameters)


def looks_curve(
    registry: Reader,
    *,
    as_of: date,
    start: date | None = None,
    end: date | None = None,
    within: Mapping[str, str] | None = None,
) -> LooksCurve:
    """Share with a cancer after a benign result, from the looks between which it came to light.

    A companion of :func:`registry.measures.curve`, not a replacement: it dates no cancer
    to the day on which it was found, but takes a death for the end of the looks and not
    for an event that keeps cancer from coming.

    Parameters
    ----------
    registry, as_of, start, end, within
        As :func:`registry.measures.evaluate`.

    Sources
    -------
    Turnbull 1976, J R Stat Soc B 38:290-295.
    """
    within = permitted(registry, None, within)
    found = looks(registry, as_of=as_of, start=start, end=end, within=within)
    left = found.get_column("last_without").to_numpy().astype(np.float64)
    right = found.get_column("first_with").cast(float).fill_null(inf).to_numpy()
    seen = np.isfinite(right)
    steps: tuple[tuple[int, int, float, float], ...] = ()
    reason = _why_not(left, right)
    if not reason:
        steps = _steps(left, right)
    last = int(max([0.0, *left.tolist(), *right[seen].tolist()]))
    return LooksCurve(
        n=found.height,
        cancers=int(seen.sum()),
        between_looks=int((left[seen] > 0).sum()),
        steps=steps,
        at=READ_AT,
        read=tuple(None if reason or day > last else _read(steps, day) for day in READ_AT),
        last_look=last,
        as_of=as_of,
        registry=registry.stamp(),
        reason=reason,
    )


def _why_not(left: np.ndarray, right: np.ndarray) -> str:
    seen = np.isfinite(right)
    if not left.size:
        return "no procedures"
    if not seen.any():
        return "no cancer came to light"
    pairs = np.unique(np.stack([left, np.where(seen, right, -1.0)], axis=1), axis=0)
    if len(pairs) * np.unique(right[seen]).size > MOST_CELLS:
        return "too many different looks to estimate in a reasonable time; choose a shorter period"
    return ""


def _steps(left: np.ndarray, right: np.ndarray) -> tuple[tuple[int, int, float, float], ...]:
    estimate = turnbull(left, right)
    reached = np.concatenate([[0.0], np.cumsum(estimate.mass)])
    return tuple(
        (int(after), int(until), float(before), float(then))
        for (after, until), before, then in zip(estimate.innermost, reached[:-1], reached[1:], strict=True)
        if np.isfinite(until)
    )


def _read(steps: tuple[tuple[int, int, float, float], ...], day: int) -> tuple[float, float]:
    """Lowest and highest share on a day: they differ inside a step, where the estimate says nothing."""
    least = max([0.0, *(then for _, until, _, then in steps if until <= day)])
    most = max([0.0, *(then for after, until, _, then in steps if after < day or until <= day)])
    return least, most
