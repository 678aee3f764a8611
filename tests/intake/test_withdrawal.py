"""A withdrawn row leaves the current record, stays in history, and does not come back unasked."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from typer.testing import CliRunner

from registry.checks import check_registry
from registry.cli import app
from registry.dictionary import TABLE_ORDER
from registry.errors import BatchRefused, UsageProblem
from registry.imports import registry_csv
from registry.intake import accept, withdraw
from registry.store import Registry
from registry.verify import verify
from tests.build import TODAY, Rows, base, load
from tests.intake.test_checks import correct

if TYPE_CHECKING:
    from collections.abc import Iterator

WHY = "entered for the wrong procedure"


@pytest.fixture
def stored(folder: Path) -> Iterator[Registry]:
    with Registry.open(folder, write=True) as opened:
        load(opened, base())
        yield opened


def counts(registry: Registry) -> dict[str, int]:
    return {name: registry.rows(f"SELECT count(*) FROM {name}")[0][0] for name in TABLE_ORDER}


def test_the_row_moves_to_history_with_reason_author_and_batch(stored: Registry):
    done = withdraw(stored, "complications", ["C1"], author="coordinator", reason=WHY)
    kept = stored.rows(
        "SELECT complication_id, grade, superseded_by, superseded_reason FROM history.complications"
    )
    assert (done.batch_id, counts(stored)["complications"], kept) == (2, 0, [("C1", 2, 2, WHY)])


def test_the_folder_is_still_as_its_trail_says(stored: Registry):
    withdraw(stored, "complications", ["C1"], author="coordinator", reason=WHY)
    assert verify(stored) == []
    assert stored.rows("SELECT action, object_key, details->>'table', details->>'key' FROM audit_event ORDER BY seq DESC LIMIT 1") == [
        ("withdraw", "2", "complications", "C1")
    ]  # fmt: skip


def test_every_cache_is_told(stored: Registry):
    before = stored.revision()
    withdraw(stored, "complications", ["C1"], author="coordinator", reason=WHY)
    assert stored.revision() == before + 1


def test_facts_no_longer_know_the_row(stored: Registry):
    assert stored.rows("SELECT count(*) FROM procedure_facts WHERE procedure_id = 'P1'") == [(1,)]
    for table, key in [
        ("complications", "C1"), ("followup", "E1"), ("reviews", "V1"), ("specimens", "S2"), ("specimens", "S1"),
    ]:  # fmt: skip
        withdraw(stored, table, [key], author="coordinator", reason=WHY)
    withdraw(stored, "pathology", ["R1", "P1", "1"], author="coordinator", reason=WHY)
    withdraw(stored, "targeting", ["P1", "1"], author="coordinator", reason=WHY)
    withdraw(stored, "procedures", ["P1"], author="coordinator", reason=WHY)
    assert stored.rows("SELECT count(*) FROM procedure_facts") == [(0,)]
    assert verify(stored) == []


@pytest.mark.parametrize(
    ("table", "key", "named"),
    [
        (
            "procedures",
            ["P1"],
            "1 of targeting, 2 of specimens, 1 of pathology, 1 of reviews, 1 of followup, 1 of complications",
        ),
        ("findings", ["F1"], "1 of procedures"),
        ("patients", ["PAT1"], "1 of findings"),
        ("meetings", ["M1"], "1 of reviews"),
        ("sources", ["SRC1"], "1 of constancy"),
        ("specimens", ["S1"], "1 of specimens"),
    ],
)
def test_a_row_on_which_others_hang_stays(stored: Registry, table: str, key: list[str], named: str):
    before = counts(stored)
    with pytest.raises(BatchRefused) as refused:
        withdraw(stored, table, key, author="coordinator", reason=WHY)
    found = str(refused.value).split("hang on it: ")[1].split(". Nothing")[0]
    assert sorted(found.split(", ")) == sorted(named.split(", "))
    assert (counts(stored), "PAT1" in str(refused.value), verify(stored)) == (before, False, [])


@pytest.mark.parametrize(
    ("more", "table", "key", "named"),
    [
        ({"targeting": [base()["targeting"][0] | {"attempt": "2"}]}, "targeting", ["P1", "1"], "attempt"),
        (
            {"pathology": [base()["pathology"][0] | {"version": "2", "status": "amended"}]},
            "pathology",
            ["R1", "P1", "1"],
            "version",
        ),
    ],
)
def test_the_first_of_a_series_stays_while_there_are_later_ones(
    stored: Registry, more: Rows, table: str, key: list[str], named: str
):
    load(stored, more)
    with pytest.raises(BatchRefused, match=f"1 of {table} with a later {named}"):
        withdraw(stored, table, key, author="coordinator", reason=WHY)
    withdraw(stored, table, [*key[:-1], "2"], author="coordinator", reason=WHY)
    assert check_registry(stored, TODAY).is_empty()


def test_a_report_under_a_decision_opens_it_and_says_so(stored: Registry):
    done = withdraw(stored, "pathology", ["R1", "P1", "1"], author="coordinator", reason=WHY)
    assert done.lines()[-1] == "The concordance decision of P1 rested on it and is open again."


def test_a_container_of_a_report_is_part_of_its_key(stored: Registry):
    load(stored, {"pathology": [base()["pathology"][0] | {"specimen_id": "S2"}]})
    withdraw(stored, "pathology", ["R1", "P1", "S2", "1"], author="coordinator", reason=WHY)
    assert stored.rows("SELECT specimen_id FROM pathology") == [(None,)]


def test_identifiers_of_a_withdrawn_patient_go_to_their_history(stored: Registry):
    load(stored, {"patients": [{"patient_id": "PAT2", "birth_date": "1970-01-02", "sex": "female"}]})
    done = withdraw(stored, "patients", ["PAT2"], author="coordinator", reason=WHY)
    left = stored.identity.execute("SELECT patient_id FROM patient_identity").fetchall()
    kept = stored.identity.execute("SELECT patient_id FROM patient_identity_history").fetchall()
    assert (left, kept, done.key) == ([("PAT1",)], [("PAT2",)], stored.pseudonyms.of("PAT2"))


def test_a_patient_can_be_named_by_pseudonym(stored: Registry):
    load(stored, {"patients": [{"patient_id": "PAT2", "sex": "female"}]})
    withdraw(stored, "patients", [stored.pseudonyms.of("PAT2")], author="coordinator", reason=WHY)
    assert counts(stored)["patients"] == 1


@pytest.mark.parametrize(
    ("table", "key", "reason", "says"),
    [
        ("complication", ["C1"], WHY, "Did you mean complications?"),
        ("complications", ["C9"], WHY, "no current row has C9"),
        ("patients", ["SECRET"], WHY, "no current row has this key"),
        ("targeting", ["P1"], WHY, "named by 2 values: procedure_id attempt"),
        ("pathology", ["R1", "P1"], WHY, "report_id procedure_id [specimen_id] version"),
        ("complications", ["C1"], "  ", "withdrawn with a reason"),
    ],
)
def test_a_mistake_is_a_sentence_and_changes_nothing(
    stored: Registry, table: str, key: list[str], reason: str, says: str
):
    before = counts(stored)
    with pytest.raises(UsageProblem) as refused:
        withdraw(stored, table, key, author="coordinator", reason=reason)
    assert (says in str(refused.value), "SECRET" in str(refused.value), counts(stored)) == (
        True,
        False,
        before,
    )


# -- sent again --------------------------------------------------------------------


def test_a_withdrawn_row_that_is_sent_again_is_held_with_the_day(stored: Registry):
    withdraw(stored, "complications", ["C1"], author="coordinator", reason=WHY)
    (day,) = stored.rows("SELECT CAST(max(superseded_at) AS DATE) FROM history.complications")[0]
    report = load(stored, base())
    assert [(p.table, p.rule, p.severity, p.message) for p in report.problems] == [
        ("complications", "withdrawn", "review", f"The row with this key was withdrawn on {day}.")
    ]
    assert (counts(stored)["complications"], report.total.held, report.total.unchanged) == (0, 1, 13)


def test_it_comes_back_when_somebody_confirms_it(stored: Registry):
    withdraw(stored, "complications", ["C1"], author="coordinator", reason=WHY)
    report = correct(stored, {"complications": [{}]}, confirmed=True)
    assert (report.total.new, [w.message.split(":")[0] for w in report.warnings]) == (
        1,
        ["Confirmed by the sender"],
    )
    assert (counts(stored)["complications"], verify(stored)) == (1, [])


def test_a_corrected_row_is_not_taken_for_a_withdrawn_one(stored: Registry):
    load(stored, {"complications": [{"complication_id": "C1", "grade": "3"}]})
    assert load(stored, base()).total.held == 0


def test_a_registry_emptied_by_withdrawals_still_asks(folder: Path, tmp_path: Path):
    """Sound files that meet empty tables are read in place; that path asks too."""
    (tmp_path / "operators.csv").write_text(
        "operator,role\nOP1,radiologist\nOP2,radiologist\n", encoding="utf-8"
    )
    with Registry.open(folder, write=True) as registry:
        load(registry, {"operators": [{"operator": "OP1"}]})
        withdraw(registry, "operators", ["OP1"], author="coordinator", reason=WHY)
        report = accept(registry, registry_csv.read(tmp_path / "operators.csv"), author="c", today=TODAY)
        stored = registry.rows("SELECT operator FROM operators")
    assert ([(p.line, p.rule) for p in report.problems], stored) == ([(2, "withdrawn")], [("OP2",)])


# -- the command -------------------------------------------------------------------


@pytest.mark.parametrize(
    ("arguments", "code", "says"),
    [
        (["complications", "C1", "--reason", WHY], 0, "Withdrawn from complications: C1 (batch 2)."),
        (["findings", "F1", "--reason", WHY], 1, "1 of procedures"),
        (["complications", "C9", "--reason", WHY], 2, "no current row"),
        (["complications", "C1"], 2, "--reason"),
    ],
)
def test_the_command_says_what_happened(
    stored: Registry, tmp_path: Path, arguments: list[str], code: int, says: str
):
    own = tmp_path / "own"
    shutil.copytree(stored.folder, own, ignore=shutil.ignore_patterns("*.lock", "owner.json"))
    ran = CliRunner().invoke(app, ["withdraw", str(own), *arguments])
    problem = ran.exception
    found = getattr(problem, "exit_code", ran.exit_code) if problem else ran.exit_code
    assert (found, says in f"{ran.output} {problem}") == (code, True)
