"""The registry folder: what create makes, who may open it, what the engine may not do."""

from __future__ import annotations

import stat
import subprocess
import sys
from typing import TYPE_CHECKING

import duckdb
import pytest

from registry import engine, store
from registry.dictionary import IDENTIFYING, stored_columns, tables
from registry.errors import IntegrityProblem, RegistryBusy, SiteProblem, UsageProblem
from registry.store import Registry

if TYPE_CHECKING:
    from pathlib import Path


def test_create_makes_a_folder_that_nobody_else_can_read(folder: Path):
    loose = [p.name for p in [folder, *folder.rglob("*")] if stat.S_IMODE(p.stat().st_mode) & 0o077]
    assert loose == []


def test_create_refuses_a_folder_that_holds_something(tmp_path: Path):
    (tmp_path / "notes.txt").write_text("mine")
    with pytest.raises(UsageProblem, match="not empty"):
        store.create(tmp_path)


def test_every_field_of_the_dictionary_has_a_commented_column(registry: Registry):
    rows = registry.rows(
        "SELECT table_name, column_name, comment FROM duckdb_columns() WHERE schema_name = 'main'"
    )
    commented = {(table, column) for table, column, comment in rows if comment}
    wanted = {(t.name, c) for t in tables().values() for c in stored_columns(t)}
    assert wanted - commented == set()


def test_identifiers_have_no_column_among_the_clinical_facts(registry: Registry):
    rows = registry.rows("SELECT table_name, column_name FROM duckdb_columns()")
    assert set(rows) & IDENTIFYING == set()


@pytest.mark.parametrize(
    "statement",
    [
        "SELECT * FROM read_csv('/etc/passwd')",
        "SELECT * FROM read_text('/etc/passwd')",
        "COPY (SELECT 1) TO '/tmp/leak.csv'",
        "ATTACH '/tmp/other.duckdb' AS other",
        "INSTALL httpfs",
        "SET enable_external_access = true",
    ],
)
def test_the_engine_is_locked_down(registry: Registry, statement: str):
    with registry.cursor() as cursor, pytest.raises(duckdb.Error):
        cursor.execute(statement)


def test_files_are_written_in_the_storage_version_that_both_engines_read(registry: Registry):
    tags = registry.rows("SELECT tags FROM duckdb_databases() WHERE database_name = 'registry'")[0][0]
    assert tags["storage_version"].startswith("v1.5.0")


@pytest.mark.parametrize(("stated", "threads"), [("", 1), ("threads = 1", 1), ("threads = 2", 2)])
def test_a_question_uses_the_processors_that_the_site_gives_it(folder: Path, stated: str, threads: int):
    # Left out, as in a site file of an earlier version: one.
    text = (folder / "site.toml").read_text()
    (folder / "site.toml").write_text(text.replace("threads = 1", stated))
    with Registry.open(folder, write=True) as registry:
        assert registry.rows("SELECT current_setting('threads')") == [(threads,)]


def test_a_second_process_gets_a_sentence_that_names_the_owner(registry: Registry, folder: Path):
    code = (
        "import sys; from pathlib import Path; from registry.store import Registry; from registry.errors import RegistryError\n"
        "try: Registry.open(Path(sys.argv[1]), write=True, wait=0.2)\n"
        "except RegistryError as problem: print(problem); sys.exit(problem.exit_code)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, str(folder)], capture_output=True, text=True, check=False
    )
    assert (done.returncode, "in use by process" in done.stdout, "inbox" in done.stdout) == (75, True, True)


def test_reading_while_another_process_owns_is_refused_with_the_same_exit_code(
    registry: Registry, folder: Path
):
    code = (
        "import sys; from pathlib import Path; from registry.store import Registry; from registry.errors import RegistryError\n"
        "try: Registry.open(Path(sys.argv[1]))\n"
        "except RegistryError as problem: sys.exit(problem.exit_code)"
    )
    assert (
        subprocess.run([sys.executable, "-c", code, str(folder)], check=False).returncode
        == RegistryBusy.exit_code
    )


def test_a_folder_that_is_no_registry_is_named_with_what_to_do(tmp_path: Path):
    with pytest.raises(UsageProblem, match="biopsy-outcomes create"):
        Registry.open(tmp_path)


def test_the_registry_does_not_open_without_its_key(folder: Path):
    (folder / engine.KEY).unlink()
    with pytest.raises(IntegrityProblem, match="site key is missing"):
        Registry.open(folder)


def test_a_changed_site_file_is_applied_and_written_to_the_trail(folder: Path):
    text = (folder / "site.toml").read_text()
    (folder / "site.toml").write_text(text.replace("safe_margin_min_mm = 20.0", "safe_margin_min_mm = 15.0"))
    with Registry.open(folder, write=True) as registry:
        limit = registry.rows("SELECT number FROM site_setting WHERE name = 'safe_margin_min_mm'")
        last = registry.rows("SELECT action, object_kind FROM audit_event ORDER BY seq DESC LIMIT 1")
    assert (limit, last) == ([(15.0,)], [("change", "site_protocol")])


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('time_zone = "Europe/Lisbon"', 'time_zone = "Mars/Olympus"', "not a time zone"),
        ("[limits]", "[limit]", "no such section"),
        ("held_share_max = 0.20", "held_share_max = 20", "not a number from 0 to 1"),
        ("minimum_n = 10", "minimum_n = 10 10", "not valid TOML"),
        ("minimum_n = 10", "minimal_n = 10", "not a setting"),
    ],
)
def test_a_faulty_site_file_is_refused_in_words(folder: Path, old: str, new: str, words: str):
    text = (folder / "site.toml").read_text()
    (folder / "site.toml").write_text(text.replace(old, new, 1))
    with pytest.raises(SiteProblem, match=words):
        Registry.open(folder, write=True)


def test_cursors_of_many_threads_get_their_own_rows(registry: Registry):
    from concurrent.futures import ThreadPoolExecutor

    def ask(number: int) -> bool:
        return registry.rows("SELECT ?", [number]) == [(number,)]

    with ThreadPoolExecutor(8) as pool:
        answers = list(pool.map(ask, range(400)))
    assert all(answers)


def test_the_row_hash_of_the_engine_is_the_one_that_digests_were_made_with(registry: Registry):
    # Noted from DuckDB 1.5.5 and 2.0.1, which agree; content digests rest on it (decision 0007).
    hashes = registry.rows(
        "SELECT hash(1), hash('abc'), hash(1.5::DOUBLE), hash(DATE '2025-01-01'), hash(1, 'a', NULL)"
    )
    assert hashes == [
        (
            4717996019076358352,
            1924864467101078684,
            1706605666616485939,
            2712216812283207574,
            2034008192618861702,
        )
    ]
