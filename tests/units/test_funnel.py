"""Operators and sites beside one another, on drawn procedures: counts, tests, names and what is kept back."""

from __future__ import annotations

import json

import pytest

from registry.errors import UsageProblem
from registry.people import Actor, Role, acting
from registry.units import funnel, without_names
from tests.measures.build import day
from tests.units.funnels import AS_OF, MEASURE, draw, found


def test_counts_are_those_of_the_measure_in_the_order_of_the_codes(drawn):
    _, made = found(draw(drawn, OP2=(8, 2), OP1=(12, 0), OP3=(5, 0)))

    assert [(one.code, one.x, one.n) for one in made.units] == [
        ("OP1", 12, 12),
        ("OP2", 8, 10),
        ("OP3", 5, 5),
    ]
    assert (made.x, made.n) == (25, 27)


def test_a_unit_below_the_minimum_has_counts_only(drawn):
    units, made = found(draw(drawn, OP1=(12, 0), OP2=(8, 2), OP3=(9, 0)))

    assert made.looked_at == 2
    assert (units["OP3"].proportion, units["OP3"].p, units["OP3"].limits) == (None, None, ())
    assert units["OP2"].looked_at


def test_the_unit_at_the_minimum_is_looked_at(drawn):
    units, _ = found(draw(drawn, OP1=(12, 0), OP2=(8, 2)), minimum=10)

    assert units["OP2"].proportion == pytest.approx(0.8)


def test_expected_is_the_rate_of_the_others_for_a_large_unit(drawn):
    """OP2 holds half; the others have 18 of 20, so 20 procedures would give 18."""
    units, _ = found(draw(drawn, OP1=(9, 1), OP2=(20, 0), OP3=(9, 1)))

    assert units["OP2"].expected == pytest.approx(20 * 18 / 20)


def test_a_unit_has_wilson_limits_and_without_an_event_an_upper_bound(drawn):
    """8 of 10: (0.8 + 0.19207 +- 1.96 sqrt(0.016 + 0.0096)) / 1.38415; 0 of 10: 1 - 0.05^(1/10)."""
    units, _ = found(draw(drawn, OP1=(8, 2), OP2=(0, 10)))

    assert (units["OP1"].lower, units["OP1"].upper) == pytest.approx((0.4902, 0.9433), abs=1e-4)
    assert units["OP1"].upper_bound_no_events is None
    assert units["OP2"].upper_bound_no_events == pytest.approx(1 - 0.05**0.1)


def test_what_stands_out_is_flagged_and_nothing_else(drawn):
    """OP3 has 6 of 12; the others 100 of 100, each with 20 of them."""
    others = {f"OP{number}": (20, 0) for number in (1, 2, 4, 5, 6)}
    units, made = found(draw(drawn, OP3=(6, 6), **others))

    assert [one.code for one in made.units if one.flagged] == ["OP3"]
    assert units["OP3"].outside == "99.8 %"
    assert "Worth a look: OP3" in " ".join(made.sentences)


def test_it_is_said_that_one_far_out_moves_what_the_others_are_compared_with(drawn):
    _, made = found(draw(drawn, OP1=(18, 0), OP2=(18, 0), OP3=(2, 10)))

    assert [one.flagged for one in made.units] == [True, True, True]
    assert "stand out for that reason alone" in " ".join(made.sentences)


def test_a_single_p_below_five_per_cent_is_no_flag_among_several(drawn):
    """OP1 17 of 20 against 79 of 80: exact p 0.0245; adjusted for five units 5 x 0.0245 = 0.12."""
    units, made = found(draw(drawn, OP1=(17, 3), OP2=(20, 0), OP3=(20, 0), OP4=(19, 1), OP5=(20, 0)))

    # Fisher: tables with 3 or 4 of the 4 failures among the 20: (C(20,3) 80 + C(20,4)) / C(100,4).
    assert units["OP1"].p == pytest.approx((1140 * 80 + 4845) / 3921225)
    assert units["OP1"].adjusted == pytest.approx(5 * (1140 * 80 + 4845) / 3921225)
    assert not any(one.flagged for one in made.units)


def test_the_sentence_says_how_many_were_looked_at_and_the_chance_of_any(drawn):
    """1 - 0.95 ** 3 = 14 %, 1 - 0.998 ** 3 = 0.6 %."""
    _, made = found(draw(drawn, OP1=(10, 2), OP2=(11, 1), OP3=(12, 0)))

    assert "3 operators were looked at" in made.sentences[0]
    assert "14 %" in made.sentences[0]
    assert "0.6 %" in made.sentences[0]


def test_spread_is_not_estimated_from_fewer_than_ten_units(drawn):
    _, made = found(draw(drawn, OP1=(10, 2), OP2=(11, 1), OP3=(12, 0)))

    assert made.spread is None
    assert "fewer than 10 units" in " ".join(made.sentences)


def test_spread_is_estimated_from_ten_units(drawn):
    _, made = found(draw(drawn, **{f"OP{number:02}": (10, number) for number in range(10)}))

    assert made.spread is not None
    assert all(one.deviation_spread is not None for one in made.units)


