"""The pathology table: versions of each report, and what they say."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from synthetic_data import tables, tissue
from synthetic_data.columns import NO_DAY, Columns, Rng, blank, code, codes, draw, draw_by, pick, stack
from synthetic_data.results import DIAGNOSES, HIGH_RISK, IN_SITU, INVASIVE, lesion_names
from synthetic_data.setting import Setting
from synthetic_data.verdicts import AMENDED, BY_CONTAINER, PLAIN, PRELIMINARY, RECEPTORS, REPLACED, RETRACTED

PATHOLOGISTS = ("PA01", "PA02", "PA03", "PA04", "PA05")
_PATHOLOGIST_SHARES = [0.30, 0.25, 0.20, 0.15, 0.10]
_B_CATEGORY = ("B1", "B1", "B2", "B3", "B4", "B5a", "B5b", "B5d")
#: ICD-O-3 morphology, from memory; lesions without a code of their own have none.
_MORPHOLOGY = {
    "fibroadenoma": "9010/0",
    "papilloma": "8503/0",
    "phyllodes": "9020/1",
    "lcis_classic": "8520/2",
    "lcis_pleomorphic_florid": "8519/2",
    "dcis": "8500/2",
    "ductal": "8500/3",
    "lobular": "8520/3",
    "tubular": "8211/3",
    "mucinous": "8480/3",
    "papillary_carcinoma": "8503/3",
    "lymphoma": "9680/3",
    "metastasis": "8000/6",
}
_MORPHOLOGIES = sorted(set(_MORPHOLOGY.values()))
_OTHER_LESIONS = ("usual_hyperplasia", "fibrocystic;columnar_cell_change", "cyst")
_ATYPIA = {"adh": 1.0, "alh": 1.0, "lcis_classic": 1.0, "fea": 1.0, "papilloma": 0.15, "radial_scar": 0.10}
_CONCLUSIONS = {
    "insufficient": (
        "Scant fat and blood; no assessable breast tissue.",
        "Crushed fragments, not sufficient for diagnosis.",
    ),
    "normal": (
        "Breast lobules and stroma within normal limits.",
        "Normal breast tissue; no lesion seen in the levels examined.",
    ),
    "benign": (
        "Benign breast tissue; the changes named above, without atypia.",
        "Benign. No atypia and no malignancy in the material received.",
        "Benign changes; correlate with the imaging finding.",
    ),
    "high_risk": (
        "Lesion of uncertain malignant potential; discussion at the meeting is advised.",
        "Uncertain malignant potential. No invasive growth in the material received.",
    ),
    "suspicious": ("Suspicious cells in a small focus; a definite diagnosis is not possible here.",),
    "in_situ": (
        "Carcinoma in situ; no invasion seen in these cores.",
        "In situ carcinoma with calcifications in part of the cores.",
    ),
    "invasive": ("Invasive carcinoma; receptor status as listed.", "Invasive carcinoma in several cores."),
    "other_malignant": ("Malignant infiltrate that is not of breast epithelium; further typing as listed.",),
}


def _part(
    rows: Columns,
    chosen: np.ndarray,
    report: np.ndarray,
    *,
    version: int,
    status: str,
    on: np.ndarray,
    diagnosis: np.ndarray,
) -> Columns:
    """One version of a report for the chosen procedures."""
    number = np.flatnonzero(chosen)
    return Columns(
        procedure=number,
        report=report[number],
        specimen=np.full(number.shape[0], -1),
        version=np.full(number.shape[0], version),
        status=np.full(number.shape[0], code("pathology", "status", status)),
        reported_on=on[number],
        diagnosis=diagnosis[number],
        lesion=np.where(diagnosis == rows["diagnosis"], rows["lesion_name"], -2)[number],
    )


def _report_numbers(rows: Columns) -> np.ndarray:
    """One report for all targets of a visit where they were reported alike, for half of the patients."""
    number = np.arange(rows.rows)
    alike = (rows["pattern"] == PLAIN) & (rows["reported_on"] > NO_DAY) & (rows["patient"] % 2 == 0)
    visit = np.where(alike, rows["patient"] * 100_000 + rows["day"], -1 - number)
    _, first, inverse = np.unique(visit, return_index=True, return_inverse=True)
    same_day = rows["reported_on"][first][inverse] == rows["reported_on"]
    return np.where(same_day, first[inverse], number)


def _by_container(setting: Setting, rows: Columns, box: Columns, report: np.ndarray) -> Columns:
    """A row per container; one of them holds the worst diagnosis."""
    procedure = box["procedure"]
    worst = tissue.worst_container(setting, box, rows.rows)
    chosen = _has_container_rows(rows, box)[procedure]
    number = np.flatnonzero(chosen)
    of = procedure[number]
    diagnosis = np.where(worst[of] == number, rows["diagnosis"][of], tissue.lesser(rows["diagnosis"][of]))
    return Columns(
        procedure=of,
        report=report[of],
        specimen=number,
        version=np.ones(number.shape[0], dtype=np.int64),
        status=np.full(number.shape[0], code("pathology", "status", "final")),
        reported_on=rows["reported_on"][of],
        diagnosis=diagnosis,
        lesion=np.where(diagnosis == rows["diagnosis"][of], rows["lesion_name"][of], -2),
    )


def _has_container_rows(rows: Columns, box: Columns) -> np.ndarray:
    several = np.bincount(box["procedure"], minlength=rows.rows) > 1
    return several & (rows["pattern"] == BY_CONTAINER) & (rows["reported_on"] > NO_DAY)


def _versions(setting: Setting, rows: Columns, box: Columns) -> Columns:
    """All rows of pathology.csv, ordered by procedure, report, container and version."""
    pattern, on, final = rows["pattern"], rows["reported_on"], rows["diagnosis"]
    report = _report_numbers(rows)
    again = report + rows.rows
    split = _has_container_rows(rows, box)
    plain = (on > NO_DAY) & ~split & ((pattern == PLAIN) | (pattern == BY_CONTAINER))
    early, late = (
        (pattern == PRELIMINARY) & (rows["preliminary_on"] > NO_DAY),
        (pattern == PRELIMINARY) & (on > NO_DAY),
    )
    amended = ((pattern == AMENDED) | (pattern == RECEPTORS)) & (on > NO_DAY)
    voided = ((pattern == REPLACED) | (pattern == RETRACTED)) & (rows["voided_on"] > NO_DAY)
    replaced = (pattern == REPLACED) & (on > NO_DAY)
    parts = [
        _part(rows, plain, report, version=1, status="final", on=on, diagnosis=final),
        _part(
            rows, early, report, version=1, status="preliminary", on=rows["preliminary_on"], diagnosis=final
        ),
        _part(rows, late, report, version=2, status="final", on=on, diagnosis=final),
        _part(rows, amended, report, version=1, status="final", on=on, diagnosis=rows["first_diagnosis"]),
        _part(rows, amended, report, version=2, status="amended", on=rows["changed_on"], diagnosis=final),
        _part(rows, voided, report, version=1, status="final", on=rows["voided_on"], diagnosis=final),
        _part(rows, voided, report, version=2, status="retracted", on=rows["changed_on"], diagnosis=final),
        _part(rows, replaced, again, version=1, status="final", on=on, diagnosis=final),
        _by_container(setting, rows, box, report),
    ]
    found = stack(parts)
    return found.at(np.lexsort((found["version"], found["specimen"], found["report"], found["procedure"])))


def _receptors(rng: Rng, version: Columns, waiting: np.ndarray) -> dict[str, np.ndarray]:
    """Receptors of carcinomas; not done yet in a first version that is amended for them."""
    diagnosis, kept = version["diagnosis"], _same_as_before(version)
    kept = np.where(waiting[kept], np.arange(version.rows), kept)
    columns = {}
    for name, shares in (
        ("er", [0.80, 0.17, 0.03]),
        ("pr", [0.68, 0.29, 0.03]),
        ("her2", [0.13, 0.76, 0.08, 0.03]),
    ):
        value = pick(rng, shares, version.rows)[kept]
        value = np.where(waiting, code("pathology", name, "not_done"), value)
        applies = (
            diagnosis == INVASIVE if name == "her2" else (diagnosis == IN_SITU) | (diagnosis == INVASIVE)
        )
        columns[name] = np.where(applies, value, -1)
    return columns


def _same_as_before(version: Columns) -> np.ndarray:
    """For each row the row whose wording it keeps: a later version that changes nothing keeps the first."""
    number = np.arange(version.rows)
    before = np.maximum(number - 1, 0)
    kept = (version["version"] > 1) & (version["diagnosis"] == version["diagnosis"][before])
    return np.where(kept, before, number)


def _conclusion(rng: Rng, diagnosis: np.ndarray) -> np.ndarray:
    """Number of a sentence that suits the diagnosis, in the order of the list of all sentences."""
    variants = np.array([len(_CONCLUSIONS[name]) for name in DIAGNOSES])
    first = np.cumsum(variants) - variants
    return first[diagnosis] + np.floor(rng.random(diagnosis.shape[0]) * variants[diagnosis]).astype(np.int64)


def _calcified(rng: Rng, rows: Columns, found: Columns, procedure: np.ndarray) -> np.ndarray:
    target = found["finding_type"][rows["finding"]] == code("findings", "finding_type", "calcifications")
    weights = [{"yes": 0.10, "no": 0.45, "not_stated": 0.45}, {"yes": 0.95, "no": 0.03, "not_stated": 0.02}]
    return draw_by(rng, "pathology", "calcifications", weights, target[procedure].astype(np.int8))


def _lesion_codes(rng: Rng, diagnosis: np.ndarray, lesion: np.ndarray) -> dict[str, np.ndarray]:
    """Morphology (as a number in the sorted list of codes) and atypia that go with a lesion."""
    listed = codes("pathology", "lesion")
    of_lesion = np.array(
        [_MORPHOLOGIES.index(_MORPHOLOGY[name]) if name in _MORPHOLOGY else -1 for name in listed]
    )
    chance = np.array([_ATYPIA.get(name, 0.0) for name in listed])
    atypia = np.where(rng.random(lesion.shape[0]) < chance[lesion], 0, 1)
    morphology = np.where(lesion >= 0, of_lesion[lesion], -1)
    return {
        "morphology": blank(rng, morphology, 0.02),
        "atypia": np.where(diagnosis == HIGH_RISK, atypia, -1),
    }


def _what_it_says(
    setting: Setting, rng: Rng, rows: Columns, found: Columns, version: Columns
) -> dict[str, tables.Column]:
    diagnosis, count, procedure = version["diagnosis"], version.rows, version["procedure"]
    drawn = lesion_names(setting, rng, diagnosis)
    lesion = np.where(version["lesion"] == -2, drawn, version["lesion"])
    grade = draw(rng, "pathology", "grade", {"1": 0.22, "2": 0.48, "3": 0.30}, count)
    graded = (diagnosis == IN_SITU) | (diagnosis == INVASIVE)
    categories = np.array([code("pathology", "b_category", name) for name in _B_CATEGORY])
    said = {
        "b_category": blank(rng, categories[diagnosis], 0.03),
        "lesion": lesion,
        **_lesion_codes(rng, diagnosis, lesion),
        "other_lesions": _others(rng, diagnosis),
        "explains_finding": _explains(rng, (rows["discordant"] == 1)[procedure], diagnosis),
        "grade": np.where(graded, blank(rng, grade, 0.03), -1),
        "calcifications": _calcified(rng, rows, found, procedure),
        "conclusion": blank(rng, _conclusion(rng, diagnosis), 0.02),
    }
    kept = _same_as_before(version)
    columns: dict[str, tables.Column] = {name: array[kept] for name, array in said.items()}
    texts = [text for name in DIAGNOSES for text in _CONCLUSIONS[name]]
    for name, listed in (
        ("morphology", _MORPHOLOGIES),
        ("other_lesions", _OTHER_LESIONS),
        ("conclusion", texts),
    ):
        columns[name] = tables.chosen(listed, said[name][kept])
    return {**columns, "diagnosis": diagnosis}


def _others(rng: Rng, diagnosis: np.ndarray) -> np.ndarray:
    some = (diagnosis > DIAGNOSES.index("normal")) & (rng.random(diagnosis.shape[0]) < 0.18)
    return np.where(some, pick(rng, [0.5, 0.3, 0.2], diagnosis.shape[0]), -1)


def _explains(rng: Rng, discordant: np.ndarray, diagnosis: np.ndarray) -> np.ndarray:
    weights = [
        {"main": 0.82, "other": 0.02, "none": 0.01, "not_stated": 0.15},
        {"main": 0.25, "none": 0.30, "not_stated": 0.45},
    ]
    drawn = draw_by(rng, "pathology", "explains_finding", weights, discordant.astype(np.int8))
    return np.where(
        diagnosis == DIAGNOSES.index("insufficient"), code("pathology", "explains_finding", "none"), drawn
    )


def write(folder: Path, setting: Setting, rows: Columns, found: Columns, box: Columns) -> None:
    """pathology.csv."""
    rng = setting.stream("pathology")
    version = _versions(setting, rows, box)
    early = version["status"] == code("pathology", "status", "preliminary")
    waits_for_receptors = (rows["pattern"] == RECEPTORS)[version["procedure"]] & (version["version"] == 1)
    work = np.where(
        early,
        draw(
            rng,
            "pathology",
            "further_work",
            {"levels": 0.4, "stains": 0.5, "second_opinion": 0.1},
            version.rows,
        ),
        -1,
    )
    work = np.where(waits_for_receptors, code("pathology", "further_work", "stains"), work)
    pathologist = pick(rng, _PATHOLOGIST_SHARES, rows.rows)[version["procedure"]]
    columns: dict[str, tables.Column] = {
        **_what_it_says(setting, rng, rows, found, version),
        **_receptors(rng, version, waits_for_receptors),
        "report_id": tables.identifiers("R", version["report"]),
        "version": version["version"],
        "status": version["status"],
        "procedure_id": tables.identifiers("B", version["procedure"]),
        "specimen_id": tables.identifiers("S", version["specimen"]),
        "reported_on": version["reported_on"],
        "pathologist": tables.chosen(PATHOLOGISTS, pathologist),
        "further_work": work,
    }
    tables.write(folder, "pathology", columns)
