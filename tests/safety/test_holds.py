"""A legal hold keeps what is there; the trail says who set and who lifted it."""

from __future__ import annotations

import json

import pytest
from typer.testing import CliRunner

from registry.cli import app
from registry.doctor import examine
from registry.errors import UsageProblem
from registry.holds import lift_hold, open_holds, set_hold
from registry.intake import withdraw
from registry.store import Registry
from registry.verify import verify
from tests.build import base, load


@pytest.fixture
def registry(filled, clock):
    with Registry.open(filled, write=True, clock=clock) as opened:
        yield opened


def set_one(registry, patient="PAT1"):
    return set_hold(registry, patient, author="administrator", reason="claim open")


@pytest.mark.parametrize(
    ("table", "key"),
    [("complications", ["C1"]), ("pathology", ["R1", "P1", "1"]), ("reviews", ["V1"]), ("specimens", ["S2"])],
)
def test_no_row_of_the_patient_is_withdrawn(registry, table, key):
    set_one(registry)

    with pytest.raises(UsageProblem, match="under legal hold"):
        withdraw(registry, table, key, author="coordinator", reason="entered twice")

    assert registry.rows(f"SELECT count(*) FROM history.{table}") == [(0,)]


def test_a_withdrawal_that_a_hold_forbids_stands_in_the_trail(registry):
    set_one(registry)
    with pytest.raises(UsageProblem, match="under legal hold"):
        withdraw(registry, "pathology", ["R1", "P1", "1"], author="coordinator", reason="entered twice")

    (row,) = registry.rows(
        "SELECT actor, action, object_kind, object_key, details FROM audit_event WHERE outcome = 'refused'"
    )
    assert row[:4] == ("coordinator", "withdraw", "pathology", "R1 / P1 / 1")
    assert json.loads(row[4]) == {"why": "legal hold"}


def test_a_row_that_is_not_there_is_no_entry_of_the_trail(registry):
    """What was typed may be the identifier of a patient."""
    with pytest.raises(UsageProblem):
        withdraw(registry, "procedures", ["PAT1"], author="coordinator", reason="entered twice")

    assert registry.rows("SELECT count(*) FROM audit_event WHERE outcome = 'refused'") == [(0,)]


def test_rows_of_nobody_are_withdrawn_all_the_same(registry):
    set_one(registry)

    withdraw(registry, "constancy", ["K1"], author="coordinator", reason="entered twice")

    assert registry.rows("SELECT count(*) FROM constancy") == [(0,)]


def test_a_correction_still_comes_in_and_keeps_the_version_before(registry):
    set_one(registry)

    report = load(registry, {"complications": [{**base()["complications"][0], "grade": "3"}]})

    assert report.total.version == 1
    assert registry.rows("SELECT grade FROM history.complications") == [(2,)]


def test_lifting_it_opens_the_way_and_both_ends_stay(registry, clock):
    pseudonym = set_one(registry)
    clock.on(days=2)
    assert lift_hold(registry, pseudonym, author="director", reason="claim closed") == pseudonym

    withdraw(registry, "complications", ["C1"], author="coordinator", reason="entered twice")

    assert registry.rows(
        "SELECT set_by, reason, lifted_by, lift_reason, lifted_at - set_at = INTERVAL 2 DAYS FROM legal_hold"
    ) == [("administrator", "claim open", "director", "claim closed", True)]
    entries = registry.rows(
        "SELECT action, object_key, details FROM audit_event WHERE object_kind = 'patient' ORDER BY seq"
    )
    assert [(action, key, json.loads(details)) for action, key, details in entries] == [
        ("hold", pseudonym, {"reason": "claim open"}),
        ("lift hold", pseudonym, {"reason": "claim closed"}),
    ]


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda r: set_hold(r, "PAT9", author="a", reason="claim"), "No patient of this registry"),
        (lambda r: set_hold(r, "PAT1", author="a", reason=" "), "with a reason"),
        (lambda r: lift_hold(r, "PAT1", author="a", reason="closed"), "not under legal hold"),
        (lambda r: (set_one(r), set_one(r)), "under legal hold already"),
    ],
)
def test_what_cannot_be_is_said(registry, call, said):
    with pytest.raises(UsageProblem, match=said) as problem:
        call(registry)

    assert "PAT" not in str(problem.value)


@pytest.mark.parametrize(
    ("sql", "said"),
    [
        ("UPDATE legal_hold SET lifted_at = set_at, lifted_by = 'x', lift_reason = 'y'", "is missing"),
        ("DELETE FROM legal_hold", "is missing"),
        ("UPDATE legal_hold SET patient = 'somebody else'", "that the trail does not set"),
    ],
)
def test_verify_sees_a_hold_that_was_changed_by_hand(registry, sql, said):
    set_one(registry)
    assert verify(registry) == []

    with registry.cursor() as cursor:
        cursor.execute(sql)

    assert any(one.part == "legal holds" and said in one.message for one in verify(registry))


def test_the_command_and_the_doctor(filled, clock):
    runner = CliRunner()
    done = runner.invoke(app, ["hold", str(filled), "PAT1", "--reason", "claim open"])
    assert done.exit_code == 0
    assert "PAT1" not in done.stdout

    seen = [one.seen for one in examine(filled, now=clock()) if one.part == "legal holds"]
    assert seen == ["1 patient; no received file is removed meanwhile"]

    assert runner.invoke(app, ["hold", str(filled), "PAT1", "--lift", "--reason", "closed"]).exit_code == 0
    with Registry.open(filled) as registry:
        assert open_holds(registry) == 0
