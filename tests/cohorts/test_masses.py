"""830 real biopsied masses as a cohort: first table, flow and yields worked out again from the file itself.

The file is that of :mod:`tests.imports.test_masses`, found the same way; it is not part of the project.
"""

from __future__ import annotations

from collections import Counter
from datetime import date
from math import sqrt

import pytest

from registry import store
from registry.cohorts import cohort_measures, draw, outcomes, table_one
from registry.intake import Options, accept
from registry.stats.proportions import wilson_interval
from registry.store import Registry
from tests.cohorts.conftest import cohort
from tests.imports.test_masses import received

__all__ = ["received"]
AS_OF = "2026-06-30"


@pytest.fixture(scope="module")
def masses(received, tmp_path_factory):
    place = tmp_path_factory.mktemp("masses") / "registry"
    store.create(place, name="Masses")
    with Registry.open(place, write=True) as opened:
        accept(opened, received, author="test", today=date(2026, 6, 30), options=Options())
        yield opened


@pytest.fixture(scope="module")
def lines(received):
    """Accepted rows of the file: assessment, age, diagnosis; the typing error 55 is held."""
    frames = {one.table: one.frame for one in received.tables}
    rows = (
        frames["findings"]
        .join(frames["procedures"], on="_line", suffix="_p")
        .join(frames["pathology"], on="_line", suffix="_r")
        .to_dicts()
    )
    return [row for row in rows if row["assessment"] != "55"]


def test_the_yield_of_the_cohort_is_that_of_the_file(masses, lines):
    made = draw(
        masses, cohort(as_of=AS_OF, population={"field": "assessment", "operator": "eq", "value": "4"})
    )
    (found,) = cohort_measures(masses, made, ["cancer_at_biopsy"])
    fours = [row for row in lines if row["assessment"] == "4"]
    malignant = sum(row["diagnosis"] == "invasive" for row in fours)

    # Malignant of all of category 4, counted from the same file by others: 103 of 468.
    assert (malignant, len(fours)) == (103, 468)
    assert made.frame.height == 468
    assert (found.numerator, found.denominator) == (103, 468)
    low, high = wilson_interval([103], [468], 0.95)
    assert (found.lower, found.upper) == pytest.approx((low[0], high[0]))


def test_the_first_table_is_that_of_the_file(masses, lines):
    made = table_one(
        draw(masses, cohort(as_of=AS_OF)), by="is_malignant", columns=["age_years", "assessment"], minimum=10
    )
    ages = {
        flag: [
            float(row["age_years"])
            for row in lines
            if (row["diagnosis"] == "invasive") == flag and row["age_years"]
        ]
        for flag in (True, False)
    }
    means = {flag: sum(values) / len(values) for flag, values in ages.items()}
    variances = {
        flag: sum((one - means[flag]) ** 2 for one in values) / (len(values) - 1)
        for flag, values in ages.items()
    }
    rows = {(one["group"], one["variable"], one["level"]): one for one in made.frame.to_dicts()}

    for flag, name in ((True, "true"), (False, "false")):
        cell = rows[name, "age_years", None]
        assert cell["recorded"] == len(ages[flag])
        assert cell["mean"] == pytest.approx(means[flag])
        assert cell["sd"] == pytest.approx(sqrt(variances[flag]))
    assert rows["all", "age_years", None]["difference"] == pytest.approx(
        abs(means[True] - means[False]) / sqrt((variances[True] + variances[False]) / 2)
    )
    counted = Counter((row["diagnosis"] == "invasive", row["assessment"]) for row in lines)
    for (flag, assessment), number in counted.items():
        assert rows["true" if flag else "false", "assessment", assessment]["count"] == number


def test_the_flow_ends_where_the_file_has_no_follow_up(masses, lines):
    strict = cohort(as_of=AS_OF, reference_standard="follow_up", minimum_follow_up_days=365)
    made = draw(masses, strict)
    said = {one.key: one.left_out for one in made.flow}
    malignant = sum(row["diagnosis"] == "invasive" for row in lines)

    assert made.flow[0].remaining == len(lines) == 829
    assert said["reference_standard"] == len(lines) - malignant
    assert made.frame.height == malignant


def test_nothing_of_what_is_pending_is_left_out_of_the_extremes(masses, lines):
    made = draw(masses, cohort(as_of=AS_OF))
    found = {one.reading: one for one in outcomes(masses, made) if one.measure == "false_omission"}
    benign = sum(row["diagnosis"] == "benign" for row in lines)

    assert found["complete only"].denominator == 0
    assert (found["pending as best"].numerator, found["pending as best"].denominator) == (0, benign)
    assert (found["pending as worst"].numerator, found["pending as worst"].denominator) == (benign, benign)
