"""A meeting in a real browser, from its list to signed minutes that say what was decided."""

from __future__ import annotations

import csv
import subprocess
from typing import TYPE_CHECKING

import pytest

from tests.browser.menu import follow
from tests.browser.server import ask_who, make_demo, serving
from tests.browser.test_sign_in import come_in

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from playwright.sync_api import Browser, Page

pytestmark = pytest.mark.browser

PATIENCE = 60_000
MEETING = "SITE-D-2026-07-08"
DECISIONS = [
    {
        "review_id": f"W{number}",
        "procedure_id": procedure,
        "meeting_id": MEETING,
        "reviewed_on": "2026-07-08",
        "stage": "joint",
        "radiologist": "RV02",
        "pathologist": "PA02",
        "determination": determination,
        "reason": reason,
        "management": management,
        "responsible": "surgeon",
        "due_on": "2026-07-22",
        "note": note,
    }
    for number, (procedure, determination, reason, management, note) in enumerate(
        [
            ("B9000012", "discordant", "imaging_more_suspicious", "vacuum_excision", "No dissent."),
            ("B9000008", "discordant", "targeting_error", "repeat_biopsy", "The surgeon would have excised."),
        ],
        start=1,
    )
]


@pytest.fixture
def served(browser: Browser, tmp_path: Path) -> Iterator[str]:
    """Address of a page server with the demo, at which a radiologist signs in."""
    folder = tmp_path / "registry"
    make_demo(folder, procedures=20)
    ask_who(folder, {"rosa": "radiologist"})
    with serving(folder) as at:
        yield at


def go(page: Page, title: str) -> None:
    follow(page, title)
    page.wait_for_selector(f"h1:has-text('{title}')", timeout=PATIENCE)
    page.wait_for_selector("footer", timeout=PATIENCE)


def choose(page: Page, label: str, option: str) -> None:
    box = page.get_by_role("combobox", name=label)
    box.click()
    box.fill(option)
    page.get_by_role("option", name=option, exact=True).click()


def listed(page: Page) -> list[str]:
    return page.locator("table:has(caption:text('On the list')) tbody th").all_inner_texts()


def decisions_file(place: Path) -> Path:
    with (place / "reviews.csv").open("w", newline="", encoding="utf-8") as handle:
        writer = csv.DictWriter(handle, list(DECISIONS[0]))
        writer.writeheader()
        writer.writerows(DECISIONS)
    return place / "reviews.csv"


def test_a_meeting_from_its_list_to_signed_minutes(browser, served, tmp_path, pictures):
    context, page = come_in(browser, served, "rosa")
    go(page, "Meetings")
    page.wait_for_selector("table:has(caption:text('On the list'))", timeout=PATIENCE)
    assert len(listed(page)) == 15

    # Who is there.
    for role in ("Radiology", "Pathology", "Surgery"):
        # The first of each name belongs to a meeting that could be opened, and is folded away.
        page.get_by_test_id("stCheckbox").filter(has_text=role).last.locator("label").click()
    page.get_by_role("button", name="Keep the attendance").click()
    page.wait_for_selector("text=Draft: 0 decided, 15 not decided", timeout=PATIENCE)

    # The list is walked: the second procedure is another one than the first.
    first = page.locator("dl.meeting-facts").inner_text()
    page.get_by_role("button", name="Next", exact=True).click()
    page.wait_for_function(
        "was => document.querySelector('dl.meeting-facts')?.innerText !== was", arg=first, timeout=PATIENCE
    )
    page.screenshot(path=pictures / "meeting-walk.png", full_page=True)

    # One decision is recorded where the list is walked: the second procedure, B9000010.
    page.wait_for_function(
        "() => document.querySelectorAll('[data-testid=stMain] [role=radiogroup]').length === 1",
        timeout=PATIENCE,
    )
    page.get_by_role("radiogroup").locator("label").filter(has_text="Discordant").click()
    choose(page, "Reason, if discordant or indeterminate", "Target not sampled")
    choose(page, "Recommended step", "Surgical opinion")
    page.get_by_label("Radiologist (a code)").fill("RV02")
    page.get_by_label("Pathologist (a code)").fill("PA02")
    page.get_by_label("Discussion and dissent (name no patient)").fill("Spoken at the table.")
    page.get_by_role("button", name="Record the decision").click()
    page.wait_for_selector("text=Draft: 1 decided, 14 not decided", timeout=PATIENCE)
    # The form is empty again, so that nothing is recorded twice.
    page.wait_for_function(
        "() => document.querySelector('textarea[aria-label^=\"Discussion and dissent\"]')?.value === ''",
        timeout=PATIENCE,
    )

    # Two more come in as a file, through the same door.
    go(page, "Intake")
    page.locator("input[type=file]").first.set_input_files(decisions_file(tmp_path))
    page.get_by_role("button", name="Import", exact=True).click(timeout=PATIENCE)
    page.wait_for_selector("h2:has-text('What happened'), h3:has-text('What happened')", timeout=PATIENCE)

    # The list is shorter by them, and the minutes hold them.
    go(page, "Meetings")
    page.wait_for_selector("text=Draft: 3 decided, 12 not decided", timeout=PATIENCE)
    assert {"B9000008", "B9000010", "B9000012"}.isdisjoint(listed(page))
    page.get_by_role("button", name="Sign the minutes").click()
    page.wait_for_selector("text=Signed: 3 decided, 12 not decided", timeout=PATIENCE)
    assert page.locator("table:has(caption:text('Signed minutes')) tbody tr").count() == 1
    page.wait_for_selector("button:has-text('Sign the minutes')", state="detached", timeout=PATIENCE)

    # What is taken away says it.
    page.get_by_text("Prepare PDF and Word").click()
    with page.expect_download(timeout=PATIENCE) as taken:
        page.get_by_role("button", name="Download PDF").click()
    taken.value.save_as(tmp_path / "minutes.pdf")
    assert taken.value.suggested_filename == f"minutes-{MEETING}.pdf"
    text = " ".join(
        subprocess.run(
            ["pdftotext", "-layout", "minutes.pdf", "-"], cwd=tmp_path, capture_output=True, check=True
        )
        .stdout.decode()
        .split()
    )
    assert "Radiology, Pathology, Surgery" in text
    assert "The surgeon would have excised." in text
    assert "Spoken at the table." in text
    assert "signed" in text
    assert "by rosa" in text
    assert "DRAFT" not in text
    page.screenshot(path=pictures / "meeting-signed.png", full_page=True)
    context.close()
