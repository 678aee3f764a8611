"""Rows that break one data check each, and the last values that do not.

A row is a valid row of ``tests.build`` with the few cells changed that the check is about;
``None`` empties a cell. Dates and limits are those of sql/dictionary.csv and of the
template of site.toml.
"""

from __future__ import annotations

from typing import NamedTuple

from tests.build import BASE

Cells = dict[str, str | None]
Change = dict[str, list[Cells]]


class Offending(NamedTuple):
    """Rows that break one check; ``at`` numbers those of the check's table that do.

    ``beside`` names rules that the same rows cannot but break too. ``together`` is False
    where the check looks at the whole batch or needs a row that was stored before.
    """

    change: Change
    at: tuple[int, ...] = (0,)
    beside: frozenset[str] = frozenset()
    together: bool = True


#: A second procedure of the same finding a month later, without marker and tracer times.
LATER: Cells = {
    "procedure_id": "P2",
    "accession": "ACC2",
    "started_at": "2025-04-10T09:30",
    "ended_at": None,
    "injected_at": None,
    "first_scan_at": None,
    "marker": "not_placed",
    "marker_shape": None,
}
#: The same, abandoned without tissue.
ABANDONED: Cells = LATER | {"status": "abandoned", "status_reason": "access", "cores": None}
#: A second patient with a finding.
OTHER: Change = {
    "patients": [{"patient_id": "PAT2"}],
    "findings": [{"finding_id": "F2", "patient_id": "PAT2"}],
}
#: Stored beforehand: a child of 8, and a patient who died on 1 June 2025, each with a finding.
STORED_TOO: Change = {
    "patients": [
        {"patient_id": "PAT8", "birth_date": "2016-05-17"},
        {"patient_id": "PAT9", "death_date": "2025-06-01"},
    ],
    "findings": [{"finding_id": "F8", "patient_id": "PAT8"}, {"finding_id": "F9", "patient_id": "PAT9"}],
}
#: Appended to site.toml: frames whose z, or whose x and y, are counted from the breast support.
_PLUS = 'x_plus = "lateral"\ny_plus = "cranial"\nz_plus = "posterior"\n'
FRAMES = f"\n[frames.SUITE]\n{_PLUS}z_min = 0\n[frames.SEAT]\n{_PLUS}x_min = 0\ny_min = 0\n"


def same_day(count: int, **cells: str) -> list[Cells]:
    """The first procedure and others of the same finding on the same day."""
    others = [
        LATER | {"procedure_id": f"P{n}", "accession": f"ACC{n}", "started_at": "2025-03-10T09:30"}
        for n in range(2, count + 1)
    ]
    return [one | cells for one in ({"marker": "not_placed", "marker_shape": None}, *others)]


def containers(count: int) -> list[Cells]:
    return [
        {
            "specimen_id": f"S{n}",
            "taken_order": str(n),
            "cores": "2",
            "scanned_with": None,
            "counts": "5400",
            "scan_seconds": "120",
        }
        for n in range(1, count + 1)
    ]


def placements(*per_procedure: int) -> Change:
    """Procedures P1, P2, ... with so many needle placements each."""
    rows = [
        {"procedure_id": f"P{p}", "attempt": str(n)}
        for p, count in enumerate(per_procedure, 1)
        for n in range(1, count + 1)
    ]
    return {"procedures": same_day(len(per_procedure)), "targeting": rows}


def copied() -> Change:
    change = placements(9, 1)
    for row in change["targeting"]:
        row.update({f"achieved_{axis}_mm": BASE["targeting"][0][f"planned_{axis}_mm"] for axis in "xyz"})
    return change


def one_in_cm() -> Change:
    """Depths of 31 to 50 mm and one of 4.2, which is 42 mm in cm."""
    change = placements(9, 9, 3)
    for n, row in enumerate(change["targeting"]):
        row["planned_z_mm"] = str(30 + n) if n else "4.2"
    return change


REPEAT = {"repeat_of": "P1", "repeat_reason": "discordant"}

