"""The flow of a cohort: every count worked out again from rows, and the sums that must hold for any file."""

from __future__ import annotations

import itertools
import json
import random
import re
import xml.dom.minidom
from datetime import timedelta

import pytest

from registry.codebook import load_cohort
from registry.cohorts import CohortFile, draw, flow_figure
from registry.cohorts.definition import REFERENCE_STANDARDS, UNITS
from registry.cohorts.drawing import statement
from registry.errors import UsageProblem
from tests.cohorts import trees
from tests.cohorts.conftest import AS_OF, Reading, cohort, document
from tests.measures.build import day

TRACER = {"field": "is_tracer_guided", "operator": "eq", "value": True}


def steps_of(drawn):
    return {one.key: one for one in drawn.flow if one.kind in ("start", "step", "end")}


# -- counted by hand ---------------------------------------------------------------


def test_a_flow_told_row_by_row(drawn):
    """Ten procedures; each leaves at the step that its key names, or stays."""
    told = drawn
    told.procedure("objects")
    told.procedure("before", on=-1)
    told.procedure("mri", guidance="mri")
    told.procedure("density_a", finding="fa")
    told.procedure("density_unknown", finding="fu")
    told.procedure("cancelled", status="cancelled", status_reason="target_not_seen")
    told.procedure("first", finding="both")
    told.procedure("second", on=9, finding="both", repeat_of="first", repeat_reason="insufficient")
    told.procedure("no_report")
    told.procedure("insufficient")
    for row in told.rows["findings"]:
        row["density"] = {"fa": "a", "fu": None}.get(row["finding_id"], "b")
    for row in told.rows["patients"]:
        row["research_use"] = "objected" if row["patient"] == "patient of finding of objects" else None
    for key in ("objects", "before", "mri", "density_a", "density_unknown", "first", "second"):
        told.report(key, "benign")
    told.report("insufficient", "insufficient")
    told.excision("first", 20, "benign")
    made = draw(
        Reading(told),
        cohort(
            unit="finding",
            as_of=day(900).isoformat(),
            start=day(0).isoformat(),
            reference_standard="excision",
            population=TRACER,
            steps=[
                {
                    "kind": "include",
                    "label": "b to d",
                    "filter": {"field": "density", "operator": "ne", "value": "a"},
                }
            ],
        ),
    )
    said = [(one.key, one.left_out, one.remaining) for one in made.flow]

    assert said == [
        ("all", 0, 10),
        ("objection", 1, 9),
        ("period", 1, 8),
        ("population", 1, 7),
        ("step_1", 2, 5),
        ("step_1.other", 1, 5),
        ("step_1.missing", 1, 5),
        ("sampled", 1, 4),
        ("sampled.cancelled", 1, 4),
        ("first", 1, 3),
        ("reported", 2, 1),
        ("reported.missing", 1, 1),
        ("reported.indeterminate", 1, 1),
        ("reference_standard", 0, 1),
        ("analysed", 0, 1),
    ]
    assert made.frame["procedure_id"].to_list() == ["first"]
    assert made.reaching == ("first",)


# Reference standard of 365 days, as of day 800, all procedures on day 0 but two. What each has, and how it stands.
@pytest.mark.parametrize(
    ("key", "excision", "follow_up", "either"),
    [
        ("excised", "met", "excised", "met"),
        ("excised_without_diagnosis", "indeterminate", "indeterminate", "indeterminate"),
        ("cancer_at_biopsy", "missing", "met", "met"),
        ("cancer_later", "missing", "met", "met"),
        ("clear_for_365", "missing", "met", "met"),
        ("clear_for_364", "missing", "lost", "lost"),
        ("died", "died", "died", "died"),
        ("nothing", "missing", "missing", "missing"),
        ("on_day_435", "missing", "missing", "missing"),
        ("on_day_436", "not_yet_due", "not_yet_due", "not_yet_due"),
        ("early_but_excised", "not_yet_due", "not_yet_due", "not_yet_due"),
    ],
)
@pytest.mark.parametrize("standard", ["excision", "follow_up", "excision_or_follow_up"])
def test_how_a_procedure_stands_to_the_reference_standard(drawn, standard, key, excision, follow_up, either):
    drawn.procedure(key, on={"on_day_435": 435, "on_day_436": 436, "early_but_excised": 500}.get(key, 0))
    drawn.report(key, "invasive" if key == "cancer_at_biopsy" else "benign")
    if key in ("excised", "early_but_excised"):
        drawn.excision(key, 600 if key == "early_but_excised" else 30, "benign")
    elif key == "excised_without_diagnosis":
        drawn.excision(key, 30, None)
    elif key == "cancer_later":
        drawn.linkage(key, 500, "invasive")
    elif key.startswith("clear_for"):
        drawn.imaging(key, int(key[-3:]), "stable", modality="pet_tracer")
    elif key == "died":
        drawn.rows["patients"][0]["death_date"] = day(100)
    made = draw(
        Reading(drawn),
        cohort(as_of=day(800).isoformat(), reference_standard=standard, minimum_follow_up_days=365),
    )
    wanted = {"excision": excision, "follow_up": follow_up, "excision_or_follow_up": either}[standard]
    boxes = [one.key.partition(".")[2] for one in made.flow if one.key.startswith("reference_standard.")]

    assert (boxes or ["met"]) == [wanted]
    assert made.frame.height == (wanted == "met")


