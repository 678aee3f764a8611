"""Intake as the only writer: new, version, unchanged, held; history; nothing lost."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import polars as pl
import pytest

from registry.dictionary import TABLE_ORDER
from registry.imports.received import Malformed, Received
from registry.intake import RowCounts, accept, quarantine
from tests.build import TODAY, base, load, received

if TYPE_CHECKING:
    from pathlib import Path

    from registry.store import Registry


def counts(registry: Registry) -> dict[str, int]:
    return {name: registry.rows(f"SELECT count(*) FROM {name}")[0][0] for name in TABLE_ORDER}


def only(table: str, **cells: str) -> dict[str, list[dict[str, str]]]:
    return {table: [cells]}


def test_a_valid_row_of_every_table_is_stored(registry: Registry):
    report = load(registry, base())
    assert (report.total, report.problems, report.warnings) == (RowCounts(14, 14, 0, 0, 0), (), ())
    assert counts(registry) == {name: len(base()[name]) for name in TABLE_ORDER}


def test_the_same_rows_again_change_nothing(registry: Registry):
    load(registry, base())
    before = registry.rows("SELECT * FROM table_state ORDER BY ALL")
    report = load(registry, base())
    assert (report.total, registry.rows("SELECT * FROM table_state ORDER BY ALL")) == (
        RowCounts(14, 0, 0, 14, 0),
        before,
    )


def test_a_correction_is_a_new_version_and_the_old_one_stays_in_history(registry: Registry):
    load(registry, base())
    report = load(
        registry, only("procedures", procedure_id="P1", cores="10"), reason="counted again", author="second"
    )
    now = registry.rows("SELECT cores, author, batch_id FROM procedures")
    then = registry.rows(
        "SELECT cores, author, batch_id, superseded_by, superseded_reason FROM history.procedures"
    )
    assert report.total == RowCounts(1, 0, 1, 0, 0)
    assert (now, then) == ([(10, "second", 2)], [(12, "coordinator", 1, 2, "counted again")])


def test_an_empty_cell_says_nothing(registry: Registry):
    load(registry, base())
    load(registry, only("procedures", procedure_id="P1", cores="10", marker_shape=""))
    assert registry.rows("SELECT marker_shape, weight_kg, operator FROM procedures") == [
        ("coil", 68.0, "OP1")
    ]


def test_the_erase_word_empties_a_field(registry: Registry):
    load(registry, base())
    report = load(registry, only("procedures", procedure_id="P1", weight_kg="<erase>"))
    assert (report.total.version, registry.rows("SELECT weight_kg, cores FROM procedures")) == (
        1,
        [(None, 12)],
    )


def test_a_row_missing_from_a_later_file_is_not_deleted(registry: Registry):
    load(registry, base())
    rows = base()
    rows["specimens"] = rows["specimens"][:1]
    load(registry, rows)
    assert counts(registry)["specimens"] == 2


def test_identifiers_go_to_their_own_database_only(registry: Registry):
    load(registry, base())
    pseudonym = registry.pseudonyms.of("PAT1")
    held = registry.identity.execute(
        "SELECT patient, patient_id, CAST(birth_date AS VARCHAR) FROM patient_identity"
    ).fetchall()
    accession = registry.identity.execute(
        "SELECT procedure_id, accession, patient FROM procedure_accession"
    ).fetchall()
    assert (held, accession) == ([(pseudonym, "PAT1", "1960-05-17")], [("P1", "ACC1", pseudonym)])
    assert registry.rows("SELECT DISTINCT patient FROM findings") == [(pseudonym,)]


def test_the_age_on_the_day_comes_from_the_birth_date(registry: Registry):
    # Born 1960-05-17, biopsied 2025-03-10: the 65th birthday is still to come.
    load(registry, base())
    assert registry.rows("SELECT age_years FROM procedures") == [(64,)]


def test_a_corrected_birth_date_corrects_the_age_with_history(registry: Registry):
    load(registry, base())
    load(registry, only("patients", patient_id="PAT1", birth_date="1970-03-10"))
    assert registry.rows("SELECT age_years FROM procedures") == [(55,)]
    assert registry.rows("SELECT age_years, superseded_reason FROM history.procedures") == [
        (64, "birth date corrected")
    ]


def test_a_dry_run_writes_nothing_at_all(registry: Registry):
    before = (counts(registry), registry.rows("SELECT count(*) FROM audit_event"))
    report = load(registry, base(), dry_run=True)
    after = (counts(registry), registry.rows("SELECT count(*) FROM audit_event"))
    assert (report.total.new, before == after, (registry.folder / "identity.duckdb").exists()) == (
        14,
        True,
        False,
    )


def test_all_or_nothing_refuses_the_batch_for_one_row(registry: Registry):
    rows = base()
    rows["complications"][0]["grade"] = "7"
    report = load(registry, rows, all_or_nothing=True)
    assert (sum(counts(registry).values()), "all or nothing" in report.refused, report.exit_code) == (
        0,
        True,
        1,
    )


def many(held: int, good: int) -> dict[str, list[dict[str, str]]]:
    rows = [{"operator": f"OP{i}", "experience_before": "5"} for i in range(good)]
    return {"operators": rows + [{"operator": f"BAD{i}", "experience_before": "-5"} for i in range(held)]}


@pytest.mark.parametrize(("held", "good", "stored"), [(8, 32, 32), (9, 31, 0)])
def test_more_than_a_fifth_held_stops_the_batch_whole(registry: Registry, held: int, good: int, stored: int):
    # 8 of 40 is exactly 20 %, 9 of 40 more than that.
    load(registry, many(held, good))
    assert counts(registry)["operators"] == stored


def test_the_share_is_settable(registry: Registry):
    load(registry, many(20, 20), held_share_max=0.5)
    assert counts(registry)["operators"] == 20


def test_a_refused_batch_leaves_its_mark_in_the_trail(registry: Registry):
    load(registry, many(30, 10))
    assert registry.rows("SELECT action, outcome FROM audit_event ORDER BY seq DESC LIMIT 1") == [
        ("import", "refused")
    ]


def test_held_rows_come_back_as_a_file_that_can_be_corrected(registry: Registry):
    rows = base()
    rows["complications"][0]["grade"] = "7"
    report = load(registry, rows)
    frame = pl.read_csv(report.held_files[0], infer_schema=False)
    assert frame.columns == [
        "complication_id",
        "procedure_id",
        "kind",
        "grade",
        "onset_on",
        "problem",
        "hint",
        "quarantine_id",
        "confirm",
    ]
    assert frame.row(0, named=True) | {"problem": "", "hint": ""} == {
        "complication_id": "C1", "procedure_id": "P1", "kind": "haematoma", "grade": "7", "onset_on": "2025-03-11",
        "problem": "", "hint": "", "quarantine_id": "1-1", "confirm": None,
    }  # fmt: skip


def test_a_corrected_row_closes_the_one_that_was_held(registry: Registry):
    rows = base()
    rows["complications"][0]["grade"] = "7"
    load(registry, rows)
    corrected = received(only("complications", **(base()["complications"][0])))
    table = corrected.tables[0]
    marked = table.frame.with_columns(
        pl.lit("1-1").alias("_quarantine_id"), pl.lit(None, dtype=pl.String).alias("_confirm")
    )
    again = Received(corrected.format, (), (type(table)(table.table, table.file, marked, table.columns),))
    report = accept(registry, again, author="coordinator", today=TODAY)
    assert (report.resubmitted, report.total.new) == (1, 1)
    assert registry.rows("SELECT state, resolved_batch FROM quarantine") == [("fixed", 2)]


def test_the_same_held_row_sent_again_is_held_once(registry: Registry):
    rows = base()
    rows["complications"][0]["grade"] = "7"
    load(registry, rows)
    load(registry, rows)
    assert registry.rows("SELECT state, count(*) FROM quarantine GROUP BY state ORDER BY state") == [
        ("fixed", 1),
        ("open", 1),
    ]


def test_cells_of_held_rows_lie_with_the_identifiers(registry: Registry):
    rows = base()
    rows["patients"][0]["sex"] = "woman"
    load(registry, {"patients": rows["patients"]})
    cells = registry.identity.execute("SELECT cells FROM held_row").fetchall()[0][0]
    said = registry.rows("SELECT message FROM quarantine_problem")
    assert json.loads(cells)["patient_id"] == "PAT1"
    assert not any("PAT1" in message or "1960" in message for (message,) in said)


def test_a_held_row_is_dismissed_with_a_reason_and_a_name(registry: Registry):
    rows = base()
    rows["complications"][0]["grade"] = "7"
    load(registry, rows)
    quarantine.dismiss(registry, "1-1", "coordinator", "entered twice on paper")
    assert registry.rows("SELECT state, resolved_by, resolution FROM quarantine") == [
        ("dismissed", "coordinator", "entered twice on paper")
    ]


def test_a_row_that_could_not_be_read_is_held_with_its_text(registry: Registry):
    rows = received(only("operators", operator="OP1"))
    ragged = Malformed(
        "operators.csv", "operators", 3, "ragged_row", "expected 4 fields, found 3.", raw="OP2,radiologist,5"
    )
    report = accept(
        registry, Received(rows.format, (), rows.tables, (ragged,)), author="coordinator", today=TODAY
    )
    assert report.tables["operators"] == RowCounts(2, 1, 0, 0, 1)
    assert "OP2,radiologist,5" in registry.identity.execute("SELECT cells FROM held_row").fetchall()[0][0]


def test_rows_of_one_source_line_are_held_together(registry: Registry):
    rows = {name: base()[name] for name in ("patients", "findings", "procedures", "pathology")}
    rows["findings"][0]["assessment"] = "55"
    report = accept(registry, _on_one_line(received(rows, grouped=True)), author="coordinator", today=TODAY)
    assert (report.total, sum(counts(registry).values())) == (RowCounts(1, 0, 0, 0, 1), 0)
    assert [problem.column for problem in report.problems] == ["assessment"]


def _on_one_line(source: Received) -> Received:
    tables = tuple(type(t)(t.table, "flat.csv", t.frame, t.columns) for t in source.tables)
    return Received(source.format, (), tables, grouped=True)


def test_the_root_of_a_chain_is_its_first_procedure_whatever_the_order_of_the_rows(registry: Registry):
    rows = base()
    first = rows["procedures"][0] | {
        "accession": "",
        "marker": "",
        "marker_shape": "",
        "injected_at": "",
        "first_scan_at": "",
    }
    second = first | {
        "procedure_id": "P2",
        "started_at": "2025-04-10T09:30",
        "ended_at": "",
        "repeat_of": "P1",
        "repeat_reason": "discordant",
    }
    third = second | {"procedure_id": "P3", "started_at": "2025-05-10T09:30", "repeat_of": "P2"}
    load(
        registry,
        {"patients": rows["patients"], "findings": rows["findings"], "procedures": [third, second, first]},
    )
    assert registry.rows("SELECT procedure_id, root_id FROM procedures ORDER BY 1") == [
        ("P1", "P1"),
        ("P2", "P1"),
        ("P3", "P1"),
    ]


@pytest.mark.parametrize(
    ("change", "reopened"),
    [
        ({"diagnosis": "high_risk"}, ("P1",)),
        ({"lesion": "papilloma"}, ("P1",)),
        ({"b_category": "B3"}, ("P1",)),
        ({"atypia": "yes"}, ("P1",)),
        ({"calcifications": "no"}, ("P1",)),
        ({"other_lesions": "fea"}, ("P1",)),
        ({"status": "retracted"}, ("P1",)),
        ({"er": "positive"}, ()),
        ({"conclusion": "The same, in other words."}, ()),
        ({"status": "preliminary", "diagnosis": "high_risk"}, ()),
    ],
)
def test_an_amended_report_reopens_the_decision_when_its_basis_changes(
    registry: Registry, change: dict, reopened: tuple
):
    load(registry, base())
    second = (
        base()["pathology"][0] | {"version": "2", "status": "amended", "reported_on": "2025-04-02"} | change
    )
    assert load(registry, {"pathology": [second]}).reopened == reopened


def test_a_change_on_a_full_disk_is_not_saved_and_says_so(
    registry: Registry, monkeypatch: pytest.MonkeyPatch
):
    import duckdb

    from registry.errors import NotSaved
    from registry.intake import write

    def full(*_: object) -> None:
        raise duckdb.IOException("Could not write file: No space left on device")

    monkeypatch.setattr(write, "update_roots", full)
    with pytest.raises(NotSaved, match="No space left"):
        load(registry, base())
    assert sum(counts(registry).values()) == 0


def test_an_interrupted_import_is_rolled_back(registry: Registry, monkeypatch: pytest.MonkeyPatch):
    from registry.intake import write

    def interrupt(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(write, "update_roots", interrupt)
    with pytest.raises(KeyboardInterrupt):
        load(registry, base())
    assert sum(counts(registry).values()) == 0


def test_what_was_received_is_kept_under_its_hash(registry: Registry, tmp_path: Path):
    import hashlib

    from registry.imports.received import ReceivedFile

    path = tmp_path / "operators.csv"
    path.write_bytes(b"operator\nOP1\n")
    digest = hashlib.sha256(path.read_bytes()).hexdigest()
    source = received(only("operators", operator="OP1"))
    accept(
        registry,
        Received("registry-csv", (ReceivedFile("operators.csv", path, digest, 13),), source.tables),
        author="c",
        today=TODAY,
    )
    assert (registry.folder / "raw" / digest).read_bytes() == b"operator\nOP1\n"