OFFENDING: dict[str, Offending] = {
    "complications_before_procedure": Offending({"complications": [{"onset_on": "2025-03-09"}]}),
    "constancy_clock_missing": Offending({"constancy": [{"kind": "clock"}]}),
    "constancy_counts_missing": Offending({"constancy": [{"counts": None}]}),
    "constancy_error_missing": Offending(
        {"constancy": [{"kind": "targeting", "error_x_mm": "1", "error_y_mm": "1"}]}
    ),
    "constancy_seconds_missing": Offending({"constancy": [{"seconds": None}]}),
    "constancy_source_id_missing": Offending({"constancy": [{"source_id": None}]}),
    "findings_advised_before_found": Offending({"findings": [{"biopsy_advised_on": "2025-02-19"}]}),
    "findings_clock_and_region": Offending({"findings": [{"clock_position": "3", "region": "central"}]}),
    "followup_before_procedure": Offending({"followup": [{"happened_on": "2025-03-09"}]}),
    "followup_closure_reason_missing": Offending({"followup": [{"kind": "lost"}]}),
    "followup_contact_result_missing": Offending({"followup": [{"kind": "contact"}]}),
    "followup_diagnosis_missing": Offending({"followup": [{"kind": "excision"}]}),
    "followup_diagnosis_without_tissue": Offending({"followup": [{"diagnosis": "benign"}]}),
    "followup_modality_empty": Offending({"followup": [{"modality": None}]}),
    "followup_none_at_excision": Offending({"followup": [{"kind": "excision", "diagnosis": "none"}]}),
    "followup_outcome_missing": Offending({"followup": [{"imaging_outcome": None}]}),
    "meetings_closed_before_held": Offending({"meetings": [{"closed_at": "2025-03-19T18:00"}]}),
    "pathology_amended_first": Offending({"pathology": [{"status": "amended"}]}),
    "pathology_before_procedure": Offending({"pathology": [{"reported_on": "2025-03-09"}]}),
    "pathology_behaviour_and_diagnosis": Offending({"pathology": [{"morphology": "8500/3"}]}),
    "pathology_category_and_diagnosis": Offending({"pathology": [{"b_category": "B5"}]}),
    "pathology_grade_of_benign": Offending({"pathology": [{"grade": "2"}]}),
    # Biopsied on 2025-04-10: 365 days later is 2026-04-10.
    "pathology_late": Offending(
        {
            "procedures": [LATER],
            "pathology": [{"report_id": "R2", "procedure_id": "P2", "reported_on": "2026-04-11"}],
        }
    ),
    "pathology_morphology_form": Offending({"pathology": [{"morphology": "9010"}]}),
    "pathology_other_lesions_codes": Offending({"pathology": [{"other_lesions": "fea;adenoma"}]}),
    "pathology_other_procedure": Offending(
        {
            "procedures": [LATER],
            "specimens": [{"specimen_id": "S3", "procedure_id": "P2", "scan_at": None, "read_at": None}],
            "pathology": [{"specimen_id": "S3"}],
        }
    ),
    "pathology_text_names_a_person": Offending({"pathology": [{"conclusion": "Mrs Example: benign."}]}),
    "pathology_versions_not_consecutive": Offending({"pathology": [{"version": "3", "status": "amended"}]}),
    "pathology_without_tissue": Offending(
        {
            "procedures": [ABANDONED],
            "pathology": [{"report_id": "R2", "procedure_id": "P2", "reported_on": "2025-04-14"}],
        }
    ),
    "patients_age_at_procedure": Offending({"patients": [{"birth_date": "2016-05-17"}]}),
    "patients_birth_in_future": Offending({"patients": [{"patient_id": "PAT2", "birth_date": "2026-07-01"}]}),
    "patients_death_before_birth": Offending(
        {"patients": [{"patient_id": "PAT2", "death_date": "1960-05-16"}]}
    ),
    "patients_death_before_procedure": Offending({"patients": [{"death_date": "2025-03-09"}]}),
    "patients_identifier_is_a_name": Offending(
        {"patients": [{"patient_id": "Surname, Given"}]}, together=False
    ),
    "procedures_accession_two_patients": Offending(
        {**OTHER, "procedures": [{}, LATER | {"finding_id": "F2", "accession": "ACC1"}]}, at=(0, 1)
    ),
    "procedures_activity_looks_like_mci": Offending(
        {
            "procedures": [
                *same_day(5),
                LATER | {"procedure_id": "P6", "accession": "ACC6", "activity_mbq": "5"},
            ]
        },
        at=(5,),
        together=False,
    ),
    "procedures_after_death": Offending(
        {"procedures": [LATER | {"finding_id": "F9", "started_at": "2025-06-02T09:30"}]}, together=False
    ),
    "procedures_age_disagrees": Offending({"procedures": [{"age_years": "65"}]}),
    "procedures_age_from_birth": Offending({"procedures": [LATER | {"finding_id": "F8"}]}, together=False),
    "procedures_age_missing": Offending(
        {
            "patients": [{"patient_id": "PAT2", "birth_date": None}],
            "findings": OTHER["findings"],
            "procedures": [LATER | {"finding_id": "F2"}],
        }
    ),
    "procedures_age_unusual": Offending(
        {
            "patients": [{"patient_id": "PAT2", "birth_date": "2010-05-17"}],
            "findings": OTHER["findings"],
            "procedures": [LATER | {"finding_id": "F2"}],
        }
    ),
    "procedures_cores_missing": Offending({"procedures": [{"cores": None}]}),
    "procedures_cores_without_tissue": Offending(
        {"procedures": [{"status": "cancelled", "status_reason": "patient"}]}
    ),
    "procedures_ended_before_started": Offending({"procedures": [{"ended_at": "2025-03-10T09:29"}]}),
    "procedures_injected_after_start": Offending(
        {"procedures": [{"injected_at": "2025-03-10T09:31", "first_scan_at": "2025-03-10T09:40"}]}
    ),
    "procedures_marker_contradiction": Offending({"procedures": [{"marker": "failed"}]}),
    "procedures_marker_shape_repeated": Offending(
        {"procedures": [{}, LATER | {"marker": "placed", "marker_shape": "coil"}]}, at=(0, 1)
    ),
    "procedures_repeat_cycle": Offending(
        {
            "procedures": [
                {"repeat_of": "P3", "repeat_reason": "discordant"},
                LATER | REPEAT,
                LATER
                | {
                    "procedure_id": "P3",
                    "accession": "ACC3",
                    "started_at": "2025-05-10T09:30",
                    "repeat_of": "P2",
                    "repeat_reason": "discordant",
                },
            ]
        },
        at=(0, 1, 2),
        # One link of every circle goes to a procedure that did not start earlier.
        beside=frozenset({"procedures_repeat_not_earlier"}),
    ),
    "procedures_repeat_not_earlier": Offending(
        {"procedures": [LATER | REPEAT | {"started_at": "2025-03-10T09:30"}]}
    ),
    "procedures_repeat_of_itself": Offending({"procedures": [REPEAT]}),
    "procedures_repeat_other_breast": Offending(
        {
            "findings": [{"finding_id": "F2", "laterality": "R"}],
            "procedures": [LATER | REPEAT | {"finding_id": "F2"}],
        }
    ),
    "procedures_repeat_reason_alone": Offending({"procedures": [{"repeat_reason": "discordant"}]}),
    "procedures_repeat_reason_missing": Offending({"procedures": [LATER | {"repeat_of": "P1"}]}),
    "procedures_sampled_hours_form": Offending({"procedures": [{"sampled_hours": "12;13"}]}),
    "procedures_scan_before_injection": Offending({"procedures": [{"first_scan_at": "2025-03-10T08:19"}]}),
    "procedures_started_before_found": Offending(
        {
            "procedures": [
                {
                    "started_at": "2025-02-19T09:30",
                    "ended_at": None,
                    "injected_at": None,
                    "first_scan_at": None,
                }
            ]
        }
    ),
    "procedures_started_in_future": Offending(
        {"procedures": [{"started_at": "2026-07-01T00:00", "ended_at": None}]}
    ),
    "procedures_status_reason_missing": Offending({"procedures": [{"status": "cancelled", "cores": None}]}),
    "procedures_status_reason_unneeded": Offending({"procedures": [{"status_reason": "other"}]}),
    "procedures_supervisor_is_operator": Offending({"procedures": [{"supervisor": "OP1"}]}),
    "procedures_too_many_targets": Offending({"procedures": same_day(7)}, at=tuple(range(7))),
    "reviews_before_procedure": Offending(
        {
            "procedures": [ABANDONED],
            "reviews": [
                {
                    "review_id": "V2",
                    "procedure_id": "P2",
                    "reviewed_on": "2025-04-09",
                    "determination": "not_applicable",
                }
            ],
        }
    ),
    "reviews_before_report": Offending({"reviews": [{"reviewed_on": "2025-03-13"}]}),
    "reviews_booked_for_before_review": Offending({"reviews": [{"booked_for": "2025-03-19"}]}),
    "reviews_declined_on_before_review": Offending({"reviews": [{"declined_on": "2025-03-19"}]}),
    "reviews_discordant_without_action": Offending(
        {"reviews": [{"determination": "discordant", "reason": "target_not_sampled", "management": "none"}]}
    ),
    "reviews_due_on_before_review": Offending({"reviews": [{"due_on": "2025-03-19"}]}),
    "reviews_informed_on_before_review": Offending({"reviews": [{"informed_on": "2025-03-19"}]}),
    "reviews_not_applicable": Offending({"reviews": [{"determination": "not_applicable"}]}),
    "reviews_one_person": Offending({"reviews": [{"pathologist": "RA1"}]}),
    "reviews_pathologist_missing": Offending({"reviews": [{"pathologist": None}]}),
    "reviews_reason_missing": Offending({"reviews": [{"determination": "discordant"}]}),
    "reviews_text_names_a_person": Offending({"reviews": [{"note": "To be called, phone 555 0100."}]}),
    "reviews_without_report": Offending(
        {
            "procedures": [LATER],
            "reviews": [{"review_id": "V2", "procedure_id": "P2", "reviewed_on": "2025-04-20"}],
        }
    ),
    "sources_leak_test_before_reference": Offending({"sources": [{"leak_test_on": "2024-01-14"}]}),
    "specimens_all_without_counts": Offending(
        {"specimens": [{"counts": "0"}, {"specimen_id": "S2", "counts": "0", "scan_seconds": "120"}]},
        at=(0, 1),
        together=False,
    ),
    # Injected at 08:20: twelve hours later is 20:20.
    "specimens_late_scan": Offending(
        {"specimens": [{"scan_at": "2025-03-10T20:21", "read_at": "2025-03-10T20:45"}]}
    ),
    "specimens_more_cores_than_taken": Offending(
        {"specimens": [{"cores": "7"}, {"specimen_id": "S2"}]}, at=(0, 1)
    ),
    "specimens_of_no_tissue": Offending(
        {
            "procedures": [ABANDONED],
            "specimens": [
                {"specimen_id": "S3", "procedure_id": "P2", "scan_at": "2025-04-10T10:30", "read_at": None}
            ],
        }
    ),
    "specimens_order_repeated": Offending(
        {"specimens": [{}, {"specimen_id": "S2", "taken_order": "1"}]}, at=(0, 1)
    ),
    "specimens_read_before_scan": Offending({"specimens": [{"read_at": "2025-03-10T10:29"}]}),
    "specimens_scan_before_procedure": Offending({"specimens": [{"scan_at": "2025-03-10T09:29"}]}),
    "specimens_scanned_with_other": Offending({"specimens": [{"specimen_id": "S2", "scanned_with": "S2"}]}),
    "specimens_seconds_look_like_minutes": Offending(
        {
            "specimens": [
                *containers(5),
                *({"specimen_id": "S6", "taken_order": "6", "cores": "2", "scan_seconds": "2"},),
            ]
        },
        at=(5,),
        together=False,
    ),
    "specimens_seconds_missing": Offending({"specimens": [{"scan_seconds": None}]}),
    "targeting_achieved_copied": Offending(copied(), at=tuple(range(10)), together=False),
    "targeting_achieved_incomplete": Offending({"targeting": [{"achieved_z_mm": None}]}),
    "targeting_achieved_missing": Offending(
        {
            "targeting": [
                {
                    "aperture_judgement": None,
                    "achieved_x_mm": None,
                    "achieved_y_mm": None,
                    "achieved_z_mm": None,
                }
            ]
        }
    ),
    "targeting_attempts_not_consecutive": Offending({"targeting": [{"attempt": "3"}]}),
    "targeting_below_frame": Offending({"targeting": [{"frame": "SUITE", "planned_z_mm": "-12"}]}),
    "targeting_datum_missing": Offending({"targeting": [{"target_depth_mm": "40"}]}),
    "targeting_direction_empty": Offending({"targeting": [{"needle_direction": None}]}),
    # 191 - 40 = 151 mm along x alone.
    "targeting_error_too_long": Offending({"targeting": [{"achieved_x_mm": "191"}]}),
    "targeting_frame_unknown": Offending({"targeting": [{"frame": "NOWHERE"}]}),
    "targeting_length_matched_missing": Offending({"targeting": [{"stand_in": "radioactive_source"}]}),
    "targeting_looks_like_cm": Offending(one_in_cm(), together=False),
    "targeting_outside_breast": Offending({"targeting": [{"frame": "SUITE", "planned_z_mm": "56"}]}),
    "targeting_seen_incomplete": Offending({"targeting": [{"seen_x_mm": "41", "seen_y_mm": "22"}]}),
    "targeting_verified_without_scan": Offending({"targeting": [{"verification": "not_done"}]}),
}

