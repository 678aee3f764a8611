"""Merging the counts of three services gives what one run over all of them gives."""

from __future__ import annotations

import json
from dataclasses import replace
from statistics import fmean, stdev
from typing import TYPE_CHECKING

import pytest

from registry.aggregate import collect, merge, read
from registry.errors import FileProblem, UsageProblem
from registry.measures import evaluate, load_measures, procedures
from tests.aggregate.conftest import AS_OF, END, SITES, START, service
from tests.measures.build import day

if TYPE_CHECKING:
    from pathlib import Path

    from registry.aggregate import Document

ASKED = {"as_of": AS_OF, "start": START, "end": END}
RATES = [one.id for one in load_measures().values() if one.kind == "proportion"]
LENGTHS = [one.id for one in load_measures().values() if one.kind == "quantity"]


@pytest.fixture(scope="module")
def internal(three) -> list[Document]:
    return [collect(one, **ASKED, internal=True) for one in three]


@pytest.fixture(scope="module")
def for_anybody(three) -> list[Document]:
    return [collect(one, **ASKED) for one in three]


def said(result) -> dict[str, object]:
    """What a result says, without the stamp of where it was counted."""
    return {key: value for key, value in result.to_dict().items() if key != "registry"}


@pytest.mark.parametrize("interval", ["wilson", "exact", "jeffreys", "clustered"])
def test_every_proportion_is_that_of_the_single_run(internal, together, interval):
    """Counts, interval, exclusions, bounds and, as no patient is at two sites here, patients and design effect."""
    merged = merge(internal, internal=True, interval=interval)
    single = evaluate(together, RATES, **ASKED, interval=interval)

    assert {one.result.measure: said(one.result) for one in merged.rates} == {
        one.measure: said(one) for one in single
    }


def test_the_services_hold_something_to_merge(together):
    """The test above would pass on nothing: most measures must have a denominator, several an event."""
    single = evaluate(together, RATES, **ASKED)

    assert sum(one.denominator > 0 for one in single) > 15
    assert sum(0 < one.numerator < one.denominator for one in single) > 8


def test_every_stratum_and_the_whole_are_those_of_the_single_run(three, together):
    merged = merge([collect(one, **ASKED, by="guidance", internal=True) for one in three], internal=True)
    single = [*evaluate(together, RATES, **ASKED, by="guidance"), *evaluate(together, RATES, **ASKED)]

    # The whole has no row of its own where a stratum is not there.
    found = {(one.result.measure, one.result.stratum): said(one.result) for one in merged.rates}
    assert found == {(one.measure, one.stratum): said(one) for one in single}


def test_the_mean_of_a_quantity_is_that_of_its_values(internal, together):
    merged = {one.measure: one for one in merge(internal, internal=True).lengths}
    rows = procedures(together, "biopsy_to_report_days", **ASKED)
    values = rows.filter(rows.get_column("excluded_because").is_null()).get_column("measured").to_list()

    one = merged["biopsy_to_report_days"]
    assert one.n == len(values) > 100
    assert one.mean == pytest.approx(fmean(values))
    assert one.sd == pytest.approx(stdev(values))


def test_the_places_stand_beside_one_another(internal, together):
    (one,) = [rate for rate in merge(internal, internal=True).rates if rate.result.measure == "discordance"]
    by_site = evaluate(together, ["discordance"], **ASKED, by="site")

    assert one.parts == tuple((row.stratum, row.numerator, row.denominator) for row in by_site)
    assert one.pool.units == 3
    assert one.pool.middle is not None


# -- what may go anywhere --------------------------------------------------------------


def test_a_file_for_anybody_holds_no_small_count(for_anybody):
    assert [one.small() for one in for_anybody] == [[], [], []]
    assert all(
        cell.clusters is None
        for one in for_anybody
        for m in one.measures.values()
        for cell in m.strata.values()
    )


def test_an_internal_file_holds_them(internal):
    assert all(one.small() for one in internal)


def test_what_is_withheld_at_one_place_is_not_merged_without_it(for_anybody):
    """A sum without one place would be taken for the whole."""
    merged = merge(for_anybody)
    kept_back = {name.split(",")[0] for one in for_anybody for name in one.left_out if ", " in name}

    assert kept_back
    assert kept_back.isdisjoint(one.result.measure for one in merged.rates)
    assert all("withheld by Service" in merged.left_out[f"{name}, all"] for name in kept_back)


def test_what_is_merged_for_anybody_is_the_single_run(for_anybody, together):
    merged = {one.result.measure: one.result for one in merge(for_anybody).rates}
    single = {one.measure: one for one in evaluate(together, list(merged), **ASKED)}

    assert len(merged) > 5
    assert {name: (one.numerator, one.denominator, one.lower) for name, one in merged.items()} == {
        name: (one.numerator, one.denominator, one.lower) for name, one in single.items()
    }


def test_no_key_of_a_procedure_patient_or_operator_stands_in_a_file(internal):
    text = "".join(one.text() for one in internal)

    assert not any(f"{site}{number:03}" in text for site in SITES for number in range(60))
    assert "OP-" not in text


