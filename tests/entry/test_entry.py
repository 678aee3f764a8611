"""Rows entered by hand: drafts, the stored row, saving, and two people on one row."""

from __future__ import annotations

import json
import threading
from datetime import UTC, date, datetime

import pytest

from registry.entry import FORMS, Changed, check, discard, draft, drafts, form_fields, keep, opened, save
from registry.errors import BatchRefused, Refused, UsageProblem
from registry.people import Actor, Role, acting
from registry.store import Registry
from registry.verify import verify
from tests.build import base, load

TODAY = date(2026, 6, 30)
P1 = {"procedure_id": "P1"}


def somebody(name: str) -> Actor:
    return Actor(name, frozenset({Role.COORDINATOR}), confirmed_at=datetime(2026, 6, 30, tzinfo=UTC))


@pytest.fixture
def filled(registry: Registry) -> Registry:
    load(registry, base())
    return registry


# -- what a form asks ----------------------------------------------------------------------


@pytest.mark.parametrize("table", FORMS)
def test_a_form_asks_every_field_of_its_table_once(table):
    from registry.dictionary import tables

    assert sorted(one.name for one in form_fields(table)) == sorted(tables()[table].names)


@pytest.mark.parametrize(
    ("table", "name"), [("findings", "patient_id"), ("procedures", "accession"), ("pathology", "conclusion")]
)
def test_a_draft_may_hold_no_identifier_and_no_free_text(table, name):
    assert [one.kept for one in form_fields(table) if one.name == name] == [False]


# -- the stored row ------------------------------------------------------------------------


def test_the_stored_row_is_what_was_entered(filled):
    sent = base()["procedures"][0]
    cells = opened(filled, "procedures", P1).cells

    # Lengths come back as numbers without what they do not need; the accession number stays apart.
    assert {name: text for name, text in sent.items() if name != "accession"} == {
        name: text for name, text in cells.items() if name in sent
    }
    assert "accession" not in cells


def test_a_row_that_is_saved_as_it_was_opened_changes_nothing(filled):
    found = opened(filled, "procedures", P1)
    save(filled, "procedures", found.cells, version=found.version, reason="looked at", today=TODAY)

    assert filled.rows("SELECT count(*) FROM history.procedures") == [(0,)]


@pytest.mark.parametrize("table", FORMS)
def test_every_form_opens_its_row(filled, table):
    row = base()[table][0]

    assert opened(filled, table, row).version


def test_a_patient_is_found_by_the_identifier_and_the_identifiers_are_not_read_back(filled):
    sent = base()["patients"][0]
    cells = opened(filled, "patients", {"patient_id": f" {sent['patient_id']} "}).cells

    assert cells["sex"] == sent["sex"]
    assert {"patient_id", "birth_date"}.isdisjoint(cells)
    assert not {sent["patient_id"], sent["birth_date"]} & set(cells.values())


def test_a_pseudonym_is_no_identifier_by_which_a_patient_is_opened(filled):
    ((pseudonym,),) = filled.rows("SELECT patient FROM patients")

    assert opened(filled, "patients", {"patient_id": pseudonym}).version == ""


def test_a_death_is_entered_for_a_patient_and_the_birth_date_stays(filled):
    patient = {"patient_id": base()["patients"][0]["patient_id"]}
    found = opened(filled, "patients", patient)
    changed = {**patient, **found.cells, "death_date": "2026-05-01"}
    save(filled, "patients", changed, version=found.version, reason="told by the family", today=TODAY)

    assert filled.rows("SELECT death_date FROM patients") == [(date(2026, 5, 1),)]
    assert [
        row[0] for row in filled.identity.execute("SELECT birth_date FROM patient_identity").fetchall()
    ] == [date.fromisoformat(base()["patients"][0]["birth_date"])]


def test_what_a_person_opens_is_written_down_once(filled):
    with acting(somebody("ines")):
        for _ in range(3):
            opened(filled, "pathology", base()["pathology"][0])
        opened(filled, "pathology", {"report_id": "R9"})

    assert filled.rows(
        "SELECT actor, object_kind FROM audit_event WHERE action = 'open the record of a procedure'"
    ) == [("ines", "pathology")]


def test_a_key_without_a_row_opens_nothing(filled):
    assert opened(filled, "procedures", {"procedure_id": "P9"}) == type(opened(filled, "procedures", P1))(
        {}, ""
    )


# -- saving --------------------------------------------------------------------------------


def new_complication(**cells: str) -> dict[str, str]:
    return {
        "complication_id": "C9",
        "procedure_id": "P1",
        "kind": "pain",
        "grade": "1",
        "onset_on": "2025-03-12",
        **cells,
    }


def test_a_new_row_comes_in_like_one_from_a_file(filled):
    with acting(somebody("ines")):
        save(filled, "complications", new_complication(), version="", reason="", today=TODAY)

    assert filled.rows("SELECT kind, author FROM complications WHERE complication_id = 'C9'") == [
        ("pain", "ines")
    ]
    assert list(verify(filled)) == []


def test_a_row_that_breaks_a_rule_is_refused_in_its_sentence(filled):
    with pytest.raises(BatchRefused, match="onset_on"):
        save(
            filled,
            "complications",
            new_complication(onset_on="2025-03-09"),
            version="",
            reason="",
            today=TODAY,
        )

    assert filled.rows("SELECT count(*) FROM complications") == [(1,)]


def test_what_intake_would_say_is_said_before(filled):
    problems = check(filled, "complications", new_complication(onset_on="2025-03-09"), today=TODAY)

    assert [one.column for one in problems] == ["onset_on"]
    assert filled.rows("SELECT count(*) FROM complications") == [(1,)]


