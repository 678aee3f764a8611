"""What names a patient is gone from every byte of the folder; what remains still agrees with its trail."""

from __future__ import annotations

import csv
import json
from datetime import UTC, date, datetime

import duckdb
import pytest

from registry import erasure, snapshot
from registry.dictionary import tables
from registry.imports import registry_csv
from registry.intake import Options, accept
from registry.known import as_known
from registry.measures import evaluate
from registry.meetings import minutes
from registry.monitoring.notes import answer
from registry.store import Registry
from registry.verify import verify
from tests.build import TODAY, base

#: Long and odd enough that no other byte of a folder says it by chance.
SECRET = "QX-77310045"
BORN = "1931-07-23"
NUMBER = "ACC-5519902"
NOTE = "Bittern words on a signal"
WORDS = (
    NOTE,
    "Kestrel words of the pathologist",
    "Heron words of the meeting",
    "Osprey words, corrected since",
)
TRACES = (SECRET, BORN, NUMBER, *WORDS)
AS_OF = date(2026, 6, 30)
OTHER = ("PAT2", "1960-05-17", "ACC2", "Plover words that stay")


#: Keys of the second patient in place of those of :data:`tests.build.BASE`.
SECOND = dict(
    zip(
        ["PAT1", "F1", "P1", "S1", "S2", "R1", "V1", "E1", "C1"],
        ["PAT2", "F2", "P2", "S3", "S4", "R2", "V2", "E2", "C2"],
        strict=True,
    )
)
SHARED = ("operators", "sources", "meetings", "constancy")


def two_patients():
    """The first is erased; the second has the same rows in every table, under keys of her own."""
    both = base()
    for name, given in base().items():
        if name not in SHARED:
            both[name] += [{key: SECOND.get(value, value) for key, value in row.items()} for row in given]
    both["patients"][0] |= {"patient_id": SECRET, "birth_date": BORN}
    both["findings"][0] |= {"patient_id": SECRET}
    both["procedures"][0] |= {"accession": NUMBER}
    both["procedures"][1] |= {"accession": OTHER[2]}
    both["pathology"][0] |= {"conclusion": f'{WORDS[3]}, "quoted",\nover two lines'}
    both["pathology"][1] |= {"conclusion": OTHER[3]}
    both["reviews"][0] |= {"note": WORDS[2]}
    both["meetings"][0] |= {"chair": "CHAIR-A"}
    return both


def write_files(place, rows, *, but=frozenset()):
    """One file a table, as a source would send it; without the rows that hold one of some values."""
    place.mkdir(parents=True)
    for name, given in rows.items():
        columns = list(dict.fromkeys(key for row in given for key in row))
        with (place / f"{name}.csv").open("w", newline="", encoding="utf-8") as handle:
            writer = csv.DictWriter(handle, columns)
            writer.writeheader()
            writer.writerows(row for row in given if not but & set(row.values()))
    return place


def bring(registry, place, rows, **options):
    return accept(
        registry,
        registry_csv.read(write_files(place, rows)),
        author="coordinator",
        today=TODAY,
        options=Options(held_share_max=1, **options),
    )


@pytest.fixture(scope="module")
def template(empty_folder, tmp_path_factory):
    """Three batches: two patients; a corrected report; a held row. And a copy for readers."""
    import shutil

    place = tmp_path_factory.mktemp("erasure")
    folder = shutil.copytree(empty_folder, place / "registry")
    with Registry.open(folder, write=True, clock=lambda: datetime(2026, 7, 1, 8, tzinfo=UTC)) as registry:
        assert bring(registry, place / "one", two_patients()).total.held == 0
        report = {**two_patients()["pathology"][0], "conclusion": WORDS[1]}
        assert bring(registry, place / "two", {"pathology": [report]}, reason="typing").total.version == 1
        wrong = {**two_patients()["reviews"][0], "review_id": "V9", "determination": "perhaps"}
        late = {"patient_id": SECRET, "birth_date": BORN, "sex": "unheard of"}
        held = bring(registry, place / "three", {"reviews": [wrong], "patients": [late]})
        assert held.total.held == 2
        for key, text in (("P1", NOTE), ("P2", "Dunlin words that stay")):
            given = {
                "chart": "cusum",
                "stratum": "all",
                "design": "0.1, twice",
                "answer": "looking",
                "note": text,
            }
            answer(registry, "complication", key, **given, author="quality")
        # The note of the discussion stands in the minutes, too.
        minutes.sign(registry, "M1", author="chair", today=TODAY)
        snapshot.publish(registry)
    return folder


