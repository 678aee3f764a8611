"""Corrections that stored rows contradict, one for each check that looks at other rows.

Each entry stores a valid record, then sends one corrected row of it. Days and limits are those
of the valid rows of ``tests.build``: biopsy on 2025-03-10 at 09:30, injection at 08:20, report
on 2025-03-14, review on 2025-03-20, follow-up on 2026-03-12.
"""

from __future__ import annotations

from typing import NamedTuple

from tests.intake.offending import ABANDONED, LATER, OTHER, REPEAT, Cells, Change, same_day


class Correction(NamedTuple):
    """What is stored beside the valid rows, the correction, and what it must say."""

    stored: Change
    sent: dict[str, Cells]
    column: str
    rows: int = 1
    beside: frozenset[str] = frozenset()


_P1: Cells = {"procedure_id": "P1"}
_F2: Cells = {"finding_id": "F2"}
#: A second finding in the other breast, with a procedure.
RIGHT: Change = {
    "findings": [_F2 | {"laterality": "R"}],
    "procedures": [LATER | {"finding_id": "F2"}],
}
#: A second patient, whose finding and procedure are those of another person.
ELSEWHERE: Change = {**OTHER, "procedures": [LATER | {"finding_id": "F2"}]}
DIED: Cells = {"patient_id": "PAT2", "death_date": "2025-03-09"}
CHILD: Cells = {"patient_id": "PAT2", "birth_date": "2016-05-17"}