def test_shrunken_rates_lie_between_the_raw_one_and_the_common_one(drawn):
    units, made = found(draw(drawn, OP1=(40, 0), OP2=(40, 0), OP3=(5, 15)))

    low = units["OP3"]
    assert low.proportion < low.shrunken < made.shrink_mean


def test_without_an_event_nothing_is_compared_with_limits(drawn):
    units, made = found(draw(drawn, OP1=(12, 0), OP2=(12, 0)))

    assert made.lines == ()
    assert units["OP1"].limits == ()


def test_sites_are_units_as_well(drawn):
    _, made = found(draw(drawn, OP1=(10, 0), OP2=(9, 1), OP3=(8, 2)), by="site")

    assert [(one.code, one.x, one.n) for one in made.units] == [("A", 19, 20), ("B", 8, 10)]
    assert all(one.background is None for one in made.units)


def test_supervisor_and_experience_stand_beside_an_operator(drawn, brought):
    brought("OP1", 36)
    for number in range(3):
        drawn.procedure(f"P{number}", number, operator="OP1", supervisor="OP2" if number else None)
    units, _ = found(drawn.built(), minimum=1)

    background = units["OP1"].background
    assert (background.experience_before, background.supervised, background.supervisors) == (36, 2, ("OP2",))


@pytest.mark.parametrize(
    ("asked", "procedures"), [({}, 3), ({"start": day(10)}, 2), ({"end": day(10)}, 2), ({"end": day(500)}, 3)]
)
def test_what_was_done_is_counted_in_the_period_both_days_included(drawn, asked, procedures):
    """Days 0, 10 and 20, and one on day 450, which is after the as-of date whatever the end."""
    for on in (0, 10, 20, 450):
        drawn.procedure(f"P{on}", on, operator="OP1")
    units, _ = found(drawn.built(), minimum=1, **asked)

    assert units["OP1"].background.procedures == procedures


def test_a_cancelled_procedure_is_no_attempt(drawn, brought):
    drawn.procedure("P1", 0, operator="OP1")
    drawn.procedure("P2", 1, operator="OP1", status="cancelled")
    units, _ = found(drawn.built(), minimum=1)

    assert (units["OP1"].background.procedures, units["OP1"].background.attempted) == (2, 1)


def test_ten_procedures_are_looked_at_where_nothing_else_is_asked(drawn):
    units, _ = found(draw(drawn, OP1=(9, 1), OP2=(8, 1)))

    assert (units["OP1"].looked_at, units["OP2"].looked_at) == (True, False)


def test_who_has_no_procedure_in_the_denominator_has_counts_only(drawn):
    """OP2 has a cancelled procedure, which the measure leaves out."""
    drawn.procedure("cancelled", 0, operator="OP2", status="cancelled")
    units, made = found(draw(drawn, OP1=(10, 2), OP3=(11, 1)))

    assert (units["OP2"].x, units["OP2"].n, dict(units["OP2"].excluded)) == (0, 0, {"cancelled": 1})
    assert (made.looked_at, made.pool.units) == (2, 2)


@pytest.mark.parametrize(("sampled", "abandoned"), [(12, 0), (0, 12)])
def test_where_all_outcomes_are_alike_no_count_lies_outside(drawn, sampled, abandoned):
    units, made = found(draw(drawn, OP1=(sampled, abandoned), OP2=(sampled, abandoned)))

    assert (units["OP1"].tail, units["OP1"].limits, units["OP1"].outside) == (None, (), "")
    assert made.lines == ()


def test_no_lines_are_drawn_where_nobody_is_looked_at(drawn):
    _, made = found(draw(drawn, OP1=(5, 2), OP2=(6, 1)))

    assert (made.looked_at, made.lines) == (0, ())


def test_a_minimum_below_one_procedure_is_one(drawn):
    """OP2 has a cancelled procedure, which the measure leaves out: 0 of 0 is not looked at."""
    drawn.procedure("cancelled", 0, operator="OP2", status="cancelled")
    units, _ = found(draw(drawn, OP1=(1, 0), OP3=(1, 1)), minimum=0)

    assert [units[one].looked_at for one in ("OP1", "OP2", "OP3")] == [True, False, True]


def test_a_unit_below_the_minimum_keeps_its_background(drawn, brought):
    brought("OP2", 36)
    units, _ = found(draw(drawn, OP1=(12, 1), OP2=(3, 1)))

    assert (units["OP2"].looked_at, units["OP2"].background.experience_before) == (False, 36)


def test_a_single_event_among_all_has_its_chance(drawn):
    """1 of 20 at the rate 1/40 of all: P(X >= 1) = 1 - (39/40)^20 is the smaller tail."""
    units, _ = found(draw(drawn, OP1=(1, 19), OP2=(0, 20)))

    assert units["OP1"].tail == pytest.approx(1 - (39 / 40) ** 20)


def test_the_lines_run_from_the_minimum_to_beyond_the_largest_unit(drawn):
    """1.08 times 40 procedures are 43; limits are around the rate of all, 48 of 60."""
    _, made = found(draw(drawn, OP1=(32, 8), OP2=(16, 4)))

    assert (made.lines[0][0], made.lines[-1][0]) == (10, 43)
    assert all(low <= near <= 0.8 <= far <= high for _, low, near, far, high in made.lines)


