"""Data checks: each file under sql/checks finds its offending rows, and valid rows give no problem.

The offending rows are in ``offending.py``.
"""

from __future__ import annotations

import csv
import shutil
from pathlib import Path
from typing import TYPE_CHECKING

import polars as pl
import pytest

from registry.checks import check_registry
from registry.dictionary import KEYS
from registry.imports.received import Received, SourceTable
from registry.intake import IntakeReport, Options, accept
from registry.store import Registry
from tests.build import BASE, TODAY, base, load, received
from tests.intake.offending import (
    AT_THE_LIMIT,
    FRAMES,
    LATER,
    OFFENDING,
    REPEAT,
    STORED_TOO,
    VARIANTS,
    Cells,
    Change,
    Offending,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

ROOT = Path(__file__).resolve().parents[2]
DICTIONARY = list(csv.DictReader((ROOT / "sql" / "dictionary.csv").open(encoding="utf-8")))
CHECK_FILES = sorted(path.stem for path in (ROOT / "sql" / "checks").glob("*.sql"))
ERASE = "<erase>"


def header(name: str) -> dict[str, str]:
    """The header of a check, read without the program's own reader."""
    lines = (ROOT / "sql" / "checks" / f"{name}.sql").read_text(encoding="utf-8").splitlines()
    return dict(line.removeprefix("-- ").split(": ", 1) for line in lines if line.startswith("-- "))


def with_severity(*wanted: str) -> list[str]:
    return [name for name in CHECK_FILES if header(name)["severity"] in wanted and name in OFFENDING]


def rows_of(change: Change, emptied: str) -> dict[str, list[dict[str, str]]]:
    """Whole rows: those of the base with the same key (else the first), changed."""
    made: dict[str, list[dict[str, str]]] = {}
    for table, changes in change.items():
        for cells in changes:
            like = [
                row
                for row in BASE[table]
                if all(cells.get(key, row.get(key)) == row.get(key) for key in KEYS[table])
            ]
            row = (like or BASE[table])[0] | {
                name: emptied if value is None else value for name, value in cells.items()
            }
            made.setdefault(table, []).append(row)
    return made


def whole_batch(change: Change) -> dict[str, list[dict[str, str]]]:
    """A valid row of every table, with the changed rows in their place and the further ones behind."""
    rows = base()
    for table, changed in rows_of(change, "").items():
        places = {tuple(row.get(key) for key in KEYS[table]): place for place, row in enumerate(rows[table])}
        for row in changed:
            place = places.get(tuple(row.get(key) for key in KEYS[table]))
            if place is None:
                rows[table].append(row)
            else:
                rows[table][place] = row
    return rows


def with_frame(folder: Path) -> Path:
    """The folder with coordinate frames."""
    site = folder / "site.toml"
    site.write_text(site.read_text(encoding="utf-8") + FRAMES, encoding="utf-8")
    return folder


@pytest.fixture(scope="module")
def stored(empty_folder: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Registry]:
    """A registry that holds the valid rows; tests ask it in dry runs and leave it as it is."""
    folder = tmp_path_factory.mktemp("stored") / "registry"
    shutil.copytree(empty_folder, folder)
    with Registry.open(with_frame(folder), write=True) as opened:
        load(opened, base())
        load(opened, rows_of(STORED_TOO, ""))
        yield opened


@pytest.fixture
def framed(folder: Path) -> Iterator[Registry]:
    """An empty registry of the test's own with the same frame."""
    with Registry.open(with_frame(folder), write=True) as opened:
        yield opened


def correct(
    registry: Registry, change: Change, *, confirmed: bool = False, **options: object
) -> IntakeReport:
    """Send changed rows to a registry that holds the valid ones."""
    sent = received(rows_of(change, ERASE))
    if confirmed:
        tables = tuple(
            SourceTable(
                t.table,
                t.file,
                t.frame.with_columns(
                    pl.lit("yes").alias("_confirm"), pl.lit(None, dtype=pl.String).alias("_quarantine_id")
                ),
                t.columns,
            )
            for t in sent.tables
        )
        sent = Received(sent.format, (), tables)
    return accept(
        registry, sent, author="coordinator", today=TODAY, options=Options(held_share_max=1.0, **options)
    )  # type: ignore[arg-type]


def places(found: tuple, rules: frozenset[str] = frozenset()) -> set[tuple[str, str, int, str, str]]:
    """What problems say: rule, table, line, column, severity; without those of ``rules``."""
    return {(p.rule, p.table, p.line, p.column, p.severity) for p in found if p.rule not in rules}


def expected(
    name: str, severity: str, offending: Offending | None = None
) -> set[tuple[str, str, int, str, str]]:
    said = header(name)
    at = (offending or OFFENDING[name]).at
    return {(name, said["table"], 2 + row, said["column"], severity) for row in at}


def test_every_check_has_its_offending_rows():
    assert sorted(OFFENDING) == CHECK_FILES


def test_valid_rows_give_no_problem_and_no_warning(framed: Registry):
    report = load(framed, base())
    assert (report.problems, report.warnings, check_registry(framed, TODAY).height) == ((), (), 0)


@pytest.mark.parametrize("name", with_severity("hold"))
def test_a_contradiction_holds_its_rows_and_nothing_else(stored: Registry, name: str):
    report = correct(stored, OFFENDING[name].change, dry_run=True)
    assert places(report.problems, OFFENDING[name].beside) == expected(name, "hold")
    assert (report.warnings, report.total.held) == ((), len(OFFENDING[name].at))


def test_a_contradiction_cannot_be_confirmed(stored: Registry):
    report = correct(stored, OFFENDING["reviews_one_person"].change, confirmed=True, dry_run=True)
    assert places(report.problems) == expected("reviews_one_person", "hold")


@pytest.mark.parametrize("name", with_severity("review"))
def test_a_doubtful_row_is_held_for_review(stored: Registry, name: str):
    report = correct(stored, OFFENDING[name].change, dry_run=True)
    assert (places(report.problems), report.warnings) == (expected(name, "review"), ())


@pytest.mark.parametrize("name", with_severity("review"))
def test_a_doubtful_row_that_is_confirmed_is_taken_with_a_warning(stored: Registry, name: str):
    report = correct(stored, OFFENDING[name].change, confirmed=True, dry_run=True)
    assert (report.problems, places(report.warnings), report.total.held) == ((), expected(name, "warning"), 0)
    assert all(warning.message.startswith("Confirmed by the sender: ") for warning in report.warnings)


@pytest.mark.parametrize("name", with_severity("warning"))
def test_a_remarkable_row_is_taken_and_listed(stored: Registry, name: str):
    report = correct(stored, OFFENDING[name].change, dry_run=True)
    assert (report.problems, places(report.warnings), report.total.held) == ((), expected(name, "warning"), 0)


@pytest.mark.parametrize(
    ("name", "offending"),
    [
        pytest.param(name, one, id=f"{name}-{n}")
        for name, more in VARIANTS.items()
        for n, one in enumerate(more)
    ],
)
def test_every_part_of_a_condition_is_found(stored: Registry, name: str, offending: Offending):
    report = correct(stored, offending.change, dry_run=True)
    found = places((*report.problems, *report.warnings))
    assert found == expected(name, header(name)["severity"], offending)


@pytest.mark.parametrize("name", with_severity("stop"))
def test_a_batch_with_direct_identifiers_is_refused_whole(stored: Registry, name: str):
    before = stored.rows("SELECT * FROM table_state ORDER BY ALL")
    report = correct(stored, OFFENDING[name].change)
    said = header(name)
    assert f"{said['table']}.csv, line 2, column {said['column']}: {said['message']}" in report.refused
    assert stored.rows("SELECT * FROM table_state ORDER BY ALL") == before


@pytest.mark.parametrize("name", with_severity("note"))
def test_a_remark_is_found_among_the_stored_rows_only(framed: Registry, name: str):
    report = load(framed, whole_batch(OFFENDING[name].change))
    said = header(name)
    found = check_registry(framed, TODAY).select("severity", "check", "table", "column", "message").rows()
    assert (report.problems, report.warnings, found) == (
        (),
        (),
        [("note", name, said["table"], said["column"], said["message"])],
    )


def test_a_message_says_what_to_do(stored: Registry):
    problem = correct(stored, OFFENDING["complications_before_procedure"].change, dry_run=True).problems[0]
    said = header("complications_before_procedure")
    assert (
        problem.sentence() == f"complications.csv, line 2, column onset_on: {said['message']} {said['hint']}"
    )


# -- all of them in one batch ------------------------------------------------------

_KEYED = {name for key in KEYS.values() for name in key} - {"attempt", "version"}
_KEYED |= {row["field"] for row in DICTIONARY if row["allowed"].startswith("references ")} | {
    "accession",
    "supervisor",
    "radiologist",
}


def renamed(rows: dict[str, list[dict[str, str]]], mark: str) -> dict[str, list[dict[str, str]]]:
    """The same rows with keys of their own, so that they stand beside others in one batch."""
    return {
        table: [
            {
                name: value + mark if name in _KEYED | {"pathologist"} and value else value
                for name, value in row.items()
            }
            for row in given
        ]
        for table, given in rows.items()
    }


@pytest.mark.parametrize("in_place", [False, True], ids=["staged", "read in place"])
def test_all_checks_find_their_rows_in_one_first_batch(
    framed: Registry, as_files: Callable[..., Received], in_place: bool
):
    together: dict[str, list[dict[str, str]]] = {}
    wanted = set()
    for number, (name, offending) in enumerate(OFFENDING.items()):
        if not offending.together or header(name)["severity"] in ("stop", "note"):
            continue
        table = header(name)["table"]
        own = renamed(whole_batch(offending.change), f"-{number}")
        keys = [
            tuple(row.get(key, "") for key in KEYS[table])
            for row in renamed(rows_of(offending.change, ""), f"-{number}")[table]
        ]
        for place, row in enumerate(own[table]):
            if tuple(row.get(key, "") for key in KEYS[table]) in {keys[at] for at in offending.at}:
                wanted.add((name, len(together.get(table, [])) + place + 2))
        for each, rows in own.items():
            together.setdefault(each, []).extend(rows)
    sent = as_files(together) if in_place else received(together)
    report = accept(framed, sent, author="coordinator", today=TODAY, options=Options(held_share_max=1.0))
    found = {(p.rule, p.line) for p in (*report.problems, *report.warnings)}
    assert (report.refused, wanted - found, report.total.reconciles) == ("", set(), True)


def test_a_held_row_of_a_file_read_in_place_is_named_by_its_own_line(
    framed: Registry, as_files: Callable[..., Received]
):
    # Every other row lacks a time: joined on its day, those rows could come behind the others.
    first = base()["procedures"][0] | dict.fromkeys(
        ("ended_at", "injected_at", "first_scan_at", "marker", "marker_shape"), ""
    )
    rows = {name: base()[name] for name in ("patients", "findings")}
    rows["procedures"] = [
        first
        | {
            "procedure_id": f"P{n}",
            "accession": f"ACC{n}",
            "started_at": f"2025-{3 + n // 28:02}-{1 + n % 28:02}T09:30",
        }
        for n in range(60)
    ]
    for row in rows["procedures"][::2]:
        row["ended_at"] = row["started_at"]
    rows["procedures"][17]["gauge"] = "3"
    report = accept(framed, as_files(rows), author="coordinator", today=TODAY)
    cells = framed.identity.execute("SELECT cells->>'procedure_id', cells->>'gauge' FROM held_row").fetchall()
    assert ([(p.line, p.column) for p in report.problems], cells) == ([(19, "gauge")], [("P17", "3")])
    assert framed.rows("SELECT procedure_id FROM procedures ORDER BY rowid") == [
        (f"P{n}",) for n in range(60) if n != 17
    ]


# -- limits ------------------------------------------------------------------------


@pytest.mark.parametrize("change", AT_THE_LIMIT.values(), ids=AT_THE_LIMIT)
def test_the_last_right_value_is_taken_without_a_word(stored: Registry, change: Change):
    report = correct(stored, change, dry_run=True)
    assert (report.problems, report.warnings) == ((), ())


# -- references, required fields, keys ---------------------------------------------

REFERENCES = [
    (row["table"], row["field"], row["allowed"].split()[1].rstrip(";"))
    for row in DICTIONARY
    if row["allowed"].startswith("references ")
]


@pytest.mark.parametrize(("table", "field", "parent"), REFERENCES)
def test_a_reference_to_nothing_holds_the_row(stored: Registry, table: str, field: str, parent: str):
    cells: Cells = {field: "NOWHERE"}
    if field == "repeat_of":
        cells["repeat_reason"] = "discordant"
    report = correct(stored, {table: [cells]}, dry_run=True)
    assert places(report.problems) == {("reference", table, 2, field, "hold")}
    echoed = "NOWHERE" in report.problems[0].message
    assert (parent in report.problems[0].message, echoed) == (True, field != "patient_id")


REQUIRED = {
    table: [row["field"] for row in DICTIONARY if row["table"] == table and row["required"] == "yes"]
    for table in KEYS
}


@pytest.mark.parametrize("table", REQUIRED)
def test_a_required_field_left_empty_holds_the_row(stored: Registry, table: str):
    # Each row lacks one field; keys are new, for an empty cell leaves a stored value as it is.
    rows = []
    for number, field in enumerate(REQUIRED[table], 2):
        own = {"attempt": str(number)} if table == "targeting" else {KEYS[table][0]: f"NEW{number}"}
        rows.append(BASE[table][0] | own | {field: ""})
    report = load(stored, {table: rows}, dry_run=True)
    assert places(report.problems) == {
        ("required", table, line, field, "hold") for line, field in enumerate(REQUIRED[table], 2)
    }


@pytest.mark.parametrize("table", KEYS)
def test_rows_with_one_key_are_all_held_and_their_lines_named(stored: Registry, table: str):
    report = correct(stored, {table: [{}, {}]}, dry_run=True)
    assert places(report.problems) == {
        ("duplicate_key", table, line, KEYS[table][0], "hold") for line in (2, 3)
    }
    assert all("lines 2, 3" in problem.message for problem in report.problems)


def test_a_second_container_of_one_report_is_no_duplicate(stored: Registry):
    report = correct(stored, {"pathology": [{"specimen_id": "S1"}, {"specimen_id": "S2"}, {}]}, dry_run=True)
    assert (report.problems, report.total.new) == ((), 2)


# -- what follows from a held row --------------------------------------------------


def test_a_held_finding_holds_what_depends_on_it_and_nothing_else(framed: Registry):
    rows = base()
    rows["findings"][0]["assessment"] = "55"
    report = load(framed, rows, held_share_max=1.0)
    held = {name: count.held for name, count in report.tables.items()}
    free = dict.fromkeys(("operators", "sources", "meetings", "patients", "constancy"), 0)
    assert held == free | {name: len(rows[name]) for name in rows if name not in free}
    assert {p.rule for p in report.problems if p.table != "findings"} == {"reference"}


def test_a_row_that_depends_on_a_held_one_says_so(framed: Registry):
    rows = base()
    rows["procedures"][0]["gauge"] = "3"
    report = load(framed, rows, held_share_max=1.0)
    said = {p.message for p in report.problems if p.table == "specimens" and p.column == "procedure_id"}
    assert said == {"The row of procedures it refers to is held (procedures.csv, line 2)."}


def test_the_first_procedure_being_held_holds_the_whole_chain(framed: Registry):
    rows = base()
    rows["procedures"][0]["gauge"] = "3"
    rows["procedures"] += rows_of(
        {
            "procedures": [
                LATER | REPEAT,
                LATER | REPEAT | {"procedure_id": "P3", "repeat_of": "P2", "started_at": "2025-05-10T09:30"},
            ]
        },
        "",
    )["procedures"]
    report = load(
        framed, {name: rows[name] for name in ("patients", "findings", "procedures")}, held_share_max=1.0
    )
    assert report.tables["procedures"].held == 3


def test_a_circle_of_repeats_is_named_in_its_order(stored: Registry):
    report = correct(stored, OFFENDING["procedures_repeat_cycle"].change, dry_run=True)
    said = {p.line: p.message for p in report.problems if p.rule == "procedures_repeat_cycle"}
    assert [said[line].rsplit(": ", 1)[1] for line in (2, 3, 4)] == [
        "P1 -> P3 -> P2 -> P1",
        "P2 -> P1 -> P3 -> P2",
        "P3 -> P2 -> P1 -> P3",
    ]
