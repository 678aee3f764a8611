"""The B-category table: who is in it, the outcome of each, the thirteen ratios."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from registry.measures import b_category_table, evaluate, load_measures
from registry.stats.proportions import exact_interval, wilson_interval
from tests.measures.build import day

if TYPE_CHECKING:
    from registry.measures import CategoryTable
    from tests.measures.build import Drawn

AS_OF = 1000
MEASURE = load_measures()["b_category_accuracy"]


def biopsied(drawn: Drawn, key: str, category: str | None, on: int = 0) -> str:
    drawn.procedure(key, on)
    drawn.report(key, b_category=category)
    return key


def outcomes(drawn: Drawn) -> dict[str, str]:
    """Procedure -> outcome, or the reason for leaving it out."""
    rows = drawn.run(
        "SELECT procedure_id, excluded_because, outcome FROM (" + MEASURE.body + ")", {"as_of": day(AS_OF)}
    )
    return {key: reason or outcome for key, reason, outcome in rows}


def test_the_worst_category_counts_and_b5_is_not_subdivided(drawn: Drawn):
    for worse in ("B2", "B3", "B4", "B5", "B5a", "B5b", "B5c", "B5d"):
        biopsied(drawn, worse, "B1")
        drawn.report(worse, report_id="second", b_category=worse)
    drawn.report("B5a", report_id="third", b_category="B4")
    biopsied(drawn, "not stated", None)

    assert drawn.built().said("b_category_accuracy", AS_OF) == {
        **{worse: worse[:2] for worse in ("B2", "B3", "B4", "B5", "B5a", "B5b", "B5c", "B5d")},
        "not stated": "no b category",
    }


def test_the_outcome_is_what_came_after_within_365_days(drawn: Drawn):
    for when in (0, 365, 366):
        drawn.excision(biopsied(drawn, f"malignant excision on day {when}", "B2"), when, "invasive")
        drawn.excision(biopsied(drawn, f"benign excision on day {when}", "B2"), when, "benign")
    drawn.linkage(biopsied(drawn, "linkage", "B2"), 365, "in_situ")
    drawn.excision(biopsied(drawn, "excision elsewhere", "B2"), 30, "invasive", same_site="no")
    biopsied(drawn, "nothing", "B2")

    assert outcomes(drawn.built()) == {
        "malignant excision on day 0": "m",
        "malignant excision on day 365": "m",
        "malignant excision on day 366": "n",
        "benign excision on day 0": "b",
        "benign excision on day 365": "b",
        "benign excision on day 366": "n",
        "linkage": "m",
        "excision elsewhere": "n",
        "nothing": "n",
    }


@pytest.mark.parametrize("category", ["B4", "B5", "B5b"])
def test_a_benign_excision_after_b5_is_judged_by_its_adjudication(drawn: Drawn, category: str):
    for said in (
        "target_removed",
        "therapy_response",
        "site_missed",
        "pathology_revised",
        "unresolved",
        None,
    ):
        drawn.excision(biopsied(drawn, f"{said}", category), 365, "benign", adjudication=said)
    drawn.excision(biopsied(drawn, "too late", category), 366, "benign", adjudication="target_removed")
    drawn.excision(
        biopsied(drawn, "elsewhere", category), 30, "benign", adjudication="site_missed", same_site="no"
    )
    cancer = "m" if category.startswith("B5") else "b"

    assert outcomes(drawn.built()) == {
        "target_removed": cancer,
        "therapy_response": cancer,
        "site_missed": cancer,
        "pathology_revised": "b",
        "unresolved": "b",
        "None": "b",
        "too late": "n",
        "elsewhere": "n",
    }


@pytest.fixture(scope="module")
def table(scene: Drawn) -> CategoryTable:
    """m = 1 2 3 4 9, b = 2 3 2 1 1, n = 3 8 2 1 5 for B1 to B5; of the n, one in each column is resolved."""
    counts = {"m": (1, 2, 3, 4, 9), "b": (2, 3, 2, 1, 1), "n": (3, 8, 2, 1, 5)}
    for outcome, row in counts.items():
        for column, size in enumerate(row, start=1):
            for number in range(size):
                key = biopsied(scene, f"{outcome}{column} {number}", f"B{column}")
                if outcome != "n":
                    scene.excision(key, 30, "invasive" if outcome == "m" else "benign")
                elif number == 0:
                    scene.imaging(key, 700)
    scene.procedure("cancelled", status="cancelled")
    return b_category_table(scene.built(), as_of=day(AS_OF))


def test_the_cells(table: CategoryTable):
    assert dict(table.cells) == {"m": (1, 2, 3, 4, 9), "b": (2, 3, 2, 1, 1), "n": (3, 8, 2, 1, 5)}
    assert (table.total, table.benign) == (47, 9)
    # m1 + ... + m5 = 19, and the five malignant biopsies that were never operated.
    assert table.cancers == 24
    assert table.excluded == {"not sampled": 1}
    assert table.patients == 47


#: By hand from the cells: T1..T5 = 6 13 7 6 15, C = 24, B = 9, T = 47.
RATIOS = {
    "absolute_sensitivity": (9 + 5, 24),
    "complete_sensitivity": (9 + 5 + 4 + 3, 24),
    "miss_rate": (2 + 1, 24),
    "false_negative_b2": (2, 24),
    "false_positive": (1, 24),
    "suspicious_rate": (7 + 6, 47),
    "b1_rate": (6, 47),
    "ppv_b5": (15 - 1, 15),
    "ppv_b4": (4, 6),
    "ppv_b3": (3, 7),
    "npv_b2": (13 - 2, 13),
    "specificity_biopsied": (3, 9),
    "specificity_full": (3 + 8, 9 + 3 + 8 + 2 + 1),
}


def test_the_ratios(table: CategoryTable):
    assert {one.name: (one.x, one.n) for one in table.ratios} == RATIOS


@pytest.mark.parametrize("name", RATIOS)
def test_each_ratio_has_its_interval(table: CategoryTable, name: str):
    one = next(ratio for ratio in table.ratios if ratio.name == name)

    assert one.proportion == pytest.approx(RATIOS[name][0] / RATIOS[name][1])
    assert (one.lower, one.upper) == wilson_interval(*RATIOS[name])


def test_what_is_not_resolved_stands_beside_the_ratios_that_need_it(table: CategoryTable):
    """One n of each column is resolved: 2, 7, 1, 0, 4 are not; B5 is no part of the miss rate's n."""
    assert table.unresolved == (2, 7, 1, 0, 4)
    assert {one.name: one.unresolved for one in table.ratios if one.unresolved is not None} == {
        "npv_b2": 7,
        "miss_rate": 10,
        "specificity_full": 10,
    }


def test_the_identities_hold(table: CategoryTable):
    assert set(table.identities.values()) == {True}
    assert len(table.identities) == 3


def test_the_table_follows_period_stratum_and_interval(drawn: Drawn):
    for key, on, site in (("early", 0, "A"), ("late", 100, "A"), ("other site", 100, "B")):
        drawn.procedure(key, on, site=site)
        drawn.report(key, b_category="B5")
    drawn.built()
    asked = b_category_table(
        drawn, as_of=day(AS_OF), start=day(50), within={"site": "A"}, interval="exact", confidence=0.9
    )
    split = evaluate(drawn, ["b_category_accuracy"], as_of=day(AS_OF), by="site")

    assert asked.cells["n"] == (0, 0, 0, 0, 1)
    assert (asked.ratios[0].lower, asked.ratios[0].upper) == exact_interval(1, 1, 0.9)
    assert {one.stratum: one.total for one in split} == {"A": 2, "B": 1}


def test_no_procedures_make_no_ratio(drawn: Drawn):
    empty = b_category_table(drawn.built(), as_of=day(AS_OF))

    assert {(one.n, one.proportion, one.lower, one.upper) for one in empty.ratios} == {(0, None, None, None)}
