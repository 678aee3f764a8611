"""Which fields the record page shows, table by table, in reading order."""

from __future__ import annotations


def _fields(names: str) -> tuple[str, ...]:
    return tuple(names.split())


FINDING = _fields(
    "modality correlate laterality region clock_position nipple_distance_mm size_mm assessment finding_type "
    "uptake_pattern uptake_intensity uptake_ratio suv_max other_cancer"
)
PROCEDURE = _fields(
    "site operator supervisor status status_reason guidance approach position device gauge aperture_mm dead_tip_mm cores "
    "residual target_seen safe_margin_mm compression_mm tracer activity_mbq injected_at first_scan_at marker "
    "marker_shape post_mammogram repeat_of repeat_reason"
)
TARGETING = _fields(
    "frame needle_axis needle_direction planned_x_mm planned_y_mm planned_z_mm seen_x_mm seen_y_mm seen_z_mm "
    "achieved_x_mm achieved_y_mm achieved_z_mm verification stand_in aperture_judgement action"
)
SPECIMENS = _fields(
    "specimen_id taken_order cores mass_g scan_at counts background_counts uptake_seen calcifications_seen reader"
)
REPORT = _fields(
    "diagnosis b_category lesion other_lesions explains_finding atypia grade er pr her2 calcifications further_work morphology "
    "pathologist coded_by"
)
REVIEW = _fields(
    "radiologist pathologist reason management responsible due_on booked_for declined_on informed_on"
)
FOLLOWUP = _fields(
    "happened_on procedure_id kind modality imaging_outcome diagnosis same_site excision_kind adjudication "
    "contact_result closure_reason"
)
CHAIN = _fields("started_on procedure_id status guidance repeat_of repeat_reason")
COMPLICATIONS = _fields("onset_on kind grade scheme action")
