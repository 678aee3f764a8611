"""How many procedures a question about a measure needs, and how long the site takes to do them.

The sizes come from ``registry.stats.planning``; here they are put to one measure of one
registry: its observed rate, and how many procedures a month enter its denominator.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from registry.errors import UsageProblem
from registry.measures import ProportionResult, evaluate, load_measures
from registry.people import Action, require
from registry.planning.volume import Volume, volume_of
from registry.planning.words import paragraphs, percent
from registry.stats.planning import (
    DetectionPower,
    DetectionSize,
    GroupSize,
    SampleSize,
    half_width_at,
    power_at,
    rule_of_three,
    trials_for_half_width,
    trials_to_detect,
    two_group_trials,
)

if TYPE_CHECKING:
    from datetime import date

    from registry.measures import Measure
    from registry.measures.counting import Reader

ALPHA = 0.05
"""Error of the tests: one-sided for a rise, two-sided for two groups."""


@dataclass(frozen=True)
class Need:
    """One answer: what is asked, and how many procedures and months it takes.

    ``procedures`` is None, with a ``note``, where no number answers it; ``months`` where
    the pace is not known.
    """

    question: str
    procedures: int | None
    months: int | None
    note: str = ""


@dataclass(frozen=True)
class Plan:
    """How many procedures until a rate is known, or a rise is seen, for one measure.

    ``rate`` is the share that is watched: where more is better (``watches_rest``) it is
    the share that does not count. ``seen`` is the result the rate was taken from, None
    where it was given. ``one_year`` is what the volume of one year shows, None without a
    volume.
    """

    measure: str
    title: str
    window: str
    rate: float
    watches_rest: bool
    seen: ProportionResult | None
    half_width: float
    factor: float
    power: float
    confidence: float
    volume: Volume
    width: SampleSize
    width_wald: SampleSize
    rise: DetectionSize | None
    groups: GroupSize | None
    no_rise: str
    one_year: DetectionPower | None
    one_year_half_width: float | None
    one_year_no_event: float | None
    as_of: date
    registry: str

    @property
    def raised(self) -> float:
        """The rate after the rise."""
        return self.rate * self.factor

    @property
    def needs(self) -> tuple[Need, ...]:
        """The answers as rows: question, procedures, months."""
        months = self.volume.months_for
        points = f"{100 * self.half_width:.3g}"
        width = f"Rate known to ± {points} points ({percent(self.confidence)} interval"
        rise = f"Rise from {percent(self.rate)} to {percent(self.raised)}"
        rows = [
            Need(f"{width}, Wilson)", self.width.n, months(self.width.n)),
            Need(f"{width}, textbook formula)", self.width_wald.n, months(self.width_wald.n)),
        ]
        if self.rise is None or self.groups is None:
            return (*rows, Need(rise, None, None, self.no_rise))
        power = f"power {percent(self.power)}"
        both = 2 * self.groups.per_group
        rise_note = f"shown from {self.rise.critical} events on"
        return (
            *rows,
            Need(f"{rise}, {power} reached for the first time", self.rise.n, months(self.rise.n), rise_note),
            Need(
                f"{rise}, {power} kept from there on",
                self.rise.n_stays,
                months(self.rise.n_stays),
                "power is saw-toothed: it falls again between the two numbers",
            ),
            Need(
                f"Two groups, {percent(self.rate)} against {percent(self.raised)}, {power}",
                both,
                months(both),
                f"{self.groups.per_group} in each group",
            ),
        )

    @property
    def paragraphs(self) -> tuple[tuple[str, ...], ...]:
        """What is planned for, the answers, what one year shows, the assumptions: sentences of each."""
        return paragraphs(self)

    @property
    def sentences(self) -> tuple[str, ...]:
        """All of them in one row."""
        return tuple(one for part in self.paragraphs for one in part)

    def to_dict(self) -> dict[str, Any]:
        """JSON-able: inputs, volume, answers and sentences."""
        volume = self.volume
        shown = (
            "measure rate watches_rest half_width factor power confidence "
            "one_year_half_width one_year_no_event registry"
        )
        return {
            **{name: getattr(self, name) for name in shown.split()},
            "as_of": self.as_of.isoformat(),
            "observed": self.seen and self.seen.to_dict(),
            "volume": {
                "procedures": volume.procedures,
                "months": volume.months,
                "per_month": volume.per_month,
                "from": volume.start and volume.start.isoformat(),
                "to": volume.end and volume.end.isoformat(),
            },
            "one_year_power": self.one_year and self.one_year.power,
            "one_year_shows": self.one_year and self.one_year.shown,
            "needs": [vars(one) for one in self.needs],
            "sentences": list(self.sentences),
        }


def plan(
    registry: Reader,
    measure_id: str,
    *,
    as_of: date,
    start: date | None = None,
    end: date | None = None,
    half_width: float = 0.02,
    factor: float = 2.0,
    rate: float | None = None,
    power: float = 0.8,
    confidence: float = 0.95,
    minimum: int = 10,
) -> Plan:
    """How many procedures, and months, until a rate is known or a rise is seen.

    Parameters
    ----------
    registry
        An open registry.
    measure_id
        A measure of the kind proportion.
    as_of
        Nothing dated after this day counts; the volume is that of the last twelve
        complete months up to it, or up to the day from which windows are unfinished.
    start, end
        Bound the procedures from which the rate is taken, both days included; they do
        not bound the volume.
    half_width
        Half the width of the interval, a proportion above 0 and below 0.5.
    factor
        Rise of the rate that should be seen, above 1.
    rate
        Rate to plan for, between 0 and 1 exclusive, in place of the observed one.
    power
        Probability of seeing the rise, between 0 and 1 exclusive.
    confidence
        Two-sided confidence of the interval.
    minimum
        Smallest denominator from which a rate is taken.

    Raises
    ------
    UsageProblem
        No such measure, one that is no proportion, a number out of range, or no rate to
        plan for: too few procedures, none that counted, or all of them.
    """
    require(Action.FIGURES, registry)
    measure = _proportion(measure_id)
    _check(half_width, factor, rate, power, confidence)
    # Where more is better a doubling of the rate is no question; one of what falls short is.
    watches_rest = measure.direction == "higher"
    seen = None
    if rate is None:
        seen = _seen(registry, measure_id, as_of, start, end, confidence)
        rate = _observed(seen, minimum)
    watched = 1.0 - rate if watches_rest else rate
    pace = volume_of(registry, measure_id, as_of)
    rise, groups, no_rise = _rise(watched, factor, power)
    year = pace.per_year
    return Plan(
        measure=measure_id,
        title=measure.title,
        window=measure.window,
        rate=watched,
        watches_rest=watches_rest,
        seen=seen,
        half_width=half_width,
        factor=factor,
        power=power,
        confidence=confidence,
        volume=pace,
        width=trials_for_half_width(watched, half_width, confidence, "wilson"),
        width_wald=trials_for_half_width(watched, half_width, confidence, "wald"),
        rise=rise,
        groups=groups,
        no_rise=no_rise,
        one_year=power_at(year, watched, watched * factor, power, ALPHA) if watched * factor < 1 else None,
        one_year_half_width=half_width_at(watched, year, confidence),
        one_year_no_event=rule_of_three(year).exact,
        as_of=as_of,
        registry=registry.stamp(),
    )


def _proportion(measure_id: str) -> Measure:
    measure = load_measures().get(measure_id)
    if measure is None:
        raise UsageProblem(f"{measure_id}: there is no such measure. See: biopsy-outcomes measures")
    if measure.kind != "proportion":
        raise UsageProblem(
            f"{measure_id}: is no proportion; only the rate of a proportion can be planned for."
        )
    return measure


def _check(half_width: float, factor: float, rate: float | None, power: float, confidence: float) -> None:
    """Refuse what cannot be answered, with what to write instead."""
    if not 0.0 < half_width < 0.5:
        raise UsageProblem(
            f"Half width {half_width:g} does not lie between 0 and 0.5. Write two percentage points as 0.02."
        )
    if not factor > 1.0:
        raise UsageProblem(f"Factor {factor:g} is no rise. Write a doubling as 2.")
    if rate is not None and not 0.0 < rate < 1.0:
        raise UsageProblem(f"Rate {rate:g} does not lie between 0 and 1. Write 2 % as 0.02.")
    for name, value in (("Power", power), ("Confidence", confidence)):
        if not 0.0 < value < 1.0:
            raise UsageProblem(f"{name} {value:g} does not lie between 0 and 1. Write 80 % as 0.8.")


def _seen(
    registry: Reader, measure_id: str, as_of: date, start: date | None, end: date | None, confidence: float
) -> ProportionResult:
    (found,) = evaluate(registry, [measure_id], as_of=as_of, start=start, end=end, confidence=confidence)
    assert isinstance(found, ProportionResult)
    return found


def _observed(seen: ProportionResult, minimum: int) -> float:
    """The observed rate, where one may be taken."""
    x, n = seen.numerator, seen.denominator
    if n < minimum:
        why = f"{x} of {n} procedures are too few to take a rate from" if n else "There are no procedures yet"
    elif x == 0:
        why = f"None of {n} procedures counted, and a rate of 0 needs no number to be known"
    elif x == n:
        why = f"All of {n} procedures counted, and a rate of 1 needs no number to be known"
    else:
        return x / n
    raise UsageProblem(f"{seen.measure}: {why}. Give the rate to plan for (--rate 0.02 means 2 %).")


def _rise(rate: float, factor: float, power: float) -> tuple[DetectionSize | None, GroupSize | None, str]:
    if rate * factor >= 1.0:
        return None, None, f"{percent(rate)} times {factor:g} is 100 % or more; choose a smaller factor"
    try:
        found = trials_to_detect(rate, rate * factor, power, ALPHA)
    except ValueError as problem:
        return None, None, str(problem)
    return found, two_group_trials(rate, rate * factor, power, ALPHA), ""
