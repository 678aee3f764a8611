"""Study keys: the same within a project, unlinkable between two, gone with an erasure."""

from __future__ import annotations

import polars as pl
import pytest

from registry import erasure
from registry.disclosure.profiles import INTERNAL, PROFILES, RESTRICTED, SHIFTED
from registry.store import Registry
from tests.build import load
from tests.exports.made import NOW, twelve
from tests.package.made import package, parquet

KEYS = ("patient_no", "procedure_id", "finding_id", "root_id")


def rows(registry, place, name, **given):
    package(registry, place / name, formats=("csv", "parquet"), **given)
    return parquet(place / name)


def test_two_exports_of_a_project_can_be_joined(registry, tmp_path):
    one, two = (rows(registry, tmp_path, name, profile=SHIFTED) for name in ("one", "two"))

    assert one.equals(two)


def test_under_different_profiles_too(registry, tmp_path):
    one = rows(registry, tmp_path, "one", profile=SHIFTED)
    two = rows(registry, tmp_path, "two", profile=RESTRICTED)

    assert one.select(KEYS).equals(two.select(KEYS))


@pytest.mark.parametrize("profile", PROFILES.values(), ids=PROFILES)
def test_two_projects_cannot(registry, tmp_path, profile):
    """11 numbers of 90 million in each: that two agree by chance has probability under 2e-6."""
    one, two = (rows(registry, tmp_path, name, project=name, profile=profile) for name in ("alpha", "beta"))

    for name in KEYS:
        assert set(one[name]) & set(two[name]) == set()


def test_a_patient_who_comes_later_gets_a_key_and_the_others_keep_theirs(registry, tmp_path):
    before = rows(registry, tmp_path, "one")
    added = {
        name: [dict(row) for row in twelve()[name][:1]] for name in ("patients", "findings", "procedures")
    }
    for name in added:
        for field, key in (
            ("patient_id", "PAT99"),
            ("finding_id", "F99"),
            ("procedure_id", "P99"),
            ("accession", "ACC99"),
        ):
            if field in added[name][0]:
                added[name][0][field] = key
    assert load(registry, added).total.held == 0

    after = rows(registry, tmp_path, "two")

    assert after.height == before.height + 1
    assert set(before["patient_no"]) < set(after["patient_no"])


def test_a_key_says_nothing_of_the_order_of_the_record(registry, tmp_path):
    """Of 11 drawn at random, all in the order of the record once in 39,916,800 times."""
    made = rows(registry, tmp_path, "one").sort("started_on")

    assert made["patient_no"].to_list() != sorted(made["patient_no"].to_list())


def test_the_days_of_a_patient_move_by_the_same_and_differ_between_patients(registry, tmp_path):
    true = rows(registry, tmp_path, "one").select("patient_no", "started_on", "found_on")
    moved = rows(registry, tmp_path, "two", profile=SHIFTED).select("patient_no", "started_on", "found_on")
    both = true.join(moved, on="patient_no", suffix="_moved").with_columns(
        start=(pl.col("started_on_moved") - pl.col("started_on")).dt.total_days(),
        found=(pl.col("found_on_moved") - pl.col("found_on")).dt.total_days(),
    )

    assert both["start"].to_list() == both["found"].to_list()
    assert all(0 < abs(days) <= 182 for days in both["start"])
    assert both["start"].n_unique() > 1


def test_procedures_of_a_chain_point_to_each_other_by_study_keys(registry, tmp_path):
    second = {
        **twelve()["procedures"][0],
        "procedure_id": "P13",
        "started_at": "2025-05-10T09:30",
        "ended_at": "",
        "accession": "",
        "repeat_of": "P1",
        "repeat_reason": "discordant",
    }
    assert load(registry, {"procedures": [second]}).total.held == 0
    made = rows(registry, tmp_path, "one", profile=RESTRICTED)
    child = made.filter(pl.col("repeat_of").is_not_null()).row(0, named=True)

    assert made.filter(pl.col("procedure_id") == child["repeat_of"]).height == 1
    assert child["root_id"] == child["repeat_of"]


def test_keys_are_kept_only_with_the_identifiers(registry, tmp_path):
    made = rows(registry, tmp_path, "one")
    number = str(made["patient_no"][0])
    registry.checkpoint()
    found = registry.rows("SELECT count(*) FROM duckdb_columns() WHERE table_name = 'study_key'")

    assert found == [(0,)]  # registry.duckdb, of which readers get a copy, has no such table
    assert number not in registry.rows("SELECT string_agg(details, '') FROM audit_event")[0][0]


def test_an_erasure_deletes_the_keys_of_the_patient_and_no_others(registry, tmp_path):
    rows(registry, tmp_path, "one")
    package(registry, tmp_path / "two", project="beta")
    folder = registry.folder
    pseudonym = registry.pseudonyms.of("PAT1")
    before = registry.identity.execute(
        "SELECT count(*) FROM study_key WHERE patient = ?", [pseudonym]
    ).fetchall()
    others = registry.identity.execute(
        "SELECT count(*) FROM study_key WHERE patient IS DISTINCT FROM ?", [pseudonym]
    ).fetchall()
    registry.close()

    erasure.erase(folder, "PAT1", reason="asked to be erased", author="administrator", clock=lambda: NOW)

    with Registry.open(folder) as again:
        left = again.identity.execute(
            "SELECT count(*) FROM study_key WHERE patient = ?", [pseudonym]
        ).fetchall()
        kept = again.identity.execute("SELECT count(*) FROM study_key").fetchall()
    # A patient, a procedure and a finding in each of two projects.
    assert (before, left, kept) == ([(6,)], [(0,)], others)


def test_without_a_project_nothing_is_kept(registry, tmp_path):
    for profile in (INTERNAL, SHIFTED):
        package(registry, tmp_path / profile.name, project=None, profile=profile)

    assert registry.identity.execute("SELECT count(*) FROM study_key").fetchall() == [(0,)]


def test_without_a_project_the_keys_of_records_stay_inside_where_dates_are_not_true(registry, tmp_path):
    made = rows(registry, tmp_path, "one", project=None, profile=RESTRICTED)

    assert sorted(made["procedure_id"]) == list(range(1, 12))