def test_results_of_single_people_do_not_leave(three):
    with pytest.raises(UsageProblem, match="single people do not leave"):
        collect(three[0], **ASKED, by="operator")


# -- what is refused -------------------------------------------------------------------


def test_internal_files_are_refused_unless_asked_for(internal):
    with pytest.raises(UsageProblem, match="counts from 1 to 4"):
        merge(internal)


def test_small_counts_are_refused_whatever_the_file_says_of_itself(internal):
    pretending = [replace(one, internal=False) for one in internal]

    with pytest.raises(UsageProblem, match="counts from 1 to 4"):
        merge(pretending)


@pytest.mark.parametrize(
    ("changed", "why"),
    [
        ({"as_of": day(1100)}, "different as-of days"),
        ({"start": day(30)}, "different first days"),
        ({"end": day(500)}, "different last days"),
        ({"by": "device"}, "different splits"),
    ],
)
def test_files_of_another_question_are_refused(three, internal, changed, why):
    other = collect(three[2], **{**ASKED, **changed}, internal=True)

    with pytest.raises(UsageProblem, match=why):
        merge([*internal[:2], other], internal=True)


def test_a_site_that_stands_in_two_files_is_refused(internal):
    both = service("B", "C")
    other = collect(both, **ASKED, internal=True)
    both.close()

    with pytest.raises(UsageProblem, match="Site B stands in the files of Service B and of Service BC"):
        merge([internal[0], internal[1], other], internal=True)


def test_another_definition_of_a_measure_is_refused(internal):
    measures = dict(internal[1].measures)
    measures["discordance"] = replace(measures["discordance"], sha256="0" * 64)

    with pytest.raises(UsageProblem, match="discordance is defined otherwise in the file of Service B"):
        merge([internal[0], replace(internal[1], measures=measures)], internal=True)


def test_other_facts_are_refused(internal):
    with pytest.raises(UsageProblem, match="derived otherwise at Service B"):
        merge([internal[0], replace(internal[1], definitions_sha256="0" * 64)], internal=True)


def test_a_measure_that_reads_another_local_limit_is_left_out_and_said(three, internal):
    other = service("C")
    other.setting("safe_margin_min_mm", 25.0)
    merged = merge([*internal[:2], collect(other, **ASKED, internal=True)], internal=True)
    other.close()

    assert "safe_margin_kept" not in {one.result.measure for one in merged.rates}
    assert "Service C set safe_margin_min_mm differently" in merged.left_out["safe_margin_kept"]
    assert "discordance" in {one.result.measure for one in merged.rates}


def test_the_interval_by_patient_is_refused_without_what_each_patient_has(for_anybody):
    with pytest.raises(UsageProblem, match="stands in internal files only"):
        merge(for_anybody, interval="clustered")


def test_one_file_is_nothing_to_merge(internal):
    with pytest.raises(UsageProblem, match="nothing to merge"):
        merge(internal[:1], internal=True)


# -- the file --------------------------------------------------------------------------


def test_a_file_is_read_as_it_was_written(internal, tmp_path: Path):
    place = tmp_path / "a.json"
    place.write_text(internal[0].text(), encoding="utf-8")

    assert read(place).text() == internal[0].text()


def test_the_same_counts_give_the_same_bytes(three, internal):
    assert collect(three[0], **ASKED, internal=True).text() == internal[0].text()


@pytest.mark.parametrize(
    ("spoil", "why"),
    [
        (lambda text: text.replace('"n": ', '"n": 1', 1), "was changed after it was written"),
        (lambda text: text[:-30], "no JSON text"),
        (lambda text: "{}", "no file of counts"),
        (lambda text: text.replace('"version": 2', '"version": 3'), "version 3; this program reads 1 and 2"),
    ],
)
def test_a_file_that_is_not_what_was_written_is_refused(internal, tmp_path: Path, spoil, why):
    place = tmp_path / "a.json"
    place.write_text(spoil(internal[0].text()), encoding="utf-8")

    with pytest.raises(FileProblem, match=why):
        read(place)


@pytest.mark.parametrize(
    "cell", [{"n": 3, "x": 4}, {"n": 3.5}, {"n": 3, "patients": 4}, {"clusters": [[1, 1, 1]]}]
)
def test_counts_that_cannot_be_are_refused_though_the_hash_is_right(internal, tmp_path: Path, cell):
    """Whoever writes a file can also hash it: the counts must hold together by themselves."""
    import hashlib

    given = json.loads(internal[0].text())
    given.pop("sha256")
    given["measures"]["discordance"]["strata"]["all"] |= cell
    form = json.dumps(given, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    given["sha256"] = hashlib.sha256(form.encode()).hexdigest()
    place = tmp_path / "a.json"
    place.write_text(json.dumps(given), encoding="utf-8")

    with pytest.raises(FileProblem, match="does not hold together"):
        read(place)
