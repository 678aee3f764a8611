"""Accounts: who may change them, what an attempt to sign in tells, and what is written down."""

from __future__ import annotations

import json
import stat
import threading
from datetime import UTC, datetime, timedelta

import pytest
from argon2 import PasswordHasher

from registry.errors import IntegrityProblem, Refused, UsageProblem
from registry.people import Actor, Role, accounts, acting
from registry.store import Registry

PASSWORD = "a sentence is easy to keep"
OTHER = "another sentence, not hers"


class Clock:
    def __init__(self):
        self.now = datetime(2026, 7, 1, 8, 0, tzinfo=UTC)

    def __call__(self):
        return self.now


@pytest.fixture
def clock():
    return Clock()


@pytest.fixture
def kept(folder, clock):
    with Registry.open(folder, write=True, clock=clock) as registry:
        accounts.add(registry, "ines", PASSWORD, [Role.COORDINATOR], operator="OP7")
        yield registry


def trail(registry):
    return registry.rows(
        "SELECT action, object_key, outcome FROM audit_event WHERE object_kind = 'account' ORDER BY seq"
    )


def test_the_right_password_gives_name_roles_and_operator(kept):
    assert accounts.verify(kept, "ines", PASSWORD) == Actor(
        "ines", frozenset({Role.COORDINATOR}), "OP7", "account"
    )


@pytest.mark.parametrize(
    ("name", "password"),
    [("ines", OTHER), ("nobody", PASSWORD), ("ines", PASSWORD.upper()), ("ines", ""), ("ines", "x" * 2000)],
)
def test_a_wrong_name_and_a_wrong_password_are_refused_in_the_same_words(kept, name, password):
    with pytest.raises(Refused, match=r"^Name or password is wrong, or the account is locked\.$"):
        accounts.verify(kept, name, password)


def test_a_locked_account_is_refused_in_the_same_words(kept):
    accounts.lock(kept, "ines")

    with pytest.raises(Refused, match=r"^Name or password is wrong, or the account is locked\.$"):
        accounts.verify(kept, "ines", PASSWORD)

    accounts.lock(kept, "ines", locked=False)
    assert accounts.verify(kept, "ines", PASSWORD).name == "ines"


def test_the_fifth_failure_makes_the_account_wait_even_for_the_right_password(kept, clock):
    for _ in range(5):
        with pytest.raises(Refused, match="is wrong"):
            accounts.verify(kept, "ines", OTHER)
    with pytest.raises(Refused, match=r"Try again in 1 min\."):
        accounts.verify(kept, "ines", PASSWORD)

    clock.now += timedelta(seconds=31)

    assert accounts.verify(kept, "ines", PASSWORD).name == "ines"


def test_each_further_failure_doubles_the_wait(kept, clock):
    """30 s after the fifth, 60 after the sixth, 120 after the seventh."""
    for _ in range(7):
        clock.now += timedelta(seconds=121)
        with pytest.raises(Refused, match="is wrong"):
            accounts.verify(kept, "ines", OTHER)

    clock.now += timedelta(seconds=119)
    with pytest.raises(Refused, match="Try again"):
        accounts.verify(kept, "ines", PASSWORD)
    clock.now += timedelta(seconds=2)
    assert accounts.verify(kept, "ines", PASSWORD).name == "ines"


def test_failures_are_forgotten_after_the_window(kept, clock):
    for _ in range(4):
        with pytest.raises(Refused):
            accounts.verify(kept, "ines", OTHER)
    clock.now += timedelta(minutes=16)
    with pytest.raises(Refused):
        accounts.verify(kept, "ines", OTHER)

    assert accounts.verify(kept, "ines", PASSWORD).name == "ines"


def test_the_hash_is_argon2id_and_the_password_stands_nowhere(kept):
    stored = accounts.read(kept.folder)["ines"].password

    assert stored.startswith("$argon2id$")
    assert PasswordHasher().verify(stored, PASSWORD)
    assert PASSWORD not in (kept.folder / accounts.FILE).read_text()
    assert PASSWORD not in json.dumps(kept.rows("SELECT details FROM audit_event"))
    assert "argon2" not in json.dumps(kept.rows("SELECT details FROM audit_event"))


