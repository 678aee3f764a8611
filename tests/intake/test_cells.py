"""Cells: what is stored for a text, and which texts are held.

Expected values come from Python's own numbers, calendar and zoneinfo, and for the nights on
which clocks change from the rule of the European Union: the last Sunday of March and of
October at 01:00 UTC (Directive 2000/84/EC; from memory). In Lisbon that is 01:00 to 02:00 of
local time both times.
"""

from __future__ import annotations

import calendar
import csv
import re
import shutil
from datetime import UTC, date, datetime, timedelta, timezone
from pathlib import Path
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import pytest
from hypothesis import HealthCheck, assume, example, given, settings
from hypothesis import strategies as st

from registry.intake import IntakeReport, Options, accept
from registry.store import Registry
from tests.build import BASE, TODAY, base, load, received

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from registry.imports.received import Received

ROOT = Path(__file__).resolve().parents[2]
DICTIONARY = list(csv.DictReader((ROOT / "sql" / "dictionary.csv").open(encoding="utf-8")))
LISBON = ZoneInfo("Europe/Lisbon")
KEYS = {"operators": "operator", "constancy": "check_id", "sources": "source_id"}


@pytest.fixture(scope="module")
def shared(empty_folder: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Registry]:
    """A registry with the valid rows. Tests add rows with keys of their own, or ask in dry runs."""
    folder = tmp_path_factory.mktemp("cells") / "registry"
    shutil.copytree(empty_folder, folder)
    with Registry.open(folder, write=True) as opened:
        load(opened, base())
        yield opened


_numbers = iter(range(1, 1_000_000))


def send(
    registry: Registry, table: str, rows: list[dict[str, str]], **options: object
) -> tuple[list[str], IntakeReport]:
    """Send rows under fresh keys; their keys and the report."""
    keys = [f"N{next(_numbers)}" for _ in rows]
    sent = {table: [row | {KEYS[table]: key} for row, key in zip(rows, keys, strict=True)]}
    return keys, load(registry, sent, held_share_max=1.0, **options)


def stored(registry: Registry, table: str, keys: list[str], columns: str) -> list[tuple | None]:
    """What is stored under each key; None where nothing is."""
    found = {
        key: tuple(rest) for key, *rest in registry.rows(f"SELECT {KEYS[table]}, {columns} FROM {table}")
    }
    return [found.get(key) for key in keys]


def many(strategy: st.SearchStrategy, most: int = 60) -> st.SearchStrategy:
    """Several values at once: one batch costs as much as one row."""
    return st.lists(strategy, min_size=1, max_size=most)


few = settings(max_examples=8, suppress_health_check=[HealthCheck.function_scoped_fixture])
CLOCK = {"site": "A", "done_at": "2025-03-10T07:00", "kind": "clock", "clock_offset_s": "1"}
COUNTS = {
    "site": "A",
    "done_at": "2025-03-10T07:00",
    "kind": "counts",
    "source_id": "SRC1",
    "counts": "1",
    "seconds": "60",
}

# -- numbers -----------------------------------------------------------------------


@given(
    many(
        st.decimals(-86400, 86400, allow_nan=False, places=None)
        .map(lambda value: format(value, "f"))
        .filter(lambda text: len(text) < 60)
    )
)
@few
def test_a_decimal_within_its_range_is_stored_with_its_value(shared: Registry, texts: list[str]):
    keys, _ = send(shared, "constancy", [CLOCK | {"clock_offset_s": text} for text in texts])
    assert stored(shared, "constancy", keys, "clock_offset_s") == [(float(text),) for text in texts]


@given(many(st.decimals(0, 10**15, allow_nan=False, places=3).map(lambda value: format(value, "f"))))
@few
def test_a_decimal_without_an_upper_bound_is_stored_with_its_value(shared: Registry, texts: list[str]):
    keys, _ = send(shared, "constancy", [COUNTS | {"counts": text} for text in texts])
    assert stored(shared, "constancy", keys, "counts") == [(float(text),) for text in texts]


@given(many(st.integers(-200_000, 300_000)))
@example([-1, 0, 100_000, 100_001])
@few
def test_a_whole_number_is_stored_just_within_its_range(shared: Registry, values: list[int]):
    keys, report = send(shared, "operators", [{"experience_before": str(value)} for value in values])
    inside = [(value,) if 0 <= value <= 100_000 else None for value in values]
    assert stored(shared, "operators", keys, "experience_before") == inside
    assert {p.rule for p in report.problems} <= {"out_of_range"}


