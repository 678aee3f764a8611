"""What a biopsy attempt comes to: tissue or not, which result, and cancer that stays hidden."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from synthetic_data.columns import Columns, Rng, code, codes, draw_by, pick_by
from synthetic_data.setting import Setting

GUIDANCES = codes("procedures", "guidance")
COMPLETED = code("procedures", "status", "completed")
CANCELLED = code("procedures", "status", "cancelled")
ABANDONED = code("procedures", "status", "abandoned")
#: The code list of diagnoses runs from the least to the worst, so numbers compare.
DIAGNOSES = codes("pathology", "diagnosis")
INSUFFICIENT, NORMAL, BENIGN, HIGH_RISK, SUSPICIOUS, IN_SITU, INVASIVE, OTHER_MALIGNANT = range(8)
EXCISION_DEVICE = code("procedures", "device", "excision_device")
#: Kinds of guidance that share approach, position and device.
FAMILIES = ("tracer", "mri", "mammography", "ultrasound")
_FAMILY = {
    "pet_tracer": 0,
    "gamma_tracer": 0,
    "mri": 1,
    "stereotactic": 2,
    "tomosynthesis": 2,
    "ultrasound": 3,
}
_FAMILY_BY_CODE = np.array([_FAMILY[name] for name in GUIDANCES], dtype=np.int8)
#: Whether cancer hides in a lesion is not settled before its first tissue.
UNKNOWN = -1


def family(guidance: np.ndarray) -> np.ndarray:
    """Number in FAMILIES of each guidance."""
    return _FAMILY_BY_CODE[guidance]


def per_guidance(table: Mapping[str, float]) -> np.ndarray:
    """A parameter per guidance, in the order of the code list."""
    return np.array([float(table[name]) for name in GUIDANCES])


def is_malignant(diagnosis: np.ndarray) -> np.ndarray:
    """In situ, invasive or other malignant; false where there is no diagnosis (-1)."""
    return diagnosis >= IN_SITU


def shares(setting: Setting) -> np.ndarray:
    """Chance of each diagnosis at a first biopsy: guidance down, diagnosis across, rows sum to 1."""
    given = {
        name: per_guidance({g: setting("result", g, name) for g in GUIDANCES})
        for name in setting("result", "mri")
    }
    in_situ = given["malignant"] * given["in_situ_of_malignant"]
    other = given["malignant"] * float(setting("result", "all", "other_of_malignant"))
    table = np.zeros((len(GUIDANCES), len(DIAGNOSES)))
    table[:, IN_SITU], table[:, OTHER_MALIGNANT] = in_situ, other
    table[:, INVASIVE] = given["malignant"] - in_situ - other
    for diagnosis in (HIGH_RISK, NORMAL, INSUFFICIENT):
        table[:, diagnosis] = given[DIAGNOSES[diagnosis]]
    table[:, SUSPICIOUS] = float(setting("result", "all", "suspicious"))
    table[:, BENIGN] = 1.0 - table.sum(axis=1)
    return table


def hidden_in_high_risk(setting: Setting) -> np.ndarray:
    """Chance of hidden cancer per lesion code; 0 for lesions that are not high-risk."""
    known = setting("hidden", "high_risk")
    return np.array([known.get(name, 0.0) for name in codes("pathology", "lesion")])


def _status(setting: Setting, rng: Rng, guidance: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Status, and why no tissue was taken."""
    chance = rng.random(guidance.shape[0])
    cancelled = per_guidance(setting("procedure", "cancelled"))[guidance]
    status = np.full(guidance.shape[0], COMPLETED, dtype=np.int8)
    status[chance < cancelled + float(setting("procedure", "abandoned"))] = ABANDONED
    status[chance < cancelled] = CANCELLED
    why = setting("procedure", "status_reason")
    kind = np.where(status == ABANDONED, 2, np.where(family(guidance) <= 1, 0, 1))
    weights = [why["cancelled"], why["cancelled_without_tracer"], why["abandoned"]]
    reason = draw_by(rng, "procedures", "status_reason", weights, kind)
    return status, np.where(status == COMPLETED, -1, reason)


def _device(setting: Setting, rng: Rng, batch: Columns) -> np.ndarray:
    weights = [setting("procedure", "device", name) for name in FAMILIES]
    device = draw_by(rng, "procedures", "device", weights, family(batch["guidance"]))
    second_step = batch["reason"] == code("procedures", "repeat_reason", "planned_second_step")
    return np.where(second_step, EXCISION_DEVICE, device)


