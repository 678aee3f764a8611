"""What follows a biopsy: a repeat, an excision, or the day on which hidden cancer comes to light."""

from __future__ import annotations

import numpy as np

from synthetic_data.columns import NO_DAY, Columns, Rng, code, codes, draw, pick
from synthetic_data.results import (
    COMPLETED,
    HIGH_RISK,
    INSUFFICIENT,
    INVASIVE,
    SUSPICIOUS,
    UNKNOWN,
    is_malignant,
)
from synthetic_data.setting import Setting

NOTHING, REPEAT, EXCISION, LINKAGE = range(4)
_DAYS_WITHOUT_REVIEW = 14
_DAYS_OF_THERAPY = 120


def _reason(value: str) -> int:
    return code("procedures", "repeat_reason", value)


def _planned(setting: Setting, rng: Rng, batch: Columns) -> tuple[np.ndarray, np.ndarray]:
    """Step decided upon at the review, and why a repeat is done."""
    rows, diagnosis = batch.rows, batch["diagnosis"]
    chances = np.tile(np.array(setting("step", "benign"), dtype=np.float64), (rows, 1))
    reason = np.full(rows, _reason("pathology_request"), dtype=np.int8)
    chances[diagnosis == INSUFFICIENT] = setting("step", "insufficient")
    reason[diagnosis == INSUFFICIENT] = _reason("insufficient")
    high_risk = diagnosis == HIGH_RISK
    wished = setting("step", "recommended_excision")
    by_lesion = np.array([wished.get(name, 0.0) for name in codes("pathology", "lesion")])
    chances[high_risk, 0] = setting("step", "high_risk_second_step")
    done = float(setting("step", "planned_excision_done"))
    chances[high_risk, 1] = done * by_lesion[batch["lesion_name"][high_risk]]
    reason[high_risk] = _reason("planned_second_step")
    chances[diagnosis == SUSPICIOUS] = setting("step", "suspicious")
    discordant = (batch["discordant"] == 1) & (batch["again_on"] == NO_DAY)
    chances[discordant] = setting("step", "discordant")
    other = draw(rng, "procedures", "repeat_reason", {"discordant": 0.85, "target_not_sampled": 0.15}, rows)
    reason = np.where(discordant & (diagnosis != INSUFFICIENT), other, reason)
    chance = rng.random(rows)
    step = np.where(chance < chances[:, 0], REPEAT, np.where(chance < chances.sum(axis=1), EXCISION, NOTHING))
    applies = (diagnosis >= 0) & ~is_malignant(diagnosis) & batch["reported"]
    return np.where(applies, step, NOTHING), reason


def _detection(setting: Setting, rng: Rng, batch: Columns) -> tuple[np.ndarray, np.ndarray]:
    """How and on which day hidden cancer comes to light if nothing was done."""
    rows = batch.rows
    later: dict[str, float] = setting("step", "detected_after_days")
    days = np.array([int(day) for day in later])[pick(rng, list(later.values()), rows)]
    spread = int(setting("follow_up", "spread_days"))
    day = setting.open_from(batch["day"] + days + rng.integers(-spread, spread + 1, rows))
    by = setting("step", "detected_by")
    route = pick(rng, [by["repeat"], by["excision"], by["linkage"]], rows) + REPEAT
    # A biopsy of a lesion without tissue would be its first, and its result is drawn elsewhere.
    route = np.where((batch["hidden"] == UNKNOWN) & (route == REPEAT), LINKAGE, route)
    return route, day


def _redone(setting: Setting, rng: Rng, batch: Columns) -> tuple[np.ndarray, np.ndarray]:
    """Whether an attempt without tissue is made again, and when."""
    table = setting("step", "redone")
    chances = np.array([table[name] for name in codes("procedures", "status_reason")])
    redone = (batch["status_reason"] >= 0) & (rng.random(batch.rows) < chances[batch["status_reason"]])
    wait = rng.integers(8, 50, batch.rows)
    unseen = batch["status_reason"] == code("procedures", "status_reason", "target_not_seen")
    return redone, setting.open_from(batch["day"] + wait + np.where(unseen, 140, 0))


