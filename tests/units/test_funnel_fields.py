"""What stands beside a unit and a funnel, by hand: periods, levels, ratios, chances, and where they end."""

from __future__ import annotations

from math import atan
from types import SimpleNamespace
from typing import TYPE_CHECKING

import pytest
from scipy.stats import chi2

from registry.errors import Refused, UsageProblem
from registry.measures import load_measures
from registry.people import Actor, Role, acting
from registry.units import funnel
from registry.units.funnel import Unit
from tests.measures.build import day
from tests.units.funnels import AS_OF, MEASURE, draw, found

if TYPE_CHECKING:
    from registry.audit import Entry


@pytest.mark.parametrize(
    ("asked", "counts"),
    [
        ({}, [(12, 12), (8, 10)]),
        ({"start": day(2)}, [(10, 10), (6, 8)]),
        ({"end": day(8)}, [(9, 9), (8, 9)]),
        ({"start": day(2), "end": day(8)}, [(7, 7), (6, 7)]),
    ],
)
def test_a_period_counts_its_first_and_its_last_day(drawn, asked, counts):
    """OP1 has tissue on days 0 to 11, OP2 on days 0 to 7 and none on days 8 and 9."""
    _, made = found(draw(drawn, OP1=(12, 0), OP2=(8, 2)), **asked)

    assert [(one.x, one.n) for one in made.units] == counts
    assert (made.start, made.end) == (asked.get("start"), asked.get("end"))


def test_a_funnel_says_what_was_asked(drawn):
    _, made = found(draw(drawn, OP1=(12, 0), OP2=(8, 2), OP3=(9, 1)), minimum=7, confidence=0.9)
    measure = load_measures()[MEASURE]

    assert (made.measure, made.title, made.direction) == (MEASURE, measure.title, measure.direction)
    assert (made.by, made.minimum, made.confidence) == ("operator", 7, 0.9)
    assert (made.as_of, made.registry) == (AS_OF, "drawn by a test")
    assert (made.x, made.n, made.proportion) == (29, 32, 29 / 32)
    assert (made.unnamed, made.withheld) == (False, "")
    assert (made.spread, made.spread_variance) == (None, None)
    assert made.spread_reason.startswith("fewer than 10 units")
    # of three units at one rate, at least one outside: 1 - 0.95^3 and 1 - 0.998^3
    assert (made.chance_95, made.chance_998) == pytest.approx((0.142625, 0.005988008))


def test_the_level_is_that_of_every_interval_of_a_unit(drawn):
    """At 90 %: 1.644854 deviations in Wilson's limits of 18 of 20, 1 - 0.1^(1/10) without an event.

    OP1 has 18 of 20 where the others have 9 of 20, so that 9 are expected; limits of a count
    of 18 by Garwood.
    """
    units, _ = found(draw(drawn, OP1=(18, 2), OP2=(9, 1), OP3=(0, 10)), confidence=0.9)
    one, z = units["OP1"], 1.644853627
    middle, half = 0.9 + z**2 / 40, z * (0.9 * 0.1 / 20 + z**2 / 1600) ** 0.5

    assert (one.lower, one.upper) == pytest.approx(
        ((middle - half) / (1 + z**2 / 20), (middle + half) / (1 + z**2 / 20))
    )
    assert units["OP3"].upper_bound_no_events == pytest.approx(1 - 0.1**0.1)
    assert (one.compared_with, one.expected, one.ratio) == pytest.approx((0.45, 9, 2))
    assert (one.ratio_lower, one.ratio_upper) == pytest.approx(
        (chi2.ppf(0.05, 36) / 18, chi2.ppf(0.95, 38) / 18)
    )


def test_with_less_than_one_event_expected_there_is_no_ratio(drawn):
    """The others have none of 20: nothing is expected of OP1, which has 1 of 20."""
    units, _ = found(draw(drawn, OP1=(1, 19), OP2=(0, 20)))

    assert (units["OP1"].expected, units["OP1"].ratio, units["OP1"].ratio_upper) == (0, None, None)
    # of OP2 one event is expected, 20 times 1/20, and none is found: 0 to -log 0.025
    assert (units["OP2"].ratio, units["OP2"].ratio_lower) == (0, 0)
    assert units["OP2"].ratio_upper == pytest.approx(3.688879)