_NO_ACHIEVED: Cells = dict.fromkeys(("achieved_x_mm", "achieved_y_mm", "achieved_z_mm"))
#: Further ways to break a check whose condition has several parts.
VARIANTS: dict[str, list[Offending]] = {
    "constancy_error_missing": [
        Offending({"constancy": [{"kind": "targeting", "error_y_mm": "1", "error_z_mm": "1"}]}),
        Offending({"constancy": [{"kind": "targeting", "error_x_mm": "1", "error_z_mm": "1"}]}),
    ],
    "followup_diagnosis_missing": [Offending({"followup": [{"kind": "registry_linkage"}]})],
    "pathology_behaviour_and_diagnosis": [
        Offending({"pathology": [{"morphology": "8500/2"}]}),
        Offending({"pathology": [{"diagnosis": "invasive", "b_category": "B5b"}]}),
    ],
    "pathology_category_and_diagnosis": [
        Offending({"pathology": [{"diagnosis": "in_situ", "morphology": "8500/2"}]}),
        Offending({"pathology": [{"b_category": "B5a"}]}),
    ],
    "pathology_text_names_a_person": [
        Offending({"pathology": [{"conclusion": "Benign; patient born on 17 May 1960."}]}),
        Offending({"pathology": [{"conclusion": "Benign. Tel. 555 0100."}]}),
    ],
    "patients_age_at_procedure": [Offending({"patients": [{"birth_date": "1909-03-10"}]})],
    "procedures_marker_contradiction": [
        Offending({"procedures": [LATER | {"marker_shift_y_mm": "2"}]}),
        Offending({"procedures": [LATER | {"marker": "failed", "marker_shift_z_mm": "2"}]}),
    ],
    "procedures_repeat_other_breast": [
        Offending({**OTHER, "procedures": [LATER | REPEAT | {"finding_id": "F2"}]}),
    ],
    "procedures_sampled_hours_form": [
        Offending({"procedures": [{"sampled_hours": text}]}) for text in ("0", "1;all", "1,2", "1;2;", "ALL")
    ],
    "reviews_reason_missing": [Offending({"reviews": [{"determination": "indeterminate"}]})],
    "specimens_of_no_tissue": [
        Offending(
            {
                "procedures": [LATER | {"cores": "0"}],
                "specimens": [
                    {
                        "specimen_id": "S3",
                        "procedure_id": "P2",
                        "cores": None,
                        "scan_at": None,
                        "read_at": None,
                    }
                ],
            }
        )
    ],
    "specimens_scanned_with_other": [
        Offending(
            {
                "procedures": [LATER],
                "specimens": [
                    {
                        "specimen_id": "S3",
                        "procedure_id": "P2",
                        "scanned_with": "S1",
                        "scan_at": None,
                        "read_at": None,
                    }
                ],
            }
        )
    ],
    "targeting_achieved_incomplete": [
        Offending({"targeting": [{"achieved_x_mm": None}]}),
        Offending({"targeting": [{"achieved_y_mm": None}]}),
    ],
    "targeting_below_frame": [
        Offending({"targeting": [{"frame": "SEAT", "planned_x_mm": "-1"}]}),
        Offending({"targeting": [{"frame": "SEAT", "planned_y_mm": "-1"}]}),
    ],
    "targeting_outside_breast": [
        Offending({"targeting": [{"frame": "SEAT", "compression_axis": axis, f"planned_{axis}_mm": "55.1"}]})
        for axis in "xy"
    ],
    "targeting_seen_incomplete": [
        Offending({"targeting": [{"seen_y_mm": "22", "seen_z_mm": "31"}]}),
        Offending({"targeting": [{"seen_x_mm": "41", "seen_z_mm": "31"}]}),
    ],
    "targeting_verified_without_scan": [
        Offending({"targeting": [_NO_ACHIEVED | {"verification": "not_done"}]}),
        Offending(
            {
                "targeting": [
                    _NO_ACHIEVED
                    | {"verification": "not_done", "aperture_judgement": "not_judged"}
                    | {"seen_x_mm": "41", "seen_y_mm": "22", "seen_z_mm": "31"}
                ]
            }
        ),
    ],
}

