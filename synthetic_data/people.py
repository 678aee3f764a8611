"""Patients and their findings."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from synthetic_data import tables
from synthetic_data.columns import NO_DAY, Columns, Rng, blank, code, draw, draw_by, pick, rank_within
from synthetic_data.results import DIAGNOSES, GUIDANCES, is_malignant
from synthetic_data.setting import Setting

_DAYS_PER_YEAR = 365.25
#: Nobody in the invented service dies within this many days of the last procedure.
DAYS_BEFORE_DEATH = 60
_YOUNGEST, _OLDEST = 24, 92
_MODALITY = {
    "pet_tracer": {"pet_tracer": 1.0},
    "gamma_tracer": {"gamma_tracer": 1.0},
    "mri": {"mri": 1.0},
    "stereotactic": {"mammography": 1.0},
    "tomosynthesis": {"tomosynthesis": 1.0},
    "ultrasound": {"ultrasound": 0.92, "clinical": 0.05, "mammography": 0.03},
}
_TYPE = {"pet_tracer": "tracer", "gamma_tracer": "tracer"}
_CORRELATE = {"pet_tracer": "tracer", "gamma_tracer": "tracer", "mri": "mri"}
_PATTERN_NON_MASS = {
    "linear": 0.2,
    "segmental": 0.3,
    "regional": 0.3,
    "multiple_regional": 0.1,
    "diffuse": 0.1,
}


def _birth(setting: Setting, rng: Rng, first_day: np.ndarray) -> np.ndarray:
    """Birth dates that make whole-year ages at the first procedure follow the parameters."""
    rows = first_day.shape[0]
    age = rng.normal(float(setting("patient", "age_mean")), float(setting("patient", "age_sd")), rows)
    age = np.clip(np.floor(age), _YOUNGEST, _OLDEST)
    born = first_day - np.floor(age * _DAYS_PER_YEAR).astype(np.int64) - rng.integers(1, 365, rows)
    # Nobody is born on 29 February: in common years tools disagree on the birthday.
    leap_day = (_month_and_day(born) == 229).astype(np.int64)
    return born - leap_day


def _month_and_day(days: np.ndarray) -> np.ndarray:
    """Month times 100 plus day of month."""
    date = days.astype("datetime64[D]")
    month = date.astype("datetime64[M]")
    return (month.astype(np.int64) % 12 + 1) * 100 + (date - month).astype(np.int64) + 1


def age_years(born: np.ndarray, day: np.ndarray) -> np.ndarray:
    """Completed years of life on a day."""
    years = day.astype("datetime64[D]").astype("datetime64[Y]").astype(np.int64)
    years -= born.astype("datetime64[D]").astype("datetime64[Y]").astype(np.int64)
    return years - (_month_and_day(day) < _month_and_day(born))


def patients(setting: Setting, rows: Columns) -> Columns:
    """One row per patient.

    Returns
    -------
    born, born_known, sex, research_use, indication, side (0 left, 1 right), days_to_biopsy,
    ``died_on`` (NO_DAY where alive at the end), and where the death is known from:
    ``in_patients``, ``in_followup``.
    """
    rng = setting.stream("patients")
    number, first = np.unique(rows["patient"], return_index=True)
    count = number.shape[0]
    last_day = np.zeros(count, dtype=np.int64)
    np.maximum.at(last_day, rows["patient"], rows["day"])
    cancer = np.bincount(rows["patient"], weights=is_malignant(rows["diagnosis"]), minlength=count) > 0
    rate = np.where(
        cancer, setting("patient", "deaths_per_year_with_cancer"), setting("patient", "deaths_per_year")
    )
    wait = rng.standard_exponential(count) / rate * _DAYS_PER_YEAR
    died = setting.known(last_day + DAYS_BEFORE_DEATH + np.floor(np.minimum(wait, 50_000)).astype(np.int64))
    known_from = pick(rng, setting("patient", "death_known_from"), count)
    shortest, longest = setting("finding", "days_to_biopsy")
    lag = shortest - 1 + rng.geometric(float(setting("finding", "daily_chance")), count)
    return Columns(
        born=_birth(setting, rng, rows["day"][first]),
        born_known=np.asarray(rng.random(count) >= float(setting("patient", "no_birth_date"))),
        sex=draw(rng, "patients", "sex", setting("patient", "sex"), count),
        research_use=blank(
            rng, draw(rng, "patients", "research_use", setting("patient", "research_use"), count), 0.02
        ),
        indication=draw(rng, "procedures", "indication", setting("patient", "indication"), count),
        side=pick(rng, [0.51, 0.49], count),
        days_to_biopsy=np.minimum(lag, longest),
        died_on=died,
        in_patients=(died > NO_DAY) & (known_from != 1),
        in_followup=(died > NO_DAY) & (known_from != 0),
    )


def write_patients(folder: Path, people: Columns) -> None:
    """patients.csv."""
    tables.write(
        folder,
        "patients",
        {
            "patient_id": tables.identifiers("P", np.arange(people.rows)),
            "birth_date": np.where(people["born_known"], people["born"], NO_DAY),
            "sex": people["sex"],
            "death_date": np.where(people["in_patients"], people["died_on"], NO_DAY),
            "research_use": people["research_use"],
        },
    )


def _side(setting: Setting, rng: Rng, rows: Columns, people: Columns, first: np.ndarray) -> np.ndarray:
    """Breast of each finding: one per lesion, mostly that of the patient."""
    lesions = int(rows["lesion"].max()) + 1
    patient = np.zeros(lesions, dtype=np.int64)
    patient[rows["lesion"]] = rows["patient"]
    other = (rank_within(patient) > 0) & (rng.random(lesions) >= float(setting("finding", "same_breast")))
    return (people["side"][patient] ^ other)[rows["lesion"][first]]


def _found_on(rows: Columns, people: Columns, first: np.ndarray) -> np.ndarray:
    """Day of the examination; a finding of follow-up appears after the biopsy before it."""
    day, parent = rows["day"][first], rows["parent"][first]
    found = day - people["days_to_biopsy"][rows["patient"][first]]
    before = np.where(rows["new_finding"][first], rows["day"][np.maximum(parent, 0)], NO_DAY)
    return np.maximum(found, before + 1)


def _uptake(setting: Setting, rng: Rng, found: Columns, first: Columns) -> Columns:
    """Pattern, intensity, ratio and maximum uptake; only for findings of a tracer."""
    count = first.rows
    tracer = found["modality"] <= code("findings", "modality", "gamma_tracer")
    serious = found["serious"]
    non_mass = found["finding_type"] == code("findings", "finding_type", "non_mass")
    pattern = draw_by(
        rng, "findings", "uptake_pattern", [{"focal": 1.0}, _PATTERN_NON_MASS], non_mass.astype(np.int8)
    )
    mean = np.where(serious, setting("finding", "ratio_malignant"), setting("finding", "ratio_other"))
    ratio = 1.1 + (mean - 1.1) * rng.gamma(2.5, 0.4, count)
    intensity = (ratio >= 2.0).astype(np.int8) + (ratio >= 3.5)
    suv = np.array([float(setting("specimen", "suv", name)) for name in DIAGNOSES])
    diagnosis = np.where(first["diagnosis"] < 0, DIAGNOSES.index("benign"), first["diagnosis"])
    suv_max = np.round(np.clip(suv[diagnosis] * (0.45 + rng.gamma(4.0, 0.14, count)), 0.6, 40.0), 1)
    pet = found["modality"] == code("findings", "modality", "pet_tracer")
    ratio_recorded = blank(rng, np.minimum(np.round(ratio, 1), 40.0), 0.05)
    return Columns(
        uptake_pattern=np.where(tracer, pattern, -1),
        uptake_intensity=np.where(tracer, blank(rng, intensity, 0.03), -1),
        uptake_ratio=np.where(tracer, ratio_recorded, np.nan),
        suv_max=np.where(pet, blank(rng, suv_max, 0.05), np.nan),
        suv=suv_max,
    )


def findings(setting: Setting, rows: Columns, people: Columns) -> Columns:
    """One row per finding, drawn to suit the result of its first biopsy.

    Returns
    -------
    Columns of findings.csv by name (codes as numbers), and ``patient``, ``serious``
    (cancer is there) and ``suv``, the uptake of the lesion whether recorded or not.
    """
    rng = setting.stream("findings")
    _, at = np.unique(rows["finding"], return_index=True)
    first = rows.at(at)
    count = first.rows
    guidance = first["guidance"]
    serious = is_malignant(first["diagnosis"]) | first["there"]
    assessments = [setting("finding", "assessment_other"), setting("finding", "assessment_malignant")]
    size = np.where(serious, setting("finding", "size_malignant_mm"), setting("finding", "size_other_mm"))
    place = pick(rng, [0.93, 0.02, 0.03, 0.01, 0.01], count)
    found_on = _found_on(rows, people, at)
    found = Columns(
        patient=first["patient"],
        serious=serious,
        found_on=found_on,
        biopsy_advised_on=np.minimum(found_on + rng.integers(0, 5, count), first["day"]),
        laterality=_side(setting, rng, rows, people, at),
        region=place,
        clock_position=np.where(place == 0, rng.integers(1, 13, count), -1),
        nipple_distance_mm=blank(rng, np.round(5.0 + rng.gamma(3.0, 14.0, count)), 0.05),
        density=blank(rng, draw(rng, "findings", "density", setting("finding", "density"), count), 0.03),
        modality=draw_by(rng, "findings", "modality", [_MODALITY[name] for name in GUIDANCES], guidance),
        correlate=draw_by(
            rng, "findings", "correlate", _by_kind(setting, "correlate", _CORRELATE, "other"), guidance
        ),
        finding_type=draw_by(rng, "findings", "finding_type", _by_kind(setting, "type", _TYPE), guidance),
        size_mm=blank(rng, np.clip(3.0 + size * rng.gamma(2.5, 0.33, count), 3.0, 110.0), 0.03),
        assessment=draw_by(rng, "findings", "assessment", assessments, serious.astype(np.int8)),
        other_cancer=draw(rng, "findings", "other_cancer", setting("finding", "other_cancer"), count),
    )
    # Category 6 is known cancer: it is never given where the biopsy does not show one.
    known_cancer = found["assessment"] == code("findings", "assessment", "6")
    highest = code("findings", "assessment", "5")
    found["assessment"] = np.where(
        known_cancer & ~is_malignant(first["diagnosis"]), highest, found["assessment"]
    )
    found["correlate"] = blank(rng, found["correlate"], 0.04)
    found["nipple_distance_mm"] = np.minimum(found["nipple_distance_mm"], 180.0)
    return Columns(found, **_uptake(setting, rng, found, first))


def _by_kind(
    setting: Setting, name: str, kinds: dict[str, str], default: str | None = None
) -> list[dict[str, float]]:
    return [setting("finding", name, kinds.get(guidance, default or guidance)) for guidance in GUIDANCES]


def write_findings(folder: Path, found: Columns) -> None:
    """findings.csv."""
    own = {name: array for name, array in found.items() if name not in ("patient", "serious", "suv")}
    tables.write(
        folder,
        "findings",
        {
            **own,
            "finding_id": tables.identifiers("F", np.arange(found.rows)),
            "patient_id": tables.identifiers("P", found["patient"]),
        },
    )
