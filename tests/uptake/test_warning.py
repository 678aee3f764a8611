"""Readings against diagnosis and outcome, specimens beside the lesion, a lesion read twice."""

from __future__ import annotations

import json
from pathlib import Path

import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from registry.uptake import against_diagnosis, beside_the_lesion, missed_cancer, pairs, same_lesion
from registry.uptake.warning import EARLY, EQUIVOCAL, NO_DIAGNOSIS, REPEAT
from registry.uptake.warning_rows import of_diagnosis, of_lesion, of_missed


def reading(**cells: object) -> dict[str, object]:
    plain = {
        "patient_no": 1,
        "diagnosis": "benign",
        "is_malignant": False,
        "is_benign_result": True,
        "is_tracer_guided": True,
        "is_uptake_read": True,
        "is_uptake_seen": False,
        "is_equivocal": False,
        "is_index": True,
        "is_window_complete": True,
        "is_resolved": False,
        "has_later_cancer": False,
        "specimen_concentration_ratio": None,
        "suv_max": None,
    }
    return {**plain, **cells}


def frame(*groups: tuple[int, dict[str, object]]) -> pl.DataFrame:
    rows = [reading(**cells) for times, cells in groups for _ in range(times)]
    kinds = {"specimen_concentration_ratio": pl.Float64, "suv_max": pl.Float64}
    return pl.DataFrame(rows, schema_overrides=kinds)


MALIGNANT = {"diagnosis": "invasive", "is_malignant": True, "is_benign_result": False}
SEEN = {"is_uptake_seen": True}
#: Altman and Bland, BMJ 1994;308:1552: liver scans, 231, 32, 27, 54 (from memory).
LIVER = ((231, {**MALIGNANT, **SEEN}), (32, SEEN), (27, MALIGNANT), (54, {}))


def test_counts_become_the_published_likelihood_ratios():
    """Altman and Bland 1994, BMJ 309:102 (from memory): 2.4; interval by R epiR."""
    made = against_diagnosis(frame(*LIVER))

    assert (made.seen_malignant, made.seen_other, made.unseen_malignant, made.unseen_other) == (
        231,
        32,
        27,
        54,
    )
    assert made.ratios.lr_pos == pytest.approx(2.40625)
    assert made.ratios.lr_pos_ci == pytest.approx((1.82279062783183, 3.17646962525099))
    assert made.accuracy.sens == pytest.approx(231 / 258)
    assert made.accuracy.spec == pytest.approx(54 / 86)


def test_what_decides_nothing_is_left_out_and_counted():
    made = against_diagnosis(
        frame(
            (2, {"is_equivocal": True}),
            (3, {"diagnosis": None}),
            (4, {"diagnosis": "suspicious"}),
            (5, {"is_tracer_guided": False}),
            (1, SEEN),
        )
    )

    assert made.left_out == {EQUIVOCAL: 2, NO_DIAGNOSIS: 7}
    assert (made.malignant, made.other) == (0, 1)


def test_rows_hide_figures_below_the_minimum():
    rows = of_diagnosis(against_diagnosis(frame((9, {**MALIGNANT, **SEEN}), (30, {}))), 10)

    assert (rows[0].x, rows[0].n, rows[0].value, rows[0].method) == (9, 9, None, "fewer than 10")
    assert rows[1].value == pytest.approx(1.0)
    assert rows[4].value is None


#: Begg and Greenes 1983, Biometrics 39:207-215, liver scintigraphy (cells from memory): here "no uptake" is the sign.
VERIFIED = (
    (231, {"has_later_cancer": True, "is_resolved": True}),
    (32, {"is_resolved": True}),
    (166, {}),
    (27, {**SEEN, "has_later_cancer": True, "is_resolved": True}),
    (54, {**SEEN, "is_resolved": True}),
    (140, SEEN),
)


def test_an_empty_scan_is_corrected_for_who_was_followed():
    """The corrected values and errors of the check file: 0.8365 and 0.7384; bounds 0.580 to 0.936, 0.214 to 0.858."""
    made = missed_cancer(frame(*VERIFIED))

    assert made.without == (231, 32, 166)
    assert made.with_ == (27, 54, 140)
    assert made.corrected.sens == pytest.approx(0.83646671543526)
    assert made.corrected.spec == pytest.approx(0.738398018166804)
    assert made.bounds.sens == pytest.approx((0.580, 0.936), abs=5e-4)
    assert made.bounds.spec == pytest.approx((0.214, 0.858), abs=5e-4)


