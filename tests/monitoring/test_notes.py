"""Answers to signals: what is kept, what of it stands in the trail, and who reads them."""

from __future__ import annotations

import hashlib
import json
from datetime import UTC, date, datetime
from typing import TYPE_CHECKING, Any

import pytest

from registry.errors import Refused, UsageProblem
from registry.monitoring import Note, answer, answered, notes
from registry.people import Actor, Role, acting
from registry.store import Registry
from tests.build import base, load

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

NOW = datetime(2025, 4, 1, 8, 30, tzinfo=UTC)
#: Day of the procedure of the rows that are loaded.
DAY = date(2025, 3, 10)


@pytest.fixture
def filled(folder: Path) -> Iterator[Registry]:
    with Registry.open(folder, write=True, clock=lambda: NOW) as opened:
        load(opened, base())
        yield opened


def say(registry: Registry, measure: str = "discordance", **other: Any) -> Note:
    said = {
        "chart": "ewma",
        "stratum": "OP1",
        "design": "limits of 2.7",
        "answer": "case_mix",
        "note": "Two readers were new.",
        "author": "committee",
    }
    return answer(registry, measure, other.pop("procedure_id", "P1"), **{**said, **other})


def test_an_answer_is_kept_as_it_was_given(filled: Registry):
    wanted = Note(
        1,
        NOW.replace(tzinfo=None),
        "committee",
        "discordance",
        "P1",
        "ewma",
        "OP1",
        "limits of 2.7",
        "case_mix",
        "Two readers were new.",
    )

    assert say(filled, note="  Two readers were new.\n") == wanted
    assert notes(filled, "discordance") == (wanted,)


def test_the_trail_holds_what_was_answered_and_the_digest_of_the_text(filled: Registry):
    say(filled)
    found = filled.rows(
        "SELECT actor, object_kind, object_key, outcome, details FROM audit_event WHERE action = 'answer'"
    )
    ((actor, kind, key, outcome, details),) = found

    assert (actor, kind, key, outcome) == ("committee", "signal", "P1", "done")
    assert json.loads(details) == {
        "note": 1,
        "measure": "discordance",
        "chart": "ewma",
        "design": "limits of 2.7",
        "answer": "case_mix",
        "sha256": hashlib.sha256(b"Two readers were new.").hexdigest(),
    }


def test_answers_are_numbered_over_all_measures_and_listed_by_measure_the_newest_first(filled: Registry):
    for measure in ("discordance", "insufficient_sample", "discordance"):
        say(filled, measure)

    assert [one.number for one in notes(filled, "discordance")] == [3, 1]
    assert [one.number for one in notes(filled, "insufficient_sample")] == [2]


def test_answers_of_a_period_are_of_any_measure_the_newest_first(filled: Registry):
    for measure in ("discordance", "insufficient_sample"):
        say(filled, measure)

    assert [one.number for one in answered(filled, DAY, DAY)] == [2, 1]
    assert answered(filled, date(2025, 3, 11), date(2025, 12, 31)) == ()
    assert answered(filled, date(2025, 1, 1), date(2025, 3, 9)) == ()


def test_an_answer_makes_one_new_state_of_what_is_counted(filled: Registry):
    before = filled.revision()
    say(filled)

    assert filled.revision() == before + 1


@pytest.mark.parametrize("length", [1, 1000])
def test_a_note_may_be_as_short_and_as_long(filled: Registry, length: int):
    assert len(say(filled, note=" " + "x" * length + " ").note) == length


@pytest.mark.parametrize(
    ("other", "said"),
    [
        ({"note": " \n"}, r"A signal is answered with a note of 1 to 1000 characters\. Write one\."),
        ({"note": "x" * 1001}, r"A signal is answered with a note of 1 to 1000 characters\. Write one\."),
        ({"answer": ""}, r"Choose what was found, or that it is being looked into\."),
        (
            {"answer": "blame"},
            r"blame: there is no such answer\. Known: looking, chance, case_mix, record, practice, other\.",
        ),
        ({"procedure_id": "P9"}, r"P9: there is no such procedure\. Choose a signal of the chart\."),
    ],
)
def test_what_is_wrong_with_an_answer_is_said_and_nothing_is_kept(
    filled: Registry, other: dict[str, str], said: str
):
    with pytest.raises(UsageProblem, match=f"^{said}$"):
        say(filled, **other)

    assert filled.rows("SELECT count(*) FROM signal_note") == [(0,)]
    assert filled.rows("SELECT count(*) FROM audit_event WHERE action = 'answer'") == [(0,)]


def test_somebody_with_an_account_answers_in_their_own_name(filled: Registry):
    with acting(Actor("ines", frozenset({Role.QUALITY}))):
        assert say(filled, author="").author == "ines"


def test_that_an_answer_was_refused_stands_in_the_trail(filled: Registry):
    with acting(Actor("vera", frozenset({Role.RADIOLOGIST}))), pytest.raises(Refused):
        say(filled)

    assert filled.rows(
        "SELECT actor, action, object_kind, object_key FROM audit_event WHERE outcome = 'refused'"
    ) == [("vera", "see results of every operator", "signal", "P1")]


@pytest.mark.parametrize(
    "read", [lambda registry: notes(registry, "discordance"), lambda registry: answered(registry, DAY, DAY)]
)
def test_who_sees_no_procedures_reads_no_answers(filled: Registry, read: Any):
    with acting(Actor("vera", frozenset({Role.VIEWER}))), pytest.raises(Refused):
        read(filled)

    assert filled.rows("SELECT actor, action FROM audit_event WHERE outcome = 'refused'") == [
        ("vera", "see the procedures behind a figure")
    ]
