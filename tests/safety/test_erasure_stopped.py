"""Erasure that is stopped, interrupted or refused, and what comes back after it."""

from __future__ import annotations

import hashlib
import zipfile
from datetime import UTC, datetime

import duckdb
import pytest
from typer.testing import CliRunner

from registry import audit, erasure, facts
from registry.backup import backup
from registry.cli import app
from registry.doctor import WRONG, examine
from registry.erasure import copies, run
from registry.errors import BatchRefused, UsageProblem
from registry.holds import lift_hold, set_hold
from registry.store import ERASURE_MARK, Registry
from registry.verify import verify
from tests.safety.test_erasure import (
    SECRET,
    TRACES,
    WORDS,
    bring,
    erase,
    two_patients,
    where,
)
from tests.safety.test_erasure import folder as folder
from tests.safety.test_erasure import template as template


def test_a_second_erasure_finds_nothing(folder):
    erase(folder)

    with pytest.raises(UsageProblem, match="Nothing of this patient is left to erase"):
        erase(folder)
    with pytest.raises(UsageProblem, match="Nothing of this patient is left to erase"):
        erase(folder, patient="PAT-nobody")


def test_a_hold_blocks_it_until_it_is_lifted(folder):
    with Registry.open(folder, write=True) as registry:
        set_hold(registry, SECRET, author="administrator", reason="claim open")
    with pytest.raises(UsageProblem, match="under legal hold"):
        erase(folder)
    assert where(folder, WORDS[1])
    assert not (folder / ERASURE_MARK).exists()

    with Registry.open(folder, write=True) as registry:
        lift_hold(registry, SECRET, author="administrator", reason="claim closed")
    erase(folder)

    assert where(folder, SECRET) == []


def test_an_erasure_that_a_hold_forbids_stands_in_the_trail_by_pseudonym(folder):
    with Registry.open(folder, write=True) as registry:
        pseudonym = set_hold(registry, SECRET, author="administrator", reason="claim open")
    with pytest.raises(UsageProblem, match="under legal hold"):
        erase(folder)

    with Registry.open(folder) as registry:
        refused = registry.rows(
            "SELECT action, object_kind, object_key FROM audit_event WHERE outcome = 'refused'"
        )
    assert refused == [("erase", "patient", pseudonym)]


def test_backups_made_before_are_named(folder, tmp_path):
    text = (folder / "site.toml").read_text()
    place = tmp_path / "backups"
    (folder / "site.toml").write_text(
        text.replace("[service]\n", f'[service]\nbackup_folder = "{place}"\n', 1)
    )
    with Registry.open(folder, write=True) as registry:
        there = backup(registry, place, author="administrator")
        backup(registry, tmp_path / "elsewhere", author="administrator")

    said = "\n".join(erase(folder).lines())

    assert f"still holds the patient afterwards: backup {there.folder}" in said
    assert "1 more backups are in the trail" in said


def test_an_interrupted_one_is_told_and_finished(folder, monkeypatch):
    def stop(*_):
        raise KeyboardInterrupt

    monkeypatch.setattr(run, "rewrite", stop)
    with pytest.raises(KeyboardInterrupt):
        erase(folder)
    monkeypatch.undo()
    assert where(folder, WORDS[1])
    assert [one.state for one in examine(folder, now=datetime.now(UTC)) if one.part == "erasure"] == [WRONG]

    assert erase(folder).batch_id is None

    assert {text: where(folder, text) for text in TRACES} == {text: [] for text in TRACES}
    assert not erasure.pending(folder)


def test_a_failure_before_the_commit_leaves_the_patient_whole(folder, monkeypatch):
    monkeypatch.setattr(facts, "refresh", lambda *_: 1 / 0)
    with pytest.raises(ZeroDivisionError):
        erase(folder)
    monkeypatch.undo()

    with Registry.open(folder, check_anchor=False) as registry:
        assert registry.rows("SELECT count(*) FROM procedures WHERE procedure_id = 'P1'") == [(1,)]
        assert verify(registry) == []
    erase(folder)
    assert where(folder, SECRET) == []