def test_only_first_procedures_with_a_benign_result_and_two_years_count():
    made = missed_cancer(
        frame(
            (1, {"is_resolved": True}),
            (2, {"is_index": False}),
            (3, {"is_window_complete": False}),
            (4, {"is_equivocal": True}),
            (5, MALIGNANT),
            (6, {"is_tracer_guided": False}),
        )
    )

    assert (made.n, made.cancers) == (1, 0)
    assert made.left_out == {REPEAT: 2, EARLY: 3, EQUIVOCAL: 4}


@given(st.lists(st.integers(0, 6), min_size=6, max_size=6))
def test_every_reading_after_a_benign_result_has_one_place(counts: list[int]):
    cells = [one for _, one in VERIFIED]
    made = missed_cancer(frame((1, MALIGNANT), *zip(counts, cells, strict=True)))

    assert (*made.without, *made.with_) == tuple(counts)


def test_rows_of_a_missed_cancer_give_counts_before_figures():
    rows = of_missed(missed_cancer(frame(*VERIFIED)), 10)

    assert [(one.x, one.n) for one in rows[:4]] == [(231, 263), (166, 429), (27, 81), (140, 221)]
    assert rows[5].limits == pytest.approx((0.580, 0.936), abs=5e-4)


CHECKS = Path(__file__).parents[1] / "published" / "statistics_checks.json"


def check(name: str) -> dict[str, object]:
    found = json.loads(CHECKS.read_text(encoding="utf-8"))
    rows = found if isinstance(found, list) else found["checks"]
    return next(one for one in rows if one["id"] == name)


def test_the_specimens_beside_the_lesion_as_published():
    """Two markers of one cohort: pROC's data aSAH, the second less the first here, so with the other sign."""
    row = check("roc.delong_compare.wfns_s100b")
    given, expected = row["input"], row["expected"]
    outcome, first, second = (given[name] for name in ("outcome", "marker1", "marker2"))  # type: ignore[index]
    found = pl.DataFrame(
        [
            reading(
                patient_no=number,
                is_malignant=bool(ill),
                specimen_concentration_ratio=float(one),
                suv_max=float(other),
            )
            for number, (ill, one, other) in enumerate(zip(outcome, first, second, strict=True))
        ]
    )
    made = beside_the_lesion(found)

    assert made.comparison.z == pytest.approx(expected["z"], abs=1e-6)  # type: ignore[index]
    assert (made.n, made.malignant) == (113, sum(outcome))


def test_a_lesion_read_twice_has_the_limits_of_the_paper_on_logarithms():
    """Bland and Altman 1986, Lancet i:307-310: 17 peak flows, limits -78.1 and 73.9; here they are logarithms (per 1,000)."""
    from numpy import exp, log

    row = check("target.bland_altman_196.pefr")
    a, b = (row["input"][name] for name in ("a", "b"))  # type: ignore[index]
    found = pl.DataFrame(
        {
            "procedure_id": [f"P{n}" for n in range(17)],
            "patient_no": list(range(17)),
            "days_between": list(range(17)),
            "day_ratio": exp([one / 1000 for one in a]),
            "planning_ratio": exp([one / 1000 for one in b]),
        }
    )
    made = same_lesion(found)

    assert [1000 * log(one) for one in made.limits] == pytest.approx([-78.0959054671117, 73.8606113494646])
    assert made.days == 8
    assert of_lesion(made, 18)[0].value is None
    assert of_lesion(made, 17)[0].value == pytest.approx(exp(-2.11764705882353 / 1000))


def test_a_ratio_of_nothing_has_no_logarithm_and_is_counted():
    found = pl.DataFrame(
        {
            "procedure_id": ["A", "B"],
            "patient_no": [1, 2],
            "days_between": [1, 2],
            "planning_ratio": [2.0, 0.0],
            "day_ratio": [8.0, 3.0],
        }
    )

    assert (same_lesion(found).zeros, same_lesion(found).n) == (1, 1)
    assert pairs(found).row(0, named=True)["middle"] == pytest.approx(4.0)
    assert pairs(found).row(0, named=True)["quotient"] == pytest.approx(4.0)
