"""Which question a group of measures answers, and how strata are called."""

from __future__ import annotations

from typing import TYPE_CHECKING

from registry.measures import load_measures
from registry.vocabulary import labels

if TYPE_CHECKING:
    from registry.measures import Measure

#: Group in the header of a measure -> the question it belongs to, in the order of the overview.
QUESTIONS = {
    "yield": "Was tissue obtained, and what was it?",
    "specimens": "Does the tissue hold what was aimed at?",
    "targeting": "Did the needle reach the target?",
    "marker": "Is the site marked where it was sampled?",
    "concordance": "Does the pathology explain the finding?",
    "timeliness": "How long did each step take?",
    "pathology": "What did the pathologist find?",
    "repeat_and_excision": "What did a repeat biopsy or excision find?",
    "follow_up": "What became of those who were not operated?",
    "complications": "Who came to harm?",
}

#: Shown with the tracer in the specimens, although its file counts it among the times.
_MOVED = {"uptake_time_kept": "specimens"}
#: Reading order where it is not that of the names: what comes first in the work stands first.
_READING_ORDER = (
    "tissue_obtained cancellation target_seen insufficient_sample sampling_confirmed cancer_at_biopsy ppv3 "
    "in_situ_share high_risk_yield uptake_time_kept specimen_scan_done specimen_uptake calcification_retrieval "
    "tissue_mass_g specimen_concentration_ratio verification_done targeted_within_5mm target_in_aperture "
    "safe_margin_kept targeting_error_mm targeting_lateral_mm targeting_depth_mm target_motion_mm tip_clearance_mm "
    "marker_placed marker_documented marker_within_10mm marker_shift_mm review_coverage discordance "
    "discordant_benign discordant_suspicious_benign discordance_latest discordant_resolved cancer_in_discordant timely_review "
    "finding_to_biopsy_days biopsy_to_report_days report_to_review_days repeat_biopsy upgrade_high_risk_excised "
    "upgrade_high_risk_resolved upgrade_in_situ follow_up_complete false_omission later_cancer_after_concordant "
    "later_cancer_after_not_sampled missed_at_biopsy false_negative_benign complication severe_complication"
)

_CODED = {
    "guidance": ("procedures", "guidance"),
    "approach": ("procedures", "approach"),
    "assessment": ("findings", "assessment"),
    "finding_type": ("findings", "finding_type"),
    "indication": ("procedures", "indication"),
    "correlate": ("findings", "correlate"),
    "device": ("procedures", "device"),
}


def question(group: str) -> str:
    """The question of a group; a group that a site added is called by its own name."""
    return QUESTIONS.get(group, group.replace("_", " ").capitalize())


def grouped(kind: str, *groups: str) -> list[Measure]:
    """Measures of one kind, in the order of the questions.

    Parameters
    ----------
    kind
        ``proportion`` or ``quantity``.
    groups
        Only these; all where none is given.
    """
    order = list(groups or QUESTIONS)
    found = [one for one in load_measures().values() if one.kind == kind]
    if not groups:
        order += sorted({group_of(one) for one in found} - set(order))
    order_of = {name: place for place, name in enumerate(_READING_ORDER.split())}
    found.sort(key=lambda one: (order_of.get(one.id, len(order_of)), one.id))
    return [one for group in order for one in found if group_of(one) == group]


def group_of(measure: Measure) -> str:
    """The group under which the pages show a measure."""
    return _MOVED.get(measure.id, measure.group)


def stratum_label(by: str, code: str) -> str:
    """What a stratum is called: the label of its code, or the code itself."""
    if by == "gauge" and code.isdigit():
        return f"{code} G"
    return labels(*_CODED[by]).get(code, code) if by in _CODED else code


def stratum_name(by: str) -> str:
    """What a way of splitting is called."""
    return {"finding_type": "type of finding", "assessment": "assessment category"}.get(
        by, by.replace("_", " ")
    )
