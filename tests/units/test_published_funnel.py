"""The published funnel of surgical mortality, drawn into a registry and asked for as the page does."""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from scipy.stats import beta, binom

from registry.units import SITE, Funnel, funnel
from tests.measures.build import Drawn
from tests.measures.many import Group, draw

if TYPE_CHECKING:
    from collections.abc import Iterator

AS_OF = date(2026, 1, 1)
PUBLISHED = {
    row["id"]: row
    for row in json.loads(
        (Path(__file__).parents[1] / "published" / "statistics_checks.json").read_text("utf-8")
    )
}
SURGICAL = PUBLISHED["qc.glmm_logit_normal.surgical"]
CATHETER = PUBLISHED["meta.glmm_logit.catheter_control"]


def by_site(row: dict[str, dict[str, list[int]]]) -> Drawn:
    """One site for each centre; what is drawn as no tissue is the published event."""
    made = Drawn()
    counts = zip(row["input"]["x"], row["input"]["n"], strict=True)
    return draw(
        made, [Group(n - x, n, date(2020, 1, 1), site=f"H{i:02}") for i, (x, n) in enumerate(counts, 1)]
    )


@pytest.fixture(scope="module")
def surgical() -> Iterator[Funnel]:
    """Twelve hospitals as sites; the share with tissue is the published mortality."""
    scene = by_site(SURGICAL)
    yield funnel(scene, "tissue_obtained", by=SITE, as_of=AS_OF)
    scene.close()


def test_spread_and_deviations_of_the_published_hospitals(surgical: Funnel):
    """phi 2.38; the hospital at 3.35 standard deviations falls to 2.09 once the spread is allowed for."""
    one = {unit.code: unit for unit in surgical.units}["H08"]

    assert surgical.spread == pytest.approx(2.38, abs=5e-3)
    assert one.deviation == pytest.approx(3.35, abs=5e-3)
    assert one.deviation_spread == pytest.approx(2.09, abs=5e-3)


def test_limits_are_those_of_the_appendix(surgical: Funnel):
    """Spiegelhalter 2005, appendix: (r - a) / n, r the quantile, a the overshoot over the chance of r."""
    rate = 208 / 2814
    for unit in surgical.units:
        for level, limit in zip((0.001, 0.025, 0.975, 0.999), unit.limits, strict=True):
            r = binom.ppf(level, unit.n, rate)
            a = (binom.cdf(r, unit.n, rate) - level) / binom.pmf(r, unit.n, rate)
            assert limit == pytest.approx(max(0.0, (r - a) / unit.n), abs=1e-12)


def test_the_only_hospital_outside_the_outer_limits(surgical: Funnel):
    assert [one.code for one in surgical.units if one.outside == "99.8 %"] == ["H08"]


def test_shrunken_rates_of_the_published_hospitals(surgical: Funnel):
    """Beta with mean 0.0765 and size 107.9: 0 of 47 becomes 5.3 %, 31 of 215 becomes 12.2 %."""
    units = {unit.code: unit for unit in surgical.units}

    assert surgical.shrink_mean == pytest.approx(0.0765, abs=5e-5)
    assert surgical.shrink_size == pytest.approx(107.9, abs=0.05)
    assert units["H01"].shrunken == pytest.approx(0.053, abs=5e-4)
    assert units["H08"].shrunken == pytest.approx(0.122, abs=5e-4)


def test_a_shrunken_rate_lies_within_limits_wider_than_those_of_a_common_distribution_known_exactly(
    surgical: Funnel,
):
    """The published mean and size are themselves estimated; with them known a beta distribution remains."""
    one = {unit.code: unit for unit in surgical.units}["H08"]
    known = beta(0.0765 * 107.9 + 31, (1 - 0.0765) * 107.9 + 215 - 31)

    assert one.shrunken_lower < known.ppf(0.025) < one.shrunken < known.ppf(0.975) < one.shrunken_upper


def test_the_published_centres_brought_together(surgical: Funnel):
    """Twelve hospitals: logit -2.5440 (standard error 0.1350), 0.3577 between them; t with 10 degrees of freedom.

    expit(-2.5440) = 7.28 %; -2.5440 -/+ 2.2281 sqrt(0.3577 ** 2 + 0.1350 ** 2) = -3.3959, -1.6921:
    3.24 % and 15.55 %. Crude 208 of 2814 = 7.39 %.
    """
    made = surgical.pool

    assert (made.units, made.x, made.n) == (12, 208, 2814)
    assert made.middle == pytest.approx(0.0728, abs=5e-5)
    assert made.between == pytest.approx(0.3577, abs=5e-4)
    assert (made.further_lower, made.further_upper) == pytest.approx((0.0324, 0.1555), abs=1e-4)


def test_catheter_infections_brought_together():
    """Stijnen 2010, table II, control: mean logit -3.4964 with standard error 0.257, so 2.94 %."""
    scene = by_site(CATHETER)
    made = funnel(scene, "tissue_obtained", by=SITE, as_of=AS_OF).pool
    scene.close()

    assert made.middle == pytest.approx(0.0294, abs=5e-5)
    # expit(-3.4964 -/+ 1.95996 x 0.257) = 1.798 %, 4.776 %
    assert (made.lower, made.upper) == pytest.approx((0.01798, 0.04776), abs=3e-5)


def test_four_sites_predict_nothing_of_a_fifth():
    scene = by_site({"input": {"x": [3, 5, 9, 2], "n": [40, 40, 40, 40]}})
    made = funnel(scene, "tissue_obtained", by=SITE, as_of=AS_OF)
    scene.close()

    assert (made.pool.further_lower, made.pool.why_no_prediction) == (None, "fewer than 5 units")
    assert "is not predicted: fewer than 5 units" in " ".join(made.sentences)


def test_one_site_is_not_brought_together_with_anything():
    scene = by_site({"input": {"x": [3], "n": [40]}})
    made = funnel(scene, "tissue_obtained", by=SITE, as_of=AS_OF)
    scene.close()

    assert (made.pool.middle, made.pool.reason) == (None, "needs two units")
    assert "All 1 sites" not in " ".join(made.sentences)


def test_a_likely_count_is_not_outside_though_it_lies_beyond_the_drawn_limit():
    """24 of 24 at 96 %: 0.96 ** 24 = 38 % likely, while the interpolated 99.9 % limit lies just below 100 %."""
    scene = by_site({"input": {"x": [24, 72], "n": [24, 76]}})
    one = funnel(scene, "tissue_obtained", by=SITE, as_of=AS_OF).units[0]
    scene.close()

    assert one.limits[-1] < one.proportion == 1.0
    assert one.tail == pytest.approx(0.96**24)
    assert one.outside == ""