def test_a_changed_row_needs_a_reason_and_keeps_the_old_version(filled):
    found = opened(filled, "procedures", P1)
    changed = {**found.cells, "cores": "11"}
    with pytest.raises(UsageProblem, match="say why"):
        save(filled, "procedures", changed, version=found.version, reason=" ", today=TODAY)
    save(filled, "procedures", changed, version=found.version, reason="miscounted", today=TODAY)

    assert filled.rows("SELECT cores FROM procedures") == [(11,)]
    assert filled.rows("SELECT cores, superseded_reason FROM history.procedures") == [(12, "miscounted")]


def test_a_field_that_was_filled_and_is_empty_now_is_emptied(filled):
    found = opened(filled, "procedures", P1)
    cells = {name: text for name, text in found.cells.items() if name != "marker_shape"}
    save(filled, "procedures", cells, version=found.version, reason="not seen", today=TODAY)

    assert filled.rows("SELECT marker_shape, marker FROM procedures") == [(None, "placed")]


# -- two people ----------------------------------------------------------------------------


def test_the_second_sees_what_the_first_changed_instead_of_overwriting_it(filled):
    first, second = (opened(filled, "procedures", P1) for _ in range(2))
    save(
        filled,
        "procedures",
        {**first.cells, "residual": "reduced"},
        version=first.version,
        reason="read",
        today=TODAY,
    )
    with pytest.raises(Changed) as clash:
        save(
            filled,
            "procedures",
            {**second.cells, "cores": "11"},
            version=second.version,
            reason="counted",
            today=TODAY,
        )

    assert clash.value.theirs == {"residual": ("", "reduced"), "cores": ("11", "12")}
    assert filled.rows("SELECT cores, residual FROM procedures") == [(12, "reduced")]


def test_a_row_that_appeared_meanwhile_is_not_overwritten(filled):
    save(filled, "complications", new_complication(), version="", reason="", today=TODAY)
    with pytest.raises(Changed):
        save(filled, "complications", new_complication(kind="infection"), version="", reason="", today=TODAY)

    assert filled.rows("SELECT kind FROM complications WHERE complication_id = 'C9'") == [("pain",)]


def test_of_many_who_save_one_row_at_once_one_does(filled):
    found = opened(filled, "procedures", P1)
    told: list[str] = []

    def one(number: int) -> None:
        try:
            save(
                filled,
                "procedures",
                {**found.cells, "cores": str(number)},
                version=found.version,
                reason="count",
                today=TODAY,
            )
            told.append(f"saved {number}")
        except Changed:
            told.append("changed")

    threads = [threading.Thread(target=one, args=(number,)) for number in range(1, 7)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    (saved,) = [text for text in told if text.startswith("saved")]

    assert len(told) == 6
    assert filled.rows("SELECT 'saved ' || cores FROM procedures") == [(saved,)]
    assert filled.rows("SELECT count(*) FROM history.procedures") == [(1,)]


# -- drafts --------------------------------------------------------------------------------


def test_a_draft_is_whose_it_is_and_survives_a_restart(filled):
    with acting(somebody("ines")):
        keep(filled, "complications", "C9", new_complication(), version="")
    filled.close()
    with Registry.open(filled.folder, write=True) as again:
        with acting(somebody("ines")):
            assert draft(again, "complications", "C9").cells == new_complication()
        with acting(somebody("vera")):
            assert drafts(again) == ()


def test_a_later_draft_of_a_row_takes_the_place_of_the_earlier(filled):
    for kind in ("pain", "infection"):
        keep(filled, "complications", "C9", new_complication(kind=kind), version="")

    assert [one.cells["kind"] for one in drafts(filled)] == ["infection"]


def test_a_draft_is_gone_once_its_row_is_saved_or_it_is_discarded(filled):
    for key in ("C9", "C8"):
        keep(filled, "complications", key, new_complication(complication_id=key), version="")
    save(filled, "complications", new_complication(), version="", reason="", today=TODAY)
    assert [one.row_key for one in drafts(filled)] == ["C8"]
    discard(filled, "complications", "C8")
    assert drafts(filled) == ()


def test_a_draft_counts_nowhere(filled):
    revision = filled.revision()
    keep(filled, "complications", "C9", new_complication(), version="")

    assert filled.rows("SELECT count(*) FROM complications") == [(1,)]
    assert filled.revision() == revision
    assert list(verify(filled)) == []


def test_identifiers_and_free_text_are_not_in_the_file_of_a_draft(filled):
    keep(filled, "findings", "F9", {"finding_id": "F9", "patient_id": "PAT9", "laterality": "L"}, version="")
    keep(filled, "pathology", "R9|P1||1", {"report_id": "R9", "conclusion": "Words of somebody."}, version="")
    kept = [json.loads(cells) for (cells,) in filled.rows("SELECT cells FROM entry_draft ORDER BY row_key")]

    assert kept == [{"finding_id": "F9", "laterality": "L"}, {"report_id": "R9"}]


def test_an_erasure_takes_drafts_of_the_patient_away(filled):
    from registry.erasure.plan import DRAFTS

    keep(filled, "complications", "C9", new_complication(), version="")
    keep(filled, "procedures", "P1", {"procedure_id": "P1", "cores": "3"}, version="")
    keep(
        filled, "complications", "C7", new_complication(complication_id="C7", procedure_id="P12"), version=""
    )

    assert filled.rows(
        f"SELECT row_key FROM entry_draft WHERE {DRAFTS} ORDER BY 1", {"keys": ["P1", "F1"]}
    ) == [
        ("C9",),
        ("P1",),
    ]


def test_who_may_not_enter_keeps_no_draft(filled):
    viewer = Actor("vera", frozenset({Role.VIEWER}))
    with acting(viewer), pytest.raises(Refused):
        keep(filled, "complications", "C9", new_complication(), version="")