def test_without_a_reference_standard_nobody_is_left_out_for_want_of_tissue_or_report(drawn):
    drawn.procedure("cancelled", status="cancelled")
    drawn.procedure("waiting")
    made = draw(Reading(drawn), cohort(as_of=day(30).isoformat()))

    assert made.frame.height == 2
    assert [(one.key, one.left_out, one.kind) for one in made.flow if one.kind == "beside"] == [
        ("sampled", 1, "beside"),
        ("reported", 1, "beside"),
    ]


def test_the_first_of_two_on_one_day_is_the_earlier_by_the_clock(drawn):
    drawn.procedure("a_late", clock="15:00", finding="f")
    drawn.procedure("b_early", clock="08:00", finding="f")
    for unit in ("finding", "patient"):
        made = draw(Reading(drawn), cohort(as_of=day(30).isoformat(), unit=unit))
        assert made.frame["procedure_id"].to_list() == ["b_early"]


def test_an_exclusion_keeps_those_of_whom_it_is_not_known_and_says_so(drawn):
    drawn.procedure("known", finding="f")
    drawn.procedure("unknown")
    drawn.rows["findings"][0]["density"] = "a"
    drawn.rows["findings"][1]["density"] = None
    step = {
        "kind": "exclude",
        "label": "fatty",
        "filter": {"field": "density", "operator": "eq", "value": "a"},
    }
    made = draw(Reading(drawn), cohort(as_of=day(30).isoformat(), steps=[step]))

    assert made.frame["procedure_id"].to_list() == ["unknown"]
    assert [(one.key, one.left_out, one.kind) for one in made.flow if one.key.startswith("step_1")] == [
        ("step_1", 1, "step"),
        ("step_1.missing", 1, "beside"),
    ]


# -- sums that hold for any file ---------------------------------------------------


def any_file(number: int) -> CohortFile:
    draw_ = random.Random(number)
    standard = draw_.choice(REFERENCE_STANDARDS)
    kinds = [draw_.choice(["include", "exclude"]) for _ in range(draw_.randint(0, 3))]
    steps = [
        {"kind": kind, "label": f"step {place}", "filter": trees.tree(draw_, 2)}
        for place, kind in enumerate(kinds)
    ]
    return cohort(
        unit=draw_.choice(UNITS),
        reference_standard=standard,
        index_date=draw_.choice(["started_on", "found_on", "biopsy_advised_on", "first_report_on"]),
        start=draw_.choice([None, "2024-06-01"]),
        end=draw_.choice([None, "2026-01-01"]),
        minimum_follow_up_days=draw_.choice([30, 365, 730])
        if "follow" in standard
        else draw_.choice([None, 90]),
        population=draw_.choice([None, TRACER, trees.tree(draw_, 3)]),
        steps=steps,
    )


@pytest.mark.parametrize("number", range(40))
def test_counts_of_any_file_add_up(registry, number):
    made = draw(registry, any_file(number), seed=1)
    main = [one for one in made.flow if one.kind in ("start", "step", "end")]

    assert [one.remaining for one in main[1:]] == [
        before.remaining - after.left_out for before, after in itertools.pairwise(main)
    ]
    assert main[0].remaining == registry.rows("SELECT count(*) FROM procedure_facts")[0][0]
    assert main[-1].remaining == made.frame.height
    assert "objection" in {one.key for one in made.flow}
    for one in main:
        boxes = [
            box.left_out for box in made.flow if box.kind == "box" and box.key.partition(".")[0] == one.key
        ]
        assert all(boxes) and (not boxes or sum(boxes) == one.left_out)
    assert all(0 < one.left_out <= one.remaining for one in made.flow if one.kind == "beside")
    unit = {"finding": "finding_id", "patient": "patient_no", "procedure": "procedure_id"}[
        made.cohort_file.unit
    ]
    assert made.frame[unit].n_unique() == made.frame.height
    assert set(made.frame["procedure_id"]) <= set(made.reaching)


@pytest.mark.parametrize("number", range(40, 60))
def test_those_who_match_are_those_whom_the_truth_tables_say(registry, number):
    """Population and steps over real rows, without the rest: the same rows by an own reading."""
    draw_ = random.Random(number)
    filters = [trees.tree(draw_, 2) for _ in range(3)]
    everything = draw(registry, cohort(), seed=1).frame
    made = draw(
        registry,
        cohort(
            population=filters[0],
            steps=[
                {"kind": "include", "label": "in", "filter": filters[1]},
                {"kind": "exclude", "label": "out", "filter": filters[2]},
            ],
        ),
        seed=1,
    ).frame
    expected = [
        row
        for row in everything.to_dicts()
        if trees.truth(filters[0], row) is True
        and trees.truth(filters[1], row) is True
        and trees.truth(filters[2], row) is not True
    ]

    assert made.to_dicts() == expected


