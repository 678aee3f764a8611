"""Yield against the number of cores, and against the mass of tissue where their order is not known.

The share of procedures with a malignant core among the first k is one minus a survival
curve over k: a procedure without a positive core is left out after its last one, since
nobody knows what a further core would have shown. Where several cores share a container,
the first positive one is known only to lie among them.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
import polars as pl

from registry.cores.rows import Definition, definition, flow, reasons, rows
from registry.people import Action, require
from registry.stats.cores import CoreChance, core_chance
from registry.stats.interval_censoring import current_status, turnbull
from registry.stats.shrinkage import any_positive
from registry.stats.time_to_event import kaplan_meier

if TYPE_CHECKING:
    from datetime import date

    from registry.measures.counting import Reader

NAME = "first_positive"

#: Reasons that concern the order of the cores only: these procedures go to the curve by mass.
_ORDER_ONLY = frozenset(
    (
        "no specimen",
        "cores not recorded",
        "cores not kept apart",
        "order not recorded",
        "containers not reported apart",
    )
)

Flow = tuple[tuple[str, int, int], ...]


@dataclass(frozen=True)
class YieldPoint:
    """Share of procedures with a malignant diagnosis among the first ``cores``.

    ``lower`` and ``upper`` are log(-log) limits, None where the share is 0 or 1;
    ``bound`` is the one-sided upper bound where it is 0. ``at_risk`` counts procedures
    with at least so many cores and none positive before.
    """

    cores: int
    share: float
    lower: float | None
    upper: float | None
    bound: float | None
    at_risk: int


@dataclass(frozen=True)
class ModelPoint:
    """Share with a positive core among ``cores`` under a model, 0 to 1.

    ``independent`` gives every core of every lesion the same chance: an upper bound of
    ``varying``, in which the chance differs between lesions.
    """

    cores: int
    independent: float
    varying: float


@dataclass(frozen=True)
class Steps:
    """Share with a malignant diagnosis against an amount of tissue, known only in steps.

    ``steps`` holds (after, up to, share before, share then): the share rises somewhere
    between the two amounts, and is flat between steps. ``end`` is the largest amount that
    ``minimum`` procedures reached; steps that begin beyond it are left out.
    """

    n: int
    positive: int
    patients: int
    steps: tuple[tuple[float, float, float, float], ...]
    end: float
    flow: Flow


@dataclass(frozen=True)
class FirstPositive:
    """Three readings of one question, each with what it leaves out.

    ``single`` holds the points from the ``single_n`` procedures whose containers hold one
    core each (``single_positive`` of them positive), ``by_core`` the steps from all whose
    cores are in order, ``by_mass`` those against total mass for the others. ``chance`` and
    ``model`` belong to the cores in order.
    """

    single: tuple[YieldPoint, ...]
    single_n: int
    single_positive: int
    by_core: Steps
    by_mass: Steps
    chance: CoreChance | None
    model: tuple[ModelPoint, ...]
    minimum: int
    confidence: float
    as_of: date
    start: date | None
    end: date | None
    registry: str


def first_positive_definition() -> Definition:
    """What counts as positive, and who is left out and why, as the file states it."""
    return definition(NAME)


def tissue_rows(
    registry: Reader, *, as_of: date, start: date | None = None, end: date | None = None
) -> pl.DataFrame:
    """One row per procedure of the period: why it is left out, and where its first positive core lies.

    Columns: procedure_id, index_date, excluded_because (null = its cores are in order),
    is_positive, cores, cores_without (the first positive core comes after so many),
    cores_with (and not after so many; null where none was positive), is_one_by_one,
    container_cores and container_positive (lists in the order taken),
    mass_excluded_because (null = its mass stands for them), mass_g, patient_no.

    Parameters
    ----------
    registry
        An open registry.
    as_of
        Nothing dated after this day counts.
    start, end
        First and last day on which a procedure started, both included.
    """
    require(Action.PROCEDURES, registry)
    return rows(registry, NAME, as_of=as_of, start=start, end=end)


def first_positive(
    registry: Reader,
    *,
    as_of: date,
    start: date | None = None,
    end: date | None = None,
    confidence: float = 0.95,
    minimum: int = 10,
) -> FirstPositive:
    """The curves by cores and by mass, with what is left out of each and why.

    Parameters
    ----------
    registry, as_of, start, end
        As :func:`tissue_rows`.
    confidence
        Two-sided confidence of the limits at each point taken alone.
    minimum
        Fewest procedures that still reach an amount at which something is given, 1 or more.
    """
    require(Action.FIGURES, registry)
    found = rows(registry, NAME, as_of=as_of, start=start, end=end)
    ordered = found.filter(pl.col("excluded_because").is_null())
    weighed = found.filter(pl.col("mass_excluded_because").is_null())
    single = ordered.filter(pl.col("is_one_by_one"))
    by_core = _by_core(ordered, minimum, tuple(flow(found, NAME)))
    chance = _chance(ordered) if ordered.height else None
    return FirstPositive(
        single=_points(single, confidence, minimum),
        single_n=single.height,
        single_positive=int(single.get_column("is_positive").sum()),
        by_core=by_core,
        by_mass=_by_mass(weighed, minimum, _mass_flow(found)),
        chance=chance,
        model=_model(chance, int(by_core.end)),
        minimum=minimum,
        confidence=confidence,
        as_of=as_of,
        start=start,
        end=end,
        registry=registry.stamp(),
    )


def _points(single: pl.DataFrame, confidence: float, minimum: int) -> tuple[YieldPoint, ...]:
    """A point for each number of cores, as long as enough procedures are at risk."""
    if not single.height:
        return ()
    positive = single.get_column("is_positive").cast(int).to_numpy()
    cores = single.get_column("cores_with").fill_null(single.get_column("cores")).to_numpy()
    at = np.arange(1, int(cores.max()) + 1)
    curve = kaplan_meier(cores, positive, at, confidence)
    made = []
    for place, number in enumerate(at):
        if curve.at_risk[place] < minimum:
            break
        limits = (1.0 - curve.upper[place], 1.0 - curve.lower[place], curve.no_event_bound[place])
        lower, upper, bound = (None if np.isnan(one) else float(one) for one in limits)
        share, at_risk = float(1.0 - curve.S[place]), int(curve.at_risk[place])
        made.append(YieldPoint(int(number), share, lower, upper, bound, at_risk))
    return tuple(made)


def _by_core(ordered: pl.DataFrame, minimum: int, left_out: Flow) -> Steps:
    """Steps from between which cores the first positive one lies."""
    if _too_few(ordered, minimum):
        return _bare(ordered, left_out)
    end = _reached(ordered.get_column("cores"), minimum)
    left = ordered.get_column("cores_without").cast(float).to_numpy()
    right = ordered.get_column("cores_with").cast(float).fill_null(np.inf).to_numpy()
    estimate = turnbull(left, right)
    share = np.cumsum(estimate.mass).tolist()
    steps = tuple(
        (after, until, before, then)
        for (after, until), before, then in zip(estimate.innermost, [0.0, *share], share, strict=False)
        if np.isfinite(until) and after < end
    )
    return replace(_bare(ordered, left_out), steps=steps, end=end)


def _by_mass(weighed: pl.DataFrame, minimum: int, left_out: Flow) -> Steps:
    """Steps between the masses at which one look was taken: positive by then, or not."""
    if _too_few(weighed, minimum):
        return _bare(weighed, left_out)
    end = _reached(weighed.get_column("mass_g"), minimum)
    estimate = current_status(
        weighed.get_column("mass_g").to_numpy(), weighed.get_column("is_positive").cast(int).to_numpy()
    )
    looks, share = [0.0, *estimate.time.tolist()], [0.0, *estimate.share.tolist()]
    steps = tuple(
        (after, until, before, then)
        for (after, until), (before, then) in zip(pairwise(looks), pairwise(share), strict=True)
        if then > before and after < end
    )
    return replace(_bare(weighed, left_out), steps=steps, end=end)


def _too_few(kept: pl.DataFrame, minimum: int) -> bool:
    return kept.height < minimum or not kept.get_column("is_positive").any()


def _bare(kept: pl.DataFrame, left_out: Flow) -> Steps:
    positive = int(kept.get_column("is_positive").sum())
    return Steps(kept.height, positive, kept.get_column("patient_no").n_unique(), (), 0.0, left_out)


def _reached(amounts: pl.Series, minimum: int) -> float:
    """The largest amount that so many procedures reached."""
    return float(amounts.sort(descending=True)[minimum - 1])


def _chance(ordered: pl.DataFrame) -> CoreChance:
    held = ordered.select("procedure_id", "container_cores", "container_positive").explode(
        "container_cores", "container_positive"
    )
    return core_chance(
        held.get_column("procedure_id").to_numpy(),
        held.get_column("container_cores").to_numpy(),
        held.get_column("container_positive").cast(int).to_numpy(),
    )


def _model(chance: CoreChance | None, most: int) -> tuple[ModelPoint, ...]:
    if chance is None or chance.mean is None or most < 1:
        return ()
    number = np.arange(1, most + 1)
    independent = -np.expm1(number * np.log1p(-chance.mean))
    varying = independent
    if chance.a is not None and chance.b is not None:
        varying = any_positive(chance.a, chance.b, number)
    return tuple(
        ModelPoint(int(cores), float(same), float(differs))
        for cores, same, differs in zip(number, independent, varying, strict=True)
    )


def _mass_flow(found: pl.DataFrame) -> Flow:
    """The steps shared with the cores; then those whose cores are in order, and those without a mass."""
    counts = dict(found.group_by("mass_excluded_because").len().rows())
    shared = [one.name for one in reasons(NAME) if one.name not in _ORDER_ONLY]
    remaining = found.height
    steps = [("procedures", 0, remaining)]
    for reason in (*shared, "cores in order", "mass not recorded"):
        remaining -= counts.get(reason, 0)
        steps.append((reason, counts.get(reason, 0), remaining))
    return tuple(steps)