def test_the_spread_between_two_kinds_of_units_by_hand(drawn):
    """Five units of 8 of 10 and five of 2 of 10: their angles lie atan(1/3) to either side of a half's.

    z is that times 2 sqrt(10); phi its square, as no unit is further out than nine others; tau
    squared (10 phi - 9) over 10 weights of 40 less one.
    """
    kinds = {f"OP{number}": (8, 2) if number % 2 else (2, 8) for number in range(10, 20)}
    units, made = found(draw(drawn, **kinds))
    phi = 40 * atan(1 / 3) ** 2
    tau2 = (10 * phi - 9) / 360

    assert (made.spread, made.spread_variance, made.spread_reason) == (
        pytest.approx(phi),
        pytest.approx(tau2),
        "",
    )
    assert units["OP11"].deviation == pytest.approx(phi**0.5)
    assert units["OP10"].deviation_spread == pytest.approx(-atan(1 / 3) / (1 / 40 + tau2) ** 0.5)


def test_a_unit_that_is_not_looked_at_is_compared_with_nothing(drawn):
    units, _ = found(draw(drawn, OP1=(12, 3), OP2=(11, 4), OP3=(4, 5)))
    low = units["OP3"]

    assert low == Unit("OP3", False, 4, 9, {}, False, background=low.background)


def test_a_unit_of_one_procedure_is_drawn_towards_the_others(drawn):
    """19 and 18 of 20, 4 and 5 of 20, and the one procedure of OP5."""
    drawing = draw(drawn, OP1=(19, 1), OP2=(18, 2), OP3=(4, 16), OP4=(5, 15), OP5=(1, 0))
    units, made = found(drawing, minimum=1)

    assert made.shrink_mean < units["OP5"].shrunken < 1
    assert units["OP5"].shrunken_otherwise < 1


def test_a_shrunken_rate_has_limits_on_either_side_of_the_level_asked(drawn):
    """Drawn by the fitted beta: (x + m M) / (n + M), m the mean and M the size; wider limits at 95 than at 90 %."""
    drawing = draw(drawn, OP1=(19, 1), OP2=(18, 2), OP3=(4, 16), OP4=(5, 15))
    wide, made = found(drawing)
    narrow, _ = found(drawing, confidence=0.9)

    for code, unit in wide.items():
        towards = (unit.x + made.shrink_mean * made.shrink_size) / (20 + made.shrink_size)
        assert unit.shrunken == pytest.approx(towards)
        assert unit.shrunken_lower < narrow[code].shrunken_lower < unit.shrunken
        assert unit.shrunken < narrow[code].shrunken_upper < unit.shrunken_upper


def test_two_models_of_the_spread_say_much_the_same(drawn):
    """Logits that are normal, and rates that are beta: of 20 procedures within two percentage points."""
    units, _ = found(draw(drawn, OP1=(19, 1), OP2=(18, 2), OP3=(4, 16), OP4=(5, 15)))

    for unit in units.values():
        assert unit.shrunken_otherwise == pytest.approx(unit.shrunken, abs=0.02)


def test_one_unit_alone_has_a_rate_and_nobody_to_be_compared_with(drawn):
    units, made = found(draw(drawn, OP1=(9, 3)))

    assert units["OP1"].proportion == 0.75
    assert (units["OP1"].p, units["OP1"].adjusted, units["OP1"].flagged) == (None, None, False)
    assert (units["OP1"].expected, units["OP1"].ratio) == (None, None)
    assert made.shrink_reason == "needs two units"


@pytest.mark.parametrize(
    ("tail", "said"),
    [
        (None, ""),
        (0.0251, ""),
        (0.025, "95 %"),
        (0.0011, "95 %"),
        (0.001, "99.8 %"),
        (0.0, "99.8 %"),
    ],
)
def test_a_count_lies_outside_from_the_chance_of_a_limit_on(tail, said):
    """2.5 % and 0.1 % on either side, both included."""
    assert Unit("OP1", False, 1, 20, {}, True, tail=tail).outside == said


def test_units_stand_in_the_order_of_numbers_and_of_words(drawn):
    _, made = found(draw(drawn, **dict.fromkeys(("10", "9", "B", "A"), (1, 1))))

    assert [one.code for one in made.units] == ["9", "10", "A", "B"]


