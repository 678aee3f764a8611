"""One proportion in two periods, or between groups: difference, ratio, tests, trend."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from registry.errors import UsageProblem
from registry.measures import NOT_RECORDED, WORTH_SAYING, evaluate, patients
from registry.measures.clusters import widening
from registry.monitoring.comparison_words import sentences
from registry.monitoring.watched import apart, known
from registry.people import Action, require
from registry.stats.clustering import GroupTest, rao_scott_test
from registry.stats.comparison import (
    Difference,
    GroupComparison,
    Ratio,
    homogeneity_test,
    koopman_ratio,
    miettinen_nurminen_difference,
    miettinen_nurminen_ratio,
    newcombe_difference,
    trend_test,
)
from registry.stats.planning import trials_to_detect, two_group_trials
from registry.stats.score_test import score_test

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from datetime import date

    from registry.measures import Measure, ProportionResult
    from registry.measures.counting import Clusters, Reader

POWER = 0.8
Period = tuple["date", "date"]
_NOBODY: Clusters = ([], [], [])


@dataclass(frozen=True)
class Needed:
    """Procedures that tell two rates apart with power 80 %: in each of two groups, or against a known rate.

    ``assumed`` says that the two rates seen are the same, so that a doubling is planned for.
    """

    first: float
    second: float
    per_group: int
    against_known: int | None
    assumed: bool


@dataclass(frozen=True)
class Pair:
    """Two groups: second minus first, second over first, and the test that agrees with both.

    ``difference`` and ``ratio`` are Miettinen-Nurminen, with which ``p`` agrees;
    ``newcombe`` and ``koopman`` stand beside them. ``wider`` is by how much the interval of
    each group widens when procedures of a patient are held together.
    """

    first: ProportionResult
    second: ProportionResult
    names: tuple[str, str]
    difference: Difference
    newcombe: Difference
    ratio: Ratio
    koopman: Ratio
    p: float | None
    needed: Needed | None
    wider: tuple[float | None, float | None]

    @property
    def is_clustered(self) -> bool:
        """Whether procedures of one patient are alike enough to say so."""
        return any(one is not None and one > WORTH_SAYING for one in self.wider)


@dataclass(frozen=True)
class Comparison:
    """One measure compared: the groups, the chosen pair, and tests over all groups and quarters.

    ``by_patient`` asks the same of the groups with procedures of one patient held together
    within each group; a patient with procedures in two groups counts in both.
    """

    measure: Measure
    what: str
    groups: tuple[ProportionResult, ...]
    names: tuple[str, ...]
    pair: Pair | None
    same: GroupComparison | None
    by_patient: GroupTest
    quarters: tuple[ProportionResult, ...]
    trend: GroupComparison
    minimum: int
    confidence: float
    as_of: date
    registry: str

    @property
    def is_shown(self) -> bool:
        """Whether both groups of the pair have enough procedures for rates."""
        pair = self.pair
        return pair is not None and min(pair.first.denominator, pair.second.denominator) >= self.minimum

    @property
    def sentences(self) -> tuple[str, ...]:
        """What it means, in plain words."""
        return sentences(self)

    def to_dict(self) -> dict[str, Any]:
        """JSON-able: groups, intervals, tests, sentences."""
        pair = self.pair
        shown = pair and {
            "first": pair.names[0],
            "second": pair.names[1],
            "p": pair.p,
            **{
                name: {
                    "estimate": one.diff if isinstance(one, Difference) else one.ratio,
                    "lower": one.ci[0],
                    "upper": one.ci[1],
                    "method": one.method,
                }
                for name, one in (
                    ("difference", pair.difference),
                    ("difference_newcombe", pair.newcombe),
                    ("ratio", pair.ratio),
                    ("ratio_koopman", pair.koopman),
                )
            },
            "needed": pair.needed and vars(pair.needed),
            "width_by_patient": list(pair.wider),
        }
        return {
            "measure": self.measure.id,
            "compared": self.what,
            "confidence": self.confidence,
            "as_of": self.as_of.isoformat(),
            "registry": self.registry,
            "rows": [
                {**one.to_dict(), "group": name} for one, name in zip(self.groups, self.names, strict=True)
            ],
            "pair": shown,
            "same": self.same and vars(self.same),
            "same_by_patient": vars(self.by_patient),
            "trend": vars(self.trend),
            "quarters": [one.to_dict() for one in self.quarters],
            "sentences": list(self.sentences),
        }


def compare_periods(
    registry: Reader,
    measure_id: str,
    first: Period,
    second: Period,
    *,
    as_of: date,
    within: Mapping[str, str] | None = None,
    interval: str = "wilson",
    confidence: float = 0.95,
    minimum: int = 10,
) -> Comparison:
    """A proportion in two periods; the difference is the second less the first.

    Parameters
    ----------
    registry
        An open registry.
    measure_id
        A measure of the kind proportion.
    first, second
        First and last day of each period, both included; they must not overlap.
    as_of
        Nothing dated after this day counts.
    within
        Stratum -> the one value that is kept.
    interval, confidence
        Of each group's own rate, see :func:`registry.measures.evaluate`; the confidence
        holds for difference and ratio too.
    minimum
        Below so many procedures in a group there are counts only.

    Raises
    ------
    UsageProblem
        No such measure, one that is no proportion, or periods that overlap or end before
        they begin.
    """
    require(Action.FIGURES, registry)
    measure = known(measure_id, "proportion")
    apart(first, second)
    found: list[Any] = []
    wider = []
    clusters = []
    for start, end in (first, second):
        asked = {"as_of": as_of, "start": start, "end": end, "within": within, "confidence": confidence}
        found += evaluate(registry, [measure_id], interval=interval, **asked)  # type: ignore[arg-type]
        held = patients(registry, [measure_id], as_of=as_of, start=start, end=end, within=within)
        clusters.append(next(iter(held.values()), _NOBODY))
        wider.append(widening(clusters[-1], confidence) if held else None)
    names = (f"{first[0]} to {first[1]}", f"{second[0]} to {second[1]}")
    span = (min(first[0], second[0]), max(first[1], second[1]))
    return _made(
        registry,
        measure,
        "two periods",
        found,
        names,
        _pair(found, names, (wider[0], wider[1]), confidence, minimum),
        None,
        clusters,
        as_of,
        span,
        within,
        confidence,
        minimum,
    )


def compare_groups(
    registry: Reader,
    measure_id: str,
    by: str,
    *,
    as_of: date,
    start: date | None = None,
    end: date | None = None,
    pair: tuple[str, str] | None = None,
    interval: str = "wilson",
    confidence: float = 0.95,
    minimum: int = 10,
) -> Comparison:
    """A proportion between the values of a stratum, all together and two of them.

    Parameters
    ----------
    registry, measure_id, as_of, interval, confidence, minimum
        As :func:`compare_periods`.
    by
        One of :data:`registry.measures.STRATA`.
    start, end
        First and last day on which a procedure started, both included.
    pair
        The two values of which difference and ratio are given; where there are just two,
        these.

    Raises
    ------
    UsageProblem
        As :func:`compare_periods`; no such stratum, or a value that no procedure has.
    """
    require(Action.FIGURES, registry)
    measure = known(measure_id, "proportion")
    asked = {"as_of": as_of, "start": start, "end": end, "by": by, "confidence": confidence}
    found: list[Any] = evaluate(registry, [measure_id], interval=interval, **asked)  # type: ignore[arg-type]
    names = tuple(one.stratum for one in found)
    stated = [name for name in names if name != NOT_RECORDED]
    if pair is None and len(stated) == 2:
        pair = (stated[0], stated[1])
    held = patients(registry, [measure_id], as_of=as_of, start=start, end=end, by=by)
    made = None
    if pair is not None:
        for one in pair:
            if one not in names:
                raise UsageProblem(f"{one}: no procedure has this {by}. Known: {', '.join(names) or 'none'}.")
        if pair[0] == pair[1]:
            raise UsageProblem(f"{pair[0]}: is named twice. Name two different groups.")
        chosen = [next(one for one in found if one.stratum == name) for name in pair]
        wider = [
            widening(held[measure_id, name], confidence) if (measure_id, name) in held else None
            for name in pair
        ]
        made = _pair(chosen, pair, (wider[0], wider[1]), confidence, minimum)
    same = homogeneity_test([one.numerator for one in found], [one.denominator for one in found])
    return _made(
        registry,
        measure,
        by,
        found,
        names,
        made,
        same,
        list(held.values()),
        as_of,
        (start, end),
        None,
        confidence,
        minimum,
    )


def _made(
    registry: Reader,
    measure: Measure,
    what: str,
    groups: Sequence[ProportionResult],
    names: Sequence[str],
    pair: Pair | None,
    same: GroupComparison | None,
    clusters: Sequence[Clusters],
    as_of: date,
    span: tuple[date | None, date | None],
    within: Mapping[str, str] | None,
    confidence: float,
    minimum: int,
) -> Comparison:
    quarters: list[Any] = evaluate(
        registry, [measure.id], as_of=as_of, start=span[0], end=span[1], by="quarter", within=within
    )
    with_some = [one for one in quarters if one.denominator]
    # an empty quarter has no rate, but it keeps its place on the axis of the trend
    trend = trend_test(
        [one.numerator for one in with_some],
        [one.denominator for one in with_some],
        [4 * int(one.stratum[:4]) + int(one.stratum[-1]) for one in with_some],
    )
    return Comparison(
        measure,
        what,
        tuple(groups),
        tuple(names),
        pair,
        same,
        _by_patient(clusters),
        tuple(with_some),
        trend,
        minimum,
        confidence,
        as_of,
        registry.stamp(),
    )


def _by_patient(clusters: Sequence[Clusters]) -> GroupTest:
    """Whether the groups differ, each with the design effect of its own patients."""
    parts = [[np.repeat(one[place], one[2]) for one in clusters] for place in (0, 1)]
    labels = np.repeat(np.arange(len(clusters)), [len(one) for one in parts[0]])
    y, n = (np.concatenate([*part, np.empty(0)]) for part in parts)
    return rao_scott_test(labels, y, n)


def _pair(
    found: Sequence[ProportionResult],
    names: tuple[str, str],
    wider: tuple[float | None, float | None],
    confidence: float,
    minimum: int,
) -> Pair:
    first, second = found
    counts = (second.numerator, second.denominator, first.numerator, first.denominator)
    return Pair(
        first,
        second,
        names,
        miettinen_nurminen_difference(*counts, confidence),
        newcombe_difference(*counts, confidence),
        miettinen_nurminen_ratio(*counts, confidence),
        koopman_ratio(*counts, confidence),
        score_test(*counts),
        _needed(first, second) if min(first.denominator, second.denominator) >= minimum else None,
        wider,
    )


def _needed(first: ProportionResult, second: ProportionResult) -> Needed | None:
    """Procedures that would tell the two rates seen apart; where they are the same, one from its double."""
    p1, p2 = (one.numerator / one.denominator for one in (first, second))
    assumed = p1 == p2 or 0.0 in (p1, p2)
    if assumed:
        p1 = max(p1, p2)
        p2 = 2.0 * p1
    if not (0.0 < p1 < 1.0 and 0.0 < p2 < 1.0):
        return None
    try:
        low, high = sorted((p1, p2))
        against: int | None = trials_to_detect(low, high, POWER).n
    except ValueError:
        against = None
    return Needed(p1, p2, two_group_trials(p1, p2, POWER).per_group, against, assumed)
