"""Among which cores the first malignant diagnosis lies, who is left out, and the three curves."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from registry.cores import first_positive, first_positive_definition, tissue_rows
from registry.stats.time_to_event import kaplan_meier
from tests.measures.build import day

if TYPE_CHECKING:
    from collections.abc import Sequence

    from registry.cores import FirstPositive
    from tests.measures.build import Drawn

AS_OF = 100


def sampled(
    drawn: Drawn,
    key: str,
    containers: Sequence[tuple[int | None, str | None]],
    whole: str | None = None,
    on: int = 0,
    masses: Sequence[float | None] | None = None,
) -> str:
    """A procedure with its containers in order: cores, and the diagnosis of a report of its own or none."""
    drawn.procedure(key, on)
    for place, (cores, diagnosis) in enumerate(containers, start=1):
        mass = masses[place - 1] if masses else None
        container = f"{key} {place}"
        drawn.specimen(key, container, taken_order=place, cores=cores, mass_g=mass)
        if diagnosis:
            drawn.report(key, diagnosis, specimen_id=container, report_id=f"report of {container}")
    if whole:
        drawn.report(key, whole)
    return key


def row(drawn: Drawn, key: str, on: int = AS_OF) -> dict:
    rows = {one["procedure_id"]: one for one in tissue_rows(drawn, as_of=day(on)).to_dicts()}
    return rows[key]


def reasons(drawn: Drawn, on: int = AS_OF) -> dict[str, str | None]:
    rows = tissue_rows(drawn, as_of=day(on))
    return dict(rows.select("procedure_id", "excluded_because").rows())


def between(drawn: Drawn, key: str, on: int = AS_OF) -> tuple[int, int | None]:
    one = row(drawn, key, on)
    return one["cores_without"], one["cores_with"]


def made(drawn: Drawn, minimum: int = 1) -> FirstPositive:
    return first_positive(drawn, as_of=day(AS_OF), minimum=minimum)


# -- where the first positive core lies ----------------------------------------------------


def test_the_first_positive_core_lies_in_the_first_positive_container(drawn: Drawn):
    """Containers of 3, 2 and 4 cores: the second one holds cores 4 and 5."""
    sampled(drawn, "second", [(3, "benign"), (2, "in_situ"), (4, "invasive")])
    sampled(drawn, "first", [(3, "invasive"), (2, "benign")])
    sampled(drawn, "none", [(3, "benign"), (2, "high_risk")])
    drawn.built()

    assert between(drawn, "second") == (3, 5)
    assert between(drawn, "first") == (0, 3)
    assert between(drawn, "none") == (5, None)


@pytest.mark.parametrize(
    ("diagnosis", "positive"),
    [
        ("insufficient", False),
        ("normal", False),
        ("high_risk", False),
        ("suspicious", False),
        ("in_situ", True),
        ("invasive", True),
        ("other_malignant", True),
    ],
)
def test_positive_is_a_malignant_diagnosis(drawn: Drawn, diagnosis: str, positive: bool):
    sampled(drawn, "one", [(1, "benign"), (1, diagnosis)])

    assert row(drawn.built(), "one")["is_positive"] is positive


def test_the_order_is_that_of_taking_and_not_of_the_keys(drawn: Drawn):
    drawn.procedure("one")
    for container, order, diagnosis in (("a", 2, "invasive"), ("b", 1, "benign")):
        drawn.specimen("one", container, taken_order=order, cores=order)
        drawn.report("one", diagnosis, specimen_id=container, report_id=container)

    # b holds core 1, a holds cores 2 and 3
    assert between(drawn.built(), "one") == (1, 3)
    assert row(drawn, "one")["container_cores"] == [1, 2]


def test_an_amended_report_of_a_container_replaces_the_first(drawn: Drawn):
    sampled(drawn, "one", [(2, "benign"), (2, "benign")])
    drawn.report(
        "one",
        "invasive",
        on=50,
        version=2,
        status="amended",
        specimen_id="one 1",
        report_id="report of one 1",
    )
    drawn.built()

    assert between(drawn, "one", on=49) == (4, None)
    assert between(drawn, "one", on=50) == (0, 2)


def test_a_retracted_report_leaves_its_container_unreported(drawn: Drawn):
    sampled(drawn, "one", [(2, "benign"), (2, "benign")])
    drawn.report(
        "one",
        "benign",
        on=50,
        version=2,
        status="retracted",
        specimen_id="one 1",
        report_id="report of one 1",
    )

    assert reasons(drawn.built()) == {"one": "containers not reported apart"}


def test_a_diagnosis_of_the_whole_may_lie_in_any_core(drawn: Drawn):
    """The containers say benign, the report on the whole invasive: somewhere among the five."""
    sampled(drawn, "one", [(3, "benign"), (2, "benign")], whole="invasive")

    assert between(drawn.built(), "one") == (0, 5)


def test_one_container_with_one_core_needs_no_report_of_its_own(drawn: Drawn):
    sampled(drawn, "positive", [(1, None)], whole="invasive")
    sampled(drawn, "negative", [(1, None)], whole="benign")
    drawn.built()

    assert reasons(drawn) == {"positive": None, "negative": None}
    assert (between(drawn, "positive"), between(drawn, "negative")) == ((0, 1), (1, None))


# -- who is left out -----------------------------------------------------------------------


def left_out(drawn: Drawn) -> Drawn:
    drawn.procedure("cancelled", status="cancelled")
    sampled(drawn, "index", [(1, "benign"), (1, "benign")])
    drawn.procedure("repeat", 5, repeat_of="index")
    sampled(drawn, "late", [(1, "benign"), (1, "benign")], on=AS_OF - 29)
    sampled(drawn, "just early enough", [(1, "benign"), (1, "benign")], on=AS_OF - 30)
    sampled(drawn, "no report", [(1, None), (1, None)])
    drawn.procedure("no container")
    drawn.report("no container", "benign")
    sampled(drawn, "cores empty", [(1, "benign"), (None, "benign")])
    sampled(drawn, "no core", [(1, "benign"), (0, "benign")])
    sampled(drawn, "one container", [(6, "invasive")])
    for key, order in (("order empty", None), ("order twice", 1)):
        drawn.procedure(key)
        for container, place in ((f"{key} a", 1), (f"{key} b", order)):
            drawn.specimen(key, container, taken_order=place, cores=1)
            drawn.report(key, "benign", specimen_id=container, report_id=container)
    sampled(drawn, "benign as a whole", [(3, None), (3, None)], whole="benign")
    sampled(drawn, "malignant as a whole", [(3, None), (3, None)], whole="invasive")
    return drawn.built()


def test_each_is_left_out_for_the_first_reason_that_applies(drawn: Drawn):
    assert reasons(left_out(drawn)) == {
        "cancelled": "not sampled",
        "index": None,
        "repeat": "repeat procedure",
        "late": "report window not complete",
        "just early enough": None,
        "no report": "no pathology report",
        "no container": "no specimen",
        "cores empty": "cores not recorded",
        "no core": "cores not recorded",
        "one container": "cores not kept apart",
        "order empty": "order not recorded",
        "order twice": "order not recorded",
        # Whatever the diagnosis: leaving out the malignant ones alone would lower the curve.
        "benign as a whole": "containers not reported apart",
        "malignant as a whole": "containers not reported apart",
    }


def test_every_reason_is_defined_and_flows_in_order(drawn: Drawn):
    flow = made(left_out(drawn)).by_core.flow

    assert [reason for reason, _, _ in flow] == [
        "procedures",
        *(one.name for one in first_positive_definition().reasons),
    ]
    assert [(count, remaining) for _, count, remaining in flow] == [
        (0, 14),
        (1, 13),
        (1, 12),
        (1, 11),
        (1, 10),
        (1, 9),
        (2, 7),
        (1, 6),
        (2, 4),
        (2, 2),
    ]


def test_the_mass_stands_for_those_whose_cores_cannot_be_put_in_order(drawn: Drawn):
    sampled(drawn, "in order", [(1, "benign"), (1, "benign")], masses=[0.2, 0.3])
    sampled(drawn, "one container", [(6, None)], whole="invasive", masses=[1.5])
    sampled(drawn, "two masses", [(3, None), (3, None)], whole="benign", masses=[0.5, 0.25])
    sampled(drawn, "one mass missing", [(3, None), (3, None)], whole="benign", masses=[0.5, None])
    drawn.procedure("cancelled", status="cancelled")
    rows = tissue_rows(drawn.built(), as_of=day(AS_OF))

    assert dict(rows.select("procedure_id", "mass_excluded_because").rows()) == {
        "in order": "cores in order",
        "one container": None,
        "two masses": None,
        "one mass missing": "mass not recorded",
        "cancelled": "not sampled",
    }
    assert row(drawn, "two masses")["mass_g"] == 0.75


# -- the curves ----------------------------------------------------------------------------


def one_by_one(drawn: Drawn) -> Drawn:
    """Four procedures of one core a container: positive at core 1 and at core 3, negative with 2 and with 4."""
    sampled(drawn, "a", [(1, "invasive"), (1, "benign")])
    sampled(drawn, "b", [(1, "benign"), (1, "benign")])
    sampled(drawn, "c", [(1, "benign"), (1, "benign"), (1, "in_situ")])
    sampled(drawn, "d", [(1, "benign")] * 4)
    return drawn.built()


def test_a_procedure_without_a_positive_core_is_left_out_after_its_last(drawn: Drawn):
    """Core 1: 1 of 4. Core 2: none of 3. Core 3: 1 of the 2 left: 1 - 3/4 * 1/2 = 5/8."""
    found = made(one_by_one(drawn))

    assert [one.share for one in found.single] == pytest.approx([1 / 4, 1 / 4, 5 / 8, 5 / 8])
    assert [one.at_risk for one in found.single] == [4, 3, 2, 1]
    assert (found.single_n, found.single_positive) == (4, 2)


def test_the_limits_are_those_of_the_survival_curve_turned_over(drawn: Drawn):
    """Greenwood at core 1: variance of S = (3/4)^2 * 1/(4*3); limits S^exp(+-1.96 se / (S ln S))."""
    from math import exp, log, sqrt

    survival, se = 3 / 4, sqrt((3 / 4) ** 2 / 12)
    width = 1.959964 * se / abs(survival * log(survival))
    point = made(one_by_one(drawn)).single[0]

    assert point.lower == pytest.approx(1 - survival ** exp(-width), abs=1e-6)
    assert point.upper == pytest.approx(1 - survival ** exp(width), abs=1e-6)
    assert kaplan_meier([1, 2, 3, 4], [1, 0, 1, 0], [1]).S[0] == pytest.approx(survival)


def test_the_curve_ends_where_too_few_are_at_risk(drawn: Drawn):
    assert [one.cores for one in made(one_by_one(drawn), minimum=2).single] == [1, 2, 3]


def test_several_cores_in_a_container_leave_a_box_and_no_point(drawn: Drawn):
    """One positive among cores 1 to 3, one among 4 to 6, one negative after 6: a third each."""
    sampled(drawn, "a", [(3, "invasive"), (3, "benign")])
    sampled(drawn, "b", [(3, "benign"), (3, "invasive")])
    sampled(drawn, "c", [(3, "benign"), (3, "benign")])
    found = made(drawn.built())

    assert found.single == ()
    assert [step[:2] for step in found.by_core.steps] == [(0, 3), (3, 6)]
    assert [step[3] for step in found.by_core.steps] == pytest.approx([1 / 3, 2 / 3])
    assert (found.by_core.n, found.by_core.positive, found.by_core.end) == (3, 2, 6)


def test_the_curve_by_mass_never_falls(drawn: Drawn):
    """Positive at 1 g, negative at 2 g, positive at 3 g: pooled to a half at 1 and 2 g, then 1."""
    for key, mass, diagnosis in (("a", 1.0, "invasive"), ("b", 2.0, "benign"), ("c", 3.0, "invasive")):
        sampled(drawn, key, [(6, None)], whole=diagnosis, masses=[mass])
    found = made(drawn.built()).by_mass

    assert found.steps == ((0, 1, 0, 0.5), (2, 3, 0.5, 1))
    assert (found.n, found.positive) == (3, 2)


def test_one_chance_for_all_bounds_a_chance_that_varies(drawn: Drawn):
    """Two lesions positive in every core, six in none: the mean chance is a quarter, and little is gained by more cores."""
    for key in range(8):
        sampled(drawn, f"{key}", [(1, "invasive" if key < 2 else "benign")] * 4)
    model = made(drawn.built()).model

    assert [one.independent for one in model] == pytest.approx(
        [1 - 0.75**cores for cores in range(1, 5)], abs=2e-3
    )
    assert all(one.varying <= one.independent + 1e-9 for one in model)
    assert model[3].varying == pytest.approx(0.25, abs=0.01)


def test_the_period_bounds_the_procedures(drawn: Drawn):
    for key, on in (("before", 9), ("first", 10), ("last", 20), ("after", 21)):
        sampled(drawn, key, [(1, "benign"), (1, "invasive")], on=on)
    found = first_positive(drawn.built(), as_of=day(AS_OF), start=day(10), end=day(20), minimum=1)

    assert (found.single_n, found.by_core.flow[0][2]) == (2, 2)


def test_no_procedures_have_no_curve(drawn: Drawn):
    found = made(drawn.built())

    assert (found.single, found.by_core.steps, found.by_mass.steps, found.model) == ((), (), (), ())
    assert (found.by_core.n, found.by_core.patients) == (0, 0)
