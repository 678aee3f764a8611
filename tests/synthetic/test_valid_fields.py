"""Every generated row is valid under the data dictionary, read here from its CSV."""

from __future__ import annotations

import re

import polars as pl
import pytest

from tests.synthetic.conftest import DECLARED, TABLES, UNTIL, declared

FIELDS = [(row["table"], row["field"]) for row in DECLARED]
ROWS = {(row["table"], row["field"]): row for row in DECLARED}
KEYS = {
    "patients": ["patient_id"],
    "findings": ["finding_id"],
    "procedures": ["procedure_id"],
    "targeting": ["procedure_id", "attempt"],
    "specimens": ["specimen_id"],
    "pathology": ["report_id", "procedure_id", "specimen_id", "version"],
    "reviews": ["review_id"],
    "followup": ["event_id"],
    "complications": ["complication_id"],
    "meetings": ["meeting_id"],
    "sources": ["source_id"],
    "constancy": ["check_id"],
    "operators": ["operator"],
}
CODED = [key for key in FIELDS if "|" in ROWS[key]["allowed"]]
RANGED = [
    key
    for key in FIELDS
    if re.match(r"-?[\d,.]+ to [\d,.]+", ROWS[key]["allowed"]) and ROWS[key]["type"] != "text"
]
REFERRING = [key for key in FIELDS if ROWS[key]["allowed"].startswith("references")]
TIMED = [key for key in FIELDS if ROWS[key]["type"] in ("date", "timestamp")]


def _name(key):
    return ".".join(key)


@pytest.mark.parametrize("table", TABLES)
def test_columns_stand_in_the_order_of_the_dictionary(demo, table):
    header = (demo.folder / f"{table}.csv").read_text(encoding="utf-8").split("\n", 1)[0].split(",")
    assert header == [row["field"] for row in declared(table) if row["field"] in header]


@pytest.mark.parametrize("table", TABLES)
def test_cells_have_the_type_of_their_field(demo, table):
    assert demo.table(table).height == demo.text(table).height


@pytest.mark.parametrize("key", [key for key in FIELDS if ROWS[key]["required"] == "yes"], ids=_name)
def test_required_field_is_never_empty(demo, key):
    assert demo.table(key[0])[key[1]].null_count() == 0


@pytest.mark.parametrize("key", CODED, ids=_name)
def test_codes_are_those_of_the_list(demo, key):
    used = set(demo.text(key[0])[key[1]].drop_nulls().unique())
    assert used <= set(ROWS[key]["allowed"].split("|"))


@pytest.mark.parametrize("key", RANGED, ids=_name)
def test_numbers_lie_in_their_range(demo, key):
    low, high = (
        float(text.replace(",", ""))
        for text in re.match(r"(-?[\d,.]+) to ([\d,.]+)", ROWS[key]["allowed"]).groups()
    )
    values = demo.table(key[0])[key[1]].drop_nulls()
    assert values.is_empty() or (values.min() >= low and values.max() <= high)


@pytest.mark.parametrize("key", REFERRING, ids=_name)
def test_references_lead_to_a_row(demo, key):
    parent = ROWS[key]["allowed"].split()[1].rstrip(";")
    known = demo.table(parent)[KEYS[parent][0]]
    assert set(demo.table(key[0])[key[1]].drop_nulls()) <= set(known)


@pytest.mark.parametrize("table", TABLES)
def test_key_names_one_row(demo, table):
    keys = demo.text(table).select(pl.col(KEYS[table]).fill_null(""))
    assert keys.is_duplicated().sum() == 0


@pytest.mark.parametrize("key", TIMED, ids=_name)
def test_nothing_is_dated_after_the_end(demo, key):
    latest = demo.table(key[0])[key[1]].cast(pl.Date).max()
    assert latest is None or latest <= UNTIL


@pytest.mark.parametrize("table", TABLES)
def test_text_is_short_and_plain_ascii(demo, table):
    text = demo.text(table).select(pl.all().str.len_chars().max())
    assert max(value or 0 for value in text.row(0)) <= 100
    assert demo.folder.joinpath(f"{table}.csv").read_bytes().isascii()


@pytest.mark.parametrize("table", ["procedures", "specimens", "constancy", "meetings"])
def test_times_lie_on_weekdays_where_no_clock_changes(demo, table):
    frame = demo.table(table).select(pl.col(pl.Datetime("us")))
    days = pl.concat([frame[name].drop_nulls() for name in frame.columns]).dt.weekday()
    assert days.max() <= 5
