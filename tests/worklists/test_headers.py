"""Every worklist on an empty registry: header, columns, and no rows."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING

import pytest

from registry import sqlfiles, worklists
from registry.errors import UsageProblem
from registry.sqlfiles import HeaderProblem, SqlFile
from tests.build import base, load

if TYPE_CHECKING:
    from registry.store import Registry

NAMES = (
    "actions_open",
    "cancelled_unresolved",
    "concordance_review",
    "discordant_unbooked",
    "follow_up_due",
    "informed_pending",
    "not_biopsied",
    "pathology_pending",
    "report_amended",
)
AS_OF = date(2026, 6, 30)


def test_the_worklists_are_found():
    assert tuple(worklists.load_worklists()) == NAMES


@pytest.mark.parametrize("name", NAMES)
def test_an_empty_registry_gives_the_columns_of_the_header_and_no_rows(registry: Registry, name: str):
    found = worklists.rows(registry, name, as_of=AS_OF)
    assert (tuple(found.columns), found.height) == (worklists.load_worklists()[name].columns, 0)


@pytest.mark.parametrize("name", NAMES)
def test_no_identifier_and_no_pseudonym_is_on_a_worklist(registry: Registry, name: str):
    rows = base()
    rows["findings"][0]["assessment"] = "5"
    rows["reviews"] = []
    rows["followup"] = []
    load(registry, rows)
    text = str(worklists.rows(registry, name, as_of=AS_OF).to_dicts())
    pseudonym = registry.rows("SELECT patient FROM patients")[0][0]
    assert not any(secret in text for secret in ("PAT1", "ACC1", "1960-05-17", pseudonym))


def test_an_unknown_worklist_is_refused_by_name(registry: Registry):
    with pytest.raises(UsageProblem, match=r"everything: there is no such worklist\. Known: actions_open,"):
        worklists.rows(registry, "everything", as_of=AS_OF)


@pytest.mark.parametrize(
    ("header", "message"),
    [
        (
            "-- worklist: other\n-- title: t\n-- question: q\n-- who: w\n-- order: o\n-- columns: c\n-- narrow: c\n-- note: n\n",
            "its header says other",
        ),
        (
            "-- worklist: x\n-- title: t\n-- question: q\n-- who: w\n-- order: o\n-- columns: c\n-- narrow: c\n",
            "header lacks note",
        ),
        (
            "-- worklist: x\n-- title: t\n-- question: q\n-- who: w\n-- order: o\n-- columns: c\n-- narrow: c\n-- note: n\n-- whom: v\n",
            "header has unknown whom",
        ),
        (
            "-- worklist: x\n-- title: t\n-- question: q\n-- who: w\n-- order: o\n-- columns: c\n-- narrow: d\n-- note: n\n",
            "narrow names d, which is no column of it",
        ),
    ],
    ids=["another name", "missing key", "unknown key", "narrow column that is none"],
)
def test_a_faulty_header_stops_the_load(monkeypatch: pytest.MonkeyPatch, header: str, message: str):
    def one_file(name: str, required: frozenset[str]) -> list[SqlFile]:
        read = sqlfiles.parse_header(header, "sql/worklists/x.sql")
        sqlfiles.check_keys(read, required, frozenset(), "sql/worklists/x.sql")
        return [SqlFile("x", read, header)]

    monkeypatch.setattr(worklists, "load_folder", one_file)
    with pytest.raises(HeaderProblem, match=message):
        worklists.load_worklists.__wrapped__()
