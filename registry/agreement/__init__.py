"""Audit of the meeting: do those who decide agree, and did they decide before flags were shown?"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from datetime import date
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

import polars as pl

from registry import facts, flagrules, store
from registry.agreement.change import Change, change
from registry.agreement.several import Several, several
from registry.concordance.flags import proposed
from registry.errors import UsageProblem
from registry.people import Action, require
from registry.sqlfiles import queries
from registry.stats.agreement import TwoReaders, two_reader_summary
from registry.stats.proportions import wilson_interval

if TYPE_CHECKING:
    from collections.abc import Mapping

    from registry.store import Registry

__all__ = ["PAIRS", "Agreement", "Audit", "Change", "OwnViewFirst", "Several", "agreement"]

DISCORDANT = "discordant"
#: Pair -> words for the two who judge; yes is "discordant", for flags that a rule speaks.
PAIRS: Mapping[str, tuple[str, str, str]] = MappingProxyType(
    {
        "stages": ("Provisional and joint decision", "provisional discordant", "joint discordant"),
        "readings": ("Two readings by different radiologists", "first discordant", "second discordant"),
        "flags": ("Flags and joint decision", "a rule speaks", "joint discordant"),
    }
)
#: Flags of these kinds speak of the decision; the others of the record or of the next step.
_OF_THE_DECISION = frozenset({"explanation", "sampling"})


@dataclass(frozen=True)
class Agreement:
    """One pair over the procedures that both judged: the four counts and what they say.

    ``both`` said yes together, ``first_only`` and ``second_only`` apart, ``neither`` both no.
    ``po`` raw agreement, ``p_pos`` and ``p_neg`` agreement on yes and on no, kappa and AC1 with
    their limits; None where it cannot be said, and ``reason`` why. ``change`` is by how much the
    shares of discordant differ. ``unpaired`` procedures were judged by one of the two only.
    """

    pair: str
    words: str
    first: str
    second: str
    n: int
    unpaired: int
    both: int
    first_only: int
    second_only: int
    neither: int
    po: float | None
    p_pos: float | None
    p_neg: float | None
    kappa: float | None
    kappa_ci: tuple[float | None, float | None]
    ac1: float | None
    ac1_ci: tuple[float | None, float | None]
    change: Change
    reason: str


@dataclass(frozen=True)
class OwnViewFirst:
    """First conclusive joint reviews of which the determination came before flags: x of n, Wilson limits."""

    x: int
    n: int
    not_recorded: int
    share: float | None
    lower: float | None
    upper: float | None


@dataclass(frozen=True)
class Audit:
    """All pairs, readings by three or more, and how many decided before flags were shown."""

    pairs: tuple[Agreement, ...]
    several: Several
    own_view_first: OwnViewFirst

    def to_dict(self) -> dict[str, Any]:
        """JSON-able."""
        return asdict(self)


def agreement(
    registry: Registry,
    *,
    as_of: date,
    start: date | None = None,
    end: date | None = None,
    confidence: float = 0.95,
) -> Audit:
    """Agreement of those who decide, over the procedures of a period.

    Flags are those that the rules in force propose on the record as it stands.

    Parameters
    ----------
    registry
        An open registry.
    as_of
        Nothing dated after this day counts.
    start, end
        First and last day on which a procedure started, both included.
    confidence
        Two-sided.

    Raises
    ------
    UsageProblem
        A period that ends before it begins.
    """
    require(Action.PROCEDURES, registry)
    if start and end and start > end:
        raise UsageProblem(
            f"The period runs from {start} to {end}: the first day is after the last. Swap them."
        )
    given = {"as_of": as_of, "start": start or date.min, "end": min(end or as_of, as_of)}
    with facts.at(registry, as_of) as cursor:
        rows = store.frame(cursor, queries("agreement")["reviews"].sql, given)
        read = store.frame(cursor, queries("agreement")["readings"].sql, given)
    decided = rows.filter(pl.col("joint").is_not_null())
    judged = {
        "stages": (rows["provisional"], rows["joint"]),
        "readings": (rows["first_reading"], rows["second_reading"]),
        "flags": (_spoken(registry, decided["procedure_id"].to_list(), as_of), decided["joint"]),
    }
    pairs = tuple(_pair(name, *columns, confidence) for name, columns in judged.items())
    return Audit(pairs, several(read, confidence), _own_view_first(decided["own_view_first"], confidence))


def _spoken(registry: Registry, ids: list[str], as_of: date) -> pl.Series:
    """discordant where a rule on explanation or sampling speaks, else concordant."""
    kinds = flagrules.shipped_rules()
    found = proposed(registry, ids, as_of=as_of)
    speaks = [any(kinds[one.rule].concerns in _OF_THE_DECISION for one in found.get(key, ())) for key in ids]
    return pl.Series([DISCORDANT if one else "concordant" for one in speaks], dtype=pl.String)


def _pair(name: str, first: pl.Series, second: pl.Series, confidence: float) -> Agreement:
    pairs = pl.DataFrame({"a": first, "b": second})
    both_judged = pairs.drop_nulls()
    yes = both_judged.select(pl.col("a") == DISCORDANT, pl.col("b") == DISCORDANT)
    counts = [
        [yes.filter(pl.col("a") == one, pl.col("b") == other).height for other in (True, False)]
        for one in (True, False)
    ]
    found: TwoReaders = two_reader_summary(counts, confidence)
    words, one, other = PAIRS[name]
    return Agreement(
        pair=name,
        words=words,
        first=one,
        second=other,
        n=both_judged.height,
        unpaired=pairs.filter(pl.col("a").is_null() != pl.col("b").is_null()).height,
        both=found.both,
        first_only=found.first_only,
        second_only=found.second_only,
        neither=found.neither,
        po=found.po,
        p_pos=found.p_pos,
        p_neg=found.p_neg,
        kappa=found.kappa,
        kappa_ci=found.kappa_ci,
        ac1=found.ac1,
        ac1_ci=found.ac1_ci,
        change=change(found.both, found.first_only, found.second_only, found.neither, confidence),
        reason=found.reason,
    )


def _own_view_first(said: pl.Series, confidence: float) -> OwnViewFirst:
    known = said.drop_nulls()
    x, n = int((known == "yes").sum()), len(known)
    if not n:
        return OwnViewFirst(0, 0, len(said), None, None, None)
    low, high = wilson_interval(x, n, confidence)
    return OwnViewFirst(x, n, len(said) - n, x / n, float(low), float(high))