def test_it_can_be_written_as_json(drawn):
    _, made = found(draw(drawn, OP1=(32, 8), OP2=(16, 4)), start=day(0))
    written = json.loads(json.dumps(made.to_dict()))

    assert (written["as_of"], written["from"], written["to"]) == (AS_OF.isoformat(), "2020-01-01", None)
    assert [(one["code"], one["x"], one["outside"]) for one in written["units"]] == [
        ("OP1", 32, ""),
        ("OP2", 16, ""),
    ]
    assert written["sentences"] == list(made.sentences)
    assert "lines" not in written


# -- who may know ------------------------------------------------------------------------

MANY = {f"OP{number}": (10 + number, 1) for number in range(1, 7)}


def seen_by(registry, role, operator=None, **asked):
    with acting(Actor("ines", frozenset({role}), operator)):
        return funnel(registry, MEASURE, as_of=AS_OF, **asked)


def test_an_operator_sees_the_own_name_and_no_other(drawn):
    made = seen_by(draw(drawn, **MANY), Role.RADIOLOGIST, "OP3")

    assert [(one.code, one.own) for one in made.units] == [("OP3", True), *[(None, False)] * 5]
    assert made.unnamed


def test_the_others_do_not_stand_in_the_order_of_their_codes(drawn):
    """By volume: the codes count up with it in the drawing, so they come back to front."""
    made = seen_by(draw(drawn, **MANY), Role.RADIOLOGIST, "OP3")

    assert [one.n for one in made.units] == [14, 17, 16, 15, 13, 12]


def test_nothing_that_identifies_another_is_handed_out(drawn, brought):
    for operator in MANY:
        brought(operator, 36)
    made = seen_by(draw(drawn, **MANY), Role.RADIOLOGIST, "OP3")

    assert [one.background is not None for one in made.units] == [True, *[False] * 5]


def test_nothing_identifies_another_below_the_minimum(drawn, brought):
    for operator in MANY:
        brought(operator, 36)
    made = seen_by(draw(drawn, **MANY), Role.RADIOLOGIST, "OP3", minimum=14)

    assert [(one.n, one.background is not None) for one in made.units if not one.looked_at] == [
        (13, False),
        (12, False),
    ]


def test_few_others_are_not_shown_at_all(drawn):
    made = seen_by(draw(drawn, OP1=(10, 0), OP2=(9, 1), OP3=(9, 1), OP4=(9, 1)), Role.RADIOLOGIST, "OP1")

    assert [one.code for one in made.units] == ["OP1"]
    assert "could be recognised" in made.withheld


def test_who_has_no_code_sees_points_only(drawn):
    made = seen_by(draw(drawn, **MANY), Role.VIEWER)

    assert {one.code for one in made.units} == {None}


def test_the_quality_committee_sees_every_name(drawn):
    made = seen_by(draw(drawn, **MANY), Role.QUALITY)

    assert [one.code for one in made.units] == sorted(MANY)


def test_sites_are_named_for_everybody(drawn):
    made = seen_by(draw(drawn, **MANY), Role.VIEWER, by="site")

    assert [one.code for one in made.units] == ["A", "B"]


# -- what is refused ---------------------------------------------------------------------


@pytest.mark.parametrize(
    ("measure", "by", "said"),
    [
        ("no_such", "operator", "no such measure"),
        ("tissue_mass_g", "operator", "is no proportion"),
        (MEASURE, "guidance", "operators or sites"),
    ],
)
def test_a_question_that_has_no_answer_is_refused_with_a_sentence(drawn, measure, by, said):
    with pytest.raises(UsageProblem, match=said):
        funnel(drawn.built(), measure, by=by, as_of=AS_OF)


def test_an_empty_registry_has_no_units(drawn):
    made = funnel(drawn.built(), MEASURE, as_of=AS_OF)

    assert (made.units, made.n, made.proportion) == ((), 0, None)


# -- for readers who may know no operator ----------------------------------------------


def test_without_names_the_units_stand_by_volume_and_nothing_tells_who_they_are(drawn):
    _, made = found(draw(drawn, OP1=(12, 0), OP2=(8, 2), OP3=(15, 0), OP4=(20, 1)))
    bare = without_names(made)

    assert [(one.code, one.background, one.n) for one in bare.units] == [
        (None, None, 21),
        (None, None, 15),
        (None, None, 12),
        (None, None, 10),
    ]
    assert "OP" not in " ".join(bare.sentences)
    assert bare.unnamed


def test_fewer_than_four_are_not_shown_even_without_names(drawn):
    """As on the page: with three the largest would be known by its volume."""
    _, made = found(draw(drawn, OP1=(12, 0), OP2=(8, 2), OP3=(15, 0)))
    bare = without_names(made)

    assert bare.units == ()
    assert "could be recognised" in bare.withheld


def test_sites_keep_their_names(drawn):
    _, made = found(draw(drawn, OP1=(12, 0), OP3=(15, 0)), by="site")

    assert without_names(made) == made