#: Neither -86400.0001 nor a source without activity: both ends, inclusive and exclusive.
@pytest.mark.parametrize(
    ("table", "row", "field", "text", "taken"),
    [
        ("constancy", CLOCK, "clock_offset_s", "-86400", True),
        ("constancy", CLOCK, "clock_offset_s", "-86400.0001", False),
        ("constancy", CLOCK, "clock_offset_s", "86400", True),
        ("constancy", CLOCK, "clock_offset_s", "86400.0001", False),
        ("constancy", COUNTS, "counts", "0", True),
        ("constancy", COUNTS, "counts", "-0.001", False),
        ("constancy", COUNTS, "seconds", "0", False),
        ("constancy", COUNTS, "seconds", "0.001", True),
    ],
)
def test_the_ends_of_a_range(
    shared: Registry, table: str, row: dict[str, str], field: str, text: str, taken: bool
):
    _, report = send(shared, table, [row | {field: text}], dry_run=True)
    assert [(p.column, p.rule) for p in report.problems] == ([] if taken else [(field, "out_of_range")])


NO_NUMBER = [
    "nan",
    "NaN",
    "inf",
    "-inf",
    "Infinity",
    "1e400",
    "-1e400",
    "0x1F",
    "0b11",
    "0o17",
    "1_000",
    "1,000",
    "4,2",
    "1.2.3",
    "--5",
    "+-5",
    ".",
    "-",
    "+",
    "1e",
    "5d",
    "5f",
    "true",
    "１２",
    "١٢",
    "½",
    "5%",
    "<1",
    "~5",
    "1'000",
    "1/2",
    "none",
    "n/a",
]
NO_NUMBER += ["1 000", "1\u00a0000", "\u22124.0", "5 - 6"]
NO_WHOLE_NUMBER = ["12.0", "12.", ".5", "12.5", "1e2", "5e-1", "15e-1"]


@pytest.mark.parametrize(
    ("table", "row", "field", "texts", "kind"),
    [
        ("constancy", CLOCK, "clock_offset_s", NO_NUMBER, "decimal"),
        ("constancy", COUNTS, "counts", NO_NUMBER, "decimal"),
        ("operators", {}, "experience_before", [*NO_NUMBER, *NO_WHOLE_NUMBER], "whole"),
    ],
)
def test_what_is_no_plain_number_is_held(
    shared: Registry, table: str, row: dict[str, str], field: str, texts: list[str], kind: str
):
    _, report = send(shared, table, [row | {field: text} for text in texts], dry_run=True)
    held = {p.line - 2: p for p in report.problems if p.column == field}
    assert [text for place, text in enumerate(texts) if place not in held] == []
    assert {p.rule for p in held.values()} == {"not_a_number"}
    assert all(kind in p.message or "with a decimal point" in p.message for p in held.values())


