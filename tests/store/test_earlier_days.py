"""Facts of earlier days are derived once, read by many, and never outlive the record they came from."""

from __future__ import annotations

import threading
from contextlib import ExitStack
from datetime import date
from typing import TYPE_CHECKING

import duckdb
import pytest

from registry.earlier_days import DATABASE, KEPT, EarlierDays

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

DAYS = [date(2026, 1, number) for number in range(1, 10)]


@pytest.fixture
def engine() -> Iterator[duckdb.DuckDBPyConnection]:
    connection = duckdb.connect(":memory:")
    connection.execute("CREATE TABLE procedure_facts (said INTEGER)")
    connection.execute("INSERT INTO procedure_facts VALUES (0)")
    yield connection
    connection.close()


@pytest.fixture
def derivations() -> list[int]:
    """What was derived, in order."""
    return []


def deriving(cursor: duckdb.DuckDBPyConnection, derivations: list[int], said: int) -> Callable[[str], None]:
    def derive(table: str) -> None:
        derivations.append(said)
        cursor.execute(f"CREATE TABLE {table} AS SELECT {said} AS said")

    return derive


def said(cursor: duckdb.DuckDBPyConnection) -> list[tuple[int]]:
    return cursor.execute("SELECT said FROM procedure_facts").fetchall()


def tables(cursor: duckdb.DuckDBPyConnection) -> int:
    return len(cursor.execute("SELECT 1 FROM duckdb_tables() WHERE database_name = ?", [DATABASE]).fetchall())


def test_a_day_is_derived_once_and_read_by_the_next_cursor(engine, derivations):
    days = EarlierDays()
    for _ in range(3):
        with engine.cursor() as cursor, days.lay(cursor, (1, DAYS[0]), deriving(cursor, derivations, 7)):
            assert said(cursor) == [(7,)]
    assert derivations == [7]


def test_after_the_block_the_cursor_reads_the_kept_facts_again(engine, derivations):
    days = EarlierDays()
    with days.lay(engine, (1, DAYS[0]), deriving(engine, derivations, 7)):
        pass
    assert said(engine) == [(0,)]


def test_another_cursor_does_not_see_the_day(engine, derivations):
    days = EarlierDays()
    with days.lay(engine, (1, DAYS[0]), deriving(engine, derivations, 7)), engine.cursor() as other:
        assert said(other) == [(0,)]


def test_a_change_of_the_record_derives_the_day_anew_and_drops_the_old(engine, derivations):
    days = EarlierDays()
    for revision, value in ((1, 7), (2, 8)):
        with days.lay(engine, (revision, DAYS[0]), deriving(engine, derivations, value)):
            assert said(engine) == [(value,)]
    assert tables(engine) == 1


def test_only_the_days_asked_for_last_are_kept(engine, derivations):
    days = EarlierDays()
    for number, day in enumerate(DAYS):
        with days.lay(engine, (1, day), deriving(engine, derivations, number)):
            pass
    assert tables(engine) == KEPT
    with days.lay(engine, (1, DAYS[-KEPT]), deriving(engine, derivations, 99)):
        assert said(engine) == [(len(DAYS) - KEPT,)]


def test_a_day_that_somebody_reads_is_not_dropped(engine, derivations):
    days = EarlierDays()
    with engine.cursor() as reader, days.lay(reader, (1, DAYS[0]), deriving(reader, derivations, 7)):
        for number, day in enumerate(DAYS[1:], start=1):
            with days.lay(engine, (2, day), deriving(engine, derivations, number)):
                pass
        assert said(reader) == [(7,)]
    assert tables(engine) == KEPT


def test_a_derivation_that_fails_leaves_no_table_and_is_tried_again(engine, derivations):
    days = EarlierDays()

    def fails(table: str) -> None:
        engine.execute(f"CREATE TABLE {table} AS SELECT 1 AS said")
        raise duckdb.OutOfMemoryException("no room")

    with pytest.raises(duckdb.OutOfMemoryException), days.lay(engine, (1, DAYS[0]), fails):
        pass
    assert tables(engine) == 0
    with days.lay(engine, (1, DAYS[0]), deriving(engine, derivations, 7)):
        assert said(engine) == [(7,)]


def test_an_error_of_the_reader_reaches_the_reader_and_gives_the_day_back(engine, derivations):
    days = EarlierDays()
    with pytest.raises(ZeroDivisionError), days.lay(engine, (1, DAYS[0]), deriving(engine, derivations, 7)):
        _ = 1 / 0
    for number, day in enumerate(DAYS[1:]):
        with days.lay(engine, (1, day), deriving(engine, derivations, number)):
            pass
    assert tables(engine) == KEPT


def test_twenty_who_ask_at_once_share_one_derivation(engine, derivations):
    days = EarlierDays()
    together = threading.Barrier(20)
    found: list[list[tuple[int]]] = []

    def ask() -> None:
        with engine.cursor() as cursor:
            together.wait()
            with days.lay(cursor, (1, DAYS[0]), deriving(cursor, derivations, 7)):
                found.append(said(cursor))

    threads = [threading.Thread(target=ask) for _ in range(20)]
    for one in threads:
        one.start()
    for one in threads:
        one.join()
    assert (found, derivations) == ([[(7,)]] * 20, [7])


def test_two_who_read_one_engine_do_not_meet(engine, derivations):
    with ExitStack() as both:
        for value, days in ((7, EarlierDays()), (8, EarlierDays())):
            cursor = both.enter_context(engine.cursor())
            both.enter_context(days.lay(cursor, (1, DAYS[0]), deriving(cursor, derivations, value)))
            assert said(cursor) == [(value,)]
