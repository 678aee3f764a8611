"""An upgrade happens on a copy; the registry is the old one or the new one, never between.

``fixtures/registry_schema3.tar.xz`` is a registry folder as the first version of the
program left it, from the committed example: 60 procedures.
"""

from __future__ import annotations

import json
import tarfile
from datetime import date
from pathlib import Path

import pytest

from registry import migrations, upgrade
from registry.backup import backups
from registry.errors import IntegrityProblem, UsageProblem
from registry.measures import evaluate
from registry.store import Registry
from registry.verify import verify

FIXTURE = Path(__file__).resolve().parent.parent / "fixtures" / "registry_schema3.tar.xz"
AS_OF = date(2026, 6, 30)


@pytest.fixture
def first(tmp_path):
    """The registry of the first version."""
    with tarfile.open(FIXTURE) as packed:
        packed.extractall(tmp_path / "first", filter="data")
    return tmp_path / "first" / "registry"


def with_migration(monkeypatch, sql):
    """The program of a later version: one more migration."""
    known = migrations.available

    def available(place):
        return [*known(place), (99, "0099_later.sql", sql)] if place == "migrations" else known(place)

    monkeypatch.setattr(migrations, "available", available)


def run(folder, tmp_path, clock):
    return upgrade.upgrade(folder, tmp_path / "backups", as_of=AS_OF, author="administrator", clock=clock)


def brought_up_to_date(folder, tmp_path, clock):
    """At the schema of this program, by whatever it takes from the first one."""
    if upgrade.pending(folder):
        run(folder, tmp_path, clock)
        clock.on(minutes=1)
    with Registry.open(folder, write=True):
        pass
    return folder


def test_the_registry_of_the_first_version_keeps_its_figures(first, tmp_path, clock):
    """Counted by hand from the committed example: 59 of 60 not cancelled, by ``status`` in procedures.csv."""
    rows = (Path(__file__).parents[2] / "synthetic_data/example/procedures.csv").read_text().splitlines()
    status = rows[0].split(",").index("status")
    statuses = [one.split(",")[status] for one in rows[1:]]
    folder = brought_up_to_date(first, tmp_path, clock)

    with Registry.open(folder) as registry:
        found = evaluate(registry, ["tissue_obtained"], as_of=AS_OF)[0]
        assert verify(registry) == []

    assert len(statuses) == 60
    assert (found.numerator, found.denominator) == (
        statuses.count("completed"),
        60 - statuses.count("cancelled"),
    )


def test_an_upgrade_changes_the_schema_and_keeps_the_rest(first, tmp_path, clock, monkeypatch):
    folder = brought_up_to_date(first, tmp_path, clock)
    with_migration(monkeypatch, "ALTER TABLE findings ADD COLUMN later INTEGER")

    done = run(folder, tmp_path, clock)

    assert done.applied == ("0099_later.sql",)
    assert done.changed == ()
    assert done.compared >= 52
    with Registry.open(folder) as registry:
        assert registry.rows("SELECT count(later), count(*) FROM findings")[0][0] == 0
        action, details = registry.rows("SELECT action, details FROM audit_event ORDER BY seq DESC LIMIT 1")[
            0
        ]
    assert action == "migrate"
    assert json.loads(details)["applied"] == ["0099_later.sql"]


def test_the_database_as_it_was_and_a_backup_are_kept(first, tmp_path, clock, monkeypatch):
    folder = brought_up_to_date(first, tmp_path, clock)
    before = (folder / "registry.duckdb").stat().st_size
    with_migration(monkeypatch, "CREATE TABLE later (number INTEGER)")

    done = run(folder, tmp_path, clock)

    assert (done.aside / "registry.duckdb").stat().st_size >= before - 1
    assert backups(tmp_path / "backups", of="registry")[-1].folder == done.backup.folder


def test_a_migration_that_loses_rows_is_not_put_to_use(first, tmp_path, clock, monkeypatch):
    folder = brought_up_to_date(first, tmp_path, clock)
    with_migration(monkeypatch, "DELETE FROM complications")

    with pytest.raises(IntegrityProblem, match="complications: .* rows before, 0 after"):
        run(folder, tmp_path, clock)

    monkeypatch.undo()
    with Registry.open(folder, write=True) as registry:
        assert registry.rows("SELECT count(*) FROM complications")[0][0] > 0
        assert verify(registry) == []


def test_a_migration_that_fails_leaves_the_registry_as_it_was(first, tmp_path, clock, monkeypatch):
    import duckdb

    folder = brought_up_to_date(first, tmp_path, clock)
    with_migration(monkeypatch, "SELECT 1 FROM no_such_table")

    with pytest.raises(duckdb.Error):
        run(folder, tmp_path, clock)

    monkeypatch.undo()
    with Registry.open(folder, write=True) as registry:
        assert verify(registry) == []


def test_changed_results_are_named(first, tmp_path, clock, monkeypatch):
    folder = brought_up_to_date(first, tmp_path, clock)
    with_migration(
        monkeypatch, "UPDATE procedures SET marker = 'not_placed'; UPDATE facts_definition SET sha256 = ''"
    )

    done = run(folder, tmp_path, clock)

    assert "marker_placed" in done.changed
    assert "tissue_obtained" not in done.changed


def test_nobody_may_use_it_before(first, tmp_path, clock, monkeypatch):
    folder = brought_up_to_date(first, tmp_path, clock)
    with_migration(monkeypatch, "CREATE TABLE later (number INTEGER)")

    assert upgrade.pending(folder) == ["0099_later.sql"]
    with pytest.raises(UsageProblem, match="biopsy-outcomes migrate"):
        Registry.open(folder, write=True)
