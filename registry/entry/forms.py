"""What a form asks: the fields of a table in groups, as the data dictionary declares them."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from types import MappingProxyType
from typing import TYPE_CHECKING

from registry.dictionary import FREE_TEXT, IDENTIFYING, KEYS, tables
from registry.vocabulary import fields as coded
from registry.vocabulary import labels

if TYPE_CHECKING:
    from collections.abc import Mapping

    from registry.dictionary import Field


def _names(text: str) -> tuple[str, ...]:
    return tuple(text.split())


#: Table -> its groups in the order of the work; a field that no group names stands under "Further".
FORMS: Mapping[str, tuple[tuple[str, tuple[str, ...]], ...]] = MappingProxyType(
    {
        "findings": (
            ("Finding", _names("finding_id patient_id found_on biopsy_advised_on")),
            ("Where", _names("laterality region clock_position nipple_distance_mm")),
            ("What", _names("modality correlate finding_type size_mm assessment")),
        ),
        "procedures": (
            (
                "Procedure",
                _names(
                    "procedure_id finding_id site operator supervisor started_at ended_at status status_reason"
                ),
            ),
            (
                "How",
                _names(
                    "guidance approach position device gauge aperture_mm dead_tip_mm sampled_hours cores residual"
                ),
            ),
            (
                "Tracer",
                _names(
                    "tracer activity_mbq injected_at first_scan_at weight_kg glucose_mmol_l uptake_check pregnancy_check"
                ),
            ),
            ("Geometry", _names("compression_mm compression_force_n safe_margin_mm")),
            (
                "Marker",
                _names(
                    "marker marker_shape post_mammogram marker_reference marker_shift_x_mm marker_shift_y_mm marker_shift_z_mm"
                ),
            ),
            ("Repeat", _names("repeat_of repeat_reason")),
        ),
        "targeting": (
            (
                "Placement",
                _names("procedure_id attempt frame needle_axis needle_direction compression_axis slice_mm"),
            ),
            ("Plan", _names("planned_x_mm planned_y_mm planned_z_mm")),
            (
                "Verification",
                _names("verification stand_in length_matched marked_point aperture_judgement action"),
            ),
            ("Positions", _names("achieved_x_mm achieved_y_mm achieved_z_mm seen_x_mm seen_y_mm seen_z_mm")),
        ),
        "specimens": (
            ("Container", _names("specimen_id procedure_id taken_order cores mass_g scanned_with")),
            (
                "Scan",
                _names(
                    "scan_at scan_seconds counts background_counts background_kind calibration_cps_per_kbq"
                ),
            ),
            ("Reading", _names("uptake_seen reader read_at calcifications_seen")),
        ),
        "pathology": (
            ("Report", _names("report_id version status procedure_id specimen_id reported_on pathologist")),
            (
                "Result",
                _names(
                    "diagnosis b_category lesion other_lesions explains_finding atypia grade calcifications further_work"
                ),
            ),
            ("Words", _names("conclusion")),
        ),
        "complications": (
            ("Complication", _names("complication_id procedure_id kind grade scheme action onset_on")),
        ),
        "followup": (
            ("Event", _names("event_id procedure_id happened_on kind source")),
            ("Examination", _names("modality imaging_outcome")),
            ("Tissue or linkage", _names("diagnosis same_site excision_kind neoadjuvant adjudication")),
            ("Contact or closure", _names("contact_result closure_reason")),
        ),
        "patients": (("Patient", _names("patient_id birth_date sex death_date research_use")),),
    }
)
FURTHER = "Further"


@dataclass(frozen=True)
class FormField:
    """One field of a form.

    ``codes`` maps codes to labels, empty where anything may be written; ``is_key`` names the
    row; ``kept`` says whether a draft may hold it: identifiers and free text it may not.
    """

    name: str
    group: str
    type: str
    unit: str
    required: bool
    codes: Mapping[str, str]
    definition: str
    allowed: str
    is_key: bool
    kept: bool


@cache
def form_fields(table: str) -> tuple[FormField, ...]:
    """Fields of a form, group by group.

    Raises
    ------
    KeyError
        There is no form for this table.
    """
    declared = {one.name: one for one in tables()[table].fields}
    placed = [(group, name) for group, names in FORMS[table] for name in names]
    named = {name for _, name in placed}
    placed += [(FURTHER, name) for name in declared if name not in named]
    return tuple(_form_field(table, group, declared[name]) for group, name in placed)


def _form_field(table: str, group: str, one: Field) -> FormField:
    place = (table, one.name)
    return FormField(
        name=one.name,
        group=group,
        type=one.type,
        unit="" if one.unit == "1" else one.unit,
        required=one.always_required,
        codes=labels(*place) if place in coded() else MappingProxyType({}),
        definition=one.definition,
        allowed="" if place in coded() else one.allowed,
        is_key=one.name in KEYS[table],
        kept=place not in IDENTIFYING and place not in FREE_TEXT,
    )