@pytest.fixture
def folder(template, tmp_path):
    import shutil

    return shutil.copytree(template, tmp_path / "registry")


def erase(folder, **options):
    given = {"reason": "asked to be erased", "author": "administrator"} | options
    return erasure.erase(
        folder, options.pop("patient", SECRET), **{k: v for k, v in given.items() if k != "patient"}
    )


def where(folder, text):
    """Files of the folder in whose bytes, or name, a text stands."""
    return [
        str(path.relative_to(folder))
        for path in sorted(folder.rglob("*"))
        if path.is_file() and (text.encode() in path.read_bytes() or text in path.name)
    ]


def state(folder):
    """Rows of the second patient and of tables without patients, and what identity.duckdb holds of her."""
    with Registry.open(folder) as registry:
        pseudonym = registry.pseudonyms.of("PAT2")
        names = (*SHARED, "targeting", "specimens", "pathology", "reviews")
        rows = {
            name: registry.rows(
                f"SELECT * FROM {name} "
                + ("WHERE procedure_id = 'P2' " if name not in SHARED else "")
                + "ORDER BY ALL"
            )
            for name in names
        }
        rows["notes"] = registry.rows("SELECT * FROM signal_note WHERE procedure_id = 'P2'")
        rows["facts"] = registry.rows(
            "SELECT * EXCLUDE (patient_no) FROM procedure_facts WHERE procedure_id = 'P2'"
        )
        for name in ("patient_identity", "procedure_accession"):
            rows[name] = registry.identity.execute(
                f"SELECT * FROM {name} WHERE patient = ?", [pseudonym]
            ).fetchall()
    return rows


def test_before_it_every_trace_stands_somewhere(folder):
    """Otherwise the next test would prove nothing. Days of birth lie as numbers in the database."""
    assert all(where(folder, text) for text in TRACES)
    assert "identity.duckdb" in where(folder, SECRET)
    assert "registry.duckdb" in where(folder, WORDS[1])
    assert "snapshot/registry.duckdb" in where(folder, WORDS[2])
    assert "registry.duckdb" in where(folder, WORDS[3])
    assert any(name.startswith("held/") for name in where(folder, SECRET))


def test_no_byte_of_the_patient_is_left_in_the_folder(folder):
    erase(folder)

    assert {text: where(folder, text) for text in TRACES} == {text: [] for text in TRACES}


def test_no_table_holds_the_day_of_birth(folder):
    erase(folder)

    found = []
    for name in ("identity.duckdb", "registry.duckdb", "snapshot/registry.duckdb"):
        with duckdb.connect(str(folder / name), read_only=True) as connection:
            for schema, table, column in connection.execute(
                "SELECT schema_name, table_name, column_name FROM duckdb_columns() WHERE NOT internal"
            ).fetchall():
                sql = f'SELECT count(*) FROM {schema}.{table} WHERE contains(CAST("{column}" AS VARCHAR), ?)'
                found += [
                    (name, table) for text in TRACES if connection.execute(sql, [text]).fetchall()[0][0]
                ]
    assert found == []


def test_other_patients_keep_their_rows_identities_and_facts(folder):
    before = state(folder)

    erase(folder)

    assert before["pathology"]
    assert before["patient_identity"]
    assert state(folder) == before


def test_lines_of_others_stay_in_raw_to_the_byte(folder, tmp_path):
    """Expected: the files as the source would have sent them without her."""
    without = write_files(tmp_path / "without", two_patients(), but={SECRET, "F1", "P1"})

    erase(folder)

    left = {path.read_bytes() for path in (folder / "raw").iterdir()}
    assert {path.read_bytes() for path in without.iterdir()} <= left
    assert len(without.joinpath("reviews.csv").read_bytes().splitlines()) == 2


def test_verify_is_clean_after_it(folder):
    erase(folder)

    with Registry.open(folder, check_anchor=False) as registry:
        assert verify(registry) == []


@pytest.mark.parametrize(
    ("sql", "part"),
    [
        ("UPDATE history.pathology SET diagnosis = 'invasive' WHERE procedure_id = 'P1'", "tables"),
        ("UPDATE history.pathology SET conclusion = 'put back' WHERE procedure_id = 'P1'", "tables"),
        ("UPDATE main.pathology SET conclusion = 'other' WHERE procedure_id = 'P2'", "tables"),
        ("DELETE FROM history.patients", "tables"),
        (
            "UPDATE audit_event SET details = replace(details, 'asked', 'told') WHERE action = 'erase'",
            "trail",
        ),
        (
            "INSERT INTO legal_hold VALUES ('x', TIMESTAMP '2026-07-01', 'a', 'b', NULL, NULL, NULL)",
            "legal holds",
        ),
    ],
)
def test_tampering_after_it_is_still_found(folder, sql, part):
    erase(folder)
    with duckdb.connect(str(folder / "registry.duckdb")) as connection:
        connection.execute(sql)

    with Registry.open(folder, check_anchor=False) as registry:
        assert part in {one.part for one in verify(registry)}


