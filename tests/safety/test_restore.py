"""A restored registry is the one that was saved, or is not there."""

from __future__ import annotations

import json
import shutil
from datetime import date

import pytest

from registry import restore as restoring
from registry.backup import backup
from registry.errors import IntegrityProblem, UsageProblem
from registry.measures import evaluate
from registry.store import Registry
from registry.verify import verify


@pytest.fixture
def made(filled, tmp_path):
    with Registry.open(filled, write=True) as registry:
        return backup(registry, tmp_path / "backups", author="coordinator").folder


def restored(made, target, key):
    return restoring.restore(made, target, key_file=key, author="administrator")


def test_a_restored_registry_verifies_and_gives_the_same_figures(made, filled, tmp_path):
    restored(made, tmp_path / "new", filled / "site.key")

    with Registry.open(filled) as old, Registry.open(tmp_path / "new") as new:
        assert verify(new) == []
        counted = [
            [
                (one.measure, one.numerator, one.denominator)
                for one in evaluate(each, ["tissue_obtained"], as_of=date(2026, 6, 30))
            ]
            for each in (old, new)
        ]
    assert counted == [[("tissue_obtained", 1, 1)]] * 2


def test_the_restored_trail_says_where_it_came_from(made, filled, tmp_path):
    restored(made, tmp_path / "new", filled / "site.key")

    with Registry.open(tmp_path / "new") as new:
        actor, action, details = new.rows(
            "SELECT actor, action, details FROM audit_event ORDER BY seq DESC LIMIT 1"
        )[0]
    assert (actor, action, json.loads(details)["from"]) == ("administrator", "restore", made.name)


def test_it_never_goes_over_a_folder_that_is_there(made, filled):
    before = sorted(path.name for path in filled.iterdir())

    with pytest.raises(UsageProblem, match="restored to a new name"):
        restored(made, filled, filled / "site.key")

    assert sorted(path.name for path in filled.iterdir()) == before


def test_a_key_of_another_registry_is_found_out_and_nothing_is_left(made, tmp_path):
    other = tmp_path / "other.key"
    other.write_text("ab" * 32 + "\n")

    with pytest.raises(IntegrityProblem, match="does not verify"):
        restored(made, tmp_path / "new", other)

    assert not (tmp_path / "new").exists()


def test_a_row_changed_in_the_backup_with_its_manifest_is_found_out(made, filled, tmp_path):
    """Somebody who can rewrite the manifest still cannot rewrite the trail without the key."""
    import hashlib

    import duckdb

    with duckdb.connect(str(made / "registry.duckdb")) as copy:
        copy.execute("UPDATE pathology SET diagnosis = 'normal'")
    manifest = json.loads((made / "manifest.json").read_text())
    content = (made / "registry.duckdb").read_bytes()
    manifest["files"]["registry.duckdb"] = {
        "sha256": hashlib.sha256(content).hexdigest(),
        "bytes": len(content),
    }
    (made / "manifest.json").write_text(json.dumps(manifest))

    with pytest.raises(IntegrityProblem, match="does not verify"):
        restored(made, tmp_path / "new", filled / "site.key")
    assert not (tmp_path / "new").exists()


def test_swapping_keeps_the_folder_that_was_replaced(made, filled, tmp_path, clock):
    (filled / "note.txt").write_text("of the old one")
    restored(made, tmp_path / "new", filled / "site.key")

    aside = restoring.swap(tmp_path / "new", filled, clock())

    assert aside.name == "filled.replaced-20260701T080000Z"
    assert (aside / "note.txt").read_text() == "of the old one"
    assert not (filled / "note.txt").exists()
    with Registry.open(filled) as swapped:
        assert verify(swapped) == []


def test_a_drill_compares_the_results_and_leaves_nothing(filled):
    around = {path.name for path in filled.parent.iterdir()}
    with Registry.open(filled, write=True) as registry:
        done = restoring.drill(registry, as_of=date(2026, 6, 30), author="administrator")
        entry = registry.rows("SELECT action, outcome FROM audit_event ORDER BY seq DESC LIMIT 1")

    assert done.procedures == 1
    assert done.results >= 52
    assert entry == [("drill", "done")]
    assert {path.name for path in filled.parent.iterdir()} == around


def test_a_drill_with_another_result_fails_and_says_so_in_the_trail(filled, monkeypatch):
    told = iter([{"ppv3": 1}, {"ppv3": 2}])
    monkeypatch.setattr(restoring, "results", lambda *_: next(told))
    with Registry.open(filled, write=True) as registry:
        with pytest.raises(IntegrityProblem, match="other results"):
            restoring.drill(registry, as_of=date(2026, 6, 30), author="administrator")
        entry = registry.rows("SELECT action, outcome FROM audit_event ORDER BY seq DESC LIMIT 1")

    assert entry == [("drill", "failed")]


def test_a_backup_without_a_database_is_refused_before_anything_is_written(made, filled, tmp_path):
    bare = shutil.copytree(made, tmp_path / "bare")
    (bare / "registry.duckdb").unlink()

    with pytest.raises(IntegrityProblem, match="registry.duckdb is missing"):
        restored(bare, tmp_path / "new", filled / "site.key")
    assert not (tmp_path / "new").exists()
