"""Bad inputs, each written as a file, read, and accepted, held or refused as the list says.

``bad_inputs.json`` is the list that was agreed beforehand; ``attempts_*.py`` hold the files.
"""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from registry import store
from registry.dictionary import TABLE_ORDER
from registry.errors import FileProblem
from registry.imports import mapped, registry_csv
from registry.imports.mapping import read_mapping
from registry.intake import IntakeReport, Options, accept
from registry.store import Registry
from tests.build import TODAY, base, load
from tests.intake.attempts import Attempt
from tests.intake.attempts_files import CSV, XLSX
from tests.intake.attempts_procedures import GEOMETRY, PROCEDURES
from tests.intake.attempts_results import PATHOLOGY, SPECIMENS

if TYPE_CHECKING:
    from collections.abc import Iterator

HERE = Path(__file__).parent
ROOT = HERE.parents[1]
IMPORTS = ("import:csv", "import:xlsx", "import:procedures", "import:specimens", "import:pathology")
ENTRIES = {
    one["id"]: one
    for one in json.loads((HERE / "bad_inputs.json").read_text(encoding="utf-8"))
    if one["where"] in IMPORTS
}
ATTEMPTS: dict[str, list[Attempt]] = {**CSV, **XLSX, **PROCEDURES, **GEOMETRY, **SPECIMENS, **PATHOLOGY}
NOT_APPLICABLE = {
    "BI-083": "the side stands once, on the finding; no other field repeats it",
    "BI-115": "no decay-corrected value is sent: the registry corrects the raw counts itself",
    "BI-129": "no upgrade is sent: it follows from the report and the excision",
}
#: A good row that goes with every folder of tables: it must be stored whatever is held.
COMPANION = b"operator,role\nOP7,technologist\n"


def with_verb(verb: str) -> list:
    return [
        pytest.param(attempt, id=f"{name}{'-' + str(number) if number else ''}")
        for name, attempts in ATTEMPTS.items()
        if ENTRIES[name]["expected"].startswith(verb)
        for number, attempt in enumerate(attempts)
    ]


