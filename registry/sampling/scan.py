"""The scan of the specimens as a test of having sampled the target, and what remains after a benign result."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from registry.sampling.files import asked
from registry.stats.scan_update import Credible, Share, residual_cancer, share, updated

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from datetime import date

    from registry.measures.counting import Reader
    from registry.sampling.estimate import Band

SAMPLED, NOT_SAMPLED = "sampled", "not sampled"
_ANSWERED = ("yes", "no")


@dataclass(frozen=True)
class Known:
    """What other procedures of the registry tell of the scan.

    ``sensitivity`` is the share with uptake seen among those known to have sampled their
    target, ``false_positive`` the share among those known not to. ``left_out`` counts, by
    reason, the tracer-guided procedures that say nothing.
    """

    sensitivity: Share
    false_positive: Share
    left_out: Mapping[str, int]


@dataclass(frozen=True)
class Scan:
    """The probability of one procedure after its scan, at each band, in the order of the bands."""

    uptake: bool
    after: tuple[Credible, ...]


@dataclass(frozen=True)
class Residual:
    """Probability of cancer after a benign result, at each band.

    ``pretest`` is the yield of the assessment category. ``after`` is empty where that rests
    on fewer procedures than the site's minimum, ``minimum_n``. ``with_scan`` says whether
    the scan is part of it.
    """

    assessment: str
    pretest: Share
    minimum_n: int
    with_scan: bool
    after: tuple[Credible, ...]


def known(registry: Reader, as_of: date, procedure_id: str) -> Known:
    """Sensitivity and false-positive share of the scan, without the procedure that is asked about.

    Parameters
    ----------
    registry, as_of
        As :func:`registry.sampling.procedure.procedure_estimate`.
    procedure_id
        Left out of the counts.
    """
    counts = {
        (row["known"], row["uptake"]): int(row["procedures"])
        for row in asked(registry, "known", as_of, procedure_id=procedure_id)
    }
    shares = {}
    for status in (SAMPLED, NOT_SAMPLED):
        yes, no = (counts.get((status, answer), 0) for answer in _ANSWERED)
        shares[status] = share(yes, yes + no)
    left_out: dict[str, int] = {}
    for (status, answer), number in counts.items():
        reason = _reason(status, answer)
        if reason:
            left_out[reason] = left_out.get(reason, 0) + number
    return Known(shares[SAMPLED], shares[NOT_SAMPLED], dict(sorted(left_out.items())))


def _reason(status: str, answer: str) -> str:
    if status not in (SAMPLED, NOT_SAMPLED):
        return {"contradictory": "contradictory evidence", "not known": "not known whether sampled"}[status]
    return (
        ""
        if answer in _ANSWERED
        else f"specimens {'not read' if answer == 'not read' else 'read as equivocal'}"
    )


def _counts(one: Share) -> tuple[int, int]:
    return one.events, one.trials


def scan_of(row: dict[str, Any], bands: Sequence[Band], counted: Known) -> Scan | None:
    """Each band after the scan; None where nobody read uptake as seen or not seen.

    Parameters
    ----------
    row
        Row of ``sql/sampling/procedure.sql``.
    bands
        The bands before the scan.
    counted
        What the registry tells of the scan.
    """
    if not row["is_tracer_guided"] or row["uptake"] not in _ANSWERED:
        return None
    seen = row["uptake"] == "yes"
    shares = (_counts(counted.sensitivity), _counts(counted.false_positive))
    return Scan(seen, tuple(updated(one.probability, seen, *shares) for one in bands))


def residual(row: dict[str, Any], bands: Sequence[Band], counted: Known, minimum_n: int) -> Residual | None:
    """Probability of cancer at each band; None unless the result is benign.

    Parameters
    ----------
    row, bands, counted
        As :func:`scan_of`.
    minimum_n
        Fewest procedures of the category on which a probability is shown.
    """
    if not row["is_benign_result"]:
        return None
    pretest = share(int(row["category_cancers"]), int(row["category_procedures"]))
    has_scan = bool(row["is_tracer_guided"]) and row["uptake"] in _ANSWERED
    after: tuple[Credible, ...] = ()
    if pretest.trials >= minimum_n:
        after = tuple(
            residual_cancer(
                one.probability,
                _counts(pretest),
                uptake=row["uptake"] == "yes" if has_scan else None,
                seen_if_sampled=_counts(counted.sensitivity),
                seen_if_not=_counts(counted.false_positive),
            )
            for one in bands
        )
    return Residual(row["assessment"], pretest, minimum_n, has_scan, after)