# -- what a drawn cohort holds -----------------------------------------------------


def test_the_frame_has_exactly_the_declared_columns_and_no_objector(registry):
    made = draw(registry, cohort(), seed=1)
    objected = registry.rows(
        "SELECT count(*) FROM procedure_facts AS f JOIN main.patients AS p ON p.patient = f.patient WHERE p.research_use = 'objected'"
    )[0][0]

    assert made.frame.columns == [one.name for one in load_cohort().columns]
    assert objected > 0
    assert steps_of(made)["objection"].left_out == objected
    assert "objected" not in made.frame["research_use"].to_list()


def test_two_drawings_give_a_patient_two_numbers(registry):
    first, second = (draw(registry, cohort()).frame.sort("procedure_id")["patient_no"] for _ in range(2))
    again = [draw(registry, cohort(), seed=4).frame for _ in range(2)]

    assert first.to_list() != second.to_list()
    assert first.n_unique() == second.n_unique()
    assert again[0].equals(again[1])


def test_the_stamp_names_the_file_and_the_statements(registry):
    made = draw(registry, cohort())

    assert made.stamp["cohort_file_sha256"] == cohort().sha256
    assert made.stamp["as_of"] == AS_OF.isoformat()
    assert made.stamp["trail"]["seq"] == registry.rows("SELECT max(seq) FROM audit_event")[0][0]
    assert set(made.comments) >= {"is_sampled", "diagnosis"}


def test_an_earlier_as_of_day_knows_less(registry):
    early = AS_OF - timedelta(days=200)
    made = draw(registry, cohort(as_of=early.isoformat()), seed=1)

    assert made.frame["started_on"].max() <= early
    assert made.frame["first_report_on"].drop_nulls().max() <= early
    assert made.frame.height < draw(registry, cohort(), seed=1).frame.height


def test_no_value_of_a_file_stands_in_the_statement():
    word = "kestrel"
    file = cohort(
        title=word,
        project=word,
        plan=word,
        population={"field": "site", "operator": "in", "value": [word, "B"]},
        steps=[
            {"kind": "exclude", "label": word, "filter": {"field": "site", "operator": "eq", "value": word}}
        ],
    )
    sql, parameters = statement(load_cohort(), file)

    assert word not in sql
    assert list(parameters.values()).count(word) == 2


def test_a_code_of_another_service_is_refused(registry):
    given = document(population={"field": "density", "operator": "eq", "value": "e"})
    file = CohortFile.parse(json.dumps(given).encode(), added={"findings.density": ("e",)})
    with pytest.raises(UsageProblem, match="e is no code of density"):
        draw(registry, file)


# -- empty and small ---------------------------------------------------------------


def test_an_empty_cohort_says_where_everybody_was_left(registry):
    nobody = cohort(population={"field": "age_years", "operator": "lt", "value": 0})
    made = draw(registry, nobody)

    assert made.frame.height == 0
    with pytest.raises(
        UsageProblem, match="no procedure is left to analyse. Most were left out here: not of the population"
    ):
        made.need(10)


def test_a_small_cohort_says_how_many_are_needed(registry):
    made = draw(registry, cohort())

    assert 0 < made.patients < 1_000
    with pytest.raises(
        UsageProblem, match=f"{made.patients} patients are left, and figures are shown of 1000 or more"
    ):
        made.need(1_000)


# -- as a figure -------------------------------------------------------------------


def test_the_figure_holds_every_count_and_says_it_in_words(registry):
    made = draw(
        registry, cohort(population=TRACER, reference_standard="follow_up", minimum_follow_up_days=365)
    )
    svg, words = flow_figure(made.flow)

    for one in made.flow:
        if one.kind in ("step", "box") and one.left_out:
            assert f">{one.left_out:,} {one.label[:30]}" in svg
            assert f"{one.left_out:,} " in words
    assert f">{made.frame.height:,}<" in svg


def test_a_label_cannot_break_out_of_the_figure(drawn):
    drawn.procedure("P")
    step = {
        "kind": "exclude",
        "label": '<script>alert("x")</script> & "quoted"',
        "filter": {"field": "is_sampled", "operator": "eq", "value": True},
    }
    svg, _ = flow_figure(draw(Reading(drawn), cohort(as_of=day(3).isoformat(), steps=[step])).flow)

    assert "<script" not in svg
    xml.dom.minidom.parseString(svg)


def test_the_figure_is_told_without_colour(registry):
    svg, _ = flow_figure(draw(registry, cohort()).flow)
    for red, green, blue in re.findall(r"#(\w\w)(\w\w)(\w\w)", svg):
        assert (
            max(int(one, 16) for one in (red, green, blue)) - min(int(one, 16) for one in (red, green, blue))
            < 32
        )
