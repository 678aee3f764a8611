"""Two judgements of the same procedures: does the share of discordant differ, and by how much (0041)?"""

from __future__ import annotations

from dataclasses import dataclass

from registry.stats.paired import mcnemar, newcombe_paired_difference, tango_difference

Limits = tuple[float | None, float | None]


@dataclass(frozen=True)
class Change:
    """Share that the second judged discordant less that of the first, on the same procedures.

    ``ci`` is the score interval (Tango), ``ci_newcombe`` stands beside it; ``p`` is the mid-P
    value that both shares are one, over the ``changed`` procedures judged differently. All
    None without procedures judged by both.
    """

    difference: float | None
    ci: Limits
    ci_newcombe: Limits
    p: float | None
    changed: int


def change(both: int, first_only: int, second_only: int, neither: int, confidence: float) -> Change:
    """The counts of a pair as a difference of two shares.

    Parameters
    ----------
    both, first_only, second_only, neither
        Procedures judged discordant by both, the first alone, the second alone, neither.
    confidence
        Two-sided.

    Sources
    -------
    Tango 1998; Newcombe 1998; McNemar 1947 in mid-P form: see :mod:`registry.stats.paired`.
    """
    # the first of the pair is the later judgement, so that the difference is second less first
    counts = both, second_only, first_only, neither
    found = tango_difference(*counts, confidence)
    test = mcnemar([[both, first_only], [second_only, neither]])
    return Change(
        found.diff,
        found.ci,
        newcombe_paired_difference(*counts, confidence).ci,
        test.p if test.n else None,
        test.b + test.c,
    )
