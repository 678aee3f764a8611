"""A correction that stored rows contradict is held, and says whose rows and what.

The corrections are in ``corrections.py``; each is sent to a record with keys of its own.
"""

from __future__ import annotations

import re
import shutil
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from registry.checks import check_registry
from registry.intake import IntakeReport, Options, accept, dependents
from registry.store import Registry
from tests.build import TODAY, Rows, base, load, received
from tests.intake.changed import with_frame
from tests.intake.corrections import CORRECTIONS, NOT_BY_A_CORRECTION, Correction
from tests.intake.offending import Cells, Change
from tests.intake.test_checks import (
    CHECK_FILES,
    ERASE,
    ROOT,
    correct,
    header,
    places,
    renamed,
    whole_batch,
)

if TYPE_CHECKING:
    from collections.abc import Iterator


def looks_at_others(name: str) -> bool:
    text = (ROOT / "sql" / "checks" / f"{name}.sql").read_text(encoding="utf-8")
    body = "\n".join(line for line in text.splitlines() if not line.startswith("--"))
    said = header(name)
    rows_above = "checked_visits" in body and re.search(
        r"found_on|laterality|patient|birth_date|death_date", body
    )
    return (
        said["severity"] in ("hold", "review", "warning")
        and "scope" not in said
        and ("known_" in body or bool(rows_above))
    )


def test_every_check_that_looks_at_other_rows_has_a_correction():
    assert sorted([*CORRECTIONS, *NOT_BY_A_CORRECTION]) == [
        name for name in CHECK_FILES if looks_at_others(name)
    ]


CASES = [(name, number, one) for name, several in CORRECTIONS.items() for number, one in enumerate(several)]


def mark(name: str, number: int) -> str:
    return f"-{CHECK_FILES.index(name)}-{number}"


def sent_rows(sent: dict[str, Cells], suffix: str) -> Rows:
    """Corrected rows with their keys and the changed cells only."""
    rows = {
        table: [{k: ERASE if v is None else v for k, v in cells.items()}] for table, cells in sent.items()
    }
    return renamed(rows, suffix)


@pytest.fixture(scope="module")
def record(empty_folder: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Registry]:
    """A registry with the record of every entry; tests ask it in dry runs."""
    folder = tmp_path_factory.mktemp("corrected") / "registry"
    shutil.copytree(empty_folder, folder)
    together: Rows = {}
    for name, number, one in CASES:
        for table, rows in renamed(whole_batch(one.stored), mark(name, number)).items():
            together.setdefault(table, []).extend(rows)
    with Registry.open(with_frame(folder), write=True) as opened:
        report = load(opened, together)
        assert (report.problems, report.refused) == ((), "")
        yield opened


@pytest.fixture(scope="module")
def asked(record: Registry) -> dict[str, IntakeReport]:
    """What is said of each correction."""
    return {mark(name, number): send(record, name, number, one, dry_run=True) for name, number, one in CASES}


def send(registry: Registry, name: str, number: int, one: Correction, **options: object) -> IntakeReport:
    return load(registry, sent_rows(one.sent, mark(name, number)), held_share_max=1.0, **options)


@pytest.mark.parametrize(
    ("name", "number", "one"), [pytest.param(*case, id=f"{case[0]}-{case[1]}") for case in CASES]
)
def test_a_correction_that_stored_rows_contradict_is_found(
    asked: dict[str, IntakeReport], name: str, number: int, one: Correction
):
    report = asked[mark(name, number)]
    (parent,) = one.sent
    said = header(name)
    severity = said.get("corrected", said["severity"])
    found = places(report.problems, one.beside) | places(report.warnings, one.beside)
    assert found == {(name, parent, 2, one.column, severity)}
    (message,) = [p.message for p in (*report.problems, *report.warnings) if p.rule == name]
    rows = "1 stored row" if one.rows == 1 else f"{one.rows} stored rows"
    assert message == f"{rows} of {said['table']} would contradict it: {said['message']}"
    assert (report.total.held, report.total.reconciles) == (int(severity != "warning"), True)


def test_no_message_names_a_row(asked: dict[str, IntakeReport]):
    said = {
        suffix: " ".join(f"{p.message} {p.hint}" for p in (*report.problems, *report.warnings))
        for suffix, report in asked.items()
    }
    assert [
        suffix for suffix, text in said.items() if suffix in text or "PAT" in text or "1960" in text
    ] == []


def test_after_all_corrections_the_registry_holds_no_contradiction(record: Registry, tmp_path: Path):
    shutil.copytree(record.folder, tmp_path / "own", ignore=shutil.ignore_patterns("*.lock", "owner.json"))
    with Registry.open(tmp_path / "own", write=True) as own:
        for name, number, one in CASES:
            report = send(own, name, number, one)
            assert report.total.reconciles
        found = check_registry(own, TODAY)
        received, resubmitted, taken = own.rows(
            "SELECT sum(received), sum(resubmitted), sum(accepted_new + accepted_version + unchanged) FROM import_batch"
        )[0]
        waiting = own.rows("SELECT count(*) FROM quarantine WHERE state = 'open'")[0][0]
    assert set(found["severity"].to_list()) <= {"warning"}
    assert received - resubmitted == taken + waiting


