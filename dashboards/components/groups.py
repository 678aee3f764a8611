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
        order += sorted({one.group for one in found} - set(order))
    return [one for group in order for one in found if one.group == group]


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
