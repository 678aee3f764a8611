"""What counts above a background may be called, so that no uptake is told from too few counts.

The rule and its reasons stand in docs/decisions/0009.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from registry.tracer import NetRate

MEASURED = "radioactivity measured"
NOT_ABOVE = "not above background"
TOO_FEW = "too few counts to tell"
NOT_COMPARED = "below the threshold, sensitivity unknown"
NO_DECISION = "no decision"
#: All decisions, in the order of the tables.
DECISIONS = (MEASURED, NOT_ABOVE, TOO_FEW, NOT_COMPARED, NO_DECISION)


@dataclass(frozen=True)
class Decision:
    """One of ``DECISIONS``, and the same as a sentence with what it rests on."""

    key: str
    sentence: str


def decide(
    net: NetRate | None,
    *,
    background_kind: str | None,
    reference: float,
    ratio_per_rate: float | None,
    missing: tuple[str, ...] = (),
) -> Decision:
    """Say what the counts of a scan show.

    Parameters
    ----------
    net
        Net count rate with decision threshold and detection limit; None where the counts
        allow none.
    background_kind
        ``empty_tray``, ``normal_tissue``, or None where it is not recorded.
    reference
        Concentration ratio (g/g) that a scan must be able to show before it may be said
        to show nothing.
    ratio_per_rate
        Concentration ratio of one net count per second, g/g per 1/s; None where a value
        that it needs is missing.
    missing
        Names of the missing values, for the sentence.

    Returns
    -------
    Decision
        Never that the target was sampled: tissue beside the target holds tracer too.
    """
    if net is None:
        return Decision(NO_DECISION, f"No decision: {_listed(missing)} missing.")
    if net.detected:
        return Decision(MEASURED, _above(background_kind))
    beyond = "No more than normal tissue" if background_kind == "normal_tissue" else "Not above background"
    surplus = "a surplus" if background_kind == "normal_tissue" else "a concentration"
    if ratio_per_rate is None:
        return Decision(
            NOT_COMPARED,
            f"{beyond}; {net.detection_limit:.2g} net counts per second would have been found. "
            f"Which concentration that is cannot be said: {_listed(missing)} missing.",
        )
    limit = net.detection_limit * ratio_per_rate
    if limit <= reference:
        return Decision(
            NOT_ABOVE,
            f"{beyond}; {surplus} of {limit:.2g} times an even spread through the body would have been found.",
        )
    return Decision(
        TOO_FEW,
        f"Too few counts to tell: {surplus} of up to {limit:.2g} times an even spread through the body "
        f"could have been missed; to call it absent, {reference:g} must be found.",
    )


def _above(background_kind: str | None) -> str:
    if background_kind == "normal_tissue":
        return "Above the decision threshold: more radioactivity measured than over normal tissue."
    if background_kind == "empty_tray":
        return "Above the decision threshold: radioactivity measured (background: empty tray)."
    return "Above the decision threshold: radioactivity measured (what the background held is not recorded)."


def _listed(names: tuple[str, ...]) -> str:
    return ", ".join(names) or "a value"
