"""Why a procedure is not in a denominator: outside the question, too recent, or not on record."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping

OUTSIDE, PENDING, UNKNOWN = "outside the question", "too recent", "not on record"

_PENDING_WORDS = ("window not complete", "fewer than")
_UNKNOWN_ENDS = ("not recorded", "not known", "not stated", "missing")
_UNKNOWN = frozenset(
    {
        "no pathology report",
        "no b category",
        "no conclusive review",
        "not reviewed",
        "latest indeterminate",
        "no later tissue",
        "not excised",
        "not resolved",
        "no targeting record",
        "not verified",
        "not judged",
        "target not re-seen",
        "specimens not imaged",
        "specimens not read",
        "no specimen",
        "any specimen without a mass",
    }
)


def reason_in_words(reason: str) -> str:
    """A reason for leaving out as a reader is told it: the as-of date for ``as_of``, codes as words."""
    return reason.replace("as_of", "the as-of date").replace("_", " ")


def standing_of(reason: str) -> str:
    """Whether a reason for leaving out is of the question, of time, or of the record.

    Parameters
    ----------
    reason
        As the measures name it.

    Returns
    -------
    str
        ``OUTSIDE``, ``PENDING`` (a later as-of date will count it) or ``UNKNOWN`` (lost, or
        nobody wrote it down).
    """
    if any(word in reason for word in _PENDING_WORDS):
        return PENDING
    return UNKNOWN if reason in _UNKNOWN or reason.endswith(_UNKNOWN_ENDS) else OUTSIDE


@dataclass(frozen=True)
class Maturity:
    """How the procedures of a period part: counted, outside the question, too recent, not on record.

    ``lowest`` and ``highest`` are the share if none, and if all, of those not on record had
    been in the denominator and counted; None where nothing is counted or not on record.
    """

    counted: int
    outside: int
    pending: int
    unknown: int
    lowest: float | None
    highest: float | None


def maturity(x: int, n: int, excluded: Mapping[str, int]) -> Maturity:
    """What a figure is about, and how far what is not on record could move it.

    Parameters
    ----------
    x, n
        Numerator and denominator.
    excluded
        Reason -> procedures left out.

    Returns
    -------
    Maturity
        The extremes hold also where only some of those not on record belong to the
        denominator: x / (n + k) falls, and (x + k) / (n + k) rises, with k.
    """
    parts = dict.fromkeys((OUTSIDE, PENDING, UNKNOWN), 0)
    for reason, number in excluded.items():
        parts[standing_of(reason)] += number
    u = parts[UNKNOWN]
    known = bool(n and u)
    return Maturity(
        counted=n,
        outside=parts[OUTSIDE],
        pending=parts[PENDING],
        unknown=u,
        lowest=x / (n + u) if known else None,
        highest=(x + u) / (n + u) if known else None,
    )
