"""Procedures that three radiologists or more read, each without a meeting: do they agree as a group?"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from registry.stats.agreement import fleiss_kappa, gwet_ac_multi

if TYPE_CHECKING:
    import polars as pl

THREE = 3
"""Fewest readers; two have their own table."""


@dataclass(frozen=True)
class Several:
    """Readings of ``n`` procedures by ``fewest`` to ``most`` radiologists each.

    ``discordant`` of all ``readings`` said discordant; ``unanimous`` procedures had one
    answer. ``po`` is the chance that two of the readers of a procedure agree. AC1 holds for
    any number of readers, Fleiss' kappa only where it is the same for every procedure. None,
    with a reason, where they cannot be said.
    """

    n: int
    fewest: int
    most: int
    readings: int
    discordant: int
    unanimous: int
    po: float | None
    ac1: float | None
    ac1_ci: tuple[float | None, float | None]
    kappa: float | None
    p: float | None
    reason: str


def several(rows: pl.DataFrame, confidence: float) -> Several:
    """Agreement of three readers or more.

    Parameters
    ----------
    rows
        procedure_id, readers, discordant, concordant; those with fewer than three readers
        do not count.
    confidence
        Two-sided.

    Sources
    -------
    Gwet 2008 and Fleiss 1971: see :mod:`registry.stats.agreement`.
    """
    read = rows.filter(rows["readers"] >= THREE)
    counts = read.select("discordant", "concordant").to_numpy()
    if not read.height:
        return Several(0, 0, 0, 0, 0, 0, None, None, (None, None), None, None, "")
    readers = counts.sum(axis=1)
    found = gwet_ac_multi(counts, confidence=confidence)
    kappa = p = None
    reason = found.reason
    if readers.min() == readers.max():
        same = fleiss_kappa(counts)
        kappa, p, reason = same.kappa, same.p, reason or same.reason
    else:
        reason = reason or "the number of readers differs from procedure to procedure: AC1 only, no kappa"
    return Several(
        n=read.height,
        fewest=int(readers.min()),
        most=int(readers.max()),
        readings=int(readers.sum()),
        discordant=int(counts[:, 0].sum()),
        unanimous=int((counts.max(axis=1) == readers).sum()),
        po=found.po,
        ac1=found.ac1,
        ac1_ci=found.ci,
        kappa=kappa,
        p=p,
        reason=reason,
    )
