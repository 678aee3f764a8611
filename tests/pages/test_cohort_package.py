"""A cohort taken away on the page: the privacy report first, the trail before the archive."""

from __future__ import annotations

import json
import shutil
import zipfile
from io import BytesIO
from typing import TYPE_CHECKING, Any

import pytest

from registry.cohorts import CohortFile
from registry.disclosure.profiles import INTERNAL, RESTRICTED
from registry.package.preview import preview
from tests.pages.conftest import serve

if TYPE_CHECKING:
    from streamlit.testing.v1 import AppTest

BUTTON = "Record the export and prepare the archive"


def text_of(page: AppTest) -> str:
    return " ".join(element.proto.body for element in page.get("html"))


def named(page: AppTest, kind: str, label: str) -> Any:
    return next(one for one in getattr(page.main, kind) if one.label == label)


@pytest.fixture
def own(demo_folder, tmp_path, monkeypatch, opened):
    return serve(shutil.copytree(demo_folder, tmp_path / "own"), monkeypatch, opened)


def exports(registry: Any) -> list[dict[str, Any]]:
    found = registry.rows("SELECT details FROM audit_event WHERE action = 'export' ORDER BY seq")
    return [json.loads(one) for (one,) in found]


def test_the_report_is_that_of_the_profile_chosen(own, open_page):
    page = open_page("cohort_export")
    file = CohortFile.parse(json.dumps(page.session_state["cohort draft"]).encode())
    for profile in (RESTRICTED, INTERNAL):
        named(page, "radio", "Profile").set_value(profile.name).run()
        counted = preview(own, file, profile).as_they_leave
        assert f"the smallest class has {counted.k:,} patient" in text_of(page)
        assert f"{counted.unique:,} records are alone in their class" in text_of(page)


def test_without_a_purpose_nothing_can_be_prepared(own, open_page):
    page = open_page("cohort_export")

    assert named(page, "button", BUTTON).disabled
    assert exports(own) == []


def test_the_export_is_in_the_trail_with_its_purpose_before_the_archive_is_offered(own, open_page):
    page = open_page("cohort_export")
    assert page.get("download_button")[-1].proto.label != "Download the archive"
    named(page, "text_input", "Purpose").set_value("study of targeting").run()
    named(page, "button", BUTTON).click().run()
    (details,) = exports(own)
    asked, content = page.session_state["package offered"]
    with zipfile.ZipFile(BytesIO(content)) as made:
        manifest = json.loads(made.read("new-cohort/MANIFEST.json"))

    assert [one.value for one in page.exception] == []
    assert (details["reason"], details["profile"]) == ("study of targeting", "restricted")
    assert details["cohort_sha256"] == manifest["cohort_sha256"] == asked[0]
    assert details["rows_sha256"] == manifest["tables"]["procedures"]["rows_sha256"]
    assert "Download the archive" in [one.proto.label for one in page.get("download_button")]


def test_an_archive_made_for_one_profile_is_not_offered_under_another(own, open_page):
    page = open_page("cohort_export")
    named(page, "text_input", "Purpose").set_value("study of targeting").run()
    named(page, "button", BUTTON).click().run()
    named(page, "radio", "Profile").set_value("internal").run()

    assert "Download the archive" not in [one.proto.label for one in page.get("download_button")]


def test_an_empty_cohort_has_nothing_to_take_away(own, open_page):
    page = open_page("cohort_export")
    document = {**page.session_state["cohort draft"], "start": "1990-01-01", "end": "1990-12-31"}
    page.session_state["cohort draft"] = document
    page.session_state["cohort drawn"] = 9
    page.run()

    assert "nobody is left in it, so there is nothing to take away" in text_of(page)
    assert [one.label for one in page.main.button if one.label == BUTTON] == []
