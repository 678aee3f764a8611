"""Numbers and codes: what is stored for a text, and which texts are held.

Expected values come from Python's own numbers.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import pytest
from hypothesis import HealthCheck, assume, example, given, settings
from hypothesis import strategies as st

from registry.store import Registry
from tests.build import BASE, load

if TYPE_CHECKING:
    pass

from tests.intake.cells import CLOCK, COUNTS, DICTIONARY, few, many, send, stored

# -- numbers ---------------------------------------------------------------------


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


# -- codes -----------------------------------------------------------------------

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