def test_nobody_else_may_read_the_file(kept):
    assert stat.S_IMODE((kept.folder / accounts.FILE).stat().st_mode) == 0o600


def test_a_weaker_hash_is_replaced_at_the_next_sign_in(kept):
    weak = PasswordHasher(time_cost=1, memory_cost=64, parallelism=1).hash(PASSWORD)
    text = (kept.folder / accounts.FILE).read_text()
    old = accounts.read(kept.folder)["ines"].password
    (kept.folder / accounts.FILE).write_text(text.replace(json.dumps(old), json.dumps(weak)))

    accounts.verify(kept, "ines", PASSWORD)

    assert "m=65536" in accounts.read(kept.folder)["ines"].password


def test_every_change_and_every_attempt_is_in_the_trail(kept):
    accounts.set_roles(kept, "ines", [Role.QUALITY, Role.VIEWER])
    accounts.reset(kept, "ines", OTHER)
    accounts.verify(kept, "ines", OTHER)
    with pytest.raises(Refused):
        accounts.verify(kept, "ines", PASSWORD)
    with pytest.raises(Refused):
        accounts.verify(kept, "somebody", PASSWORD)

    assert trail(kept) == [
        ("add", "ines", "done"),
        ("roles", "ines", "done"),
        ("reset", "ines", "done"),
        ("sign in", "ines", "done"),
        ("sign in", "ines", "refused"),
        ("sign in", "unknown", "refused"),
    ]


def test_only_an_administrator_changes_accounts(kept):
    for role in Role:
        with acting(Actor("somebody", frozenset({role}), confirmed_at=kept.clock())):
            if role is Role.ADMINISTRATOR:
                accounts.set_roles(kept, "ines", [Role.VIEWER])
            else:
                with pytest.raises(Refused, match="may not manage accounts"):
                    accounts.set_roles(kept, "ines", [Role.ADMINISTRATOR])

    assert accounts.read(kept.folder)["ines"].roles == ("viewer",)


@pytest.mark.parametrize("name", ["", "a b", "../x", "é", "x" * 65, "a/b"])
def test_a_name_that_cannot_be_one_is_refused(kept, name):
    with pytest.raises(UsageProblem, match="cannot be the name"):
        accounts.add(kept, name, PASSWORD, [Role.VIEWER])


def test_a_name_is_given_once(kept):
    with pytest.raises(UsageProblem, match="this account exists"):
        accounts.add(kept, "ines", OTHER, [Role.VIEWER])

    assert accounts.verify(kept, "ines", PASSWORD).name == "ines"


@pytest.mark.parametrize(
    ("password", "fine"), [("x" * 11, False), ("x" * 12, True), ("é" * 6, True), ("x" * 1025, False)]
)
def test_a_password_has_twelve_to_1024_bytes(kept, password, fine):
    if fine:
        accounts.reset(kept, "ines", password)
        assert accounts.verify(kept, "ines", password).name == "ines"
    else:
        with pytest.raises(UsageProblem, match="12 to 1024 bytes"):
            accounts.reset(kept, "ines", password)


def test_a_damaged_file_lets_nobody_in_and_says_why(kept):
    (kept.folder / accounts.FILE).write_text("{")

    with pytest.raises(IntegrityProblem, match="nobody can sign in"):
        accounts.verify(kept, "ines", PASSWORD)


def test_two_verifications_run_at_once_at_most(kept, monkeypatch):
    running, most, lock = 0, 0, threading.Lock()

    class Slow:
        def verify(self, *_):
            nonlocal running, most
            with lock:
                running += 1
                most = max(most, running)
            threading.Event().wait(0.05)
            with lock:
                running -= 1
            return True

        def check_needs_rehash(self, _):
            return False

    monkeypatch.setattr(accounts, "_hasher", Slow())
    threads = [threading.Thread(target=accounts.verify, args=(kept, "ines", PASSWORD)) for _ in range(8)]
    for one in threads:
        one.start()
    for one in threads:
        one.join()

    assert most == 2
