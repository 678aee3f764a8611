"""The first table: worked examples, scipy, and every cell counted again with polars."""

from __future__ import annotations

from math import sqrt

import numpy as np
import polars as pl
import pytest
from scipy import stats

from registry.cohorts import draw, groupings, table_one
from registry.errors import UsageProblem
from registry.stats.standardised import difference_of_means, difference_of_shares
from tests.cohorts.conftest import Reading, cohort
from tests.measures.build import day

# -- standardised differences ------------------------------------------------------


def test_means_by_a_worked_example():
    """1 2 3 4 5 against 3 4 5 6 7: means 3 and 5, both variances 2.5, so 2 / sqrt(2.5) = 1.2649."""
    assert difference_of_means([1, 2, 3, 4, 5], [3, 4, 5, 6, 7]) == pytest.approx(2 / sqrt(2.5), rel=1e-12)


def test_means_agree_with_scipy():
    """With equal n, t of Student's test is d * sqrt(n / 2): Cohen's d over the same pooled variance."""
    draw_ = np.random.default_rng(4)
    one, two = draw_.normal(10, 3, 25), draw_.normal(12, 5, 25)
    t = abs(stats.ttest_ind(one, two).statistic)

    assert difference_of_means(one, two) == pytest.approx(t / sqrt(25 / 2), rel=1e-12)


def test_two_shares_by_a_worked_example():
    """30 of 100 against 50 of 100: 0.2 / sqrt((0.21 + 0.25) / 2) = 0.4170."""
    assert difference_of_shares([30, 70], [50, 50]) == pytest.approx(0.2 / sqrt(0.23), rel=1e-12)


def test_three_shares_by_a_worked_example():
    """Yang and Dalton's form with numpy, all entries written out; shares 0.2 0.3 0.5 and 0.4 0.4 0.2."""
    apart = np.array([0.4 - 0.3, 0.2 - 0.5])
    spread = np.array(
        [
            [(0.3 * 0.7 + 0.4 * 0.6) / 2, -(0.3 * 0.5 + 0.4 * 0.2) / 2],
            [-(0.3 * 0.5 + 0.4 * 0.2) / 2, (0.5 * 0.5 + 0.2 * 0.8) / 2],
        ]
    )
    expected = sqrt(apart @ np.linalg.inv(spread) @ apart)

    assert difference_of_shares([20, 30, 50], [40, 40, 20]) == pytest.approx(expected, rel=1e-12)


def test_it_does_not_matter_which_category_comes_first():
    assert difference_of_shares([20, 30, 50], [40, 40, 20]) == pytest.approx(
        difference_of_shares([50, 20, 30], [20, 40, 40]), rel=1e-12
    )


@pytest.mark.parametrize(
    ("first", "second", "expected"),
    [
        ([10, 0], [0, 10], None),
        ([10, 0], [10, 0], 0.0),
        ([0, 0], [1, 2], None),
        ([5, 5, 0], [5, 5, 0], 0.0),
    ],
)
def test_shares_without_spread(first, second, expected):
    assert difference_of_shares(first, second) == expected


@pytest.mark.parametrize(
    ("first", "second", "expected"),
    [([1], [2, 3], None), ([2, 2], [2, 2], 0.0), ([2, 2], [3, 3], None), ([], [1, 2], None)],
)
def test_means_without_spread(first, second, expected):
    assert difference_of_means(first, second) == expected


# -- the table ---------------------------------------------------------------------


@pytest.fixture
def everything(registry):
    return draw(registry, cohort(), seed=1)


def test_every_cell_counted_again(everything):
    """Counts, missing, quartiles and means of each group and column, by polars."""
    made = table_one(everything, by="guidance", minimum=1)
    checked = 0
    for one in made.frame.iter_rows(named=True):
        part = everything.frame
        if one["group"] != "all":
            part = part.filter(pl.col("guidance") == one["group"])
        cells = part[one["variable"]]
        assert (one["recorded"], one["missing"]) == (len(cells) - cells.null_count(), cells.null_count())
        if one["level"] is None:
            assert (
                one["median"] == pytest.approx(cells.median()) if one["recorded"] else one["median"] is None
            )
            assert (one["q1"], one["q3"]) == pytest.approx(
                (cells.quantile(0.25, "linear"), cells.quantile(0.75, "linear"))
            )
            assert (one["mean"], one["sd"]) == pytest.approx((cells.mean(), cells.std()))
        else:
            assert one["count"] == (cells.cast(pl.String) == one["level"]).sum()
            assert (one["share"] or 0) * one["recorded"] == pytest.approx(one["count"])
        checked += 1
    assert checked > 200
    assert made.frame["missing"].max() > 0


def test_the_difference_is_the_largest_between_two_groups(everything):
    made = table_one(everything, by="guidance", columns=["age_years"])
    ages = {
        str(name): part["age_years"].drop_nulls().to_numpy()
        for (name,), part in everything.frame.group_by("guidance")
    }
    names = sorted(ages)
    largest = max(
        abs(ages[a].mean() - ages[b].mean()) / sqrt((ages[a].var(ddof=1) + ages[b].var(ddof=1)) / 2)
        for place, a in enumerate(names)
        for b in names[place + 1 :]
    )

    assert len(names) > 2
    assert made.frame["difference"].drop_nulls().to_list() == pytest.approx([largest])