def test_tampering_before_it_is_not_covered_up(folder):
    """The digest moves by the change alone: another value, changed by hand before, is still found."""
    with duckdb.connect(str(folder / "registry.duckdb")) as connection:
        connection.execute("UPDATE history.pathology SET conclusion = 'by hand', b_category = 'B3'")

    erase(folder)

    with Registry.open(folder, check_anchor=False) as registry:
        assert [str(one) for one in verify(registry)] == [
            "tables: history.pathology has the right number of rows, but a value in it was changed apart from intake."
        ]


def test_a_received_file_that_is_changed_or_comes_back_is_found(folder):
    old = {path.name: path.read_bytes() for path in (folder / "raw").iterdir() if SECRET in path.read_text()}
    erase(folder)
    name, data = next(iter(old.items()))
    (folder / "raw" / name).write_bytes(data)
    kept = next(
        path for path in (folder / "raw").iterdir() if path.name != name and "PAT2" in path.read_text()
    )
    kept.write_text(kept.read_text() + "x")

    with Registry.open(folder, check_anchor=False) as registry:
        said = [one.message for one in verify(registry) if one.part == "raw files"]
    assert any("no longer has its hash" in one for one in said)
    assert any("removed still lies in raw/" in one for one in said)


def test_the_trail_says_what_was_done_and_to_whom_only_by_pseudonym(folder):
    """By the rows above: 8 clinical tables of the patient, two containers; three texts in three rows."""
    erase(folder)

    with Registry.open(folder) as registry:
        action, kind, text = registry.rows(
            "SELECT action, object_kind, details FROM audit_event ORDER BY seq DESC LIMIT 1"
        )[0]
    details = json.loads(text)
    assert (action, kind) == ("erase", "batch")
    assert details["withdrawn"] == dict.fromkeys(
        (
            "patients",
            "findings",
            "procedures",
            "targeting",
            "pathology",
            "reviews",
            "followup",
            "complications",
        ),
        1,
    ) | {"specimens": 2}
    assert details["texts"] == {"pathology": 2, "reviews": 1, "signal_note": 1, "signed_minutes_entry": 1}
    assert details["held"] == 2
    assert len(details["digest"]) == 64
    assert not any(trace in text for trace in TRACES)


def test_signed_minutes_keep_what_is_not_theirs_and_still_prove_themselves(folder):
    erase(folder)
    with Registry.open(folder) as registry:
        (kept,) = minutes.signed(registry, "M1")
        assert [one["procedure_id"] for one in kept.decided] == ["P2"]
        assert kept.erased == 1
        assert [one for one in verify(registry) if one.part == "minutes"] == []


def test_no_other_table_speaks_of_a_patient(folder):
    """A table that is added with a patient or a procedure in it must be emptied by an erasure, too, where it says more."""
    with Registry.open(folder) as registry:
        found = registry.rows(
            "SELECT DISTINCT table_name FROM duckdb_columns() WHERE NOT internal AND schema_name = 'main' "
            "AND column_name IN ('patient', 'finding_id', 'procedure_id')"
        )
    others = {name for (name,) in found} - set(tables())
    # Of a meeting only keys, codes and digests are kept: no word that could name anybody.
    of_meetings = {"own_view", "printed_list_row", "review_signature"}
    assert others == {"procedure_facts", "signal_note", "legal_hold", "signed_minutes_entry", *of_meetings}


def test_measures_count_one_procedure_less(folder):
    def tissue():
        with Registry.open(folder) as registry:
            return evaluate(registry, ["tissue_obtained"], as_of=AS_OF)[0].denominator

    assert tissue() == 2
    erase(folder)
    assert tissue() == 1


def test_an_earlier_moment_shows_the_rows_without_their_words(folder):
    """Decision 0015: the figure of that day prints again, and no word of it is said again."""
    before = datetime(2026, 7, 1, 9, tzinfo=UTC)
    erase(folder)

    with Registry.open(folder) as registry, as_known(registry, before) as known:
        rows = known.rows("SELECT b_category, conclusion FROM pathology WHERE procedure_id = 'P1'")
        count = evaluate(known, ["tissue_obtained"], as_of=AS_OF)[0].denominator
    assert rows == [("B2", None)]
    assert count == 2