def test_a_reason_that_names_the_patient_is_refused(folder):
    with pytest.raises(UsageProblem, match="holds an identifier"):
        erase(folder, reason=f"{SECRET} asked")


def test_a_repeat_of_theirs_that_is_booked_under_another_stops_it(folder):
    with duckdb.connect(str(folder / "registry.duckdb")) as connection:
        connection.execute("UPDATE main.procedures SET repeat_of = 'P1' WHERE procedure_id = 'P2'")

    with pytest.raises(BatchRefused, match="P2 of another patient"):
        erase(folder)


def test_the_same_file_again_is_held_and_lies_in_raw_again(folder, tmp_path):
    erase(folder)
    with Registry.open(folder, write=True) as registry:
        report = bring(registry, tmp_path / "again", two_patients())
        assert report.total.held > 0
        assert verify(registry) == []
        assert registry.rows("SELECT count(*) FROM procedures") == [(1,)]

    erase(folder)

    assert where(folder, SECRET) == []
    with Registry.open(folder, check_anchor=False) as registry:
        assert verify(registry) == []


def test_a_file_of_another_form_goes_whole(folder, tmp_path):
    """A workbook whose import was refused: its parts are packed, so its bytes do not show the identifier."""
    path = tmp_path / "visits.xlsx"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("xl/sharedStrings.xml", f"<sst><si><t>{SECRET}</t></si></sst>" + " " * 1000)
    other = tmp_path / "other.xlsx"
    with zipfile.ZipFile(other, "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("xl/sharedStrings.xml", f"<sst><si><t>{SECRET}9</t></si></sst>")
    (folder / "raw" / ("a" * 64)).write_bytes(path.read_bytes())
    (folder / "raw" / ("b" * 64)).write_bytes(other.read_bytes())

    erase(folder)

    assert not (folder / "raw" / ("a" * 64)).exists()
    assert (folder / "raw" / ("b" * 64)).exists()


def test_a_file_with_headers_of_its_own_goes_whole_whatever_its_name(folder, tmp_path):
    """A refused import of a source's own list, which happens to be called patients.csv."""
    path = tmp_path / "patients.csv"
    path.write_text(f"Nummer;geboren\n{SECRET};23.07.1931\n", encoding="cp1252")
    sha256 = hashlib.sha256(path.read_bytes()).hexdigest()
    (folder / "raw" / sha256).write_bytes(path.read_bytes())
    with Registry.open(folder, write=True) as registry:
        details = {"files": [{"name": path.name, "sha256": sha256, "size": 1}], "why": "columns"}
        registry.record(audit.Entry("coordinator", "import", "batch", "", details, "refused"))

    erase(folder)

    assert not (folder / "raw" / sha256).exists()
    assert where(folder, SECRET) == []


def test_an_identifier_that_somebody_wrote_into_the_trail_is_told(folder):
    with Registry.open(folder, write=True) as registry:
        registry.record(audit.Entry("coordinator", "dismiss", "held_row", "9-1", {"reason": f"see {SECRET}"}))

    assert any("1 entries of the trail hold an identifier" in line for line in erase(folder).lines())


def test_records_are_cut_at_their_own_ends():
    """A quoted line break belongs to its record; a line whose marks do not fit is one by itself."""
    data = b'a,b\r\n1,"two\nlines"\r\n2,x"y\n3,z'

    assert list(copies.records(data)) == [b"a,b\r\n", b'1,"two\nlines"\r\n', b'2,x"y\n', b"3,z"]


def test_the_command_asks_for_the_identifier_again(folder):
    runner = CliRunner()
    arguments = ["erase", str(folder), SECRET, "--reason", "asked to be erased"]

    refused = runner.invoke(app, arguments, input="something else\n")
    assert isinstance(refused.exception, UsageProblem)
    assert where(folder, WORDS[1])
    done = runner.invoke(app, arguments, input=f"{SECRET}\n")

    assert done.exit_code == 0
    assert "withdrawn from the current record" in done.stdout
    assert where(folder, SECRET) == []
