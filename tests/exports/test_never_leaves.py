"""What never leaves: identifiers, pseudonyms, free text, patients who object, columns nobody classified."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import polars as pl
import pytest

from registry import codebook
from registry.dictionary import tables
from registry.errors import UsageProblem
from registry.package import rows as rows_module
from registry.sqlfiles import HeaderProblem
from registry.store import Registry
from tests.build import load
from tests.exports.made import rows_of, run, twelve


def test_no_identifier_no_pseudonym_and_no_free_text_is_in_any_file(registry: Registry, tmp_path: Path):
    run(registry, tmp_path / "out")
    pl.read_parquet(tmp_path / "out" / "data" / "procedures.parquet").write_csv(tmp_path / "parquet.csv")
    text = "".join(
        path.read_text(encoding="utf-8")
        for path in (tmp_path / "out").rglob("*")
        if path.is_file() and path.suffix != ".parquet"
    )
    text += (tmp_path / "parquet.csv").read_text(encoding="utf-8")
    secrets = ["PAT1", "ACC1", "1960-05-17", "OP1", "OP2", "Kestrel", "Heron"]
    secrets += [row[0] for row in registry.rows("SELECT patient FROM patients")]
    assert [secret for secret in secrets if secret in text] == []


def test_a_patient_who_objects_is_left_out_and_counted(registry: Registry, tmp_path: Path):
    report = run(registry, tmp_path / "out", start=date(2025, 2, 1))
    keys = [row["procedure_id"] for row in rows_of(tmp_path / "out" / "data" / "procedures.csv")]
    # Twelve in all, one in January, one objects.
    flow = [(12, 0), (11, 1), (10, 1)]
    assert ("P3" in keys, [(one.remaining, one.left_out) for one in report.flow]) == (False, flow)


def test_who_objects_later_is_left_out_from_then_on_and_back_when_it_is_taken_back(
    registry: Registry, tmp_path: Path
):
    """The last answer counts: the second patient objects, and the third no longer does."""
    rows = twelve()["patients"]
    changed = [{**rows[1], "research_use": "objected"}, {**rows[2], "research_use": "permitted"}]
    assert load(registry, {"patients": changed}).total.version == 2

    report = run(registry, tmp_path / "out")

    keys = {row["procedure_id"] for row in rows_of(tmp_path / "out" / "data" / "procedures.csv")}
    assert ({"P2", "P3"} & keys, (report.flow[-1].left_out, report.flow[-1].remaining)) == ({"P3"}, (1, 11))


def test_the_other_answers_on_research_use_are_kept_and_shown(registry: Registry, tmp_path: Path):
    run(registry, tmp_path / "out")
    found = {
        row["procedure_id"]: row["research_use"]
        for row in rows_of(tmp_path / "out" / "data" / "procedures.csv")
    }
    assert [found[key] for key in ("P1", "P4", "P5")] == ["", "not_asked", "permitted"]


def test_patient_numbers_are_drawn_anew_for_each_export(registry: Registry, tmp_path: Path):
    """Two draws of twelve numbers agree once in 479,001,600 times."""
    orders = []
    for name in ("first", "second"):
        run(registry, tmp_path / name, seed=None)
        rows = sorted(
            rows_of(tmp_path / name / "data" / "procedures.csv"), key=lambda row: row["procedure_id"]
        )
        orders.append([row["patient_no"] for row in rows])
    assert orders[0] != orders[1]


def test_procedures_of_one_patient_share_a_number(registry: Registry, tmp_path: Path):
    second = {
        **twelve()["procedures"][0],
        "procedure_id": "P13",
        "started_at": "2025-05-10T09:30",
        "ended_at": "",
        "accession": "",
        "marker_shape": "ring",
    }
    load(registry, {"procedures": [second]})
    run(registry, tmp_path / "out")
    numbers = {
        row["procedure_id"]: row["patient_no"]
        for row in rows_of(tmp_path / "out" / "data" / "procedures.csv")
    }
    assert (numbers["P1"] == numbers["P13"], len(set(numbers.values()))) == (True, 11)


def test_rows_stand_in_the_order_of_their_numbers_not_of_their_keys(registry: Registry, tmp_path: Path):
    run(registry, tmp_path / "out")
    rows = rows_of(tmp_path / "out" / "data" / "procedures.csv")
    numbers = [int(row["patient_no"]) for row in rows]
    assert numbers == sorted(numbers) and [row["procedure_id"] for row in rows] != sorted(
        row["procedure_id"] for row in rows
    )


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("    p.cores,\n", "    p.cores,\n    p.author AS entered_by,\n", "gives entered_by, not declared"),
        ("    p.cores,\n", "", "lacks cores"),
        ("    f.finding_id,\n    f.root_id,\n", "    f.root_id,\n    f.finding_id,\n", "has another order"),
    ],
    ids=["one more", "one less", "another order"],
)
def test_sql_that_does_not_give_what_it_declares_stops_the_export(
    registry: Registry, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, old: str, new: str, said: str
):
    cohort = codebook.load_cohort()
    assert old in cohort.sql
    changed = codebook.Cohort(**{**cohort.__dict__, "sql": cohort.sql.replace(old, new)})
    monkeypatch.setattr(rows_module, "load_cohort", lambda: changed)
    with pytest.raises(UsageProblem, match=said):
        run(registry, tmp_path / "out")
    assert not (tmp_path / "out").exists()


def test_a_pseudonym_under_a_permitted_name_stops_the_export(
    registry: Registry, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    cohort = codebook.load_cohort()
    changed = codebook.Cohort(
        **{**cohort.__dict__, "sql": cohort.sql.replace("    f.site,\n", "    f.patient AS site,\n")}
    )
    monkeypatch.setattr(rows_module, "load_cohort", lambda: changed)
    with pytest.raises(
        UsageProblem, match="Column site of the export holds what looks like a stored pseudonym"
    ):
        run(registry, tmp_path / "out")


@pytest.mark.parametrize(
    "declared",
    [
        "who patients.patient_id key",
        "who findings.patient_id key",
        "born patients.birth_date date",
        "number procedures.accession key",
        "who procedure_facts.patient key",
        "words pathology.conclusion clinical",
        "words reviews.note clinical",
    ],
)
def test_an_identifier_or_free_text_cannot_be_declared(declared: str):
    with pytest.raises(HeaderProblem, match="never exported"):
        codebook.parse_column(declared)


@pytest.mark.parametrize(
    "declared",
    ["cores procedures.cores", "cores procedures.cores harmless", "cores procedures.cores clinical a.b c"],
)
def test_a_column_without_a_known_sensitivity_is_refused(declared: str):
    with pytest.raises(HeaderProblem, match="Known sensitivities: key, person, age, body, date, horizon, "):
        codebook.parse_column(declared)


def test_every_field_of_a_procedure_is_either_declared_or_withheld(registry: Registry):
    """A column added to the record is not exported until somebody classifies it."""
    cohort = codebook.load_cohort()
    declared = {column.source for column in cohort.columns}
    names = {column.name for column in cohort.columns}
    fields = {
        f"{name}.{field}" for name in ("patients", "findings", "procedures") for field in tables()[name].names
    }
    facts = {
        f"procedure_facts.{name}"
        for (name,) in registry.rows(
            "SELECT column_name FROM duckdb_columns() WHERE table_name = 'procedure_facts'"
        )
        if name not in names
    }
    # The finding of a procedure stands in both tables.
    classified = declared | cohort.withheld.keys() | {"procedures.finding_id"}
    assert ((fields | facts) - classified, declared & cohort.withheld.keys()) == (set(), set())
