"""Why a procedure is not in a denominator, and how far what is not on record could move the figure."""

from __future__ import annotations

import pytest

from registry.measures import load_measures, maturity, reason_in_words, standing_of
from registry.measures.standing import OUTSIDE, PENDING, UNKNOWN

#: All reasons that the measures give, sorted by hand.
SORTED = {
    PENDING: (
        "window not complete|report window not complete|started fewer than 30 days before as_of|"
        "that review fewer than 60 days before as_of|first report fewer than 14 days before as_of"
    ),
    UNKNOWN: (
        "no pathology report|no b category|specimens not imaged|no later tissue|no conclusive review|not reviewed|"
        "latest indeterminate|not resolved|mammogram not recorded|marker not recorded|shift not recorded|"
        "safe margin not recorded|no targeting record|not verified|marked point not stated|position not recorded|"
        "needle diameter not known|aperture not recorded|target size not recorded|slice thickness not known|"
        "measurement uncertainty not known|anything of it missing|specimens not read|not judged|target not re-seen|"
        "not recorded|any of it missing|no specimen|any specimen without a mass|not excised|injection time not recorded"
    ),
    OUTSIDE: (
        "not sampled|repeat procedure|not calcifications|not a benign result|not discordant|cancelled|"
        "assessment not 4, 4a, 4b, 4c or 5|no cancer|died within 669 days|not malignant|"
        "first conclusive review not concordant|sampled|sampled otherwise|marker not placed|not vacuum-assisted|"
        "stand-in not matched|marked point not carried to the aperture|needle_axis oblique|not tracer guided|"
        "not high-risk|not in situ|no tracer given|no window for this tracer|guidance not pet_tracer, gamma_tracer or mri"
    ),
}
WANTED = {reason: kind for kind, reasons in SORTED.items() for reason in reasons.split("|")}


@pytest.mark.parametrize(
    "reason", sorted({one for measure in load_measures().values() for one in measure.reasons})
)
def test_every_reason_of_the_measures_has_its_place(reason: str):
    assert standing_of(reason) == WANTED[reason]


def test_the_procedures_part_into_four():
    found = maturity(
        3, 20, {"not sampled": 5, "window not complete": 7, "no pathology report": 4, "not resolved": 1}
    )

    assert (found.counted, found.outside, found.pending, found.unknown) == (20, 5, 7, 5)


def test_worst_and_best_case_take_none_and_all_of_those_not_on_record():
    """3 of 20 with 5 unknown: 3/25 and 8/25."""
    found = maturity(3, 20, {"no pathology report": 4, "not resolved": 1, "window not complete": 9})

    assert (found.lowest, found.highest) == (3 / 25, 8 / 25)


def test_without_a_denominator_there_is_no_case():
    assert maturity(0, 0, {"no pathology report": 4}).lowest is None


def test_without_anything_unknown_there_is_no_case():
    """Nothing could move 3 of 20: the share itself is no worst and no best case."""
    found = maturity(3, 20, {"not sampled": 5})

    assert (found.lowest, found.highest) == (None, None)


def test_some_of_the_unknown_in_the_denominator_stay_within_the_extremes():
    """Whatever k of the 5 belong to it, and whatever j of them count."""
    found = maturity(3, 20, {"no pathology report": 5})
    rates = [(3 + j) / (20 + k) for k in range(6) for j in range(k + 1)]

    assert min(rates) == found.lowest
    assert max(rates) == found.highest


@pytest.mark.parametrize(
    ("reason", "told"),
    [
        ("started fewer than 30 days before as_of", "started fewer than 30 days before the as-of date"),
        ("guidance not pet_tracer, gamma_tracer or mri", "guidance not pet tracer, gamma tracer or mri"),
        ("not sampled", "not sampled"),
    ],
)
def test_a_reader_is_told_a_reason_in_words(reason, told):
    assert reason_in_words(reason) == told
