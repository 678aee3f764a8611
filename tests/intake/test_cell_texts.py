"""Texts and the erase word: what is stored, and what is emptied."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from hypothesis import HealthCheck, assume, example, given, settings
from hypothesis import strategies as st

from registry.intake import accept
from registry.store import Registry
from tests.build import BASE, TODAY, base, load, received

if TYPE_CHECKING:
    from collections.abc import Callable

    from registry.imports.received import Received

from tests.intake.cells import send, stored

# -- texts -----------------------------------------------------------------------


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


# -- the erase word --------------------------------------------------------------

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
