"""The record as it was known: a correction does not reach into an earlier report."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING

import pytest

from registry import worklists
from registry.dictionary import tables
from registry.errors import UsageProblem
from registry.intake.write import table_digest
from registry.known import as_known
from registry.measures import evaluate
from registry.store import Registry
from tests.build import base, load

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

FIRST = datetime(2025, 4, 1, 8, 0, tzinfo=UTC)
SECOND = datetime(2025, 6, 1, 8, 0, tzinfo=UTC)
SECOND_LESS = SECOND - timedelta(microseconds=1)


class Clock:
    def __init__(self) -> None:
        self.now = FIRST

    def __call__(self) -> datetime:
        return self.now


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def registry(folder: Path, clock: Clock) -> Iterator[Registry]:
    with Registry.open(folder, write=True, clock=clock) as opened:
        load(opened, base())
        clock.now = SECOND
        yield opened


def known_diagnosis(registry: Registry, moment: datetime) -> list[tuple[str]]:
    with as_known(registry, moment) as known:
        return known.rows("SELECT diagnosis FROM pathology")


def test_before_and_after_a_correction_give_the_two_answers(registry: Registry):
    load(
        registry,
        {"pathology": [{"report_id": "R1", "version": "1", "procedure_id": "P1", "diagnosis": "high_risk"}]},
    )
    before, after = known_diagnosis(registry, SECOND_LESS), known_diagnosis(registry, SECOND)
    assert (before, after) == ([("benign",)], [("high_risk",)])


def test_the_facts_are_those_of_the_record_then(registry: Registry):
    load(
        registry,
        {"pathology": [{"report_id": "R1", "version": "1", "procedure_id": "P1", "diagnosis": "high_risk"}]},
    )
    with as_known(registry, SECOND_LESS) as known:
        assert known.rows("SELECT diagnosis FROM procedure_facts") == [("benign",)]


def test_last_years_figure_prints_again(registry: Registry):
    """One procedure, benign as recorded first and high-risk as corrected: 0 of 1, then 1 of 1."""
    load(
        registry,
        {"pathology": [{"report_id": "R1", "version": "1", "procedure_id": "P1", "diagnosis": "high_risk"}]},
    )
    found = []
    for moment in (SECOND_LESS, SECOND):
        with as_known(registry, moment) as known:
            (result,) = evaluate(known, ["high_risk_yield"], as_of=date(2026, 6, 30))
            found.append((result.to_dict()["numerator"], result.to_dict()["denominator"]))
    assert found == [(0, 1), (1, 1)]


def test_a_row_recorded_later_was_not_known(registry: Registry):
    load(
        registry,
        {
            "complications": [
                {
                    "complication_id": "C2",
                    "procedure_id": "P1",
                    "kind": "pain",
                    "grade": "2",
                    "onset_on": "2025-03-11",
                }
            ]
        },
    )
    with as_known(registry, SECOND_LESS) as known:
        assert known.rows("SELECT complication_id FROM complications") == [("C1",)]


def test_before_the_first_batch_nothing_was_known(registry: Registry):
    with as_known(registry, FIRST - timedelta(microseconds=1)) as known:
        assert known.rows("SELECT count(*) FROM procedures") == [(0,)]


def test_a_withdrawn_row_was_known_until_then(registry: Registry):
    from registry.intake import write

    with registry.writing() as cursor:
        stamp = write.Stamp(SECOND.replace(tzinfo=None), "coordinator", 2, "wrong patient")
        write.withdraw_row(cursor, tables()["complications"], ("C1",), stamp)
    counts = []
    for moment in (SECOND_LESS, SECOND):
        with as_known(registry, moment) as known:
            counts.append(known.rows("SELECT count(*) FROM complications")[0][0])
    assert counts == [1, 0]


def test_a_chain_is_joined_only_from_when_its_link_was_known(registry: Registry):
    later = {
        "procedure_id": "P2",
        "started_at": "2025-04-10T09:30",
        "accession": "",
        "ended_at": "",
        "injected_at": "",
        "first_scan_at": "",
    }
    second = {**base()["procedures"][0], **later, "marker_shape": "ring"}
    load(registry, {"procedures": [second]})
    registry.clock.now = SECOND + timedelta(days=1)
    load(registry, {"procedures": [{"procedure_id": "P2", "repeat_of": "P1", "repeat_reason": "discordant"}]})
    roots = []
    for moment in (SECOND, SECOND + timedelta(days=1)):
        with as_known(registry, moment) as known:
            roots.append(known.rows("SELECT root_id FROM procedures WHERE procedure_id = 'P2'")[0][0])
    assert roots == ["P2", "P1"]


def test_what_is_known_now_is_the_registry_itself(registry: Registry):
    load(registry, {"procedures": [{"procedure_id": "P1", "cores": "10"}]})
    with registry.cursor() as here, as_known(registry, SECOND) as known, known.cursor() as there:
        wrong = [
            name
            for name, table in tables().items()
            if table_digest(there, table) != table_digest(here, table)
        ]
    assert wrong == []


def test_a_worklist_is_printed_as_it_would_have_been(registry: Registry):
    """The review that decided was withdrawn later: then it decided, now it does not."""
    load(
        registry,
        {"reviews": [{"review_id": "V1", "determination": "indeterminate", "reason": "awaiting_imaging"}]},
    )
    with as_known(registry, SECOND_LESS) as known:
        then = worklists.rows(known, "concordance_review", as_of=date(2025, 6, 30)).height
    assert (then, worklists.rows(registry, "concordance_review", as_of=date(2025, 6, 30)).height) == (0, 1)


def test_the_stamp_names_the_moment(registry: Registry):
    with as_known(registry, SECOND) as known:
        assert known.stamp() == f"{registry.stamp()}, as known at 2025-06-01T08:00:00+00:00"


def test_a_moment_without_a_time_zone_is_refused(registry: Registry):
    with pytest.raises(UsageProblem, match="has no time zone"), as_known(registry, datetime(2025, 6, 1)):
        pass


def test_the_registry_itself_is_not_changed(registry: Registry):
    before = registry.rows("SELECT * FROM table_state ORDER BY ALL")
    with as_known(registry, FIRST):
        pass
    assert registry.rows("SELECT * FROM table_state ORDER BY ALL") == before