#: The last value that is still right, beside the first that is not (above).
AT_THE_LIMIT: dict[str, Change] = {
    "onset on the day": {"complications": [{"onset_on": "2025-03-10"}]},
    "event on the day": {"followup": [{"happened_on": "2025-03-10"}]},
    "advised on the day found": {"findings": [{"biopsy_advised_on": "2025-02-20"}]},
    "closed on the day held": {"meetings": [{"closed_at": "2025-03-20T00:00"}]},
    "reported on the day": {"pathology": [{"reported_on": "2025-03-10"}]},
    "reported after 365 days": {
        "procedures": [LATER],
        "pathology": [{"report_id": "R2", "procedure_id": "P2", "reported_on": "2026-04-10"}],
    },
    "died on the day": {"patients": [{"death_date": "2025-03-10"}]},
    "born today": {"patients": [{"patient_id": "PAT2", "birth_date": "2026-06-30"}]},
    "dead at birth": {"patients": [{"patient_id": "PAT2", "death_date": "1960-05-17"}]},
    "started on the day of death": {
        "procedures": [LATER | {"finding_id": "F9", "started_at": "2025-06-01T09:30"}]
    },
    "the age on the day": {"procedures": [{"age_years": "64"}]},
    "aged 18": {
        "patients": [{"patient_id": "PAT2", "birth_date": "2007-04-10"}],
        "findings": OTHER["findings"],
        "procedures": [LATER | {"finding_id": "F2"}],
    },
    "ended at the start": {"procedures": [{"ended_at": "2025-03-10T09:30"}]},
    "injected at the start": {
        "procedures": [{"injected_at": "2025-03-10T09:30", "first_scan_at": "2025-03-10T09:30"}]
    },
    "started on the day found": {
        "procedures": [
            {"started_at": "2025-02-20T00:00", "ended_at": None, "injected_at": None, "first_scan_at": None}
        ]
    },
    "started today": {"procedures": [LATER | {"started_at": "2026-06-30T23:59"}]},
    "six targets in one visit": {"procedures": same_day(6)},
    "an earlier start by a minute": {"procedures": [LATER | REPEAT | {"started_at": "2025-03-10T09:31"}]},
    "the shape in the other breast": {
        "findings": [{"finding_id": "F2", "laterality": "R"}],
        "procedures": [LATER | {"finding_id": "F2", "marker": "placed", "marker_shape": "coil"}],
    },
    "all hours": {"procedures": [{"sampled_hours": "all"}]},
    "hours 1 to 12": {"procedures": [{"sampled_hours": "1;2;3;4;5;6;7;8;9;10;11;12"}]},
    "cancelled with no core": {
        "procedures": [LATER | {"status": "cancelled", "status_reason": "patient", "cores": "0"}]
    },
    "x and y at the support": {"targeting": [{"frame": "SEAT", "planned_x_mm": "0", "planned_y_mm": "0"}]},
    "x at the compressed thickness": {
        "targeting": [{"frame": "SEAT", "compression_axis": "x", "planned_x_mm": "55"}]
    },
    "y at the compressed thickness": {
        "targeting": [{"frame": "SEAT", "compression_axis": "y", "planned_y_mm": "55"}]
    },
    "nothing done and not judged": {
        "targeting": [_NO_ACHIEVED | {"verification": "not_done", "aperture_judgement": "not_judged"}]
    },
    "reviewed on the day, without tissue": {
        "procedures": [ABANDONED],
        "reviews": [
            {
                "review_id": "V2",
                "procedure_id": "P2",
                "reviewed_on": "2025-04-10",
                "determination": "not_applicable",
            }
        ],
    },
    "reviewed on the day reported": {"reviews": [{"reviewed_on": "2025-03-14"}]},
    "dates of the day reviewed": {
        "reviews": [dict.fromkeys(("booked_for", "declined_on", "due_on", "informed_on"), "2025-03-20")]
    },
    "tested on the reference day": {"sources": [{"leak_test_on": "2024-01-15"}]},
    "scanned after twelve hours": {
        "specimens": [{"scan_at": "2025-03-10T20:20", "read_at": "2025-03-10T20:20"}]
    },
    "scanned at the start": {"specimens": [{"scan_at": "2025-03-10T09:30"}]},
    "all cores in containers": {"specimens": [{"cores": "6"}]},
    "z at the support": {"targeting": [{"frame": "SUITE", "planned_z_mm": "0"}]},
    "z at the compressed thickness": {"targeting": [{"frame": "SUITE", "planned_z_mm": "55"}]},
    # Beside no frame nothing is known of where z is counted from.
    "negative z without a frame": {"targeting": [{"planned_z_mm": "-12"}]},
    # 190 - 40 = 150 mm along x, nothing along y and z.
    "an error of 150 mm": {
        "targeting": [{"achieved_x_mm": "190", "achieved_y_mm": "22", "achieved_z_mm": "31"}]
    },
    "a second attempt": {"targeting": [{"attempt": "2"}]},
    "a judgement without coordinates": {
        "targeting": [{"achieved_x_mm": None, "achieved_y_mm": None, "achieved_z_mm": None}]
    },
    "grade of a malignant diagnosis": {
        "pathology": [
            {
                "diagnosis": "invasive",
                "b_category": "B5b",
                "morphology": "8500/3",
                "lesion": "ductal",
                "grade": "3",
            }
        ]
    },
    "amended as version 2": {"pathology": [{"version": "2", "status": "amended"}]},
    "linkage without cancer": {"followup": [{"kind": "registry_linkage", "diagnosis": "none"}]},
    "discordant with a step": {
        "reviews": [{"determination": "discordant", "reason": "other", "management": "repeat_biopsy"}]
    },
    "text that names nobody": {
        "reviews": [
            {
                "note": "Mass of 14 mm, born by the ducts; tell her by letter. See section 2025 of the protocol."
            }
        ]
    },
}
