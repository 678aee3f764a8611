"""The intake page: look first, then write; what is held comes back; the same door again."""

import csv
import io
import tempfile

from dashboards.components.upload import NOT_SHOWN
from tests.build import base
from tests.pages.test_pages import text_of


def as_csv(rows):
    buffer = io.StringIO()
    writer = csv.DictWriter(buffer, list(dict.fromkeys(key for row in rows for key in row)))
    writer.writeheader()
    writer.writerows(rows)
    return buffer.getvalue().encode()


def files(rows):
    return [(f"{name}.csv", as_csv(given), "text/csv") for name, given in rows.items()]


def uploaded(page, rows):
    for one in files(rows):
        page.file_uploader[0].upload(*one)
    return page.run()


def press(page, label):
    return next(one for one in page.button if one.label == label).click().run()


def test_looking_writes_nothing(served_empty, open_page):
    before = served_empty.revision()

    page = uploaded(open_page("intake"), base())

    assert "Nothing is written yet." in text_of(page)
    assert served_empty.revision() == before


def test_import_writes_what_was_looked_at(served_empty, open_page):
    page = press(uploaded(open_page("intake"), base()), "Import")

    assert [one.value for one in page.exception] == []
    assert served_empty.rows("SELECT procedure_id FROM procedures") == [("P1",)]


def test_a_row_that_fails_is_named_before_and_held_after(served_empty, open_page):
    rows = base()
    rows["complications"][0]["grade"] = "9"

    page = uploaded(open_page("intake"), rows)
    assert "Would be held: 1 problem" in text_of(page)
    page = press(page, "Import")

    assert "1 held row" in text_of(page)
    assert [one.label for one in page.get("download_button") if "complications.csv" in one.label] == [
        "Download batch-0001, complications.csv"
    ]


def test_the_corrected_file_closes_the_held_row(served_empty, open_page):
    rows = base()
    rows["complications"][0]["grade"] = "9"
    press(uploaded(open_page("intake"), rows), "Import")
    held = next((served_empty.folder / "held").rglob("complications.csv"))
    corrected = list(csv.DictReader(io.StringIO(held.read_text(encoding="utf-8"))))
    corrected[0]["grade"] = "2"

    page = press(uploaded(open_page("intake"), {"complications": corrected}), "Import")

    assert "No row is held." in text_of(page)


def test_a_held_row_is_dismissed_with_a_reason_only(served_empty, open_page):
    rows = base()
    rows["complications"][0]["grade"] = "9"
    press(uploaded(open_page("intake"), rows), "Import")

    page = press(open_page("intake"), "Dismiss this row")
    assert page.error[0].value.startswith("A held row is dismissed with a reason")
    next(one for one in page.text_input if one.label == "Why it will never be corrected").set_value(
        "entered twice"
    )
    page = press(page, "Dismiss this row")

    assert "No row is held." in text_of(page)


def test_identifiers_are_not_shown_in_the_preview(served_empty, open_page):
    page = uploaded(open_page("intake"), base())
    page.session_state["preview patients"] = True
    page = page.run()

    assert "PAT1" not in text_of(page)
    assert NOT_SHOWN in text_of(page)


def test_a_file_of_an_unknown_table_ends_in_a_sentence(served_empty, open_page):
    page = open_page("intake")
    page.file_uploader[0].upload("proceedings.csv", b"procedure_id\nP1\n", "text/csv")
    page = page.run()

    assert "proceedings.csv" in page.error[0].value
    assert [one.value for one in page.exception] == []


def test_copies_of_the_files_are_removed(served_empty, open_page, monkeypatch, tmp_path):
    scratch = tmp_path / "scratch"
    scratch.mkdir()
    monkeypatch.setattr(tempfile, "tempdir", str(scratch))

    press(uploaded(open_page("intake"), base()), "Import")

    assert list(scratch.iterdir()) == []


MAPPING = b"""
name = "two columns"
version = "1"
format = "csv"

[tables.operators.fields]
operator = { column = "Code" }
role = { column = "Role" }
"""


def test_a_foreign_file_comes_in_through_its_mapping(served_empty, open_page):
    page = open_page("intake")
    page.radio[0].set_value("One CSV or XLSX file with a mapping").run()
    page.file_uploader[0].upload("staff.csv", b"Code,Role\nOP7,radiologist\n", "text/csv")
    page.file_uploader[1].upload("staff.toml", MAPPING, "application/toml")
    page = press(page.run(), "Import")

    assert [one.value for one in page.error] == []
    assert served_empty.rows("SELECT operator, role FROM operators") == [("OP7", "radiologist")]
