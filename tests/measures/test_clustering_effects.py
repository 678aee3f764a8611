"""How much too narrow the plain intervals are: several measures, strata, and the B-category table."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from typer.testing import CliRunner

from registry.cli import app
from registry.errors import UsageProblem
from registry.measures import b_category_table, clustering, clustering_effects, evaluate
from registry.measures.clusters import effect
from registry.measures.results import ClusteringEffect
from registry.stats.clustering import clustered_wilson_interval
from registry.stats.proportions import wilson_interval
from tests.build import base, load
from tests.measures.build import day

if TYPE_CHECKING:
    from pathlib import Path

    from registry.measures import CategoryRatio
    from registry.store import Registry
    from tests.measures.build import Drawn

AS_OF = day(1000)


def width(y: list[int], n: list[int]) -> tuple[float, float]:
    """Width of the interval by patient, and of the plain one."""
    lower, upper = clustered_wilson_interval(y, n)
    low, high = wilson_interval(sum(y), sum(n))
    return upper - lower, high - low


def patients(drawn: Drawn, counts: list[tuple[int, int]], **cells: object) -> None:
    """A patient for each (y, n): y of n procedures cancelled."""
    for place, (y, n) in enumerate(counts):
        for number in range(n):
            key = f"{cells.get('operator', 'OP1')} {place} {number}"
            drawn.finding(f"F {key}", f"patient {cells.get('operator', 'OP1')} {place}")
            status = "cancelled" if number < y else "completed"
            drawn.procedure(key, finding=f"F {key}", status=status, **cells)


def test_patients_with_one_procedure_count_among_those_with_several(drawn: Drawn):
    """Three alone, one of them cancelled, and two with three procedures each: 3 of 3 and 0 of 3."""
    patients(drawn, [(1, 1), (0, 1), (0, 1), (3, 3), (0, 3)])
    effect = clustering_effects(drawn.built(), ["cancellation"], as_of=AS_OF)["cancellation", "all"]
    wide, narrow = width([1, 0, 0, 3, 0], [1, 1, 1, 3, 3])

    assert (effect.patients, effect.procedures) == (5, 9)
    assert effect.ratio == pytest.approx(wide / narrow)


def test_each_stratum_has_an_effect_of_its_own(drawn: Drawn):
    patients(drawn, [(2, 2), (0, 2), (2, 2), (0, 2)], operator="OP1")
    patients(drawn, [(1, 1), (0, 1), (1, 1), (0, 1)], operator="OP2")
    found = clustering_effects(drawn.built(), ["cancellation", "tissue_obtained"], as_of=AS_OF, by="operator")

    # p = 1/2: variance 4/3 * (1 + 1 + 1 + 1) / 8^2 = 1/12 against 1/4 / 8 = 1/32
    assert found["cancellation", "OP1"].design_effect == pytest.approx(8 / 3)
    assert found["cancellation", "OP1"].ratio > found["cancellation", "OP2"].ratio
    assert found["cancellation", "OP2"].procedures == 4


@pytest.mark.parametrize(
    ("asked", "procedures"),
    [
        ({}, 7),
        ({"start": day(50)}, 3),
        ({"end": day(50)}, 4),
        ({"within": {"operator": "OP1"}}, 4),
        ({"within": {"operator": "OP2"}, "start": day(101)}, 0),
    ],
)
def test_an_effect_is_that_of_the_period_and_of_what_is_kept(drawn: Drawn, asked: dict, procedures: int):
    """Four procedures of OP1 on day 0, three of OP2 on day 100; each function asks on its own."""
    patients(drawn, [(2, 2), (0, 2)], operator="OP1")
    patients(drawn, [(1, 2), (0, 1)], operator="OP2", on=100)
    drawn.built()
    found = clustering_effects(drawn, ["cancellation"], as_of=AS_OF, **asked)

    assert sum(one.procedures for one in found.values()) == procedures
    assert clustering(drawn, "cancellation", as_of=AS_OF, **asked).procedures == procedures


def test_an_effect_follows_the_confidence(drawn: Drawn):
    """Patient sums 1/2, 0/2, 2/2, 0/1 at 80 %: both widths by the intervals of that level."""
    patients(drawn, [(1, 2), (0, 2), (2, 2), (0, 1)])
    lower, upper = clustered_wilson_interval([1, 0, 2, 0], [2, 2, 2, 1], 0.8)
    low, high = wilson_interval(3, 7, 0.8)
    found = clustering(drawn.built(), "cancellation", as_of=AS_OF, confidence=0.8)

    assert found.ratio == pytest.approx((upper - lower) / (high - low))


def test_one_patient_alone_shows_no_effect(drawn: Drawn):
    patients(drawn, [(1, 3)])
    found = clustering(drawn.built(), "cancellation", as_of=AS_OF)

    assert (found.ratio, found.design_effect, found.from_data) == (None, None, False)
    assert (found.patients, found.procedures) == (1, 3)


def test_without_procedures_nothing_is_shown_by_the_data(drawn: Drawn):
    found = clustering(drawn.built(), "cancellation", as_of=AS_OF)

    assert (found.from_data, found.patients, found.procedures) == (False, 0, 0)


def test_no_patients_have_no_effect():
    assert effect(([], [], []), 0.95) == ClusteringEffect(None, None, False, 0, 0)


def test_a_confidence_in_per_cent_is_refused(drawn: Drawn):
    with pytest.raises(UsageProblem, match="Write 95 % as 0.95"):
        clustering_effects(drawn.built(), ["cancellation"], as_of=AS_OF, confidence=95)


def test_only_proportions_have_an_effect(drawn: Drawn):
    with pytest.raises(UsageProblem, match="tissue_mass_g: is no proportion"):
        clustering_effects(drawn.built(), ["cancellation", "tissue_mass_g"], as_of=AS_OF)


def ratio(drawn: Drawn, name: str, interval: str) -> CategoryRatio:
    found = b_category_table(drawn, as_of=AS_OF, interval=interval)
    return next(one for one in found.ratios if one.name == name)


def categorised(drawn: Drawn) -> Drawn:
    """Patients by the categories of their procedures; B2 with a later cancer is missed."""
    for patient, categories in (("a", "B2 B2 B2"), ("b", "B3"), ("c", "B4 B3"), ("d", "B2"), ("e", "B5 B5")):
        for number, category in enumerate(categories.split()):
            key = f"{patient}{number}"
            drawn.finding(f"F{key}", patient)
            drawn.procedure(key, finding=f"F{key}")
            drawn.report(key, b_category=category)
    drawn.linkage("a0", 100, "invasive")
    drawn.linkage("a1", 100, "invasive")
    return drawn.built()


def test_the_ratios_of_the_table_by_patient(drawn: Drawn):
    """B3 or B4 of all: 0 of 3, 1 of 1, 2 of 2, 0 of 1, 0 of 2 procedures of the five patients."""
    lower, upper = clustered_wilson_interval([0, 1, 2, 0, 0], [3, 1, 2, 1, 2])
    found = ratio(categorised(drawn), "suspicious_rate", "clustered")

    assert (found.x, found.n, found.interval) == (3, 9, "clustered")
    assert (found.lower, found.upper) == pytest.approx((lower, upper))


def test_patients_without_the_denominator_take_no_part(drawn: Drawn):
    """C: the two missed of patient a, the two B5 of e; complete sensitivity 0 of 2 and 2 of 2."""
    wide, narrow = width([0, 2], [2, 2])
    found = ratio(categorised(drawn), "complete_sensitivity", "wilson")

    assert (found.x, found.n, found.interval) == (2, 4, "wilson")
    assert found.clustering == pytest.approx(wide / narrow)


def test_a_ratio_of_two_groups_keeps_the_plain_interval(drawn: Drawn):
    found = ratio(categorised(drawn), "false_positive", "clustered")

    assert (found.interval, found.clustering) == ("wilson", None)
    assert (found.lower, found.upper) == pytest.approx(wilson_interval(0, 4))


def test_the_table_obeys_the_interval_that_is_asked_of_all_measures(drawn: Drawn):
    (table,) = evaluate(categorised(drawn), ["b_category_accuracy"], as_of=AS_OF, interval="clustered")

    assert {one.interval for one in table.ratios} == {"clustered", "wilson"}


# -- the command ---------------------------------------------------------------------------


def two_alike(registry: Registry) -> None:
    """Twelve patients with two procedures each, both abandoned or both completed."""
    rows = base()
    finding, procedure = rows["findings"][0], rows["procedures"][0]
    rows = {"operators": rows["operators"], "patients": [], "findings": [], "procedures": []}
    for number in range(12):
        rows["patients"].append({"patient_id": f"PAT{number}", "birth_date": "1960-05-17", "sex": "female"})
        for side in "LR":
            key = f"{number}{side}"
            rows["findings"].append(
                {**finding, "finding_id": f"F{key}", "patient_id": f"PAT{number}", "laterality": side}
            )
            cells = {"accession": f"ACC{key}", "procedure_id": f"P{key}", "finding_id": f"F{key}"}
            if number < 4:
                cells |= {"status": "abandoned", "status_reason": "patient", "cores": ""}
            rows["procedures"].append({**procedure, **cells})
    load(registry, rows, all_or_nothing=True)


def said(folder: Path, *options: str) -> str:
    asked = ["measure", str(folder), "tissue_obtained", "--as-of", "2026-06-30", *options]
    run = CliRunner().invoke(app, asked)
    assert run.exit_code == 0, run.exception
    return " ".join(run.output.split())


def test_the_command_says_where_the_plain_interval_is_too_narrow(registry: Registry, folder: Path):
    """16 of 24 procedures, alike within each patient: the interval is that of about 12."""
    two_alike(registry)
    registry.close()
    wide, narrow = width([0] * 4 + [2] * 8, [2] * 12)

    assert f"more than 10 % wider for tissue_obtained ({wide / narrow:.2f} times)" in said(folder)
    assert "more than 10 %" not in said(folder, "--interval", "clustered")
    assert "more than 10 %" not in said(folder, "--format", "csv")
