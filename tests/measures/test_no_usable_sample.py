"""Attempts without a usable sample, by size, gauge, approach and guidance."""

from __future__ import annotations

from math import exp
from typing import TYPE_CHECKING

import pytest

from registry.cores import no_usable_sample
from registry.stats.regression import firth_logistic
from tests.measures.build import day

if TYPE_CHECKING:
    from registry.cores import PredictorRow, Unusable
    from tests.measures.build import Drawn

AS_OF = 100


def attempt(
    drawn: Drawn, key: str, how: str = "benign", on: int = 0, size: float | None = None, **cells: object
):
    """An attempt that ended as stated: a diagnosis, or a status of the procedure."""
    drawn.finding(f"finding of {key}", size_mm=size)
    if how in ("cancelled", "abandoned", "unreported"):
        status = "completed" if how == "unreported" else how
        drawn.procedure(key, on, finding=f"finding of {key}", status=status, **cells)
        return
    drawn.procedure(key, on, finding=f"finding of {key}", **cells)
    drawn.report(key, how)


def asked(drawn: Drawn) -> Unusable:
    return no_usable_sample(drawn.built(), as_of=day(AS_OF))


def of(found: Unusable, predictor: str) -> dict[str, PredictorRow]:
    return {one.value: one for one in found.rows if one.predictor == predictor}


def test_who_counts_and_who_is_left_out(drawn: Drawn):
    attempt(drawn, "insufficient", "insufficient")
    attempt(drawn, "abandoned", "abandoned")
    attempt(drawn, "normal", "normal")
    attempt(drawn, "cancelled", "cancelled")
    attempt(drawn, "unreported", "unreported")
    attempt(drawn, "late", "insufficient", on=AS_OF - 29)
    attempt(drawn, "abandoned late", "abandoned", on=AS_OF - 29)
    attempt(drawn, "just early enough", "insufficient", on=AS_OF - 30)
    found = asked(drawn)

    assert (found.x, found.n) == (3, 4)
    assert found.flow == (
        ("procedures", 0, 8),
        ("cancelled", 1, 7),
        ("report window not complete", 2, 5),
        ("no pathology report", 1, 4),
    )


def test_sizes_are_counted_in_classes_with_their_upper_end(drawn: Drawn):
    for key, size in (
        ("a", 5.0),
        ("b", 5.1),
        ("c", 10.0),
        ("d", 20.0),
        ("e", 50.0),
        ("f", 51.0),
        ("g", None),
    ):
        attempt(drawn, key, size=size)
    rows = of(asked(drawn), "size_mm")

    assert {value: one.n for value, one in rows.items()} == {
        "up to 5 mm": 1,
        "above 5 to 10 mm": 2,
        "above 10 to 20 mm": 1,
        "above 20 to 50 mm": 1,
        "above 50 mm": 1,
        "all, per 5 mm larger": 6,
        "not recorded": 1,
    }
    assert rows["not recorded"].reason == "not compared"


def twelve_without(drawn: Drawn) -> None:
    """40 attempts from each side; without a usable sample 2 lateral and 10 medial ones."""
    for side, without in (("lateral", 2), ("medial", 10)):
        for place in range(40):
            how = "insufficient" if place < without else "benign"
            attempt(drawn, f"{side} {place}", how, approach=side, gauge=9 if place % 2 else 12)


def test_an_odds_ratio_from_a_two_by_two_table(drawn: Drawn):
    """Firth's estimate adds a half to each cell: (10.5 / 30.5) / (2.5 / 38.5) = 5.302."""
    twelve_without(drawn)
    rows = of(asked(drawn), "approach")

    # The two are as many: the one whose name comes first in the alphabet backwards is none; lateral or medial.
    compared = next(one for one in rows.values() if one.odds_ratio is not None)
    ratio = compared.odds_ratio if compared.value == "medial" else 1 / compared.odds_ratio
    assert ratio == pytest.approx((10.5 / 30.5) / (2.5 / 38.5), rel=1e-6)
    assert {one.value: (one.x, one.n) for one in rows.values()} == {"lateral": (2, 40), "medial": (10, 40)}
    assert {one.against or one.reason for one in rows.values()} == {
        "reference",
        {"medial": "lateral", "lateral": "medial"}[compared.value],
    }


def test_the_limits_are_those_of_the_penalised_profile(drawn: Drawn):
    twelve_without(drawn)
    rows = of(asked(drawn), "approach")
    compared = next(one for one in rows.values() if one.odds_ratio is not None)
    side = [1.0] * 40 + [0.0] * 40
    without = [1] * compared.x + [0] * (40 - compared.x) + [1] * (12 - compared.x) + [0] * (28 + compared.x)
    fit = firth_logistic(side, without)

    assert (compared.odds_lower, compared.odds_upper) == pytest.approx(
        (exp(fit.lower[1]), exp(fit.upper[1])), rel=1e-4
    )


def test_with_too_few_there_is_no_odds_ratio_and_a_reason(drawn: Drawn):
    """Nine without a usable sample, ten needed for one term."""
    for side, without in (("lateral", 4), ("medial", 5)):
        for place in range(20):
            attempt(drawn, f"{side} {place}", "insufficient" if place < without else "benign", approach=side)
    rows = of(asked(drawn), "approach")

    assert {one.odds_ratio for one in rows.values()} == {None}
    assert {one.reason for one in rows.values()} == {"too few: 9 without a usable sample, 10 needed"}


def test_a_value_with_few_attempts_is_counted_and_not_fitted(drawn: Drawn):
    twelve_without(drawn)
    for place in range(9):
        attempt(drawn, f"oblique {place}", "insufficient", approach="oblique")
    rows = of(asked(drawn), "approach")

    assert (rows["oblique"].x, rows["oblique"].n) == (9, 9)
    assert (rows["oblique"].odds_ratio, rows["oblique"].reason) == (None, "fewer than 10 attempts")


def test_a_predictor_with_one_value_has_nothing_to_compare(drawn: Drawn):
    twelve_without(drawn)

    assert {one.reason for one in of(asked(drawn), "guidance").values()} == {"nothing to compare"}


def test_a_measured_predictor_is_fitted_by_its_step(drawn: Drawn):
    """Gauge 9 and 12 only, 6 of 40 each way: the odds ratio per number is the cube root of that of the two."""
    twelve_without(drawn)
    rows = of(asked(drawn), "gauge")
    thin, thick = rows["12 G"], rows["9 G"]
    two = ((thin.x + 0.5) / (thin.n - thin.x + 0.5)) / ((thick.x + 0.5) / (thick.n - thick.x + 0.5))

    assert rows["all, per number higher"].odds_ratio == pytest.approx(two ** (1 / 3), rel=1e-6)


def test_no_attempts_have_no_share(drawn: Drawn):
    found = asked(drawn)

    assert (found.x, found.n) == (0, 0)
    assert {one.lower for one in found.rows} <= {None}