@pytest.fixture(scope="module")
def filled(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the valid rows, and what single entries need stored; copied, never written to."""
    folder = tmp_path_factory.mktemp("filled") / "registry"
    store.create(folder, time_zone="Europe/Lisbon")
    site = folder / "site.toml"
    frame = '\n[frames.SUITE]\nx_plus = "lateral"\ny_plus = "cranial"\nz_plus = "posterior"\nz_min = 0\n'
    site.write_text(site.read_text(encoding="utf-8") + frame, encoding="utf-8")
    rows = base()
    rows["operators"].append({"operator": "OP\u00c9", "role": "radiologist"})
    with Registry.open(folder, write=True) as made:
        load(made, rows)
    return folder


@pytest.fixture
def registry(filled: Path, tmp_path: Path) -> Iterator[Registry]:
    shutil.copytree(filled, tmp_path / "registry")
    with Registry.open(tmp_path / "registry", write=True) as opened:
        yield opened


def take(registry: Registry, folder: Path, attempt: Attempt) -> IntakeReport:
    """Write the files, read them and accept what was read."""
    folder.mkdir(exist_ok=True)
    for name, content in attempt.files.items():
        (folder / name).write_bytes(content)
    if attempt.make:
        attempt.make(folder)
    if attempt.mapping:
        (folder / "list.toml").write_text(attempt.mapping, encoding="utf-8")
        (source,) = folder.glob("list.[cx]*")
        received = mapped.read(source, read_mapping(folder / "list.toml"))
    else:
        if "operators.csv" not in attempt.files:
            (folder / "operators.csv").write_bytes(COMPANION)
        received = registry_csv.read(folder)
    if attempt.between:
        attempt.between(folder)
    return accept(registry, received, author="coordinator", today=TODAY, options=Options(held_share_max=1.0))


def counts(registry: Registry) -> dict[str, int]:
    return {name: registry.rows(f"SELECT count(*) FROM {name}")[0][0] for name in TABLE_ORDER}


def assert_stored(registry: Registry, attempt: Attempt) -> None:
    if attempt.stored:
        query, rows = attempt.stored
        assert registry.rows(query) == rows


def test_every_entry_of_the_list_is_sent_or_said_not_to_apply():
    assert sorted([*ATTEMPTS, *NOT_APPLICABLE]) == sorted(ENTRIES)


@pytest.mark.parametrize("attempt", with_verb("REJECT FILE"))
def test_a_file_is_refused_in_a_sentence_and_nothing_is_stored(
    registry: Registry, tmp_path: Path, attempt: Attempt
):
    before = counts(registry)
    try:
        said = take(registry, tmp_path / "sent", attempt).refused
    except FileProblem as problem:
        said = str(problem)
    assert [words for words in attempt.says if words not in said] == []
    assert "Nothing was imported." in said
    assert counts(registry) == before


def assert_held(registry: Registry, folder: Path, attempt: Attempt) -> IntakeReport:
    if attempt.first:
        load(registry, attempt.first)
    before = sum(counts(registry).values())
    report = take(registry, folder, attempt)
    assert report.refused == ""
    places = {(p.file, p.line, p.column) for p in report.problems}
    assert {(file, line) for file, line, _ in places} == attempt.held
    assert {column for _, _, column in places} == {attempt.column}
    said = [p.sentence() for p in report.problems]
    assert [words for words in attempt.says if not any(words in one for one in said)] == []
    total = report.total
    assert (total.held, total.received > total.held, total.reconciles) == (len(attempt.held), True, True)
    assert sum(counts(registry).values()) - before == total.new
    assert_stored(registry, attempt)
    return report


@pytest.mark.parametrize("attempt", with_verb("REJECT ROW"))
def test_a_wrong_row_is_held_and_the_others_are_stored(registry: Registry, tmp_path: Path, attempt: Attempt):
    assert_held(registry, tmp_path / "sent", attempt)


@pytest.mark.parametrize("attempt", with_verb("HOLD FOR REVIEW"))
def test_a_doubtful_row_is_held_and_the_others_are_stored(
    registry: Registry, tmp_path: Path, attempt: Attempt
):
    assert_held(registry, tmp_path / "sent", attempt)


@pytest.mark.parametrize("attempt", with_verb("STORE WITH WARNING"))
def test_a_remarkable_row_is_stored_and_listed(registry: Registry, tmp_path: Path, attempt: Attempt):
    report = take(registry, tmp_path / "sent", attempt)
    listed = [*(warning.sentence() for warning in report.warnings), *report.notes]
    assert (report.refused, report.problems, report.exit_code) == ("", (), 0)
    assert any(all(words in one for words in attempt.says) for one in listed)
    assert_stored(registry, attempt)


@pytest.mark.parametrize("attempt", with_verb("ACCEPT"))
def test_an_odd_but_right_input_is_taken(registry: Registry, tmp_path: Path, attempt: Attempt):
    events = registry.rows("SELECT count(*) FROM audit_event")[0][0]
    report = take(registry, tmp_path / "sent", attempt)
    if "already imported" in attempt.says:
        report = take(registry, tmp_path / "sent", attempt)
        assert (report.total.new, report.total.unchanged) == (0, 1)
        events += 1
    assert (report.refused, report.problems, report.exit_code) == ("", (), 0)
    assert [words for words in attempt.says if words not in " ".join(report.lines())] == []
    assert registry.rows("SELECT count(*) FROM audit_event")[0][0] == events + 1
    assert_stored(registry, attempt)


@pytest.mark.parametrize("name", ["BI-011", "BI-057"])
def test_the_same_key_in_another_writing_is_the_same_row(registry: Registry, tmp_path: Path, name: str):
    before = counts(registry)
    report = take(registry, tmp_path / "sent", ATTEMPTS[name][0])
    after = counts(registry)
    after["operators"] -= name == "BI-057"
    assert (report.total.unchanged, after) == (1, before)


@pytest.mark.parametrize("name", ["BI-009", "BI-080", "BI-134"])
def test_no_message_repeats_an_identifier_or_free_text(registry: Registry, tmp_path: Path, name: str):
    for number, attempt in enumerate(ATTEMPTS[name]):
        report = take(registry, tmp_path / f"sent{number}", attempt)
        said = " ".join(report.lines())
        assert [text for text in ("PAT1", "1960", "A\u200b123", "Example", "555") if text in said] == []


def test_a_refused_patient_key_is_not_repeated(registry: Registry, tmp_path: Path):
    for number, attempt in enumerate(ATTEMPTS["BI-054"]):
        said = take(registry, tmp_path / f"sent{number}", attempt).refused
        assert [text for text in ("Surname", "Given", "6789") if text in said] == []


def test_a_doubtful_row_that_comes_back_confirmed_is_stored(registry: Registry, tmp_path: Path):
    report = assert_held(registry, tmp_path / "sent", ATTEMPTS["BI-082"][0])
    back = tmp_path / "back"
    back.mkdir()
    lines = Path(report.held_files[0]).read_text(encoding="utf-8").splitlines()
    (back / "specimens.csv").write_text("\n".join([lines[0], lines[1] + "yes"]) + "\n", encoding="utf-8")
    again = accept(registry, registry_csv.read(back), author="coordinator", today=TODAY)
    assert (again.total.version, again.total.held, again.resubmitted) == (1, 0, 1)
    assert again.warnings[0].message.startswith("Confirmed by the sender: ")


@pytest.mark.parametrize(("name", "code"), [("BI-002", 0), ("BI-017", 1), ("BI-001", 2)])
def test_the_command_ends_with_its_exit_code_and_a_sentence(
    filled: Path, tmp_path: Path, name: str, code: int
):
    shutil.copytree(filled, tmp_path / "registry")
    (tmp_path / "sent").mkdir()
    attempt = ATTEMPTS[name][0]
    for file, content in attempt.files.items():
        (tmp_path / "sent" / file).write_bytes(content)
    command = [sys.executable, "-m", "registry", "import", str(tmp_path / "registry"), str(tmp_path / "sent")]
    ran = subprocess.run(command, capture_output=True, text=True, cwd=ROOT, check=False)
    said = ran.stdout + ran.stderr
    assert (ran.returncode, "Traceback" in said) == (code, False)
    assert [words for words in attempt.says if words not in said] == []
