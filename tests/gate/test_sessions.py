"""Sessions: how they begin, what ends them, and that ended ones stay ended."""

from __future__ import annotations

import threading
from datetime import timedelta

import pytest

from dashboards.gate.sessions import CHANGED, IDLE, SIGNED_OUT, TOO_LONG, Sessions
from registry.people import Actor, Role

INES = Actor("ines", frozenset({Role.COORDINATOR}))


class Stamps(dict):
    def __call__(self, name):
        return self.get(name)


@pytest.fixture
def stamps():
    return Stamps(ines="one", ada="one")


@pytest.fixture
def told():
    return []


@pytest.fixture
def table(clock, stamps, told):
    return Sessions(
        clock,
        timedelta(minutes=15),
        timedelta(hours=10),
        stamps,
        lambda actor, why: told.append((actor.name, why)),
    )


def test_a_token_has_256_bits_and_no_two_are_the_same(table):
    tokens = {table.start(INES) for _ in range(200)}

    assert len(tokens) == 200
    # 32 bytes in base64 without padding: 43 characters.
    assert {len(one) for one in tokens} == {43}


def test_the_table_holds_no_token(table):
    token = table.start(INES)

    assert token not in str(vars(table))


@pytest.mark.parametrize("token", [None, "", "x", "x" * 43])
def test_a_token_that_was_never_given_is_nobody(table, token):
    table.start(INES)

    assert table.who(token, touch=True) is None


def test_a_session_ends_after_a_quarter_of_an_hour_without_a_click(table, clock, told):
    token = table.start(INES)
    clock.forward(minutes=14, seconds=59)
    assert table.who(token, touch=False) == INES
    clock.forward(seconds=1)

    assert table.who(token, touch=True) is None
    assert table.why(token) == IDLE
    assert told == [("ines", IDLE)]


def test_a_click_keeps_it_open_and_a_look_does_not(table, clock):
    clicked, looked = table.start(INES), table.start(INES)
    clock.forward(minutes=10)
    table.who(clicked, touch=True)
    table.who(looked, touch=False)
    table.left(looked)
    clock.forward(minutes=10)

    assert table.who(clicked, touch=False) == INES
    assert table.who(looked, touch=False) is None


def test_it_ends_after_ten_hours_whatever_is_clicked(table, clock):
    token = table.start(INES)
    for _ in range(59):  # 59 times 10 minutes: 9 h 50 min
        clock.forward(minutes=10)
        assert table.who(token, touch=True) == INES
    assert table.left(token) == timedelta(minutes=10)
    clock.forward(minutes=10)

    assert table.who(token, touch=True) is None
    assert table.why(token) == TOO_LONG


@pytest.mark.parametrize("stamp", ["another", None])
def test_it_ends_at_once_when_the_account_changes_or_is_locked(table, stamps, stamp, told):
    token, other = table.start(INES), table.start(Actor("ada", frozenset({Role.ADMINISTRATOR})))
    stamps["ines"] = stamp

    assert table.who(token, touch=True) is None
    assert table.why(token) == CHANGED
    assert table.who(other, touch=True).name == "ada"
    assert told == [("ines", CHANGED)]


def test_who_signs_out_is_out_and_others_are_not(table):
    first, second = table.start(INES), table.start(INES)
    table.end(first)

    assert table.who(first, touch=True) is None
    assert table.why(first) == SIGNED_OUT
    assert table.who(second, touch=True) == INES


def test_an_ended_session_does_not_come_back(table, clock, stamps):
    token = table.start(INES)
    stamps["ines"] = "another"
    assert table.who(token, touch=True) is None
    stamps["ines"] = "one"
    table.confirm(token)

    assert table.who(token, touch=True) is None


def test_the_password_that_was_given_again_counts_from_then(table, clock):
    token = table.start(INES)
    started = clock.now
    assert table.who(token, touch=True).confirmed_at == started
    clock.forward(minutes=6)
    table.confirm(token)

    assert table.who(token, touch=True).confirmed_at == started + timedelta(minutes=6)


def test_a_clock_that_is_set_back_does_not_lengthen_a_session(table, clock):
    token = table.start(INES)
    clock.forward(minutes=5)
    table.who(token, touch=True)
    clock.forward(minutes=-4)
    table.who(token, touch=True)
    clock.forward(minutes=4 + 15)

    assert table.who(token, touch=True) is None


def test_each_end_is_told_once_by_however_many_threads(table, clock, told):
    token = table.start(INES)
    clock.forward(hours=1)
    threads = [threading.Thread(target=table.who, args=(token,), kwargs={"touch": True}) for _ in range(16)]
    for one in threads:
        one.start()
    for one in threads:
        one.join()

    assert told == [("ines", IDLE)]


def test_sixteen_threads_never_see_another_person(table, stamps):
    people = [Actor(f"person {number}", frozenset({Role.VIEWER})) for number in range(16)]
    for one in people:
        stamps[one.name] = "one"
    tokens = {table.start(one): one.name for one in people}
    wrong = []

    def ask(token, name):
        for _ in range(500):
            if table.who(token, touch=True).name != name:
                wrong.append(name)

    threads = [threading.Thread(target=ask, args=pair) for pair in tokens.items()]
    for one in threads:
        one.start()
    for one in threads:
        one.join()

    assert wrong == []


def test_a_sweep_tells_of_sessions_that_nobody_asks_about(table, clock, told):
    table.start(INES)
    clock.forward(minutes=20)
    table.sweep()

    assert told == [("ines", IDLE)]
