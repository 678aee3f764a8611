"""Cancer after a benign result in two periods or between groups: by time at risk, and as curves (0042)."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from registry.measures import counting
from registry.measures.definition import chosen
from registry.measures.strata import NOT_RECORDED, Question, in_order
from registry.measures.whose import permitted
from registry.monitoring.comparison_words import p_value
from registry.monitoring.watched import apart
from registry.numerals import grouped
from registry.stats.rates import exact_rate_interval, rate_ratio
from registry.stats.time_to_event import logrank

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date

    from registry.measures.counting import Reader
    from registry.stats.rates import RateRatio
    from registry.stats.time_to_event import LogrankTest

MEASURE = "cancer_after_benign"
YEAR = 365.25
PER = 1000
"""Years of follow-up to which rates are given."""
Period = tuple["date", "date"]


@dataclass(frozen=True)
class Followed:
    """Procedures with a benign result in one group, followed for ``years`` together.

    ``rate`` is that of cancers in 1,000 years with exact limits, without a cancer with a
    one-sided upper limit at the same confidence; None without follow-up.
    ``unfollowed`` procedures have no day of follow-up and count in no rate; ``deaths`` end it.
    """

    name: str
    procedures: int
    unfollowed: int
    cancers: int
    deaths: int
    years: float
    rate: float | None
    lower: float | None
    upper: float | None


@dataclass(frozen=True)
class LaterCancer:
    """Groups followed, the ratio of the rates of two of them, and one test over all curves.

    ``ratio`` is the second group over the first, exact given the number of cancers; None with
    more or fewer than two chosen groups or no follow-up in one. ``curves`` is the log-rank test.
    """

    groups: tuple[Followed, ...]
    pair: tuple[str, str] | None
    ratio: RateRatio | None
    curves: LogrankTest
    minimum: int
    confidence: float
    as_of: date
    registry: str

    @property
    def sentences(self) -> tuple[str, ...]:
        """What the follow-up shows, in plain words."""
        if not any(one.procedures for one in self.groups):
            return ("No procedures with a benign result.",)
        level = f"{100 * self.confidence:g} % interval"
        said = [_counts(one, self.minimum, level) for one in self.groups]
        said += [_ratio(self, level), _curves(self)]
        said.append(
            "Years count from the biopsy to cancer, death, or the last day on which the target is known to be clear; women come back when something "
            "is found, so the rates are usually too high. Deaths end the follow-up of the test too; several procedures of a patient count as independent."
        )
        return tuple(one for one in said if one)

    def to_dict(self) -> dict[str, Any]:
        """JSON-able."""
        return {**asdict(self), "as_of": self.as_of.isoformat(), "sentences": list(self.sentences)}


def later_cancer_in_periods(
    registry: Reader,
    first: Period,
    second: Period,
    *,
    as_of: date,
    confidence: float = 0.95,
    minimum: int = 10,
) -> LaterCancer:
    """Cancer after a benign result of procedures started in two periods.

    Parameters
    ----------
    registry, first, second, as_of, confidence, minimum
        As :func:`registry.monitoring.compare_periods`.

    Raises
    ------
    UsageProblem
        The periods overlap, or one ends before it begins.
    """
    permitted(registry, None, None)
    apart(first, second)
    asked = [(f"{start} to {end}", Question(as_of, start, end)) for start, end in (first, second)]
    found = {name: _followed(registry, question).get("all", _EMPTY) for name, question in asked}
    return _made(registry, found, (asked[0][0], asked[1][0]), as_of, confidence, minimum)


def later_cancer_by_group(
    registry: Reader,
    by: str,
    *,
    as_of: date,
    start: date | None = None,
    end: date | None = None,
    pair: tuple[str, str] | None = None,
    confidence: float = 0.95,
    minimum: int = 10,
) -> LaterCancer:
    """Cancer after a benign result between the values of a stratum.

    Parameters
    ----------
    registry, by, as_of, start, end, pair, confidence, minimum
        As :func:`registry.monitoring.compare_groups`.
    """
    within = permitted(registry, by, None)
    found = _followed(registry, Question(as_of, start, end, by, dict(within or {})))
    found = {name: found[name] for name in sorted(found, key=in_order)}
    stated = [name for name in found if name != NOT_RECORDED]
    if pair is None and len(stated) == 2:
        pair = (stated[0], stated[1])
    return _made(registry, found, pair, as_of, confidence, minimum)


_EMPTY = np.empty((0, 2), dtype=np.int64)


def _followed(registry: Reader, question: Question) -> dict[str, np.ndarray]:
    """Days of follow-up and what ended it, one row a procedure, by stratum."""
    (measure,) = chosen([MEASURE])
    with counting.classified(registry, question) as units:
        rows = units.rows(
            [
                units.select(
                    measure,
                    f"{units.stratum} AS stratum, unit.lost_days, unit.lost_status",
                    tail=f"WHERE {counting.KEPT}",
                )
            ]
        )
    found: dict[str, list[tuple[int, int]]] = {}
    for stratum, days, status in sorted(rows):
        found.setdefault(stratum, []).append((days, status))
    return {name: np.array(values, dtype=np.int64) for name, values in found.items()}


def _made(
    registry: Reader,
    found: dict[str, np.ndarray],
    pair: tuple[str, str] | None,
    as_of: date,
    confidence: float,
    minimum: int,
) -> LaterCancer:
    groups = tuple(_group(name, rows, confidence) for name, rows in found.items())
    known = {one.name: one for one in groups}
    ratio = None
    if pair is not None and all(one in known and known[one].years > 0 for one in pair):
        first, second = (known[one] for one in pair)
        ratio = rate_ratio((second.cancers, first.cancers), (second.years, first.years), confidence)
    together = np.concatenate([_EMPTY, *found.values()])
    names: Sequence[str] = [name for name, rows in found.items() for _ in range(len(rows))]
    curves = logrank(together[:, 0], (together[:, 1] == 1).astype(int), np.array(names, dtype=object))
    return LaterCancer(groups, pair, ratio, curves, minimum, confidence, as_of, registry.stamp())


def _group(name: str, rows: np.ndarray, confidence: float) -> Followed:
    days, status = rows[:, 0], rows[:, 1]
    cancers, years = int((status == 1).sum()), float(days.sum()) / YEAR
    # a two-sided interval of 90 % ends where the one-sided one of 95 % does
    level = confidence if cancers else 2.0 * confidence - 1.0
    lower, upper = exact_rate_interval(cancers, years / PER, level)
    return Followed(
        name,
        len(rows),
        int((days == 0).sum()),
        cancers,
        int((status == 2).sum()),
        years,
        PER * cancers / years if years else None,
        lower,
        upper,
    )


def _counts(one: Followed, minimum: int, level: str) -> str:
    cancers = "1 cancer" if one.cancers == 1 else f"{one.cancers} cancers"
    of = "1 procedure" if one.procedures == 1 else f"{one.procedures} procedures"
    counts = f"{one.name}: {cancers} in {one.years:.0f} years of follow-up of {of}"
    without = f" ({one.unfollowed} of them without a day of it)" if one.unfollowed else ""
    if one.procedures < minimum or one.rate is None or one.lower is None or one.upper is None:
        return f"{counts}{without}: counts only."
    if not one.cancers:
        return f"{counts}{without}: at most {one.upper:.1f} in {grouped(PER)} years ({level.removesuffix(' interval')} one-sided, exact Poisson)."
    return f"{counts}{without}: {one.rate:.1f} in {grouped(PER)} years ({level} {one.lower:.1f} to {one.upper:.1f}, exact Poisson)."


def _ratio(made: LaterCancer, level: str) -> str:
    found = made.ratio
    if made.pair is None or not _enough(made):
        return ""
    if found is None:
        followed = {one.name for one in made.groups if one.years > 0}
        without = " and ".join(one for one in made.pair if one not in followed)
        return f"No ratio of the rates: no benign result of {without} was followed for a day."
    low, high = found.ci
    if found.ratio is None or low is None or high is None or found.p is None:
        return f"No ratio of the rates: {found.reason}."
    first, second = made.pair
    return (
        f"Rate of {second} over that of {first}: {_number(found.ratio)} ({level} {low:.2f} to {_number(high)}, exact given the number of cancers); "
        f"p {p_value(found.p)}."
    )


def _curves(made: LaterCancer) -> str:
    test = made.curves
    if test.p is None or test.chi2 is None:
        return f"No test of the curves: {test.reason}."
    told = (
        "the curves differ by more than chance alone explains"
        if test.p < 1 - made.confidence
        else "no difference of the curves is shown"
    )
    return f"Log-rank test over all {test.df + 1} groups: chi-square {test.chi2:.2f}, p {p_value(test.p)}: {told}."


def _enough(made: LaterCancer) -> bool:
    return all(one.procedures >= made.minimum for one in made.groups if made.pair and one.name in made.pair)


def _number(value: float) -> str:
    return "any number" if np.isinf(value) else f"{value:.2f}"
