"""The reviews table: what the radiologist and the meeting decided."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from synthetic_data import equipment, steps, tables
from synthetic_data.columns import NO_DAY, Columns, Rng, blank, code, codes, draw, pick, stack
from synthetic_data.reports import PATHOLOGISTS
from synthetic_data.results import COMPLETED, HIGH_RISK, INSUFFICIENT, SUSPICIOUS, is_malignant
from synthetic_data.setting import Setting
from synthetic_data.verdicts import meeting_from
from synthetic_data.visits import is_tracer

_PROVISIONAL, _UNDECIDED, _DECIDED, _AGAIN, _AMENDED, _NOT_SAMPLED = range(6)
#: Readings of a past case for the audit of agreement, by one radiologist after another.
_READINGS = (6, 7, 8)
_ROLES = ("radiologist", "surgeon", "coordinator")
_NOTES = (
    "Images and slides seen side by side.",
    "Uptake in the target remains unexplained; dissent recorded.",
    "Aperture beside the target on the verification scan.",
    "Opinions differed; the safer step was chosen.",
)
#: Days until a recommended step is due: soon after a discordant review, else at the first visit.
_DUE_SOON, _DUE_LATER = 30, 183


def _determination(value: str) -> int:
    return code("reviews", "determination", value)


def _management(value: str) -> int:
    return code("reviews", "management", value)


def _part(kind: int, days: np.ndarray, determination: np.ndarray | int) -> Columns:
    number = np.flatnonzero(days > NO_DAY)
    value = np.broadcast_to(np.asarray(determination), days.shape)
    return Columns(
        procedure=number,
        kind=np.full(number.shape[0], kind),
        reviewed_on=days[number],
        determination=value[number],
    )


def _is_joint(review: Columns) -> np.ndarray:
    return ~np.isin(review["kind"], (_PROVISIONAL, *_READINGS))


def _given_up_on(setting: Setting, rng: Rng, rows: Columns) -> np.ndarray:
    """Day on which the meeting looks at some of the biopsies that took no tissue."""
    looked = (rows["status"] != COMPLETED) & (
        rng.random(rows.rows) < float(setting("review", "not_sampled_reviewed"))
    )
    return np.where(looked, setting.known(meeting_from(rows["day"] + 1, rows["site"])), NO_DAY)


def _provisional_on(setting: Setting, rng: Rng, rows: Columns) -> np.ndarray:
    some = (rows["reported_on"] > NO_DAY) & (rng.random(rows.rows) < float(setting("review", "provisional")))
    return np.where(some, setting.known(rows["reported_on"] + rng.integers(0, 3, rows.rows)), NO_DAY)


def _called(setting: Setting, rng: Rng, discordant: np.ndarray) -> np.ndarray:
    """What a radiologist alone says of cases that the meeting called discordant or not."""
    differs = rng.random(discordant.shape[0]) < np.where(
        discordant,
        float(setting("review", "alone_concordant")),
        float(setting("review", "alone_discordant")),
    )
    return np.where(discordant ^ differs, _determination("discordant"), _determination("concordant"))


def _read_again(setting: Setting, rng: Rng, rows: Columns) -> list[Columns]:
    """Two readings, and sometimes a third, of some of the decided cases, months after the meeting."""
    chance = rng.random(rows.rows)
    parts = []
    for place, kind in enumerate(_READINGS):
        share = float(setting("review", "read_again" if place < 2 else "read_by_a_third"))
        chosen = (rows["decided_on"] > NO_DAY) & (chance < share)
        on = setting.known(rows["decided_on"] + rng.integers(60, 200, rows.rows))
        parts.append(
            _part(kind, np.where(chosen, on, NO_DAY), _called(setting, rng, rows["discordant"] == 1))
        )
    return parts


def _reviews(setting: Setting, rng: Rng, rows: Columns) -> Columns:
    """All reviews by procedure and day."""
    alone = setting.stream("readings")
    concordant, discordant = _determination("concordant"), _determination("discordant")
    first = np.where(rows["discordant"] == 1, discordant, concordant)
    undecided = _determination("indeterminate")
    parts = [
        _part(
            _PROVISIONAL,
            _provisional_on(setting, rng, rows),
            _called(setting, alone, rows["discordant"] == 1),
        ),
        _part(_UNDECIDED, rows["undecided_on"], undecided),
        _part(_DECIDED, rows["decided_on"], first),
        _part(_AGAIN, rows["again_on"], concordant),
        _part(_AMENDED, rows["after_amendment_on"], concordant),
        _part(_NOT_SAMPLED, _given_up_on(setting, rng, rows), _determination("not_applicable")),
        *_read_again(setting, alone, rows),
    ]
    found = stack(parts)
    return found.at(np.lexsort((found["kind"], found["reviewed_on"], found["procedure"])))


def _after_concordant(rng: Rng, rows: Columns, diagnosis: np.ndarray) -> np.ndarray:
    """Recommendation after a concordant result: treatment, a second step, or follow-up."""
    count, step = rows.rows, rows["step"]
    quiet = draw(
        rng, "reviews", "management", {"routine_screening": 0.45, "short_interval_imaging": 0.55}, count
    )
    same = _management("same_tracer_imaging")
    quiet = np.where(is_tracer(rows["guidance"]) & (rng.random(count) < 0.5), same, quiet)
    watch = draw(rng, "reviews", "management", {"surveillance": 0.7, "surgical_opinion": 0.3}, count)
    planned = ~rows["detected"]
    value = np.where(diagnosis == HIGH_RISK, watch, quiet)
    value = np.where(diagnosis == SUSPICIOUS, _management("excision"), value)
    value = np.where(diagnosis == INSUFFICIENT, _management("repeat_biopsy"), value)
    value = np.where(planned & (step == steps.EXCISION), _management("excision"), value)
    repeat = np.where(diagnosis == HIGH_RISK, _management("vacuum_excision"), _management("repeat_biopsy"))
    soon = (
        planned
        & (step == steps.REPEAT)
        & (rows["step_reason"] != code("procedures", "repeat_reason", "imaging_change"))
    )
    value = np.where(soon, repeat, value)
    treated = draw(rng, "reviews", "management", {"treatment": 0.85, "surgical_opinion": 0.15}, count)
    return np.where(is_malignant(diagnosis), treated, value)


def _after_discordant(rng: Rng, rows: Columns) -> np.ndarray:
    """Recommendation after a discordant result: always an action."""
    value = draw(
        rng,
        "reviews",
        "management",
        {"repeat_biopsy": 0.6, "surgical_opinion": 0.3, "vacuum_excision": 0.1},
        rows.rows,
    )
    value = np.where(rows["step"] == steps.REPEAT, _management("repeat_biopsy"), value)
    return np.where(rows["step"] == steps.EXCISION, _management("excision"), value)


def _recommendation(rng: Rng, rows: Columns, review: Columns) -> np.ndarray:
    of = rows.at(review["procedure"])
    seen = np.where(review["kind"] == _AMENDED, of["diagnosis"], of["first_diagnosis"])
    open_question = draw(
        rng, "reviews", "management", {"pathology_review": 0.65, "other_imaging": 0.35}, review.rows
    )
    unseen = draw(
        rng, "reviews", "management", {"same_tracer_imaging": 0.6, "short_interval_imaging": 0.4}, review.rows
    )
    value = np.where(
        review["determination"] == _determination("discordant"),
        _after_discordant(rng, of),
        _after_concordant(rng, of, seen),
    )
    value = np.where(review["determination"] == _determination("indeterminate"), open_question, value)
    return np.where(review["determination"] == _determination("not_applicable"), unseen, value)


def _reason(setting: Setting, rng: Rng, rows: Columns, review: Columns) -> np.ndarray:
    discordant = draw(rng, "reviews", "reason", setting("review", "reason", "discordant"), review.rows)
    elsewhere = ~is_tracer(rows["guidance"])[review["procedure"]]
    no_scan = elsewhere & (discordant == code("reviews", "reason", "no_uptake_in_specimen"))
    discordant = np.where(no_scan, code("reviews", "reason", "imaging_more_suspicious"), discordant)
    scant = rows["first_diagnosis"][review["procedure"]] == INSUFFICIENT
    discordant = np.where(scant, code("reviews", "reason", "insufficient_tissue"), discordant)
    undecided = draw(rng, "reviews", "reason", setting("review", "reason", "indeterminate"), review.rows)
    value = np.where(review["determination"] == _determination("discordant"), discordant, -1)
    return np.where(review["determination"] == _determination("indeterminate"), undecided, value)


def _later(setting: Setting, chosen: np.ndarray, day: np.ndarray) -> np.ndarray:
    """Days of what has happened; missing for the rest and for what lies after the end."""
    return np.where(chosen, setting.known(day), NO_DAY)


def _dates(
    setting: Setting, rng: Rng, rows: Columns, review: Columns, management: np.ndarray
) -> dict[str, np.ndarray]:
    """When the step is due, booked or declined, and when the patient was told."""
    count, on, of = review.rows, review["reviewed_on"], rows.at(review["procedure"])
    joint = _is_joint(review)
    discordant = review["determination"] == _determination("discordant")
    listed = codes("reviews", "management")
    acts = np.isin(
        management,
        [listed.index(name) for name in ("repeat_biopsy", "vacuum_excision", "excision", "treatment")],
    )
    booked = joint & acts & (of["step"] != steps.NOTHING) & (of["step_on"] >= on) & ~of["detected"]
    idle = joint & discordant & (of["step"] == steps.NOTHING) & (of["again_on"] == NO_DAY)
    quiet = joint & (management <= listed.index("other_imaging"))
    due = on + np.where(quiet, _DUE_LATER, _DUE_SOON)
    return {
        "due_on": _later(setting, joint & (rng.random(count) < 0.8), due),
        "booked_for": _later(setting, booked & (rng.random(count) < 0.95), of["step_on"]),
        "declined_on": _later(setting, idle & (rng.random(count) < 0.6), on + rng.integers(3, 25, count)),
        "informed_on": _later(
            setting, joint & (rng.random(count) < 0.9), setting.open_from(on + rng.integers(1, 8, count))
        ),
    }


def write(folder: Path, setting: Setting, rows: Columns) -> None:
    """reviews.csv."""
    rng = setting.stream("reviews")
    review = _reviews(setting, rng, rows)
    count, procedure = review.rows, review["procedure"]
    joint = _is_joint(review)
    management = _recommendation(rng, rows, review)
    radiologists = (*setting("review", "radiologists"), *setting.operators)
    operator = len(radiologists) - len(setting.operators) + rows["operator"][procedure]
    # Readers take turns; who calls everything the same is none of them.
    readers = len(setting("review", "radiologists")) - 1
    alone = np.where(
        review["kind"] == _PROVISIONAL, operator, (procedure + review["kind"] - _READINGS[0]) % readers
    )
    meeting = equipment.meeting_number(
        setting, rows["site"][procedure], np.where(joint, review["reviewed_on"], NO_DAY)
    )
    noted = (review["determination"] == _determination("discordant")) & (rng.random(count) < 0.5)
    # The reviewer of one category never looks at biopsies that took no tissue.
    one_category = list(setting("review", "radiologists")).index(
        setting("review", "one_category_radiologist")
    )
    seen_by = rows["reviewer"][procedure]
    seen_by = np.where((review["kind"] == _NOT_SAMPLED) & (seen_by == one_category), 0, seen_by)
    columns: dict[str, tables.Column] = {
        **_dates(setting, rng, rows, review, management),
        "review_id": tables.identifiers("V", np.arange(count)),
        "procedure_id": tables.identifiers("B", procedure),
        "meeting_id": tables.identifiers("M", blank(rng, meeting, 0.03), 5),
        "reviewed_on": review["reviewed_on"],
        "stage": np.where(joint, code("reviews", "stage", "joint"), code("reviews", "stage", "provisional")),
        "radiologist": tables.chosen(radiologists, np.where(joint, seen_by, alone)),
        "pathologist": tables.chosen(
            PATHOLOGISTS, np.where(joint, pick(rng, [0.30, 0.25, 0.20, 0.15, 0.10], count), -1)
        ),
        "determination": review["determination"],
        "reason": _reason(setting, rng, rows, review),
        "own_view_first": np.where(joint, blank(rng, pick(rng, [0.75, 0.25], count), 0.15), -1),
        "management": management,
        "responsible": tables.chosen(_ROLES, blank(rng, pick(rng, [0.35, 0.30, 0.35], count), 0.15)),
        "note": tables.chosen(_NOTES, np.where(noted, pick(rng, [0.25, 0.30, 0.20, 0.25], count), -1)),
    }
    tables.write(folder, "reviews", columns)
