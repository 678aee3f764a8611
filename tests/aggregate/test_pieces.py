"""Cross-tables and curves of three services, merged, are those of one run over all of them."""

from __future__ import annotations

import hashlib
import json
from dataclasses import replace
from statistics import median
from typing import TYPE_CHECKING

import pytest

from registry.aggregate import collect, merge, read
from registry.aggregate.pieces import TableCell, event_table, sum_of
from registry.errors import FileProblem, UsageProblem
from registry.measures import b_category_table, curve, load_measures, procedures
from tests.aggregate.conftest import AS_OF, END, START

if TYPE_CHECKING:
    from pathlib import Path

    from registry.aggregate import Document

ASKED = {"as_of": AS_OF, "start": START, "end": END}
TABLE, CURVE = "b_category_accuracy", "cancer_after_benign"


@pytest.fixture(scope="module")
def internal(three) -> list[Document]:
    return [collect(one, **ASKED, internal=True) for one in three]


@pytest.fixture(scope="module")
def for_anybody(three) -> list[Document]:
    return [collect(one, **ASKED) for one in three]


def said(result) -> dict[str, object]:
    return {key: value for key, value in result.to_dict().items() if key != "registry"}


@pytest.mark.parametrize("interval", ["wilson", "exact", "clustered"])
def test_the_cross_table_is_that_of_the_single_run(internal, together, interval):
    (merged,) = merge(internal, internal=True, interval=interval).tables
    single = b_category_table(together, **ASKED, interval=interval)

    assert said(merged) == said(single)


def test_there_is_something_in_the_cross_table(together):
    single = b_category_table(together, **ASKED)

    assert single.total > 50
    assert sum(number > 0 for row in single.cells.values() for number in row) >= 3


def test_the_curve_is_that_of_the_single_run_with_its_limits_and_steps(internal, together):
    (merged,) = merge(internal, internal=True).curves
    single = curve(together, **ASKED)

    assert said(merged.curve) == said(single)
    assert merged.curve.estimates == single.estimates


def test_the_curve_has_events_and_people_who_are_followed_no_further(together):
    single = curve(together, **ASKED)

    assert single.n > 30
    assert single.estimates["lost"].events > 0
    assert len(set(single.estimates["lost"].step_at_risk)) > 1


def test_the_event_table_is_that_of_the_procedures(internal, together):
    """From the rows of the measure themselves: at risk are those whose time is at least the first day."""
    (merged,) = merge(internal, internal=True).curves
    rows = procedures(together, CURVE, **ASKED)
    kept = rows.filter(rows.get_column("excluded_because").is_null())
    for first, last, at_risk, cancers, deaths, ends in merged.steps["lost"]:
        held = [
            (days, status)
            for days, status in kept.select("lost_days", "lost_status").rows()
            if days >= first or first == 0
        ]
        inside = [status for days, status in held if last is None or days <= last]
        assert at_risk == len(held)
        assert (cancers, deaths, ends) == tuple(inside.count(one) for one in (1, 2, 0))


def test_split_and_whole_are_those_of_the_single_run(three, together):
    merged = merge([collect(one, **ASKED, by="guidance", internal=True) for one in three], internal=True)
    whole = {one.stratum: said(one) for one in merged.tables}

    assert len(whole) > 1
    assert {**whole["all"], "patients": 0} == {**said(b_category_table(together, **ASKED)), "patients": 0}
    curves = {one.stratum: one for one in merged.curves}
    assert curves["all"].curve.estimates == curve(together, **ASKED).estimates


@pytest.mark.parametrize("kind", ["internal", "for_anybody"])
@pytest.mark.parametrize("measure", [one.id for one in load_measures().values() if one.kind == "quantity"])
def test_the_median_of_all_lies_where_the_bins_say(request, together, measure, kind):
    files = request.getfixturevalue(kind)
    found = [
        one for one in merge(files, internal=kind == "internal").lengths if one.measure == measure and one.n
    ]
    rows = procedures(together, measure, **ASKED)
    values = rows.filter(rows.get_column("excluded_because").is_null()).get_column("measured").to_list()
    for one in found:
        assert one.n == len(values)
        # Files for anybody may have had to keep the bins back.
        assert kind == "for_anybody" or one.median_from is not None
        if one.median_from is not None:
            assert one.median_from <= median(values) <= one.median_to


def test_there_is_a_median_to_find(internal):
    assert any(one.n > 100 and one.median_from is not None for one in merge(internal, internal=True).lengths)


# -- what may go anywhere --------------------------------------------------------------


def test_a_file_for_anybody_holds_no_day_and_no_group_of_patients(for_anybody):
    for one in for_anybody:
        for counted in one.pieces.values():
            for piece in counted.strata.values():
                assert (piece.groups if isinstance(piece, TableCell) else piece.days) is None


def test_a_piece_with_a_small_cell_is_withheld_whole_and_said(for_anybody):
    withheld = [name for one in for_anybody for name in one.left_out if name.startswith((TABLE, CURVE))]

    assert withheld
    assert [one.small() for one in for_anybody] == [[], [], []]
    merged = merge(for_anybody)
    assert not {one.measure for one in (*merged.tables, *merged.curves)} & {
        name.split(",")[0] for name in withheld
    }
    assert all("withheld by Service" in merged.left_out[name] for name in withheld)


def made_of(m, b, n, unresolved=(0,) * 5, **more) -> TableCell:
    total = sum(m) + sum(b) + sum(n)
    return TableCell(total, total, {"m": m, "b": b, "n": n}, unresolved, **more)