def _at_first(setting: Setting, batch: Columns) -> np.ndarray:
    """Diagnosis read from the chance of the target: small is malignant, large is insufficient."""
    order = np.array(
        [OTHER_MALIGNANT, INVASIVE, IN_SITU, SUSPICIOUS, HIGH_RISK, BENIGN, NORMAL, INSUFFICIENT]
    )
    bounds = np.cumsum(shares(setting)[:, order], axis=1)[:, :-1]
    place = np.zeros(batch.rows, dtype=np.int8)
    for column in range(bounds.shape[1]):
        place += batch["chance"] >= bounds[batch["guidance"], column]
    return order[place]


def _at_repeat(setting: Setting, rng: Rng, batch: Columns) -> np.ndarray:
    """Diagnosis where it was settled before whether cancer is there."""
    free = pick_by(rng, [[0.10, 0.70, 0.20]], np.zeros(batch.rows, dtype=np.int8)) + NORMAL
    missed = rng.random(batch.rows) >= float(setting("hidden", "found_at_repeat"))
    found = np.where(rng.random(batch.rows) < float(setting("hidden", "in_situ_share")), IN_SITU, INVASIVE)
    result = np.where(batch["hidden_before"] == 1, np.where(missed, BENIGN, found), free)
    insufficient = rng.random(batch.rows) < shares(setting)[batch["guidance"], INSUFFICIENT]
    return np.where(insufficient, INSUFFICIENT, result)


def lesion_names(setting: Setting, rng: Rng, diagnosis: np.ndarray) -> np.ndarray:
    """Named lesion that suits each diagnosis; -1 for none or an insufficient sample."""
    weights = [
        {"other": 1.0},
        {"normal_tissue": 1.0},
        setting("lesion", "benign"),
        setting("lesion", "high_risk"),
    ]
    weights += [{"dcis": 0.6, "ductal": 0.4}]
    weights += [setting("lesion", name) for name in ("in_situ", "invasive", "other_malignant")]
    name = draw_by(rng, "pathology", "lesion", weights, np.maximum(diagnosis, 0))
    return np.where(diagnosis < NORMAL, -1, name)


def carry_out(setting: Setting, rng: Rng, batch: Columns) -> Columns:
    """Status, device and diagnosis of each attempt.

    Parameters
    ----------
    batch
        Needs guidance, chance, reason and ``hidden_before``: 1 or 0 where earlier
        tissue has settled whether cancer is there, UNKNOWN where this is the first.

    Returns
    -------
    The batch with status, status_reason, device, diagnosis (-1 without tissue) and
    lesion_name. With an excision device no sample is ever insufficient.
    """
    status, reason = _status(setting, rng, batch["guidance"])
    device = _device(setting, rng, batch)
    first = _at_first(setting, batch)
    later = _at_repeat(setting, rng, batch)
    diagnosis = np.where(batch["hidden_before"] == UNKNOWN, first, later)
    diagnosis = np.where((device == EXCISION_DEVICE) & (diagnosis == INSUFFICIENT), BENIGN, diagnosis)
    diagnosis = np.where(status == COMPLETED, diagnosis, -1)
    lesion_name = lesion_names(setting, rng, diagnosis)
    return Columns(
        batch,
        status=status,
        status_reason=reason,
        device=device,
        diagnosis=diagnosis,
        lesion_name=lesion_name,
    )


def hide(setting: Setting, rng: Rng, batch: Columns) -> np.ndarray:
    """Whether cancer is left behind after each attempt: 1, 0, or UNKNOWN without tissue.

    A malignant result leaves nothing hidden; what was settled before stays; else the
    chance depends on the result and on whether it was found discordant.
    """
    diagnosis = batch["diagnosis"]
    chance = np.full(batch.rows, float(setting("hidden", "concordant_benign")))
    chance[diagnosis == INSUFFICIENT] = float(setting("hidden", "insufficient"))
    high_risk = diagnosis == HIGH_RISK
    chance[high_risk] = hidden_in_high_risk(setting)[batch["lesion_name"][high_risk]]
    chance[diagnosis == SUSPICIOUS] = float(setting("hidden", "suspicious"))
    discordant = (batch["discordant"] == 1) & (diagnosis != SUSPICIOUS)
    chance[discordant] = float(setting("hidden", "discordant"))
    drawn = (rng.random(batch.rows) < chance).astype(np.int8)
    settled = np.where(batch["hidden_before"] == UNKNOWN, drawn, batch["hidden_before"])
    settled = np.where(diagnosis >= IN_SITU, 0, settled)
    return np.where(batch["status"] == COMPLETED, settled, batch["hidden_before"])
