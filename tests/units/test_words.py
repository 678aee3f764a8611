"""Sentences on operators or sites: the figures in them, and what is left out where there is none."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest

from registry.units import words
from registry.units.funnel import Funnel, Unit
from registry.units.learning import Learning, OneByOne
from registry.units.pool import Pool

POOL = Pool(6, 30, 400, 0.075, 0.05, 0.11, 0.07, 0.04, 0.12, 0.02, 0.2, 0.4, 0.95)


def unit(code: str | None, x: int, n: int, **cells: Any) -> Unit:
    return Unit(code, False, x, n, {}, n >= 10, **cells)


def funnel(*units: Unit, **cells: Any) -> Funnel:
    given: dict[str, Any] = {
        "measure": "discordance",
        "title": "Discordance",
        "direction": "lower",
        "by": "operator",
        "units": units,
        "x": 30,
        "n": 400,
        "proportion": 0.075,
        "looked_at": sum(one.looked_at for one in units),
        "chance_95": 0.1426,
        "chance_998": 0.006,
        "spread": None,
        "spread_variance": None,
        "spread_reason": "",
        "shrink_mean": None,
        "shrink_size": None,
        "shrink_reason": "",
        "pool": POOL,
        "lines": (),
        "minimum": 10,
        "confidence": 0.95,
        "as_of": date(2026, 6, 30),
        "start": None,
        "end": None,
        "registry": "stamp",
    }
    return Funnel(**{**given, **cells})


@pytest.mark.parametrize(
    ("value", "said"), [(0.0, "0.0 %"), (0.0994, "9.9 %"), (0.0996, "10 %"), (0.256, "26 %")]
)
def test_a_percentage_has_two_figures(value: float, said: str):
    assert words.percent(value) == said


class TestLookedAt:
    def test_several(self):
        made = funnel(unit("A", 1, 20), unit("B", 2, 10), unit("C", 0, 9))
        assert words.looked_at(made) == (
            "2 operators were looked at. If all had one true rate, the chance that at least one lay outside "
            "the 95 % limits would be up to 14 %, outside the 99.8 % limits up to 0.6 %. "
            "1 with fewer than 10 procedures is listed with its counts only."
        )

    def test_one(self):
        assert words.looked_at(funnel(unit("A", 1, 20))) == (
            "One operator was looked at: there is nothing to set it beside."
        )

    def test_none(self):
        assert words.looked_at(funnel(unit("A", 1, 9), unit("B", 0, 3))) == (
            "No operator has 10 procedures in the denominator. "
            "2 with fewer than 10 procedures are listed with their counts only."
        )
        assert words.looked_at(funnel(unit("A", 1, 9))) == (
            "No operator has 10 procedures in the denominator. "
            "1 with fewer than 10 procedures is listed with its counts only."
        )


class TestFlags:
    def test_without_a_test_nothing_is_said(self):
        assert words.flags(funnel(unit("A", 1, 20))) == ""

    def test_nobody_stands_out(self):
        made = funnel(unit("A", 1, 20, p=0.4), unit("B", 1, 20, p=0.6))
        assert words.flags(made).startswith("No operator stands out (each against all the others together")

    def test_those_who_do_are_named_and_those_without_a_name_are_not(self):
        out = {"p": 0.001, "flagged": True, "proportion": 0.5, "compared_with": 0.05}
        made = funnel(unit("A", 10, 20, **out), unit(None, 10, 20, **out), unit("C", 1, 20, p=0.6))
        said = words.flags(made)
        assert said.startswith("Worth a look: A, one without a name (")
        assert said.endswith("the small numbers first.")

    def test_both_sides_are_mentioned(self):
        """One above and one below what it is compared with, the lower one at nothing."""
        high = {"p": 0.001, "flagged": True, "proportion": 0.5, "compared_with": 0.1}
        low = {"p": 0.001, "flagged": True, "proportion": 0.0, "compared_with": 0.3}
        made = funnel(unit("A", 10, 20, **high), unit("B", 0, 20, **low))
        assert "They lie on both sides" in words.flags(made)


class TestSpread:
    def test_too_few_units_say_why(self):
        made = funnel(unit("A", 1, 20), unit("B", 1, 20), spread_reason="fewer than 10 units")
        assert words.spread(made) == "Spread beyond chance is not estimated: fewer than 10 units."

    def test_one_unit_has_no_spread_to_speak_of(self):
        assert words.spread(funnel(unit("A", 1, 20), spread_reason="fewer than 10 units")) == ""

    @pytest.mark.parametrize(
        ("variance", "said"),
        [(0.2, "The last column of deviations allows for it."), (0.0, "There is none to allow for.")],
    )
    def test_spread_is_a_multiple_of_chance(self, variance: float, said: str):
        made = funnel(unit("A", 1, 20), spread=2.376, spread_variance=variance)
        assert (
            words.spread(made)
            == f"Spread of the units: 2.38 times what chance gives (1 = chance alone). {said}"
        )


class TestShrinkage:
    def test_rates_are_drawn_towards_the_common_one(self):
        apart = unit("A", 1, 20, shrunken=0.1, shrunken_otherwise=0.07)
        near = unit("B", 1, 20, shrunken=0.08, shrunken_otherwise=0.09)
        made = funnel(apart, near, shrink_mean=0.0765, shrink_size=1107.9)
        assert words.shrinkage(made) == (
            "Shrunken rates draw each operator towards 7.6 % as if it had 1 108 procedures at that rate beside its own "
            "(beta-binomial). Where the logits of the rates are normal instead, they differ by at most 3.0 points."
        )

    def test_without_the_other_model_nothing_is_said_of_it(self):
        made = funnel(unit("A", 1, 20, shrunken=0.1), shrink_mean=0.0765, shrink_size=107.9)
        assert words.shrinkage(made).endswith("beside its own (beta-binomial).")

    def test_no_spread_makes_one_rate(self):
        made = funnel(unit("A", 1, 20), shrink_mean=0.05, shrink_reason="the units show no spread")
        assert words.shrinkage(made) == (
            "Shrunken rates: the units show no spread, so that the best guess for each is the rate of all."
        )

    def test_no_rates_say_why_where_somebody_was_looked_at(self):
        assert words.shrinkage(funnel(unit("A", 0, 20), shrink_reason="no events")) == (
            "No shrunken rates: no events."
        )
        assert words.shrinkage(funnel(unit("A", 0, 9), shrink_reason="no events")) == ""


class TestPooled:
    CRUDE = (
        "All 6 sites as one: 7.5 % (95 % interval 5.0 % to 11 %), large ones weighing most and differences "
        "between them left out."
    )
    MIDDLE = "Allowing for their differences, the middle site has 7.0 % (4.0 % to 12 %; random-intercept logistic model)."

    def said(self, **cells: Any) -> str:
        return words.pooled(Pool(**{**vars(POOL), **cells}), "site")

    def test_a_further_one_is_predicted(self):
        assert self.said() == (
            f"{self.CRUDE} {self.MIDDLE} The true rate of a further site like these would lie between 2.0 % and "
            "20 % (95 % prediction interval)."
        )

    @pytest.mark.parametrize("missing", ["further_lower", "further_upper"])
    def test_few_predict_nothing(self, missing: str):
        said = self.said(**{missing: None})
        assert said.startswith(f"{self.CRUDE} {self.MIDDLE} What a further site would have is not predicted")

    @pytest.mark.parametrize("missing", ["middle", "lower", "upper"])
    def test_without_a_model_there_is_a_reason(self, missing: str):
        assert self.said(**{missing: None}, reason="no events") == (
            f"{self.CRUDE} No model over the sites: no events."
        )

    @pytest.mark.parametrize("missing", ["crude", "crude_lower", "crude_upper"])
    def test_without_procedures_nothing_is_said(self, missing: str):
        assert self.said(**{missing: None}) == ""

    def test_one_is_not_brought_together(self):
        assert self.said(units=1) == ""
        assert self.said(units=2).startswith("All 2 sites as one")


def learning(**cells: Any) -> Learning:
    given: dict[str, Any] = {
        "measure": "discordance",
        "title": "Discordance",
        "operator": None,
        "points": (),
        "x": 30,
        "n": 1400,
        "no_number": 0,
        "left_out": 0,
        "odds_ratio": 0.8012,
        "odds_lower": 0.65,
        "odds_upper": 0.986,
        "modelled": 1234,
        "modelled_operators": 6,
        "reason": "",
        "apart": OneByOne(5, 0.79, 0.6, 1.04, 0.213),
        "minimum": 10,
        "confidence": 0.95,
        "as_of": date(2026, 6, 30),
        "start": None,
        "end": None,
        "registry": "stamp",
    }
    return Learning(**{**given, **cells})


class TestLearning:
    CAUTION = "It describes these procedures: patients, devices and habits change with the years as well."

    def test_all_operators(self):
        assert words.of_learning(learning(no_number=7)) == (
            "7 procedures are left out: the experience of their operator before the registry is not recorded.",
            "Twice the number of procedures goes with 0.80 times the odds (95 % interval 0.65 to 0.99; "
            "Firth logistic, 1\u202f234 procedures, 6 operators each compared with themselves).",
            "5 operators fitted one by one and brought together: 0.79 times the odds (0.60 to 1.04; random effects, "
            "Hartung and Knapp), standard deviation between operators 0.21 on the logarithm.",
            self.CAUTION,
        )

    @pytest.mark.parametrize("missing", ["ratio", "lower", "upper", "between"])
    def test_too_few_operators_one_by_one(self, missing: str):
        apart = OneByOne(**{**vars(OneByOne(3, 0.79, 0.6, 1.04, 0.2, "3 operators")), missing: None})
        assert words.of_learning(learning(apart=apart))[1:] == (
            "Whether it goes alike for all operators is not estimated: 3 operators.",
            self.CAUTION,
        )

    def test_one_operator_is_not_compared_with_others(self):
        said = words.of_learning(learning(operator="OP1", apart=OneByOne(1, reason="1 operators")))
        assert len(said) == 2
        assert said[0].endswith("Firth logistic, 1\u202f234 procedures).")

    def test_no_odds_ratio_says_why(self):
        assert words.of_learning(learning(odds_ratio=None, reason="too few")) == (
            "No odds ratio is given: too few.",
        )

    def test_without_numbered_procedures_only_those_left_out_are_said(self):
        made = learning(odds_ratio=None, n=0, no_number=3, reason="no operator")
        assert words.of_learning(made) == (
            "3 procedures are left out: the experience of their operator before the registry is not recorded.",
        )


def test_sentences_of_a_funnel_stand_without_the_empty_ones():
    """The guide only beside drawn lines; what is withheld at the end."""
    drawn = funnel(unit("A", 1, 20), lines=((10, 0.0, 0.0, 0.2, 0.3),), withheld="None is shown.")
    plain = funnel(unit("A", 1, 20))

    assert words.of_funnel(drawn)[1].startswith("The drawn limits lie around the rate of all")
    assert words.of_funnel(drawn)[-1] == "None is shown."
    assert len(words.of_funnel(plain)) == len(words.of_funnel(drawn)) - 2
    assert all(words.of_funnel(plain))