CORRECTIONS: dict[str, list[Correction]] = {
    "complications_before_procedure": [
        Correction(
            {
                "complications": [{"complication_id": "C2", "procedure_id": "P2", "onset_on": "2025-04-11"}],
                "procedures": [LATER],
            },
            {"procedures": {"procedure_id": "P2", "started_at": "2025-04-12T09:30"}},
            "started_at",
        )
    ],
    "followup_before_procedure": [
        Correction(
            {
                "followup": [{"event_id": "E2", "procedure_id": "P2", "happened_on": "2025-09-01"}],
                "procedures": [LATER],
            },
            {"procedures": {"procedure_id": "P2", "started_at": "2025-09-02T09:30"}},
            "started_at",
        )
    ],
    "pathology_before_procedure": [
        Correction(
            {
                "pathology": [{"report_id": "R2", "procedure_id": "P2", "reported_on": "2025-04-14"}],
                "procedures": [LATER],
            },
            {"procedures": {"procedure_id": "P2", "started_at": "2025-04-15T00:00"}},
            "started_at",
        )
    ],
    "pathology_late": [
        # 2025-02-21 and 365 days is 2026-02-21.
        Correction(
            {
                "pathology": [{"report_id": "R2", "procedure_id": "P2", "reported_on": "2026-02-22"}],
                "procedures": [LATER],
            },
            {"procedures": {"procedure_id": "P2", "started_at": "2025-02-21T09:30"}},
            "started_at",
        )
    ],
    "pathology_other_procedure": [
        Correction(
            {
                "procedures": [LATER],
                "specimens": [{"specimen_id": "S3", "taken_order": "3", "cores": "0"}],
                "pathology": [{"report_id": "R2", "specimen_id": "S3"}],
            },
            {
                "specimens": {
                    "specimen_id": "S3",
                    "procedure_id": "P2",
                    "scan_at": "2025-04-10T10:30",
                    "read_at": "2025-04-10T10:45",
                }
            },
            "procedure_id",
        )
    ],
    "pathology_without_tissue": [
        Correction(
            {
                "pathology": [{"report_id": "R2", "procedure_id": "P2", "reported_on": "2025-04-14"}],
                "procedures": [LATER],
            },
            {
                "procedures": {
                    "procedure_id": "P2",
                    "status": "cancelled",
                    "status_reason": "patient",
                    "cores": None,
                }
            },
            "status",
        )
    ],
    "procedures_accession_two_patients": [
        Correction(
            {
                "patients": [{"patient_id": "PAT2"}],
                "findings": [_F2],
                "procedures": [LATER | {"finding_id": "F2", "accession": "ACC1"}],
            },
            {"findings": _F2 | {"patient_id": "PAT2"}},
            "patient_id",
            # Both procedures share the number, and one of them moves to the other patient.
            rows=1,
        )
    ],
    "procedures_after_death": [
        Correction(
            {
                "patients": [{"patient_id": "PAT2", "death_date": "2025-03-01"}],
                **{k: RIGHT[k] for k in RIGHT},
            },
            {"findings": _F2 | {"patient_id": "PAT2"}},
            "patient_id",
        )
    ],
    "procedures_age_from_birth": [
        Correction(
            {"patients": [CHILD], **{k: RIGHT[k] for k in RIGHT}},
            {"findings": _F2 | {"patient_id": "PAT2"}},
            "patient_id",
        )
    ],
    "procedures_age_unusual": [
        Correction({}, {"patients": {"patient_id": "PAT1", "birth_date": "2010-05-17"}}, "birth_date")
    ],
    "procedures_marker_shape_repeated": [
        Correction(
            {
                "findings": RIGHT["findings"],
                "procedures": [LATER | {"finding_id": "F2", "marker": "placed", "marker_shape": "coil"}],
            },
            {"findings": _F2 | {"laterality": "L"}},
            "laterality",
        )
    ],
    "procedures_repeat_not_earlier": [
        Correction(
            {
                "procedures": [
                    LATER,
                    LATER
                    | REPEAT
                    | {
                        "procedure_id": "P3",
                        "accession": "ACC3",
                        "repeat_of": "P2",
                        "started_at": "2025-05-10T09:30",
                    },
                ]
            },
            {"procedures": {"procedure_id": "P2", "started_at": "2025-05-10T09:30"}},
            "started_at",
        )
    ],
    "procedures_repeat_other_breast": [
        # The repeat itself stands at another finding of the same breast, which turns out to be the other.
        Correction(
            {"findings": [_F2], "procedures": [LATER | REPEAT | {"finding_id": "F2"}]},
            {"findings": _F2 | {"laterality": "R"}},
            "laterality",
        ),
        # So does the finding of the procedure that was repeated.
        Correction(
            {"findings": [_F2], "procedures": [LATER | REPEAT | {"finding_id": "F2"}]},
            {"findings": {"finding_id": "F1", "laterality": "R"}},
            "laterality",
        ),
        # Or the repeated procedure moves to a finding of the other breast.
        Correction(
            {
                "findings": [_F2, _F2 | {"finding_id": "F3", "laterality": "R"}],
                "procedures": [
                    LATER,
                    LATER
                    | REPEAT
                    | {
                        "procedure_id": "P3",
                        "accession": "ACC3",
                        "finding_id": "F2",
                        "repeat_of": "P2",
                        "started_at": "2025-05-10T09:30",
                    },
                ],
            },
            {"procedures": {"procedure_id": "P2", "finding_id": "F3"}},
            "finding_id",
        ),
    ],
    "procedures_started_before_found": [
        Correction(
            {},
            {"findings": {"finding_id": "F1", "found_on": "2025-03-11", "biopsy_advised_on": "2025-03-11"}},
            "found_on",
        )
    ],
    "procedures_too_many_targets": [
        Correction(
            {
                **OTHER,
                "procedures": [
                    *same_day(6),
                    LATER
                    | {
                        "procedure_id": "P7",
                        "accession": "ACC7",
                        "finding_id": "F2",
                        "started_at": "2025-03-10T09:30",
                    },
                ],
            },
            {"findings": _F2 | {"patient_id": "PAT1"}},
            "patient_id",
        )
    ],
    "reviews_before_procedure": [
        Correction(
            {
                "procedures": [ABANDONED],
                "reviews": [
                    {
                        "review_id": "V2",
                        "procedure_id": "P2",
                        "reviewed_on": "2025-04-20",
                        "determination": "not_applicable",
                    }
                ],
            },
            {"procedures": {"procedure_id": "P2", "started_at": "2025-04-21T09:30"}},
            "started_at",
        )
    ],
    "reviews_before_report": [
        Correction(
            {},
            {
                "pathology": {
                    "report_id": "R1",
                    "procedure_id": "P1",
                    "version": "1",
                    "reported_on": "2025-03-21",
                }
            },
            "reported_on",
        )
    ],
    "reviews_not_applicable": [
        Correction(
            {
                "procedures": [ABANDONED],
                "pathology": [{"report_id": "R2", "procedure_id": "P2", "reported_on": "2025-04-14"}],
                "reviews": [
                    {
                        "review_id": "V2",
                        "procedure_id": "P2",
                        "reviewed_on": "2025-04-20",
                        "determination": "not_applicable",
                    }
                ],
            },
            {
                "procedures": {
                    "procedure_id": "P2",
                    "status": "completed",
                    "cores": "6",
                    "status_reason": None,
                }
            },
            "status",
        )
    ],
    "reviews_without_report": [
        Correction(
            {
                "procedures": [ABANDONED],
                "reviews": [{"review_id": "V2", "procedure_id": "P2", "reviewed_on": "2025-04-20"}],
            },
            {
                "procedures": {
                    "procedure_id": "P2",
                    "status": "completed",
                    "cores": "6",
                    "status_reason": None,
                }
            },
            "status",
        )
    ],
    "specimens_late_scan": [
        # Scanned on 2025-03-10 at 10:30; twelve hours earlier is 22:30 of the day before.
        Correction({}, {"procedures": _P1 | {"injected_at": "2025-03-09T22:29"}}, "injected_at")
    ],
    "specimens_more_cores_than_taken": [
        Correction({}, {"procedures": _P1 | {"cores": "11"}}, "cores", rows=2)
    ],
    "specimens_of_no_tissue": [
        Correction(
            {
                "procedures": [LATER],
                "specimens": [{"specimen_id": "S3", "procedure_id": "P2", "scan_at": None, "read_at": None}],
            },
            {
                "procedures": {
                    "procedure_id": "P2",
                    "status": "cancelled",
                    "status_reason": "patient",
                    "cores": None,
                }
            },
            "status",
        ),
        Correction(
            {
                "procedures": [LATER],
                "specimens": [
                    {
                        "specimen_id": "S3",
                        "procedure_id": "P2",
                        "cores": None,
                        "scan_at": None,
                        "read_at": None,
                    }
                ],
            },
            {"procedures": {"procedure_id": "P2", "cores": "0"}},
            "cores",
            beside=frozenset({"specimens_more_cores_than_taken"}),
        ),
    ],
    "specimens_scan_before_procedure": [
        Correction(
            {},
            {"procedures": _P1 | {"started_at": "2025-03-10T10:31", "ended_at": "2025-03-10T11:00"}},
            "started_at",
        )
    ],
    "specimens_scanned_with_other": [
        Correction(
            {"procedures": [LATER]},
            {
                "specimens": {
                    "specimen_id": "S1",
                    "procedure_id": "P2",
                    "scan_at": "2025-04-10T10:30",
                    "read_at": "2025-04-10T10:45",
                }
            },
            "procedure_id",
        )
    ],
    "targeting_outside_breast": [
        Correction(
            {"targeting": [{"frame": "SUITE"}]},
            {"procedures": _P1 | {"compression_mm": "30"}},
            "compression_mm",
        )
    ],
}

#: Checks that look at other rows, and that no correction of another row can break.
NOT_BY_A_CORRECTION = {
    "patients_age_at_procedure": "a corrected finding or procedure breaks procedures_age_from_birth",
    "patients_death_before_procedure": "a corrected finding or procedure breaks procedures_after_death",
    "pathology_versions_not_consecutive": "report, procedure, container and version are the key",
    "targeting_attempts_not_consecutive": "procedure and attempt are the key",
    "procedures_age_missing": "the age of a stored procedure is stored",
    "procedures_repeat_cycle": "every circle holds the corrected procedure itself",
    "specimens_order_repeated": "one of the two is the corrected container itself",
}