def _behind_no_tissue(setting: Setting, rng: Rng, batch: Columns, redone: np.ndarray) -> np.ndarray:
    """Whether cancer lies behind an attempt that was given up, where no earlier tissue settled it."""
    open_question = (batch["status"] != COMPLETED) & (batch["hidden"] == UNKNOWN) & ~redone
    open_question &= batch["status_reason"] != code("procedures", "status_reason", "resolved")
    return open_question & (rng.random(batch.rows) < float(setting("hidden", "cancelled")))


def _treated(setting: Setting, rng: Rng, batch: Columns) -> tuple[np.ndarray, np.ndarray]:
    """Which cancers are operated, and which of them after systemic therapy."""
    treated = is_malignant(batch["diagnosis"]) & batch["reported"]
    treated &= rng.random(batch.rows) < float(setting("step", "malignant_operated"))
    before = rng.random(batch.rows) < float(setting("step", "neoadjuvant"))
    return treated, treated & (batch["diagnosis"] == INVASIVE) & before


def _first_step(
    setting: Setting, rng: Rng, batch: Columns, redone: np.ndarray, redone_on: np.ndarray
) -> Columns:
    """Step that the review, the treatment or a new appointment leads to."""
    step, reason = _planned(setting, rng, batch)
    treated, neoadjuvant = _treated(setting, rng, batch)
    step = np.where(treated, EXCISION, step)
    anchor = np.where(
        batch["decided_on"] > NO_DAY, batch["decided_on"], batch["reported_on"] + _DAYS_WITHOUT_REVIEW
    )
    wait = np.where(step == REPEAT, 7 + rng.integers(0, 28, batch.rows), 14 + rng.integers(0, 70, batch.rows))
    day = setting.open_from(anchor + wait + np.where(neoadjuvant, _DAYS_OF_THERAPY, 0))
    return Columns(
        step=np.where(redone, REPEAT, step),
        step_on=np.where(redone, redone_on, day),
        step_reason=np.where(redone, _reason("target_not_sampled"), reason),
        neoadjuvant=neoadjuvant,
    )


def follow(setting: Setting, rng: Rng, batch: Columns, last: bool) -> Columns:
    """Next step of each procedure.

    Parameters
    ----------
    batch
        Procedures with result, reviews and ``hidden``.
    last
        No repeat may follow: what would be one is an excision.

    Returns
    -------
    The batch with ``step`` (NOTHING, REPEAT, EXCISION or LINKAGE), ``step_on``,
    ``step_reason`` of a repeat, ``neoadjuvant``, ``there`` (cancer is left behind) and
    ``detected`` (the step brought it to light although none had been planned).
    """
    redone, redone_on = _redone(setting, rng, batch)
    chosen = _first_step(setting, rng, batch, redone, redone_on)
    there = (batch["hidden"] == 1) | _behind_no_tissue(setting, rng, batch, redone)
    route, found_on = _detection(setting, rng, batch)
    idle = (chosen["step"] == NOTHING) & ~is_malignant(batch["diagnosis"])
    detected = idle & there
    changed = idle & ~there & batch["reported"]
    changed &= rng.random(batch.rows) < float(setting("step", "imaging_change"))
    step = np.where(detected, route, np.where(changed, REPEAT, chosen["step"]))
    step_on = np.where(detected | changed, found_on, chosen["step_on"])
    if last:
        step = np.where(step == REPEAT, np.where(batch["status"] == COMPLETED, EXCISION, NOTHING), step)
    happens = (step != NOTHING) & (step_on <= setting.until) & (step_on > batch["day"])
    return Columns(
        batch,
        step=np.where(happens, step, NOTHING).astype(np.int8),
        step_on=np.where(happens, step_on, NO_DAY),
        step_reason=np.where(detected | changed, _reason("imaging_change"), chosen["step_reason"]).astype(
            np.int8
        ),
        neoadjuvant=chosen["neoadjuvant"],
        there=there,
        detected=detected & happens,
    )
