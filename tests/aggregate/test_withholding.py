"""In a file for anybody no small count follows from the counts beside it."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations
from typing import TYPE_CHECKING

import pytest

from registry.aggregate import collect
from registry.aggregate.document import Cell
from registry.aggregate.pieces import TableCell
from registry.aggregate.withholding import MAIN, cell_for_anybody, left_out, piece_for_anybody
from registry.measures import procedures
from tests.aggregate.conftest import AS_OF, END, SITES, START, put
from tests.measures.build import Drawn

if TYPE_CHECKING:
    from collections.abc import Iterator

ASKED = {"as_of": AS_OF, "start": START, "end": END}


@pytest.fixture(scope="module")
def unreported() -> Iterator[Drawn]:
    """One service of three sites in which three procedures are without a report, and a fourth without a review."""
    made = Drawn()
    for site in SITES:
        put(made, site)
    for number in range(4):
        made.finding(f"finding of U{number}", f"patient U{number}")
        made.procedure(
            f"U{number}", 50 + number, finding=f"finding of U{number}", site="A", status="completed"
        )
    made.report("U3", "benign", 60)
    yield made.built()
    made.close()


@pytest.fixture(scope="module")
def whole(unreported):
    return collect(unreported, **ASKED, internal=True)


@pytest.fixture(scope="module")
def shared(unreported):
    return collect(unreported, **ASKED)


def test_what_is_shared_is_what_was_counted(shared, whole):
    """Most of it is there, and nothing was changed but what is named as withheld."""
    cells = {name: one.strata["all"] for name, one in shared.measures.items() if one.strata}

    assert len(cells) > 15
    for name, cell in cells.items():
        full = whole.measures[name].strata["all"]
        assert (cell.n, cell.x) == (full.n, full.x)
        for reason, count in full.excluded.items():
            assert cell.excluded.get(reason) == count or left_out(reason) in cell.withheld


def test_reasons_that_are_withheld_are_not_what_the_others_leave_of_all_procedures(unreported, shared):
    """All procedures are known from any measure that tells everything: what a measure does not tell is the rest."""
    every = procedures(unreported, "cancellation", **ASKED).height
    cells = {name: one.strata["all"] for name, one in shared.measures.items() if one.strata}
    told = {name: cell.n + sum(cell.excluded.values()) for name, cell in cells.items()}

    assert every in told.values()
    assert not {name: every - number for name, number in told.items() if 0 < every - number < 5}


def test_no_count_within_another_leaves_a_small_rest(unreported, shared):
    """Who is counted is asked of the list of procedures, not of the code that withholds."""
    members = {}
    for name, one in shared.measures.items():
        if not one.strata:
            continue
        rows = procedures(unreported, name, **ASKED)
        kept = rows.filter(rows.get_column("excluded_because").is_null())
        members[name, "denominator"] = set(kept.get_column("procedure_id"))
        if one.strata["all"].x is not None:
            members[name, "numerator"] = set(
                kept.filter(kept.get_column("in_numerator")).get_column("procedure_id")
            )
        for reason in one.strata["all"].excluded:
            left = rows.filter(rows.get_column("excluded_because") == reason)
            members[name, reason] = set(left.get_column("procedure_id"))

    pairs = [(a, b) for a, b in combinations(members.values(), 2) if a <= b or b <= a]
    assert len(pairs) > 50
    assert not [pair for pair in pairs if 0 < len(pair[0] ^ pair[1]) < 5]


def test_an_only_small_reason_is_named_and_not_counted(unreported, shared, whole):
    """Were it hidden alone, it would be the rest; so either another goes with it, or the measure."""
    hidden = {
        (name, reason)
        for name, one in whole.measures.items()
        for reason, count in one.strata["all"].excluded.items()
        if 0 < count < 5 and shared.measures[name].strata
    }

    assert hidden
    assert all(left_out(reason) in shared.measures[name].strata["all"].withheld for name, reason in hidden)


def benign_results(resolved: int) -> Drawn:
    """Forty benign results long ago, so many of which were seen again after a year; ten later cancers, ten excisions."""
    made = Drawn()
    for number in range(60):
        made.procedure(f"P{number}", 10)
        made.report(f"P{number}", "benign", 12, b_category="B2")
        if number < resolved:
            made.imaging(f"P{number}", 800, modality="mammography")
        if number >= 40:
            made.excision(f"P{number}", 100, "invasive" if number < 50 else "benign")
    return made.built()


@pytest.mark.parametrize(("resolved", "is_told"), [(20, True), (3, False), (37, False), (40, True)])
def test_a_table_goes_only_where_neither_the_resolved_nor_the_unresolved_are_few(resolved, is_told):
    """The file counts those with neither, and how many of them are not resolved: the rest are."""
    registry = benign_results(resolved)
    inside = collect(registry, **ASKED, internal=True).pieces["b_category_accuracy"].strata["all"]
    outside = collect(registry, **ASKED).pieces["b_category_accuracy"].strata
    registry.close()

    assert (inside.cells["n"][1], inside.unresolved[1]) == (40, 40 - resolved)
    assert ("all" in outside) == is_told
    if is_told:
        assert (outside["all"].cells, outside["all"].groups) == (inside.cells, None)


def test_bins_that_are_withheld_leave_no_median_of_the_other_places(shared):
    """Nothing at all is said of the bins: an empty list would pass for a place without values."""
    quantities = [
        one.strata["all"] for one in shared.measures.values() if one.kind == "quantity" and one.strata
    ]
    with_values = [one for one in quantities if one.n]

    assert with_values
    assert all(("bins" in one.withheld) == (one.bins is None) for one in quantities)
    assert all(one.bins != () for one in with_values)


TABLE = TableCell(
    93,
    93,
    {"m": (0, 6, 0, 0, 30), "b": (0, 0, 9, 0, 0), "n": (0, 40, 0, 0, 8)},
    (0,) * 5,
    {"no pathology report": 7, "repeat procedure": 20},
    ((("B2 m",), 6),),
)
TOLD = frozenset({("table", "all", MAIN), ("table", "all", left_out("repeat procedure"))})


def test_a_table_goes_without_groups_of_patients_and_with_the_reasons_that_are_told():
    kept = piece_for_anybody(TABLE, "table", "all", TOLD)

    assert kept == replace(TABLE, groups=None, excluded={"repeat procedure": 20})


def test_a_table_whose_counts_are_not_told_does_not_go():
    assert piece_for_anybody(TABLE, "table", "all", TOLD - {("table", "all", MAIN)}) is None


@pytest.mark.parametrize(("patients", "kept"), [(4, None), (5, 5)])
def test_few_patients_are_withheld_beside_a_table_and_beside_a_rate(patients, kept):
    """Fewer than five are few (decision 0027)."""
    table = piece_for_anybody(replace(TABLE, patients=patients), "table", "all", TOLD)
    cell = cell_for_anybody(Cell(n=60, x=30, patients=patients), "table", "all", TOLD)

    assert table.patients == cell.patients == kept
    assert ("patients" in cell.withheld) == (kept is None)
