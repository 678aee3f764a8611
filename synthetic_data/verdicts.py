"""When the report comes and what the joint reviews decide."""

from __future__ import annotations

import numpy as np

from synthetic_data.columns import NO_DAY, Columns, Rng, pick
from synthetic_data.results import (
    BENIGN,
    COMPLETED,
    EXCISION_DEVICE,
    HIGH_RISK,
    IN_SITU,
    INSUFFICIENT,
    NORMAL,
    SUSPICIOUS,
    shares,
)
from synthetic_data.setting import MEETING_WEEKDAY, Setting, weekday

PATTERNS = (
    "plain",
    "by_container",
    "preliminary",
    "receptors_added",
    "diagnosis_amended",
    "retracted_and_replaced",
    "retracted",
)
PLAIN, BY_CONTAINER, PRELIMINARY, RECEPTORS, AMENDED, REPLACED, RETRACTED = range(len(PATTERNS))
#: Diagnosis of the first version where an amendment changes it, by the final one.
_BEFORE_AMENDMENT = np.array([1, 2, 3, 2, 3, 4, 5, 6])
_LONGEST_LAG = 21


def report(setting: Setting, rng: Rng, batch: Columns) -> Columns:
    """Days of the versions of each report, and the diagnosis of the first.

    Returns
    -------
    The batch with ``pattern``; ``preliminary_on``; ``reported_on``, the first version
    that counts; ``changed_on``, of the amendment or retraction; ``voided_on``, of the
    first version of a report that was retracted and replaced; ``first_diagnosis``; and
    ``reported``, whether a report stands at the end. Days are NO_DAY where nothing
    happened by then.
    """
    rows = batch.rows
    # One laboratory reports all targets of a visit on one day.
    lags = rng.geometric(float(setting("report", "daily_chance")), int(batch["patient"].max()) + 1)
    lag = np.minimum(lags[batch["patient"]], _LONGEST_LAG)
    first = setting.known(setting.open_from(batch["day"] + lag))
    issued = (batch["status"] == COMPLETED) & (rng.random(rows) < float(setting("report", "issued")))
    first = np.where(issued, first, NO_DAY)
    pattern = pick(rng, [setting("report", "pattern")[name] for name in PATTERNS], rows)
    second = setting.open_from(first + _days_to_second(rng, pattern))
    # A later version that has not come by the end leaves the first one standing.
    waits = (first == NO_DAY) | (second > setting.until)
    pattern = np.where(waits & (pattern > PRELIMINARY), PLAIN, pattern)
    changed = np.where(waits, NO_DAY, second)
    preliminary = np.where(pattern == PRELIMINARY, first, NO_DAY)
    voided = np.where((pattern == REPLACED) | (pattern == RETRACTED), first, NO_DAY)
    counted = np.where((pattern == PRELIMINARY) | (pattern == REPLACED), changed, first)
    amended = (pattern == AMENDED) | (pattern == RECEPTORS)
    return Columns(
        batch,
        pattern=pattern,
        preliminary_on=preliminary,
        reported_on=np.where(pattern == RETRACTED, NO_DAY, counted),
        changed_on=np.where(amended | (voided > NO_DAY), changed, NO_DAY),
        voided_on=voided,
        first_diagnosis=np.where(
            pattern == AMENDED, _BEFORE_AMENDMENT[batch["diagnosis"]], batch["diagnosis"]
        ),
        reported=(counted > NO_DAY) & (pattern != RETRACTED),
    )


def _days_to_second(rng: Rng, pattern: np.ndarray) -> np.ndarray:
    """Days from the first version to the second: short for a preliminary one, long for an amendment."""
    short, middle, long = (
        rng.integers(low, high, pattern.shape[0]) for low, high in ((2, 7), (6, 30), (25, 90))
    )
    return np.where(pattern == PRELIMINARY, short, np.where(pattern == AMENDED, long, middle))


