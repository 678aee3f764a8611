"""How much too narrow the plain interval is where one patient has several procedures."""

from __future__ import annotations

from typing import TYPE_CHECKING

from registry.errors import UsageProblem
from registry.measures import counting
from registry.measures.clusters import effect
from registry.measures.definition import PROPORTION, chosen
from registry.measures.evaluation import check
from registry.measures.results import ClusteringEffect
from registry.measures.strata import ALL, Question
from registry.measures.whose import permitted

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from datetime import date

    from registry.measures.counting import Clusters, Reader


def clustering_effects(
    registry: Reader,
    ids: Sequence[str],
    *,
    as_of: date,
    start: date | None = None,
    end: date | None = None,
    by: str | None = None,
    confidence: float = 0.95,
    within: Mapping[str, str] | None = None,
) -> dict[tuple[str, str], ClusteringEffect]:
    """How much wider the intervals of proportions are when a patient's procedures are held together.

    Parameters
    ----------
    registry, as_of, start, end, by, confidence, within
        As :func:`registry.measures.evaluate`.
    ids
        Measures of the kind proportion.

    Returns
    -------
    dict
        (measure, stratum) -> effect, for each that has procedures; the stratum is "all"
        where nothing is split.

    Raises
    ------
    UsageProblem
        As :func:`registry.measures.evaluate`; a measure is not a proportion.
    """
    check("wilson", confidence)
    found = patients(registry, ids, as_of=as_of, start=start, end=end, by=by, within=within)
    return {key: effect(clusters, confidence) for key, clusters in found.items()}


def patients(
    registry: Reader,
    ids: Sequence[str],
    *,
    as_of: date,
    start: date | None = None,
    end: date | None = None,
    by: str | None = None,
    within: Mapping[str, str] | None = None,
) -> dict[tuple[str, str], Clusters]:
    """How many patients have y counted among n procedures: (y, n, patients), by (measure, stratum).

    Parameters, Raises
    ------------------
    As :func:`clustering_effects`.
    """
    within = permitted(registry, by, within)
    asked = chosen(ids)
    if other := [one.id for one in asked if one.kind != PROPORTION]:
        raise UsageProblem(f"{other[0]}: is no proportion, and has no interval to widen.")
    question = Question(as_of, start, end, by, dict(within or {}))
    with counting.classified(registry, question) as units:
        return counting.per_patient(units, asked)


def clustering(
    registry: Reader,
    measure_id: str,
    *,
    as_of: date,
    start: date | None = None,
    end: date | None = None,
    confidence: float = 0.95,
    within: Mapping[str, str] | None = None,
) -> ClusteringEffect:
    """How much wider the interval of one proportion is, all strata together.

    Parameters
    ----------
    measure_id
        A measure of the kind proportion.
    registry, as_of, start, end, confidence, within
        As :func:`registry.measures.evaluate`.

    Raises
    ------
    UsageProblem
        As :func:`clustering_effects`.
    """
    within = permitted(registry, None, within)
    found = clustering_effects(
        registry, [measure_id], as_of=as_of, start=start, end=end, confidence=confidence, within=within
    )
    return found.get((measure_id, ALL), ClusteringEffect(None, None, False, 0, 0))
