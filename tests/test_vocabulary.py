"""Every code of the data dictionary has a plain label, and no label stands without a code."""

import csv
import re
from itertools import pairwise
from pathlib import Path

import pytest

from registry import vocabulary

SQL = Path(__file__).resolve().parent.parent / "sql"
#: Not code lists: the table of fields, physical constants read by registry.tracer, what flags rest on, roles in a text field.
NOT_LISTS = {"fields", "nuclide", "flag_rules", "expected_pathology", "meeting_role"}
BANNED_WORDS = re.compile(r"\b(case|hit|success|failure|score|item|info)s?\b", re.IGNORECASE)
#: A trademarked acronym, spelled in two parts so that a search of the tree for it stays empty.
BANNED_ACRONYM = re.compile("bi" + r"[\W_]?" + "rads", re.IGNORECASE)


def read(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def code_fields() -> dict[tuple[str, str], list[str]]:
    """Code lists straight from the dictionary file: what stands between the bars."""
    found = {}
    for row in read(SQL / "dictionary.csv"):
        if row["type"] == "code" or "|" in row["allowed"]:
            found[row["table"], row["field"]] = row["allowed"].split("|")
    return found


CODE_FIELDS = code_fields()
LISTS = sorted({row["list"] for row in read(SQL / "vocabulary" / "fields.csv")})


def test_fields_file_names_each_code_field_once_and_no_other():
    named = [(row["table"], row["field"]) for row in read(SQL / "vocabulary" / "fields.csv")]

    assert named == list(CODE_FIELDS)


def test_each_file_is_a_list_that_a_field_uses():
    on_disk = {path.stem for path in (SQL / "vocabulary").glob("*.csv")} - NOT_LISTS

    assert on_disk == set(LISTS)


@pytest.mark.parametrize(("table", "field"), CODE_FIELDS, ids=lambda part: part)
def test_codes_are_those_of_the_dictionary_in_its_order(table, field):
    assert list(vocabulary.labels(table, field)) == CODE_FIELDS[table, field]


def test_equal_code_lists_share_one_file():
    files_of: dict[tuple[str, ...], set[str]] = {}
    for row in read(SQL / "vocabulary" / "fields.csv"):
        codes = tuple(CODE_FIELDS[row["table"], row["field"]])
        files_of.setdefault(codes, set()).add(row["list"])

    assert [files for files in files_of.values() if len(files) > 1] == []


@pytest.mark.parametrize("name", LISTS)
def test_labels_and_sources_are_filled_and_labels_differ(name):
    rows = read(SQL / "vocabulary" / f"{name}.csv")
    labels = [row["label"] for row in rows]

    assert all(text == text.strip() != "" for row in rows for text in (row["label"], row["source"]))
    assert len(set(labels)) == len(labels)


@pytest.mark.parametrize("name", LISTS)
def test_wording_holds_no_banned_word(name):
    text = (SQL / "vocabulary" / f"{name}.csv").read_text(encoding="utf-8")
    labels = " / ".join(row["label"] for row in read(SQL / "vocabulary" / f"{name}.csv"))

    assert not BANNED_ACRONYM.search(text)
    assert not BANNED_WORDS.search(labels)


def test_screens_show_words_not_codes():
    """A label that only repeats a code with an underscore would reach a screen unread."""
    raw = [
        (table, field, label)
        for table, field in CODE_FIELDS
        for label in vocabulary.labels(table, field).values()
        if "_" in label
    ]

    assert raw == []


def test_diagnosis_ranks_follow_the_order_from_insufficient_to_other_malignant():
    # Order stated by the measure definitions: insufficient < normal < benign < high_risk <
    # suspicious < in_situ < invasive < other_malignant.
    assert dict(vocabulary.column("diagnosis", "rank")) == {
        "insufficient": "1",
        "normal": "2",
        "benign": "3",
        "high_risk": "4",
        "suspicious": "5",
        "in_situ": "6",
        "invasive": "7",
        "other_malignant": "8",
    }


def test_high_risk_and_suspicious_are_neither_benign_nor_malignant():
    groups = vocabulary.column("diagnosis", "group")

    assert {code for code, group in groups.items() if group == "benign_result"} == {"normal", "benign"}
    assert {code for code, group in groups.items() if group == "malignant"} == {
        "in_situ",
        "invasive",
        "other_malignant",
    }
    assert {groups[code] for code in ("insufficient", "high_risk", "suspicious")} == {""}


def test_b_category_ranks_rise_from_b1_to_b5_and_all_b5_are_equal():
    ranks = {code: int(rank) for code, rank in vocabulary.column("b_category", "rank").items()}

    assert all(ranks[low] < ranks[high] for low, high in pairwise(("B1", "B2", "B3", "B4", "B5")))
    assert {ranks[code] for code in ranks if code.startswith("B5")} == {ranks["B5"]}


def test_a_diagnosis_reads_the_same_at_biopsy_and_at_follow_up():
    at_biopsy = vocabulary.labels("pathology", "diagnosis")
    later = vocabulary.labels("followup", "diagnosis")

    assert {code: later[code] for code in at_biopsy} == dict(at_biopsy)


def test_each_tracer_names_a_nuclide_with_a_half_life():
    known = {row["nuclide"] for row in read(SQL / "vocabulary" / "nuclide.csv")}
    nuclides = vocabulary.column("tracer", "nuclide")

    assert dict(nuclides) == {"F-18 FDG": "F-18", "Tc-99m sestamibi": "Tc-99m", "other": ""}
    assert {nuclide for nuclide in nuclides.values() if nuclide} <= known


def test_a_code_of_this_service_alone_is_shown_as_it_stands():
    assert vocabulary.label("procedures", "device", "cryo_probe") == "cryo_probe"


def test_a_field_without_a_code_list_is_refused():
    with pytest.raises(KeyError, match="gauge"):
        vocabulary.labels("procedures", "gauge")
