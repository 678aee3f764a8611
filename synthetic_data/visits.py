"""First biopsies: which patient, where, under which guidance, when, by whom."""

from __future__ import annotations

import numpy as np

from synthetic_data.columns import Columns, Rng, code, draw, pick, pick_by, rank_within
from synthetic_data.setting import Setting

_OPENS, _LAST_OF_SEVERAL, _LAST_OF_ONE, _SLOT = 7 * 60 + 30, 13 * 60, 16 * 60, 35
_STEP_MINUTES = 5


def _patients(setting: Setting, rng: Rng, rows: int) -> Columns:
    """Site, guidance, operator, visit and shared chance of each patient."""
    site = pick(rng, list(setting("service", "sites").values()), rows)
    growth = float(setting("service", "growth"))
    # Inverse of the distribution whose density grows linearly over the span.
    chance = rng.random(rows)
    moment = (np.sqrt(1.0 + (2.0 * growth + growth**2) * chance) - 1.0) / growth
    day = setting.open_from(
        setting.start + np.floor(moment * (setting.until - setting.start + 1)).astype(np.int64)
    )
    late = day > setting.until
    return Columns(
        site=site,
        guidance=draw(rng, "procedures", "guidance", setting("service", "guidance"), rows),
        operator=operators(setting, rng, site),
        day=np.where(late, setting.open_until(np.full(rows, setting.until)), day),
        start_of_several=minutes(rng, _LAST_OF_SEVERAL, rows),
        start_of_one=minutes(rng, _LAST_OF_ONE, rows),
        shared=rng.random(rows),
    )


def minutes(rng: Rng, last: int, rows: int) -> np.ndarray:
    """Minute of the day at which a procedure starts, in steps of five."""
    return _OPENS + _STEP_MINUTES * rng.integers(0, (last - _OPENS) // _STEP_MINUTES + 1, rows)


def start_of_one(rng: Rng, rows: int) -> np.ndarray:
    """Minute at which a visit with a single procedure starts."""
    return minutes(rng, _LAST_OF_ONE, rows)


def operators(setting: Setting, rng: Rng, site: np.ndarray) -> np.ndarray:
    """Operator numbers by the shares of each site."""
    listed = setting.operators
    weights = np.zeros((len(setting.sites), len(listed)))
    for row, table in enumerate(("site_a", "site_b", "site_c")):
        for operator, share in setting("operators", table, "shares").items():
            weights[row, listed.index(operator)] = share
    return pick_by(rng, weights, site)


def _days(setting: Setting, rng: Rng, patient_day: np.ndarray, rank: np.ndarray) -> np.ndarray:
    """Day of each target: that of the patient, or for some further targets a later one."""
    another = (rank > 0) & (rng.random(rank.shape[0]) < setting("service", "target_on_another_day"))
    later = setting.open_from(patient_day + 7 + rng.integers(0, 50, rank.shape[0]))
    return np.where(another & (later <= setting.until), later, patient_day)


def first_biopsies(setting: Setting, procedures: int) -> Columns:
    """One row per target; as many targets as procedures are wanted, and a few more.

    Returns
    -------
    patient, lesion, site, guidance, operator, day, minute, and ``chance``: a uniform
    number from which the result is read. Each target takes the number it shares with
    its patient with probability sqrt(correlation), so that any two targets take the
    same one with that correlation and every number stays uniform.
    """
    rng = setting.stream("visits")
    wanted = procedures + 50
    sizes = 1 + pick(rng, setting("service", "targets_per_patient"), wanted).astype(np.int64)
    sizes = sizes[: np.searchsorted(np.cumsum(sizes), wanted) + 1]
    patients = _patients(setting, rng, sizes.shape[0])
    patient = np.repeat(np.arange(sizes.shape[0]), sizes)
    rows = patient.shape[0]
    rank = rank_within(patient)
    own = draw(rng, "procedures", "guidance", setting("service", "guidance"), rows)
    differs = (rank > 0) & (rng.random(rows) < setting("service", "target_under_another_guidance"))
    day = _days(setting, rng, patients["day"][patient], rank)
    slot = rank_within(patient * 100_000 + day)
    several = np.bincount(patient, minlength=sizes.shape[0])[patient] > 1
    start = np.where(several, patients["start_of_several"][patient], patients["start_of_one"][patient])
    shares = rng.random(rows) < np.sqrt(setting("service", "within_patient_correlation"))
    return Columns(
        patient=patient,
        lesion=np.arange(rows),
        site=patients["site"][patient],
        guidance=np.where(differs, own, patients["guidance"][patient]),
        operator=patients["operator"][patient],
        day=day,
        minute=start + _SLOT * slot,
        chance=np.where(shares, patients["shared"][patient], rng.random(rows)),
    )


def is_tracer(guidance: np.ndarray) -> np.ndarray:
    """Whether a PET or gamma tracer guided the biopsy."""
    return (guidance == code("procedures", "guidance", "pet_tracer")) | (
        guidance == code("procedures", "guidance", "gamma_tracer")
    )