def test_a_site_of_the_name_of_an_operator_has_nobodys_background(drawn):
    for number in range(3):
        drawn.procedure(f"P{number}", number, operator="OP1", site="OP1")
    units, made = found(drawn.built(), by="site", minimum=1)

    assert (units["OP1"].n, units["OP1"].background, made.by) == (3, None, "site")


def test_sites_belong_to_nobody(drawn):
    """Whoever may see only the own results sees all sites, named like the own code or not."""
    for operator, site in (("OP1", "OP1"), ("OP2", "B")):
        for number in range(10):
            drawn.procedure(f"{operator} {number}", number, operator=operator, site=site)
    with acting(Actor("ines", frozenset({Role.RADIOLOGIST}), "OP1")):
        _, made = found(drawn.built(), by="site")

    assert [(one.code, one.own) for one in made.units] == [("B", False), ("OP1", False)]
    assert not made.unnamed


def test_that_figures_were_refused_stands_in_the_trail():
    written: list[Entry] = []
    with acting(Actor("ines", frozenset({Role.ADMINISTRATOR}))), pytest.raises(Refused):
        funnel(SimpleNamespace(write=True, record=written.append), MEASURE, as_of=AS_OF)

    assert [(one.actor, one.action, one.outcome) for one in written] == [("ines", "see figures", "refused")]


@pytest.mark.parametrize(
    ("measure", "by", "said"),
    [
        ("no_such", "operator", "no_such: there is no such measure. Proportions are listed by:"),
        ("tissue_mass_g", "operator", "tissue_mass_g: is no proportion. Proportions are listed by:"),
        (MEASURE, "guidance", "--by guidance: units are operators or sites. Write operator or site."),
    ],
)
def test_the_sentence_of_a_refusal_names_what_was_asked(drawn, measure, by, said):
    with pytest.raises(UsageProblem) as told:
        funnel(drawn.built(), measure, by=by, as_of=AS_OF)

    assert str(told.value).startswith(said)


def test_the_lines_pass_through_the_limits_of_each_unit(drawn):
    units, made = found(draw(drawn, OP1=(32, 8), OP2=(16, 4), OP3=(9, 3)))
    lines = {size: limits for size, *limits in made.lines}

    for unit in units.values():
        assert tuple(lines[unit.n]) == pytest.approx(unit.limits)


def test_the_lines_begin_at_one_procedure_where_no_minimum_is_asked(drawn):
    """1.08 times 3 procedures are no more than 3."""
    _, made = found(draw(drawn, OP1=(2, 1), OP2=(1, 1)), minimum=0)

    assert [size for size, *_ in made.lines] == [1, 2, 3]


def test_a_single_procedure_has_lines_that_end_after_it(drawn):
    """Each unit has one procedure, and the minimum is one: drawn are 1 and 2."""
    _, made = found(draw(drawn, OP1=(1, 0), OP2=(0, 1)), minimum=1)

    assert [size for size, *_ in made.lines] == [1, 2]


def test_four_others_are_shown(drawn):
    registry = draw(drawn, **dict.fromkeys(("OP1", "OP2", "OP3", "OP4", "OP5"), (1, 1)))
    with acting(Actor("ines", frozenset({Role.RADIOLOGIST}), "OP1")):
        made = funnel(registry, MEASURE, as_of=AS_OF)

    assert (len(made.units), made.withheld) == (5, "")


def test_three_others_are_kept_back_in_a_sentence(drawn):
    registry = draw(drawn, **dict.fromkeys(("OP1", "OP2", "OP3", "OP4"), (1, 1)))
    with acting(Actor("ines", frozenset({Role.RADIOLOGIST}), "OP1")):
        made = funnel(registry, MEASURE, as_of=AS_OF)

    assert made.withheld == (
        "Fewer than 4 other operators have procedures here: "
        "points without a name could be recognised, so none is shown."
    )


def test_another_without_a_procedure_is_not_among_the_others(drawn):
    """OP5 has a cancelled procedure alone, which the measure leaves out: three others are left."""
    drawn.procedure("cancelled", 0, operator="OP5", status="cancelled")
    registry = draw(drawn, **dict.fromkeys(("OP1", "OP2", "OP3", "OP4"), (1, 1)))
    with acting(Actor("ines", frozenset({Role.RADIOLOGIST}), "OP1")):
        made = funnel(registry, MEASURE, as_of=AS_OF)

    assert [one.code for one in made.units] == ["OP1"]