def meeting_from(day: np.ndarray, site: np.ndarray) -> np.ndarray:
    """Day of the first meeting of the site on or after each day."""
    return day + (MEETING_WEEKDAY[site] - weekday(day)) % 7


def discordance_chance(setting: Setting, batch: Columns) -> np.ndarray:
    """Chance that the first conclusive review of each procedure is discordant.

    That of a benign result is the published share of all biopsies, divided by the
    share of benign results that the mix of guidances leads to.
    """
    given = setting("review", "discordant")
    mix = np.array(list(setting("service", "guidance").values()))
    benign = float(mix @ shares(setting)[:, [NORMAL, BENIGN]].sum(axis=1))
    chance = np.full(batch.rows, given["benign_of_all"] / benign)
    result = batch["first_diagnosis"]
    for diagnosis, name in (
        (INSUFFICIENT, "insufficient"),
        (HIGH_RISK, "high_risk"),
        (SUSPICIOUS, "suspicious"),
    ):
        chance[result == diagnosis] = given[name]
    chance[result >= IN_SITU] = given["malignant"]
    operator, since, factor = setting.doubled
    chance[(batch["operator"] == operator) & (batch["day"] >= since)] *= factor
    one_category = list(setting("review", "radiologists")).index(
        setting("review", "one_category_radiologist")
    )
    never = (batch["reviewer"] == one_category) | (batch["device"] == EXCISION_DEVICE)
    return np.where(never, 0.0, np.minimum(chance, 1.0))


def review(setting: Setting, rng: Rng, batch: Columns) -> Columns:
    """Days and determinations of the joint reviews.

    Returns
    -------
    The batch with ``reviewer``; ``undecided_on``, a first review that was indeterminate;
    ``decided_on``, the first conclusive one; ``discordant`` (1, 0, or -1 where none);
    ``discordance_chance``; ``again_on``, a later review that calls a discordant one
    concordant; ``after_amendment_on``. Days are NO_DAY where nothing happened.
    """
    rows = batch.rows
    reviewer = pick(rng, list(setting("review", "radiologists").values()), rows)
    one_category = list(setting("review", "radiologists")).index(
        setting("review", "one_category_radiologist")
    )
    covered = (rng.random(rows) < float(setting("review", "covered"))) & (batch["reported_on"] > NO_DAY)
    delay = 7 * pick(rng, setting("review", "weeks_of_delay"), rows).astype(np.int64)
    held = setting.known(meeting_from(batch["reported_on"], batch["site"]) + delay)
    held = np.where(covered, held, NO_DAY)
    undecided = (rng.random(rows) < float(setting("review", "indeterminate_first"))) & (
        reviewer != one_category
    )
    concluded = setting.known(held + 7 * rng.integers(1, 5, rows))
    concluded = np.where(rng.random(rows) < float(setting("review", "concluded_later")), concluded, NO_DAY)
    decided = np.where(held == NO_DAY, NO_DAY, np.where(undecided, concluded, held))
    chance = discordance_chance(setting, Columns(batch, reviewer=reviewer))
    discordant = np.where(decided > NO_DAY, rng.random(rows) < chance, -1).astype(np.int8)
    again = setting.known(decided + 7 * rng.integers(1, 5, rows))
    looked_again = (discordant == 1) & (rng.random(rows) < float(setting("review", "looked_at_again")))
    after = setting.known(meeting_from(batch["changed_on"], batch["site"]))
    reopened = (batch["pattern"] == AMENDED) & (decided > NO_DAY) & (after > decided)
    reopened &= rng.random(rows) < float(setting("review", "reviewed_after_amendment"))
    return Columns(
        batch,
        reviewer=reviewer,
        undecided_on=np.where(undecided, held, NO_DAY),
        decided_on=decided,
        discordant=discordant,
        discordance_chance=chance,
        again_on=np.where(looked_again, again, NO_DAY),
        after_amendment_on=np.where(reopened, after, NO_DAY),
    )
