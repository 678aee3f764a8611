"""Reports that changed after the first joint review of 2025-03-20: what changed, and whether it was decided again."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, Any

import pytest

from registry import worklists
from tests.build import base, load

if TYPE_CHECKING:
    from registry.store import Registry

TODAY = date(2028, 1, 1)
AS_OF = date(2025, 6, 1)


def listed(registry: Registry, as_of: date = AS_OF) -> list[dict[str, Any]]:
    return worklists.rows(registry, "report_amended", as_of=as_of).to_dicts()


def amended(registry: Registry, on: str = "2025-04-02", **cells: str) -> None:
    load(
        registry,
        {
            "pathology": [
                {**base()["pathology"][0], "version": "2", "status": "amended", "reported_on": on, **cells}
            ]
        },
        today=TODAY,
    )


HIGH = {
    "diagnosis": "high_risk",
    "lesion": "adh",
    "b_category": "B3",
    "atypia": "yes",
    "morphology": "8140/1",
}


def test_old_and_new_stand_side_by_side(decided: Registry):
    amended(decided, **HIGH)
    (row,) = listed(decided)

    assert (row["reason"], row["diagnosis_before"], row["diagnosis_now"]) == (
        "not decided again",
        "benign",
        "high_risk",
    )
    assert (row["version_before"], row["version_now"], row["amended_on"]) == (1, 2, date(2025, 4, 2))
    assert row["changed"] == (
        "diagnosis benign to high risk; B category B2 to B3; lesion fibroadenoma to adh; atypia none to yes"
    )


@pytest.mark.parametrize(
    "cells", [{"er": "positive"}, {"conclusion": "Other words."}], ids=["receptors", "words"]
)
def test_what_decides_nothing_is_not_listed(decided: Registry, cells: dict[str, str]):
    amended(decided, **cells)

    assert listed(decided) == []


def test_a_change_before_the_decision_is_not_listed(decided: Registry):
    amended(decided, on="2025-03-20", **HIGH)

    assert listed(decided) == []


def test_without_a_decision_nothing_is_listed(undecided: Registry):
    amended(undecided, **HIGH)

    assert listed(undecided) == []


def test_a_retracted_report_is_listed(decided: Registry):
    amended(decided, status="retracted")

    assert [(row["changed"], row["diagnosis_now"]) for row in listed(decided)] == [
        ("report retracted", "retracted")
    ]


@pytest.mark.parametrize(
    ("cells", "said"),
    [
        ({}, "decided again, patient not recorded as told"),
        ({"informed_on": "2025-04-05"}, "decided again and told"),
        ({"determination": "indeterminate", "reason": "awaiting_imaging"}, "not decided again"),
    ],
    ids=["decided", "told", "not conclusive"],
)
def test_a_later_review_decides_again(decided: Registry, cells: dict[str, str], said: str):
    amended(decided, **HIGH)
    review = {
        **base()["reviews"][0],
        "review_id": "V2",
        "reviewed_on": "2025-04-03",
        "meeting_id": "",
        **cells,
    }
    load(decided, {"reviews": [review]}, today=TODAY)

    assert [row["reason"] for row in listed(decided)] == [said]


def test_a_change_after_the_day_does_not_exist(decided: Registry):
    amended(decided, **HIGH)

    assert listed(decided, date(2025, 4, 1)) == []