@given(many(st.text(st.sampled_from("0123456789.-+eExXbB_,' infa"), min_size=1, max_size=8), most=120))
@settings(max_examples=15, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_only_digits_with_a_sign_make_a_whole_number(shared: Registry, texts: list[str]):
    # Readers trim; a cell of blanks is empty there.
    assume(all(text.strip() for text in texts))
    _, report = send(
        shared, "operators", [{"experience_before": text.strip()} for text in texts], dry_run=True
    )
    refused = {p.line - 2 for p in report.problems if p.column == "experience_before"}
    assert refused == {
        n
        for n, text in enumerate(texts)
        if not re.fullmatch(r"[+-]?[0-9]+", text.strip()) or not 0 <= int(text) <= 100_000
    }


def test_a_number_may_carry_its_own_unit_and_no_other(shared: Registry):
    rows = [CLOCK | {"clock_offset_s": text} for text in ("5 s", "5s", "5 min", "5 ms")]
    keys, _ = send(shared, "constancy", rows)
    assert stored(shared, "constancy", keys, "clock_offset_s") == [(5.0,), (5.0,), None, None]


# -- codes -------------------------------------------------------------------------

CODED: dict[str, list[tuple[str, list[str]]]] = {}
for _row in DICTIONARY:
    if _row["type"] == "code" or "|" in _row["allowed"]:
        CODED.setdefault(_row["table"], []).append((_row["field"], _row["allowed"].split("|")))
#: Other spellings that are taken: written out here, for the code must not grow more unseen.
SPELLINGS = {"FDG", "18F-FDG", "F18 FDG", "[18F]FDG", "F18", "18F", "Ge68", "68Ge"}
ALL_CODES = {code for fields in CODED.values() for _, codes in fields for code in codes}


@pytest.mark.parametrize("table", CODED)
@given(
    text=st.one_of(
        st.text(min_size=1, max_size=20),
        st.sampled_from(sorted(ALL_CODES)).map(str.swapcase),
        st.sampled_from(sorted(ALL_CODES)).map(lambda code: code + "s"),
    )
)
@settings(max_examples=6, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_a_code_that_is_not_listed_is_held(shared: Registry, table: str, text: str):
    assume(text not in ALL_CODES | SPELLINGS | {"<erase>"})
    first = BASE[table][0]
    rows = [first | {field: text} for field, _ in CODED[table]]
    for number, row in enumerate(rows, 2):
        name = "attempt" if table == "targeting" else next(iter(first))
        row[name] = str(number % 9 + 1) if table == "targeting" else f"NEW{number}"
    report = load(shared, {table: rows}, held_share_max=1.0, dry_run=True)
    refused = {(p.line - 2, p.column) for p in report.problems if p.rule == "code"}
    assert refused == {(n, field) for n, (field, _) in enumerate(CODED[table])}


def test_every_listed_code_is_taken_as_it_stands(shared: Registry):
    codes = dict(CODED["complications"])["kind"]
    rows = [
        BASE["complications"][0] | {"complication_id": f"CODE{n}", "kind": code}
        for n, code in enumerate(codes)
    ]
    load(shared, {"complications": rows})
    found = shared.rows("SELECT kind FROM complications WHERE starts_with(complication_id, 'CODE')")
    assert sorted(kind for (kind,) in found) == sorted(codes)


def test_a_wrong_code_is_answered_with_the_nearest_and_with_all(shared: Registry):
    _, report = send(shared, "constancy", [CLOCK | {"kind": "Clock"}], dry_run=True)
    assert report.problems[0].message == "'Clock' is not an allowed code. Did you mean clock?"
    assert report.problems[0].hint == "Allowed: counts, targeting, clock."


# -- dates -------------------------------------------------------------------------


@given(many(st.dates(date(1900, 1, 1), date(2200, 12, 31))))
@example([date(1900, 1, 1), date(2024, 2, 29), date(2000, 2, 29)])
@few
def test_a_date_is_stored_as_it_was_written(shared: Registry, days: list[date]):
    keys, _ = send(shared, "operators", [{"since": day.isoformat()} for day in days])
    assert stored(shared, "operators", keys, "since") == [(day,) for day in days]


def _is_calendar_date(text: str) -> bool:
    if not re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", text):
        return False
    try:
        return date.fromisoformat(text).year >= 1900
    except ValueError:
        return False


@given(
    many(
        st.one_of(
            st.from_regex(r"\A(19|20)[0-9]{2}[-/. ]?[0-3]?[0-9][-/. ]?[0-3]?[0-9]\Z"),
            st.from_regex(r"\A[0-3]?[0-9][-/.][0-3]?[0-9][-/.]((19|20)[0-9]{2}|[0-9]{2})\Z"),
            st.from_regex(r"\A(19|20)[0-9]{2}-[01][0-9]-[0-3][0-9]\Z"),
        ),
        most=120,
    )
)
@settings(max_examples=15, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_nothing_but_a_calendar_date_in_iso_form_is_a_date(shared: Registry, texts: list[str]):
    _, report = send(shared, "operators", [{"since": text} for text in texts], dry_run=True)
    refused = {p.line - 2 for p in report.problems}
    assert refused == {n for n, text in enumerate(texts) if not _is_calendar_date(text)}


NO_DATE = [
    "2025-02-30",
    "2023-02-29",
    "1900-02-29",
    "2025-13-01",
    "2025-00-10",
    "2025-3-10",
    "2025/03/10",
    "20250310",
    "10.03.2025",
    "03/04/2025",
    "2025-W10-1",
    "2025-069",
    "2025-03-10T09:30",
    "0025-03-10",
    "1899-12-31",
    "infinity",
    "-infinity",
    "epoch",
    "today",
    "now",
    "45000",
]


@pytest.mark.parametrize("text", [*NO_DATE, "2025-03-10 (BC)", "10 March 2025"])
def test_what_is_no_date_is_held(shared: Registry, text: str):
    _, report = send(shared, "operators", [{"since": text}], dry_run=True)
    assert [(p.column, p.line) for p in report.problems] == [("since", 2)]


@pytest.mark.parametrize("text", ["03/04/2025", "3.4.2025", "03/04/25"])
def test_a_date_that_reads_in_two_ways_is_said_to(shared: Registry, text: str):
    _, report = send(shared, "operators", [{"since": text}], dry_run=True)
    assert (report.problems[0].rule, "can be read in two ways" in report.problems[0].message) == (
        "ambiguous_date",
        True,
    )


# -- times -------------------------------------------------------------------------

offsets = st.integers(-14 * 60, 14 * 60).map(lambda minutes: timezone(timedelta(minutes=minutes)))
instants = st.builds(
    lambda moment, zone: moment.replace(tzinfo=UTC).astimezone(zone),
    st.datetimes(datetime(1970, 1, 2), datetime(2037, 12, 30)).map(
        lambda moment: moment.replace(second=0, microsecond=0)
    ),
    offsets,
)


@given(many(instants))
@few
def test_a_time_with_an_offset_lands_on_the_local_day(shared: Registry, moments: list[datetime]):
    keys, _ = send(shared, "constancy", [CLOCK | {"done_at": moment.isoformat()} for moment in moments])
    local = [moment.astimezone(LISBON) for moment in moments]
    expected = [(one.replace(tzinfo=None), one.utcoffset() // timedelta(minutes=1)) for one in local]
    assert stored(shared, "constancy", keys, "done_at, done_at_offset_min") == expected


@pytest.mark.parametrize(
    ("text", "local", "offset"),
    [
        # Summer time in Lisbon is UTC+1, so half past eleven at night UTC is the next day there.
        ("2025-06-30T23:30Z", "2025-07-01 00:30", 60),
        ("2025-07-01T00:30+02:00", "2025-06-30 23:30", 60),
        ("2025-01-15T23:30Z", "2025-01-15 23:30", 0),
        ("2025-01-15T20:30:15-0500", "2025-01-16 01:30:15", 0),
        ("2025-07-01 09:30", "2025-07-01 09:30", 60),
        ("2025-07-01T09:30:15", "2025-07-01 09:30:15", 60),
    ],
)
def test_the_same_moment_in_other_writings(shared: Registry, text: str, local: str, offset: int):
    keys, _ = send(shared, "constancy", [CLOCK | {"done_at": text}])
    assert stored(shared, "constancy", keys, "done_at, done_at_offset_min") == [
        (datetime.fromisoformat(local), offset)
    ]


def last_sunday(year: int, month: int) -> date:
    last = date(year, month, calendar.monthrange(year, month)[1])
    return last - timedelta(days=(last.weekday() + 1) % 7)


@pytest.mark.parametrize("in_place", [False, True], ids=["staged", "read in place"])
@pytest.mark.parametrize(
    ("month", "rule", "before", "after"), [(3, "time_never", 0, 60), (10, "time_twice", 60, 0)]
)
def test_the_hour_that_clocks_skip_or_repeat_is_held(
    registry: Registry,
    as_files: Callable[..., Received],
    in_place: bool,
    month: int,
    rule: str,
    before: int,
    after: int,
):
    days = [last_sunday(year, month) for year in range(2019, 2027)]
    minutes = ["00:00", "00:59", "01:00", "01:30", "01:59", "02:00", "23:59"]
    texts = [f"{day}T{minute}" for day in days for minute in minutes]
    rows = {"constancy": [CLOCK | {"check_id": f"K{n}", "done_at": text} for n, text in enumerate(texts)]}
    sent = as_files(rows) if in_place else received(rows)
    report = accept(registry, sent, author="coordinator", today=TODAY, options=Options(held_share_max=1.0))
    within = {n for n, text in enumerate(texts) if text[11:13] == "01"}
    assert {(p.line - 2, p.column, p.rule) for p in report.problems} == {(n, "done_at", rule) for n in within}
    found = dict(registry.rows("SELECT check_id, done_at_offset_min FROM constancy"))
    assert found == {
        f"K{n}": before if text[11:13] == "00" else after for n, text in enumerate(texts) if n not in within
    }


def test_an_hour_that_occurs_twice_is_told_apart_by_its_offset(shared: Registry):
    # Also beside a row that gives none, and is held for it.
    texts = [
        "2025-10-26T01:30+01:00",
        "2025-10-26T01:30:00+00:00",
        "2025-10-26T00:30Z",
        "2025-10-26T01:30:00Z",
    ]
    keys, _ = send(shared, "constancy", [CLOCK | {"done_at": text} for text in [*texts, "2025-10-26T01:30"]])
    half_past_one = datetime(2025, 10, 26, 1, 30)
    found = stored(shared, "constancy", keys, "done_at, done_at_offset_min")
    assert found == [*((half_past_one, offset) for offset in (60, 0, 60, 0)), None]


NO_TIME = [
    "2025-03-10T24:00",
    "2025-03-10T24:00:00",
    "2025-03-10T24:00+01:00",
    "2025-03-10T25:00",
    "2025-03-10T09:60",
    "2025-03-10T09:30:60",
    "2025-03-10T9:30",
    "2025-03-10T0930",
    "2025-03-10T09.30",
    "2025-03-10T09",
    "2025-03-10t09:30",
    "2025-03-10T09:30+02",
    "2025-03-10T09:30+15:00",
    "2025-03-10T09:30+99:00",
    "2025-03-10T09:30+01:60",
    "2025-03-10T09:30 UTC",
    "2025-03-10T09:30Z+01:00",
    "2025/03/10 09:30",
    "10.03.2025 09:30",
    "2025-02-30T10:00",
    "2025-02-30T10:00Z",
    "1899-12-31T23:00",
    "infinity",
    "09:30",
]


@pytest.mark.parametrize("text", NO_TIME)
def test_what_is_no_time_is_held(shared: Registry, text: str):
    _, report = send(shared, "constancy", [CLOCK | {"done_at": text}], dry_run=True)
    assert [(p.column, p.line) for p in report.problems] == [("done_at", 2)]


def test_hour_24_is_answered_with_the_next_day(shared: Registry):
    _, report = send(shared, "constancy", [CLOCK | {"done_at": "2025-03-10T24:00:00"}], dry_run=True)
    assert (report.problems[0].rule, report.problems[0].hint) == ("hour_24", "Write 00:00 of the next day.")


# -- texts -------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("table", "field", "most"),
    [
        ("procedures", "procedure_id", 64),
        ("procedures", "marker_shape", 20),
        ("reviews", "note", 4000),
        ("pathology", "conclusion", 10_000),
    ],
)
def test_a_text_is_taken_up_to_its_length(shared: Registry, table: str, field: str, most: int):
    # The lengths are those of the data dictionary; 64 for a key is the project's own limit.
    first = BASE[table][0] | ({"accession": "", "marker_shape": "ring"} if table == "procedures" else {})
    rows = [first | {field: "x" * most}, first | {next(iter(first)): "NEW", field: "y" * (most + 1)}]
    report = load(shared, {table: rows}, held_share_max=1.0, dry_run=True)
    assert [(p.line, p.column, p.rule) for p in report.problems] == [(3, field, "too_long")]
    assert "yyy" not in report.problems[0].message


@given(st.text(st.characters(exclude_categories=["Cs", "Cc"]), min_size=1, max_size=20))
@settings(max_examples=10, suppress_health_check=[HealthCheck.function_scoped_fixture])
@example("'; DROP TABLE operators; --")
@example('=HYPERLINK("x")')
def test_a_text_is_stored_as_it_stands(shared: Registry, text: str):
    assume(text.strip() and text != "<erase>")
    keys, _ = send(shared, "operators", [{"role": text}])
    assert stored(shared, "operators", keys, "role") == [(text,)]


# -- the erase word ----------------------------------------------------------------

#: A field of every type that a row may leave empty.
ERASABLE = {
    "operators": ("experience_before", "since", "role"),
    "sources": ("state", "leak_test_on"),
    "findings": ("size_mm", "biopsy_advised_on", "region"),
    "procedures": ("ended_at", "weight_kg", "marker_shape", "accession", "gauge"),
    "patients": ("birth_date", "death_date"),
}


@pytest.mark.parametrize("in_place", [False, True], ids=["staged", "sound files"])
def test_erasing_what_is_empty_is_no_statement(
    registry: Registry, as_files: Callable[..., Received], in_place: bool
):
    rows = {name: given for name, given in base().items() if name in (*ERASABLE, "meetings")}
    rows["procedures"][0]["age_years"] = "64"
    for table, fields in ERASABLE.items():
        rows[table][0] |= dict.fromkeys(fields, "<erase>")
    sent = as_files(rows) if in_place else received(rows)
    report = accept(registry, sent, author="coordinator", today=TODAY)
    assert (report.problems, report.total.new) == ((), report.total.received)
    for table, fields in ERASABLE.items():
        kept = [name for name in fields if name not in ("birth_date", "accession")]
        assert registry.rows(f"SELECT {', '.join(kept)} FROM {table}") == [tuple(None for _ in kept)]


def test_a_required_field_cannot_be_erased(registry: Registry):
    load(registry, base())
    report = load(registry, {"procedures": [{"procedure_id": "P1", "site": "<erase>"}]})
    assert [(p.column, p.rule) for p in report.problems] == [("site", "required")]


def identity(registry: Registry) -> tuple[list[tuple], list[tuple]]:
    return (
        registry.identity.execute("SELECT CAST(birth_date AS VARCHAR) FROM patient_identity").fetchall(),
        registry.identity.execute("SELECT accession FROM procedure_accession").fetchall(),
    )


def test_a_birth_date_and_an_accession_number_can_be_erased_and_stay_in_history(registry: Registry):
    load(registry, base())
    report = load(
        registry,
        {
            "patients": [{"patient_id": "PAT1", "birth_date": "<erase>"}],
            "procedures": [{"procedure_id": "P1", "accession": "<erase>"}],
        },
    )
    before = registry.identity.execute(
        "SELECT CAST(birth_date AS VARCHAR), (SELECT accession FROM procedure_accession_history) FROM patient_identity_history"
    ).fetchall()
    assert (report.total.version, identity(registry)) == (2, ([(None,)], []))
    assert before == [("1960-05-17", "ACC1")]


def test_erasing_identifiers_again_changes_nothing(registry: Registry):
    load(registry, base())
    rows = {"patients": [{"patient_id": "PAT1", "birth_date": "<erase>"}]}
    load(registry, rows)
    assert load(registry, rows).total.unchanged == 1


# -- fractions of a second ---------------------------------------------------------


@pytest.mark.parametrize("in_place", [False, True], ids=["staged", "read in place"])
@pytest.mark.parametrize(
    ("text", "microseconds"),
    [("15.5", 500_000), ("15.25", 250_000), ("15.000001", 1), ("15.0", 0), ("59.999999", 999_999)],
)
def test_decimals_of_a_second_are_kept_without_an_offset_too(
    registry: Registry, as_files: Callable[..., Received], in_place: bool, text: str, microseconds: int
):
    rows = {"constancy": [CLOCK | {"check_id": "K1", "done_at": f"2025-07-10T09:30:{text}"}]}
    sent = as_files(rows) if in_place else received(rows)
    report = accept(registry, sent, author="coordinator", today=TODAY)
    at = datetime(2025, 7, 10, 9, 30, int(text[:2]), microseconds)
    assert report.problems == ()
    assert registry.rows("SELECT done_at, done_at_offset_min FROM constancy") == [(at, 60)]


@pytest.mark.parametrize("text", ["2025-10-26T01:30:15.5", "2025-03-30T01:30:15.5"])
def test_decimals_do_not_hide_an_hour_that_clocks_repeat_or_skip(shared: Registry, text: str):
    _, report = send(shared, "constancy", [CLOCK | {"done_at": text}], dry_run=True)
    assert [p.rule for p in report.problems] == ["time_twice" if "-10-" in text else "time_never"]


@pytest.mark.parametrize("text", ["09:30:15.1234567", "09:30:15,5", "09:30:15."])
def test_other_decimals_of_a_second_are_held_with_what_to_write(shared: Registry, text: str):
    _, report = send(shared, "constancy", [CLOCK | {"done_at": f"2025-03-10T{text}"}], dry_run=True)
    assert [(p.rule, "one to six decimals" in p.message) for p in report.problems] == [("fraction", True)]


@pytest.mark.parametrize("text", ["09: 0:15", "09:3 :15", "09:30: 5", "09: 0", "09:30 15", "09:30+15"])
def test_a_time_with_a_gap_is_held_and_not_cut_short(shared: Registry, text: str):
    """DuckDB 2 casts each of these to a time without what follows the gap."""
    _, report = send(shared, "constancy", [CLOCK | {"done_at": f"2025-03-10T{text}"}], dry_run=True)
    assert [p.column for p in report.problems] == ["done_at"]


@pytest.mark.parametrize("text", ["09:30:15.5x", "09:30:15.+5", "09:30:15. 5", "09:30.5", "09:30:15.5+"])
def test_what_only_looks_like_decimals_is_held(shared: Registry, text: str):
    _, report = send(shared, "constancy", [CLOCK | {"done_at": f"2025-03-10T{text}"}], dry_run=True)
    assert [p.column for p in report.problems] == ["done_at"]
