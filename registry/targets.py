"""Targets and published figures as data, and which of them may be drawn.

``sql/targets.csv`` holds each with its wording, source, edition and population. A line is
drawn only where the document itself was read, the population is that of the measure and
the service has switched it on in site.toml. Nothing recalled from memory stands in the
file.
"""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass
from functools import cache
from math import isnan
from types import MappingProxyType
from typing import TYPE_CHECKING

from registry.sqlfiles import read_text

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping

SEEN, SECOND_HAND = "SEEN", "SECOND-HAND"
#: Kinds that set a mark; the others are what somebody saw, or a rule without a figure.
SETS_A_MARK = frozenset({"minimum", "preferred", "range"})
KINDS = (*sorted(SETS_A_MARK), "observed", "context")
#: Whether the population is that of the measure: it is, the service says so, or it is another.
MATCHES = ("yes", "site", "no")


@dataclass(frozen=True)
class Target:
    """One target or published figure.

    ``measure`` is empty where no measure of the registry counts the same. ``low`` and
    ``high`` are proportions, the ends of what is called acceptable, None where there is
    no such end; ``shown`` is the figure as text. ``match`` says whether its population is
    that of the measure: yes, site (the service states it by switching the target on) or
    no, with ``match_note``. ``status`` is SEEN or SECOND-HAND.
    """

    id: str
    measure: str
    wording: str
    shown: str
    low: float | None
    high: float | None
    kind: str
    body: str
    document: str
    edition: str
    place: str
    status: str
    population: str
    match: str
    match_note: str
    note: str

    @property
    def source(self) -> str:
        """Body, document, edition and place in it."""
        return f"{self.body}: {self.document} ({self.edition}), {self.place}"

    @property
    def refusal(self) -> str:
        """Why no service can switch it on; empty where one can."""
        if self.kind not in SETS_A_MARK:
            return (
                "it is a published observation: context, no pass mark"
                if self.kind == "observed"
                else "it states no figure that could be a mark"
            )
        if self.status != SEEN:
            return "it is known only as another source quotes it; the document itself was not read"
        if not self.measure:
            return "no measure of the registry counts the same"
        if self.match == "no":
            return f"its population or its count is another: {self.match_note}"
        if self.low is None and self.high is None:
            return "it states no figure on the axis of the measure"
        return ""

    def why(self, on: Collection[str]) -> str:
        """Whether its line is drawn in a service that has switched some on, and why.

        Parameters
        ----------
        on
            Ids that the service has switched on.
        """
        if self.refusal:
            return f"Not drawn: {self.refusal}."
        if self.id not in on:
            return f"Not drawn: the service has not switched it on (site.toml, [targets], {self.id})."
        if self.match == "site":
            return f"Drawn: the service has switched it on, and thereby states that its procedures are of this population ({self.match_note})."
        return "Drawn: the service has switched it on."


@cache
def targets() -> Mapping[str, Target]:
    """Every target by its id, in the order of the file.

    Raises
    ------
    ValueError
        The file names a kind, status or match that does not exist, or an id twice.
    """
    found: dict[str, Target] = {}
    for row in csv.DictReader(io.StringIO(read_text("targets.csv"))):
        low, high = (float(row.pop(end) or "nan") for end in ("low", "high"))
        one = Target(low=None if isnan(low) else low, high=None if isnan(high) else high, **row)
        if one.kind not in KINDS or one.status not in (SEEN, SECOND_HAND) or one.match not in MATCHES:
            raise ValueError(f"targets.csv, {one.id}: kind, status or match is not known")
        if one.id in found:
            raise ValueError(f"targets.csv, {one.id}: stands there twice")
        found[one.id] = one
    return MappingProxyType(found)


def drawn(measure: str, on: Collection[str]) -> tuple[Target, ...]:
    """Targets of a measure that are drawn in a service that has switched some on.

    Parameters
    ----------
    measure
        Id of a measure.
    on
        Ids that the service has switched on.
    """
    return tuple(
        one for one in targets().values() if one.measure == measure and one.id in on and not one.refusal
    )