def test_patients_are_counted_apart(everything):
    made = table_one(everything, by="is_malignant")
    (all_, *rest) = made.groups

    assert (all_.units, all_.patients) == (everything.frame.height, everything.frame["patient_no"].n_unique())
    assert all_.patients < all_.units
    assert sum(one.units for one in rest) == all_.units
    # One who has a procedure in each group stands in both.
    assert sum(one.patients for one in rest) > all_.patients


def test_what_is_not_recorded_is_a_group_that_is_not_compared(everything):
    made = table_one(everything, by="density", columns=["age_years"])
    names = [one.name for one in made.groups]

    assert names == ["all", "a", "b", "c", "d", "not recorded"]
    recorded = everything.frame.filter(pl.col("density").is_not_null())
    pairs = [
        difference_of_means(
            recorded.filter(density=a)["age_years"].to_numpy(),
            recorded.filter(density=b)["age_years"].to_numpy(),
        )
        for a, b in ("ab", "ac", "ad", "bc", "bd", "cd")
    ]
    assert made.frame["difference"].drop_nulls().to_list() == pytest.approx([max(pairs)])


def test_a_group_with_few_patients_is_counted_and_not_described(everything):
    sizes = dict(everything.frame.group_by("guidance").agg(pl.col("patient_no").n_unique()).iter_rows())
    least, most = min(sizes.values()), max(sizes.values())
    made = table_one(everything, by="guidance", minimum=least + 1)
    small = {one.name for one in made.groups if not one.shown}

    assert small == {name for name, count in sizes.items() if count <= least}
    assert small.isdisjoint(made.frame["group"].to_list())
    label = next(one.label for one in made.groups if not one.shown)
    assert all(row[label] == f"fewer than {least + 1}" for row in made.rows()[2:])
    assert most > least


def test_what_makes_the_groups_is_described_only_when_asked(everything):
    """Within a group it is always the same; without groups it is one of the usual columns."""

    def described(made):
        return set(made.frame["variable"].to_list())

    assert described(table_one(everything)) - described(table_one(everything, by="guidance")) == {"guidance"}
    assert described(table_one(everything, by="guidance", columns=["guidance"])) == {"guidance"}


def test_few_recorded_values_are_counts_only(drawn):
    for number in range(12):
        drawn.procedure(f"P{number:02}", on=number, cores=number if number < 3 else None, guidance="mri")
    made = table_one(
        draw(Reading(drawn), cohort(as_of=day(30).isoformat())), columns=["cores", "guidance"], minimum=10
    )
    said = {row[""]: row["all"] for row in made.rows()}

    assert said["cores"] == "3 recorded"
    assert said["guidance: MRI"] == "12 / 12 (100.0 %)"


def test_means_in_place_of_medians(drawn):
    for number, cores in enumerate([2, 4, 4, 4, 5, 5, 7, 9, 5, 5]):
        drawn.procedure(f"P{number}", on=number, cores=cores)
    made = table_one(draw(Reading(drawn), cohort(as_of=day(30).isoformat())), columns=["cores"], minimum=10)
    # Sum 50, mean 5; squares of the differences 9 1 1 1 0 0 4 16 0 0 = 32, / 9 = 3.556, root 1.886.
    assert made.rows(means=True)[2]["all"] == "5 (SD 1.89)"
    assert made.rows()[2]["all"] == "5 (4 to 5)"


def test_years_and_flags_have_groups_of_their_own(everything):
    years = table_one(everything, by="year").groups
    assert [one.name for one in years[1:]] == sorted(
        {str(one.year) for one in everything.frame["started_on"]}
    )
    assert [one.label for one in table_one(everything, by="is_sampled").groups] == ["all", "no", "yes"]


@pytest.mark.parametrize(
    "name", ["patient_no", "operator_no", "supervisor_no", "procedure_id", "operator", "age_years"]
)
def test_a_table_is_never_split_by_key_or_staff(everything, name):
    assert name not in groupings()
    with pytest.raises(UsageProblem, match="cannot be split by it. Allowed: year, repeat_reason, site"):
        table_one(everything, by=name)


@pytest.mark.parametrize("name", ["patient_no", "operator_no", "started_on", "nothing"])
def test_a_table_never_describes_a_key_staff_or_a_date(everything, name):
    with pytest.raises(UsageProblem, match="cannot describe it"):
        table_one(everything, columns=[name])


def test_too_many_groups_are_refused(drawn):
    for number in range(9):
        drawn.procedure(f"P{number}", site=f"S{number}")
    made = draw(Reading(drawn), cohort(as_of=day(30).isoformat()))
    with pytest.raises(UsageProblem, match="site: gives 9 groups, and a table has room for 8"):
        table_one(made, by="site")
