"""A table of counts released: what is written down, and when the next one is refused."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pytest

from registry import erasure, verify
from registry.disclosure.cells import HIDDEN
from registry.errors import FileProblem, UsageProblem
from registry.package.counts import write_counts
from registry.package.listing import exports, own_exports
from registry.people import Actor, Role, acting
from registry.store import Registry
from tests.build import Rows, base, load
from tests.exports.made import AS_OF, NOW
from tests.package.made import package

PATIENTS = 60


def many() -> Rows:
    """Sixty patients, a procedure each: the first 40 at site A, 13 of them right; then B, 4 of them right."""
    one = base()
    rows: Rows = {"operators": one["operators"], "patients": [], "findings": [], "procedures": []}
    for number in range(1, PATIENTS + 1):
        keys = {"patient_id": f"PAT{number}", "finding_id": f"F{number}", "procedure_id": f"P{number}"}
        rows["patients"].append({**one["patients"][0], "patient_id": keys["patient_id"]})
        side = "R" if number % (3 if number <= 40 else 5) == 0 else "L"
        rows["findings"].append(
            {
                **one["findings"][0],
                "patient_id": keys["patient_id"],
                "finding_id": keys["finding_id"],
                "laterality": side,
            }
        )
        day = f"2025-{3 + (number - 1) // 20:02}-{(number - 1) % 20 + 5:02}"
        own = {
            "accession": f"ACC{number}",
            "site": "A" if number <= 40 else "B",
            "started_at": f"{day}T09:30",
        }
        clocks = {"ended_at": "", "injected_at": "", "first_scan_at": ""}
        rows["procedures"].append(
            {
                **one["procedures"][0],
                "procedure_id": keys["procedure_id"],
                "finding_id": keys["finding_id"],
                **own,
                **clocks,
            }
        )
    return rows


@pytest.fixture
def registry(folder):
    with Registry.open(folder, write=True, clock=lambda: NOW) as opened:
        assert load(opened, many()).total.held == 0
        yield opened


def counts(registry, path, *by, **given):
    asked = {"purpose": "yearly report", "author": "researcher", "as_of": AS_OF, **given}
    return write_counts(registry, path, list(by), **asked)


def rows_of(path: Path):
    with path.open(encoding="utf-8", newline="") as handle:
        return list(csv.reader(handle))


def test_the_file_holds_the_table_with_small_cells_hidden(registry, tmp_path):
    """A: 40 patients, 13 on the right; B: 20, 4 on the right. 17 on the right in all, 43 on the left."""
    made = counts(registry, tmp_path / "c.csv", "laterality", "site")

    assert rows_of(tmp_path / "c.csv") == [
        ["laterality", "A", "B", "all"],
        ["L", HIDDEN, HIDDEN, "43"],
        ["R", HIDDEN, HIDDEN, "17"],
        ["all", "40", "20", "60"],
    ]
    assert made.number == 1


def test_the_ledger_says_what_was_shown_and_to_whom_it_counts(registry, tmp_path):
    counts(registry, tmp_path / "c.csv", "laterality", "site")
    (line,) = registry.rows(
        "SELECT release_no, author, purpose, units, dimensions, hidden_up_to FROM release"
    )
    cells = dict(registry.rows("SELECT cell, shown_count FROM release_cell"))
    members = registry.identity.execute("SELECT cell, count(*) FROM release_member GROUP BY cell").fetchall()

    assert line == (1, "researcher", "yearly report", 60, '["laterality", "site"]', 10)
    assert cells["{}"] == 60
    assert cells['{"laterality": "R", "site": "B"}'] is None
    assert (
        dict(members)['{"laterality": "R", "site": "B"}'] == 4
    )  # with the identifiers, never in the registry itself


def test_it_is_an_entry_of_the_trail_with_its_purpose(registry, tmp_path):
    counts(registry, tmp_path / "c.csv", "site")
    action, kind, key, details = registry.rows(
        "SELECT action, object_kind, object_key, details FROM audit_event ORDER BY seq DESC LIMIT 1"
    )[0]

    assert (action, kind, key) == ("export", "counts", "release 1")
    assert json.loads(details)["reason"] == "yearly report"


def test_a_second_release_that_lacks_three_patients_is_refused_and_leaves_nothing(registry, tmp_path):
    """Started up to 20 May instead of 24: P57 to P60 are left out, 4 people."""
    from datetime import date

    counts(registry, tmp_path / "one.csv", "site")

    with pytest.raises(UsageProblem, match=r"Not released: together with release 1 .* would show 4 people"):
        counts(registry, tmp_path / "two.csv", "site", end=date(2025, 5, 20))

    assert not (tmp_path / "two.csv").exists()
    assert registry.rows("SELECT count(*) FROM release") == [(1,)]


def test_the_same_population_by_another_column_is_released(registry, tmp_path):
    counts(registry, tmp_path / "one.csv", "site")

    assert counts(registry, tmp_path / "two.csv", "laterality").number == 2


def test_a_margin_that_an_earlier_table_hid_is_not_shown_by_a_narrower_one(registry, tmp_path):
    """Release 1 hides the 13 at site A, who protect the 4 at B; site A alone, by side, would show them."""
    from datetime import date

    counts(registry, tmp_path / "one.csv", "laterality", "site")

    # Site A are the first forty patients, of March and April.
    with pytest.raises(UsageProblem, match="would show what one of the two hides"):
        counts(registry, tmp_path / "two.csv", "laterality", end=date(2025, 4, 30))


def test_another_period_has_nobody_in_common_and_is_released(registry, tmp_path):
    from datetime import date

    counts(registry, tmp_path / "one.csv", "guidance", end=date(2025, 3, 31))

    assert counts(registry, tmp_path / "two.csv", "guidance", start=date(2025, 4, 1)).number == 2


@pytest.mark.parametrize(
    ("by", "said"),
    [
        (["age_years"], "a table cannot be made by it"),
        (["started_on"], "a table cannot be made by it"),
        (["procedure_id"], "a table cannot be made by it"),
        (["operator_no"], "a table cannot be made by it"),
        (["no_such"], "a table cannot be made by it"),
        (["site", "site"], "one column or two different ones"),
    ],
)
def test_what_points_to_persons_or_is_not_there_makes_no_table(registry, tmp_path, by, said):
    with pytest.raises(UsageProblem, match=said):
        counts(registry, tmp_path / "c.csv", *by)


def test_without_a_purpose_over_an_old_file_or_with_less_hidden_nothing_is_released(registry, tmp_path):
    (tmp_path / "old.csv").write_text("mine", encoding="utf-8")
    with pytest.raises(UsageProblem, match="needs a reason"):
        counts(registry, tmp_path / "c.csv", "site", purpose=" ")
    with pytest.raises(FileProblem, match="is there already"):
        counts(registry, tmp_path / "old.csv", "site")
    with pytest.raises(UsageProblem, match="More may be hidden, not fewer"):
        counts(registry, tmp_path / "c.csv", "site", upto=5)

    assert registry.rows("SELECT count(*) FROM release") == [(0,)]


def test_an_erasure_takes_the_patient_out_of_the_ledger(registry, tmp_path):
    counts(registry, tmp_path / "c.csv", "site")
    folder, pseudonym = registry.folder, registry.pseudonyms.of("PAT7")
    registry.close()

    erasure.erase(folder, "PAT7", reason="asked to be erased", author="administrator", clock=lambda: NOW)

    with Registry.open(folder, check_anchor=False) as again:
        left = again.identity.execute(
            "SELECT count(*) FROM release_member WHERE patient = ?", [pseudonym]
        ).fetchall()
        assert left == [(0,)]
        assert verify.verify(again) == []


@pytest.mark.parametrize(
    ("sql", "said"),
    [
        ("UPDATE release_cell SET shown_count = 41 WHERE shown_count = 40", "Release 1 is not the table"),
        ("UPDATE release SET purpose = 'another'", "Release 1 is not the table"),
        ("DELETE FROM release", "Release 1 is missing"),
    ],
)
def test_the_ledger_is_append_only_and_verify_sees_where_it_is_not(registry, tmp_path, sql, said):
    counts(registry, tmp_path / "c.csv", "site")
    assert [one for one in verify.verify(registry) if one.part == "releases"] == []
    with registry.cursor() as cursor:
        cursor.execute(sql)

    (found,) = [one.message for one in verify.verify(registry) if one.part == "releases"]
    assert found.startswith(said)


# -- who exported what -------------------------------------------------------------


def test_the_list_of_exports_names_purpose_profile_and_rows(registry, tmp_path):
    package(registry, tmp_path / "out", formats=("csv", "parquet"))
    counts(registry, tmp_path / "c.csv", "site")

    newest, first = exports(registry)

    assert (newest["what"], newest["purpose"], newest["rows"]) == ("counts release 1", "yearly report", 60)
    assert [first[name] for name in ("actor", "purpose", "profile", "project", "rows")] == [
        "researcher",
        "study of targeting",
        "internal",
        "alpha",
        60,
    ]


def test_a_researcher_sees_only_what_is_their_own(registry, tmp_path):
    for name in ("ines", "noor"):
        with acting(Actor(name, frozenset({Role.RESEARCHER}), confirmed_at=registry.clock())):
            package(registry, tmp_path / name, formats=("csv", "parquet"))
    with acting(Actor("noor", frozenset({Role.RESEARCHER}))):
        seen = own_exports(registry)
    with acting(Actor("omar", frozenset({Role.QUALITY}))):
        everything = exports(registry)

    assert [one["actor"] for one in seen] == ["noor"]
    assert [one["actor"] for one in everything] == ["noor", "ines"]