LARGE = made_of((0, 6, 0, 0, 30), (0, 0, 9, 0, 0), (0, 40, 0, 0, 8))


def test_files_for_anybody_merge_their_tables_without_what_each_patient_has(for_anybody):
    """Three tables with large cells: the cells add up, and nothing is said of how wide an interval by patient is."""
    counted = for_anybody[0].pieces[TABLE]
    files = [
        replace(
            one,
            pieces={**one.pieces, TABLE: replace(counted, strata={"all": LARGE})},
            left_out={name: why for name, why in one.left_out.items() if not name.startswith(TABLE)},
        )
        for one in for_anybody
    ]
    (merged,) = merge(files).tables

    assert merged.cells["m"] == (0, 18, 0, 0, 90)
    assert merged.cells["n"] == (0, 120, 0, 0, 24)
    assert all(one.clustering is None for one in merged.ratios)


def test_an_event_table_by_hand():
    """Ten: 2 cancers on day 100, 1 death on 182, 3 ends on 183, 4 ends on 2000."""
    rows = [(100, 1, 2), (182, 2, 1), (183, 0, 3), (2000, 0, 4)]

    assert event_table(rows) == (
        (0, 182, 10, 2, 1, 0),
        (183, 365, 7, 0, 0, 3),
        (366, 730, 4, 0, 0, 0),
        (731, 1095, 4, 0, 0, 0),
        (1096, None, 4, 0, 0, 4),
    )


def test_a_sum_of_one_is_itself():
    assert sum_of([LARGE]) == LARGE


# -- the file --------------------------------------------------------------------------


def rewritten(text: str, change) -> str:
    """A file changed by whoever can also hash it."""
    given = json.loads(text)
    given.pop("sha256")
    change(given)
    form = json.dumps(given, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    return (
        json.dumps(
            {**given, "sha256": hashlib.sha256(form.encode()).hexdigest()}, indent=1, ensure_ascii=False
        )
        + "\n"
    )


def as_version_one(given: dict) -> None:
    """As the program before wrote it: no tables and curves, no bins, and their names among what is left out."""
    given["version"] = 1
    del given["tables_and_curves"]
    given["left_out"] |= {
        TABLE: "a cross-table of small cells",
        CURVE: "a curve needs the time of each procedure",
    }
    for counted in given["measures"].values():
        for cell in counted["strata"].values():
            del cell["bins"]


@pytest.fixture
def old(internal, tmp_path: Path) -> Document:
    place = tmp_path / "old.json"
    place.write_text(rewritten(internal[2].text(), as_version_one), encoding="utf-8")
    made = read(place)
    assert made.text() == place.read_text(encoding="utf-8")
    return made


def test_a_file_of_version_one_still_merges_with_a_sentence_of_what_it_lacks(internal, old):
    new, both = merge(internal, internal=True), merge([*internal[:2], old], internal=True)

    assert [said(one.result) for one in both.rates] == [said(one.result) for one in new.rates]
    assert (both.tables, both.curves) == ((), ())
    assert "Files of version 1: Service C" in both.notes[-1]
    assert both.left_out[TABLE] == "the file of Service C is of version 1, which does not hold it"
    assert all(one.median_from is None for one in both.lengths if one.n)


def test_files_of_this_version_say_nothing_of_another(internal):
    assert not any("version 1" in one for one in merge(internal, internal=True).notes)


def test_tables_and_curves_are_read_as_they_were_written(internal, tmp_path: Path):
    place = tmp_path / "a.json"
    place.write_text(internal[0].text(), encoding="utf-8")

    assert read(place).pieces == internal[0].pieces


def cell_more(given: dict) -> None:
    given["tables_and_curves"][TABLE]["strata"]["all"]["cells"]["m"][4] += 1


def one_more_at_risk(given: dict) -> None:
    given["tables_and_curves"][CURVE]["strata"]["all"]["steps"]["lost"][0][2] += 1


def another_day(given: dict) -> None:
    given["tables_and_curves"][CURVE]["strata"]["all"]["days"]["lost"][0][2] += 1


def patients_more(given: dict) -> None:
    given["tables_and_curves"][TABLE]["strata"]["all"]["groups"][0][1] += 1


def a_bin_more(given: dict) -> None:
    given["measures"]["biopsy_to_report_days"]["strata"]["all"]["bins"][0][2] += 1


def below_nothing(given: dict) -> None:
    row = given["tables_and_curves"][TABLE]["strata"]["all"]["cells"]
    row["b"][0] -= 1
    row["b"][1] += 1


@pytest.mark.parametrize(
    "change", [cell_more, one_more_at_risk, another_day, patients_more, a_bin_more, below_nothing]
)
def test_counts_that_do_not_hold_together_are_refused(internal, tmp_path: Path, change):
    place = tmp_path / "a.json"
    place.write_text(rewritten(internal[0].text(), change), encoding="utf-8")

    with pytest.raises(FileProblem, match="does not hold together"):
        read(place)


def test_another_definition_of_a_table_is_refused(internal):
    pieces = dict(internal[1].pieces)
    pieces[TABLE] = replace(pieces[TABLE], sha256="0" * 64)

    with pytest.raises(UsageProblem, match=f"{TABLE} is defined otherwise in the file of Service B"):
        merge([internal[0], replace(internal[1], pieces=pieces)], internal=True)
