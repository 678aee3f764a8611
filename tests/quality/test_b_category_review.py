"""B categories to be looked at again: each reason drawn, and what is not listed."""

from __future__ import annotations

from typing import TYPE_CHECKING

from registry.quality import b_category_review
from tests.measures.build import day

if TYPE_CHECKING:
    from tests.measures.build import Drawn

AS_OF = day(800)


def biopsy(drawn: Drawn, category: str, diagnosis: str, key: str = "P1", on: int = 0) -> str:
    drawn.procedure(key, on)
    drawn.report(key, diagnosis, b_category=category)
    return key


def listed(drawn: Drawn, as_of=AS_OF) -> list[dict]:
    return b_category_review(drawn.built(), as_of=as_of).to_dicts()


def test_a_malignant_biopsy_with_a_benign_excision(drawn: Drawn):
    biopsy(drawn, "B5b", "invasive")
    drawn.excision("P1", 30, "benign")
    (row,) = listed(drawn)

    assert (row["why"], row["adjudication"]) == ("B5, excision without cancer", "not adjudicated")
    assert (row["excised_on"], row["excision_diagnosis"]) == (day(30), "benign")


def test_its_adjudication_stands_beside_it(drawn: Drawn):
    """Adjudicated so it counts as cancer in the table, and stays on the list."""
    biopsy(drawn, "B5a", "in_situ")
    drawn.excision("P1", 30, "normal", adjudication="target_removed")
    (row,) = listed(drawn)

    assert row["adjudication"] == "target_removed"


def test_a_malignant_excision_is_not_listed(drawn: Drawn):
    biopsy(drawn, "B5b", "invasive")
    drawn.excision("P1", 30, "invasive")

    assert listed(drawn) == []


def test_a_benign_excision_after_a_malignant_one_is_not_listed(drawn: Drawn):
    biopsy(drawn, "B5b", "invasive")
    drawn.excision("P1", 30, "invasive")
    drawn.excision("P1", 60, "benign")

    assert listed(drawn) == []


def test_a_malignant_biopsy_never_operated_is_not_listed(drawn: Drawn):
    biopsy(drawn, "B5b", "invasive")

    assert listed(drawn) == []


def test_benign_categories_followed_by_cancer_to_the_last_day(drawn: Drawn):
    for key, category, on in (("A", "B1", 365), ("B", "B2", 365), ("C", "B2", 366), ("D", "B3", 100)):
        biopsy(drawn, category, "high_risk" if category == "B3" else "benign", key)
        drawn.linkage(key, on, "invasive")

    assert [(row["procedure_id"], row["why"], row["days_to_cancer"]) for row in listed(drawn)] == [
        ("A", "B1, cancer afterwards", 365),
        ("B", "B2, cancer afterwards", 365),
    ]


def test_what_the_table_leaves_out_is_not_listed(drawn: Drawn):
    biopsy(drawn, "B2", "benign", on=500)
    drawn.linkage("P1", 600, "invasive")

    assert listed(drawn) == []  # 300 days: the window is not over
    assert len(listed(drawn, day(865))) == 1


def test_an_excision_elsewhere_is_none(drawn: Drawn):
    biopsy(drawn, "B5b", "invasive")
    drawn.excision("P1", 30, "benign", same_site="no")

    assert listed(drawn) == []