# -- what else is in the batch -----------------------------------------------------


@pytest.fixture
def stored(folder: Path) -> Iterator[Registry]:
    with Registry.open(folder, write=True) as opened:
        load(opened, base())
        yield opened


LATE_START: Cells = {
    "procedure_id": "P1",
    "started_at": "2025-03-15T09:30",
    **dict.fromkeys(("ended_at", "injected_at", "first_scan_at"), ERASE),
}
LATE_REPORT: Cells = {"report_id": "R1", "procedure_id": "P1", "version": "1", "reported_on": "2025-03-18"}
LATE_SCAN: Cells = {"specimen_id": "S1", "scan_at": "2025-03-15T10:30", "read_at": "2025-03-15T10:45"}
LATE_ONSET: Cells = {"complication_id": "C1", "onset_on": "2025-03-16"}


def test_a_correction_is_taken_when_what_depends_on_it_is_corrected_with_it(stored: Registry):
    rows: Rows = {
        "procedures": [LATE_START], "specimens": [LATE_SCAN], "pathology": [LATE_REPORT], "complications": [LATE_ONSET],
    }  # fmt: skip
    report = load(stored, rows)
    assert (report.problems, report.total.version, report.total.held) == ((), 4, 0)


def test_each_table_that_contradicts_is_named_with_its_rows(stored: Registry):
    report = load(stored, {"procedures": [LATE_START], "specimens": [LATE_SCAN]})
    said = {p.message.split(" would")[0] for p in report.problems if p.table == "procedures"}
    assert said == {"1 stored row of pathology", "1 stored row of complications"}
    assert stored.rows("SELECT CAST(started_at AS VARCHAR) FROM procedures") == [("2025-03-10 09:30:00",)]


EARLY_START: Cells = {**LATE_START, "started_at": "2025-03-05T09:30"}
ON_THE_6TH: Cells = {
    "complication_id": "C2",
    "procedure_id": "P1",
    "kind": "haematoma",
    "grade": "1",
    "onset_on": "2025-03-06",
}


@pytest.mark.parametrize("grouped", [False, True])
def test_a_row_that_relied_on_a_held_correction_is_held_with_it(stored: Registry, grouped: bool):
    # Without cores the correction contradicts the stored containers; without it, day 6 is before the procedure.
    rows: Rows = {"procedures": [EARLY_START | {"cores": "0"}], "complications": [ON_THE_6TH]}
    report = accept(
        stored, received(rows, grouped=grouped), author="c", today=TODAY, options=Options(held_share_max=1.0)
    )
    assert {(p.table, p.rule) for p in report.problems} == {
        ("procedures", "specimens_of_no_tissue"),
        ("complications", "complications_before_procedure"),
    }
    assert stored.rows("SELECT count(*) FROM complications") == [(1,)]


def test_the_same_row_is_taken_when_the_correction_is(stored: Registry):
    report = load(stored, {"procedures": [EARLY_START], "complications": [ON_THE_6TH]})
    assert (report.problems, report.total.new, report.total.version) == ((), 1, 1)


def test_stored_rows_that_are_sent_again_unchanged_hide_nothing(stored: Registry):
    rows = base()
    rows["procedures"] = [rows["procedures"][0] | LATE_START]
    report = load(stored, rows, held_share_max=1.0)
    assert "procedures" in {p.table for p in report.problems}
    assert stored.rows("SELECT CAST(started_at AS VARCHAR) FROM procedures") == [("2025-03-10 09:30:00",)]
    assert check_registry(stored, TODAY).is_empty()


def test_a_doubt_is_confirmed_on_the_corrected_row(stored: Registry):
    change: Change = {"procedures": [{"injected_at": "2025-03-09T22:29"}]}
    report = correct(stored, change, confirmed=True)
    assert (report.problems, [w.message.split(":")[0] for w in report.warnings]) == (
        (),
        ["Confirmed by the sender"],
    )


def test_what_stood_before_is_not_asked_again(stored: Registry):
    """The late scan was confirmed; a further correction of the same field does not bring it about."""
    correct(stored, {"procedures": [{"injected_at": "2025-03-09T22:29"}]}, confirmed=True)
    report = load(stored, {"procedures": [{"procedure_id": "P1", "injected_at": "2025-03-09T22:20"}]})
    assert (report.problems, report.total.version) == ((), 1)


@pytest.mark.parametrize(
    "rows",
    [
        pytest.param({"followup": [{"event_id": "E2", "procedure_id": "P1", "happened_on": "2026-05-01", "kind": "death"}]}, id="a new row"),
        pytest.param({"procedures": [{"procedure_id": "P1", "weight_kg": "69"}]}, id="a field that no check reads"),
        pytest.param(base(), id="the same rows again"),
    ],
)  # fmt: skip
def test_stored_rows_are_not_looked_at_without_need(
    stored: Registry, rows: Rows, monkeypatch: pytest.MonkeyPatch
):
    def looked(*_: object) -> None:
        raise AssertionError("the stored rows were looked at")

    monkeypatch.setattr(dependents, "_make_linked", looked)
    assert load(stored, rows).total.held == 0
