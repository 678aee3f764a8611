"""Ratios by diagnosis, curve and threshold, blind readings, benign results with uptake."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

import polars as pl
import pytest

from registry.errors import UsageProblem
from registry.uptake import benign_with_uptake, blind_readings, by_diagnosis, discrimination, readings
from tests.measures.build import at, day
from tests.measures.test_specimens import RATIO, scanned

if TYPE_CHECKING:
    from tests.measures.build import Drawn

AS_OF = day(1000)


def with_ratios(rows: list[tuple[str | None, float]], patients: list[int] | None = None) -> pl.DataFrame:
    """Rows as :func:`readings` gives them: diagnosis and ratio of each procedure."""
    diagnosis, ratio = zip(*rows, strict=True)
    return pl.DataFrame(
        {
            "procedure_id": [f"P{place}" for place in range(len(rows))],
            "patient_no": patients or list(range(len(rows))),
            "diagnosis": diagnosis,
            "is_malignant": [one in ("in_situ", "invasive", "other_malignant") for one in diagnosis],
            "specimen_concentration_ratio": [float(one) for one in ratio],
            "over_lesion": [None] * len(rows),
        },
        schema_overrides={"over_lesion": pl.Float64, "diagnosis": pl.String},
    )


class TestCurve:
    def test_area_by_hand(self):
        """Malignant 3, 4 against 1, 2, 3: (3 beats two and ties one) 2.5 + 3 of 6 pairs."""
        found = discrimination(
            with_ratios([("invasive", 3), ("in_situ", 4), ("benign", 1), ("normal", 2), ("high_risk", 3)])
        )
        assert found.roc.auc == pytest.approx(5.5 / 6)
        assert (found.roc.positives, found.roc.negatives) == (2, 3)

    def test_delong_interval_by_hand(self):
        """Positives beat 2/4, 4/4, 4/4 of the others; the others lose to 3/3, 3/3, 2/3, 2/3.

        Variances 1/12 and 1/27: 1/36 + 1/108 = 1/27; area 10/12. On the logit scale the half
        width is 1.959964 sqrt(1/27) / (10/12 * 2/12) = 2.7158 around log 5 = 1.6094.
        """
        rows = [("invasive", 2.5), ("invasive", 5), ("invasive", 6)]
        found = discrimination(
            with_ratios([*rows, ("benign", 1), ("benign", 2), ("benign", 3), ("benign", 4)])
        )

        assert found.roc.auc == pytest.approx(10 / 12)
        assert found.roc.var == pytest.approx(1 / 27)
        assert found.roc.ci_logit == pytest.approx((0.24856, 0.98693), abs=2e-5)

    def test_the_outcome_leaves_out_what_is_neither(self):
        found = discrimination(
            with_ratios([("invasive", 3), ("benign", 1), ("suspicious", 2), ("insufficient", 2), (None, 2)])
        )
        assert found.left_out == {"suspicious": 1, "insufficient": 1, "no report": 1}
        assert (found.roc.positives, found.roc.negatives) == (1, 1)

    def test_an_area_of_one_has_no_interval(self):
        rows = [("invasive", value) for value in (5, 6, 7)] + [("benign", value) for value in (1, 2, 3)]
        found = discrimination(with_ratios(rows))

        assert found.roc.auc == 1
        assert found.roc.ci_logit == (None, None)
        assert found.roc.reason == "the variance is 0 and gives no interval"

    def test_patients_with_several_procedures_are_counted(self):
        found = discrimination(with_ratios([("invasive", 3), ("benign", 1), ("benign", 2)], [7, 7, 8]))

        assert (found.patients, found.patients_with_several) == (2, 1)

    def test_the_threshold_counts_who_lies_on_which_side(self):
        """At 3 all malignant lie at or above, two of three others below: 2/2, 2/3, Youden 2/3."""
        rows = [("invasive", 3), ("invasive", 4), ("benign", 1), ("benign", 2), ("benign", 3.5)]
        found = discrimination(with_ratios(rows))

        assert found.threshold.threshold == 3
        assert (found.found, found.cleared) == (2, 2)
        assert found.threshold.youden == pytest.approx(2 / 3)
        assert found.threshold.corrected == pytest.approx(found.threshold.youden - found.threshold.optimism)

    def test_resampling_is_seeded(self):
        rows = [("invasive", 1 + place % 7) for place in range(20)] + [
            ("benign", place % 5) for place in range(20)
        ]
        assert discrimination(with_ratios(rows)) == discrimination(with_ratios(rows))

    def test_the_curve_runs_from_corner_to_corner_and_holds_the_area(self):
        """Trapezoids under it, ties as slopes, are the area."""
        rows = [("invasive", 3), ("in_situ", 4), ("benign", 1), ("normal", 2), ("high_risk", 3)]
        curve = discrimination(with_ratios(rows)).curve
        area = sum((b[0] - a[0]) * (a[1] + b[1]) / 2 for a, b in pairwise(curve))

        assert (curve[0], curve[-1]) == ((0, 0), (1, 1))
        assert area == pytest.approx(5.5 / 6)

    def test_one_outcome_alone_has_no_curve(self):
        found = discrimination(with_ratios([("benign", 1), ("benign", 2)]))

        assert (found.roc.auc, found.threshold.threshold, found.curve) == (None, None, ())


class TestGroups:
    def test_order_and_medians(self):
        rows = [("invasive", 3.0), ("benign", 1.0), ("benign", 2.0), ("benign", 6.0), (None, 4.0)]
        found = by_diagnosis(with_ratios(rows, [1, 2, 2, 3, 4]))

        assert [(one.diagnosis, one.ratio.n, one.patients, one.ratio.median) for one in found] == [
            ("benign", 3, 2, 2.0),
            ("invasive", 1, 1, 3.0),
            ("no report", 1, 1, 4.0),
        ]

    def test_three_values_have_no_interval_of_the_median(self):
        """2 x 0.5^3 = 0.25 outside the extremes, more than 0.05."""
        found = by_diagnosis(with_ratios([("benign", 1.0), ("benign", 2.0), ("benign", 6.0)]))

        assert (found[0].ratio.lower, found[0].ratio.upper) == (None, None)


class TestReadings:
    def test_a_row_from_the_registry(self, drawn: Drawn):
        drawn.finding("hot", suv_max=2.0)
        scanned(drawn, "P")
        drawn.rows["procedures"][0]["finding_id"] = "hot"
        drawn.report("P", "invasive", 3)
        (row,) = readings(drawn.built(), as_of=AS_OF).to_dicts()

        assert row["specimen_concentration_ratio"] == pytest.approx(RATIO, rel=1e-6)
        assert row["over_lesion"] == pytest.approx(RATIO / 2, rel=1e-6)
        assert (row["diagnosis"], row["is_malignant"]) == ("invasive", True)

    def test_the_procedures_with_a_ratio_are_those_of_the_measure(self, drawn: Drawn):
        scanned(drawn, "with")
        scanned(drawn, "without", None)
        drawn.rows["specimens"][-1]["uptake_seen"] = "no"
        drawn.procedure("abandoned", status="abandoned")
        said = drawn.built().said("specimen_concentration_ratio", 1000)
        found = readings(drawn, as_of=AS_OF)

        kept = found.filter(pl.col("specimen_concentration_ratio").is_not_null())
        assert kept.get_column("procedure_id").to_list() == ["with"]
        assert [key for key, value in said.items() if not isinstance(value, str)] == ["with"]

    def test_a_period_that_ends_before_it_begins(self, drawn: Drawn):
        with pytest.raises(UsageProblem, match="the first day is after the last"):
            readings(drawn.built(), as_of=AS_OF, start=day(5), end=day(4))


class TestBlind:
    def read(self, drawn: Drawn, key: str, reported: int | None, read: int | None, seen: str = "yes") -> None:
        drawn.procedure(key)
        when = None if read is None else at(read, "11:00")
        drawn.specimen(key, uptake_seen=seen, scan_at=at(0, "10:30"), read_at=when)
        if reported is not None:
            drawn.report(key, "benign", reported)

    def test_before_on_and_after_the_day_of_the_report(self, drawn: Drawn):
        self.read(drawn, "before", 5, 4)
        self.read(drawn, "same day", 5, 5)
        self.read(drawn, "after", 5, 6)
        self.read(drawn, "no report", None, 6)
        self.read(drawn, "no time", 5, None)
        found = readings(drawn.built(), as_of=AS_OF)

        assert dict(found.select("procedure_id", "against_report").iter_rows()) == {
            "before": "before",
            "same day": "same day",
            "after": "after",
            "no report": "before",
            "no time": "time not recorded",
        }

    def test_a_report_that_was_not_out_yet_blinds_nobody(self, drawn: Drawn):
        self.read(drawn, "P", 5, 6)

        assert readings(drawn.built(), as_of=day(6))["against_report"].to_list() == ["after"]
        drawn.report("P", "benign", 5, version=1, report_id="second")
        drawn.rows["pathology"] = drawn.rows["pathology"][:0]
        drawn.report("P", "benign", 7)
        assert readings(drawn.built(), as_of=day(6))["against_report"].to_list() == ["before"]

    def test_the_least_blind_container_counts(self, drawn: Drawn):
        self.read(drawn, "P", 5, 4)
        drawn.specimen("P", uptake_seen="no", scan_at=at(0, "10:30"), read_at=at(6, "09:00"))

        assert readings(drawn.built(), as_of=AS_OF)["against_report"].to_list() == ["after"]

    def test_the_strata_add_up_to_the_measure(self, drawn: Drawn):
        self.read(drawn, "A", 5, 4)
        self.read(drawn, "B", 5, 4, "no")
        self.read(drawn, "C", 5, 6)
        self.read(drawn, "D", 5, 6, "not_scanned")
        drawn.procedure("E", guidance="mri")
        drawn.specimen("E", uptake_seen="yes")
        found = blind_readings(readings(drawn.built(), as_of=AS_OF), as_of=AS_OF)
        said = [value for value in drawn.said("specimen_uptake", 1000).values() if isinstance(value, bool)]

        assert {one.stratum: (one.numerator, one.denominator) for one in found} == {
            "before": (1, 2),
            "same day": (0, 0),
            "after": (1, 1),
            "time not recorded": (0, 0),
        }
        assert (sum(one.numerator for one in found), sum(one.denominator for one in found)) == (
            sum(said),
            len(said),
        )


class TestBenign:
    def test_benign_or_normal_and_read_as_uptake(self, drawn: Drawn):
        for key, diagnosis, seen, explains in (
            ("explained", "benign", "yes", "main"),
            ("not explained", "benign", "yes", "none"),
            ("not stated", "normal", "yes", None),
            ("cancer", "invasive", "yes", "none"),
            ("high risk", "high_risk", "yes", "none"),
            ("no uptake", "benign", "no", "none"),
        ):
            drawn.procedure(key)
            drawn.specimen(key, uptake_seen=seen)
            drawn.report(key, diagnosis, 3, lesion="fat_necrosis", explains_finding=explains)
        found = benign_with_uptake(readings(drawn.built(), as_of=AS_OF))

        assert found.get_column("procedure_id").to_list() == ["not explained", "not stated", "explained"]
        assert found.get_column("lesions").to_list() == [["fat_necrosis"]] * 3

    def test_only_the_version_that_counts_names_a_lesion(self, drawn: Drawn):
        drawn.procedure("P")
        drawn.specimen("P", uptake_seen="yes")
        drawn.report("P", "benign", 3, lesion="cyst", explains_finding="main")
        drawn.report("P", "benign", 4, version=2, status="amended", lesion="scar", explains_finding="none")
        (row,) = benign_with_uptake(readings(drawn.built(), as_of=AS_OF)).to_dicts()

        assert (row["lesions"], row["is_finding_explained"]) == (["scar"], False)
        (before,) = benign_with_uptake(readings(drawn, as_of=day(3))).to_dicts()
        assert (before["lesions"], before["is_finding_explained"]) == (["cyst"], True)
