"""A meeting in a real browser: two people decide and sign one procedure, and an amended report brings it back."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from tests.browser.server import ask_who, make_demo, serving
from tests.browser.test_pages_in_browser import DONE
from tests.browser.test_sign_in import come_in

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from playwright.sync_api import Browser, Page

pytestmark = pytest.mark.browser

PEOPLE = {"rae": "radiologist", "pam": "pathologist"}
PATIENCE = 60_000


@pytest.fixture(scope="module")
def service(browser: Browser, tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[str, Path]]:
    """Address and folder of a page server on which a radiologist and a pathologist have accounts."""
    place = tmp_path_factory.mktemp("meeting")
    folder = place / "registry"
    make_demo(folder)
    ask_who(folder, PEOPLE)
    with serving(folder) as at:
        yield at, folder


def choose(page: Page, label: str, text: str) -> None:
    """Type into a select box, and take what was typed."""
    box = page.get_by_role("combobox", name=label)
    box.click()
    box.fill(text)
    page.wait_for_timeout(400)
    box.press("Enter")


def test_two_people_sign_and_an_amended_report_brings_the_decision_back(browser, service, pictures):
    address, folder = service
    first, rae = come_in(browser, address, "rae", "/concordance-review")
    rae.get_by_role("heading", name="Your determination").wait_for(timeout=PATIENCE)
    box = rae.get_by_role("combobox", name="Procedure under review")
    procedure = box.input_value() or rae.get_by_text("B0000").first.inner_text()
    # A key does nothing before the page has drawn the button that it belongs to.
    rae.get_by_role("button", name="Discordant").wait_for(timeout=PATIENCE)
    # Nor where the focus stays in a field, as a switch would keep it.
    rae.get_by_role("button", name="Show the accession number").click()
    rae.get_by_test_id("stCode").wait_for(timeout=PATIENCE)
    rae.get_by_role("button", name="Presenter view").click()
    rae.get_by_role("button", name="Leave the presenter view").click(timeout=PATIENCE)
    rae.get_by_role("button", name="Show the accession number").wait_for(timeout=PATIENCE)
    rae.wait_for_function(DONE, timeout=PATIENCE)
    rae.keyboard.press("2")
    rae.get_by_role("heading", name="What the rules point out").wait_for(timeout=PATIENCE)
    choose(rae, "Pathologist (joint)", "pam")
    choose(rae, "Reason, unless concordant", "Imaging more suspicious")
    choose(rae, "Recommendation", "Repeat biopsy")
    rae.get_by_role("button", name="Record this decision").click()
    rae.get_by_text("not signed").wait_for(timeout=PATIENCE)
    rae.get_by_text("Sign as radiologist (rae)").click()
    rae.get_by_role("button", name="I have seen the record above and sign as radiologist").click()
    rae.get_by_text("one signature missing").wait_for(timeout=PATIENCE)
    rae.get_by_text("Waits for pam as pathologist").wait_for(timeout=PATIENCE)

    second, pam = come_in(browser, address, "pam", f"/concordance-review?procedure={procedure}")
    pam.get_by_text("Sign as pathologist (pam)").click(timeout=PATIENCE)
    pam.get_by_role("button", name="I have seen the record above and sign as pathologist").click()
    pam.get_by_text(": signed.").wait_for(timeout=PATIENCE)
    pam.screenshot(path=pictures / "signed.png", full_page=True)

    # A report of another group for the same procedure, through the drop folder.
    folder.joinpath("inbox", "pathology.csv").write_text(
        "report_id,version,status,procedure_id,reported_on,diagnosis,lesion,b_category,atypia\n"
        f"AMENDED,1,final,{procedure},2026-06-30,high_risk,adh,B3,yes\n",
        encoding="utf-8",
    )
    for _ in range(20):
        pam.wait_for_timeout(1500)
        pam.reload()
        pam.get_by_role("heading", name="Signatures").wait_for(timeout=PATIENCE)
        if pam.get_by_text("changed since signed").count():
            break

    assert pam.get_by_text("changed since signed").count() == 1
    assert pam.get_by_text("On the list: changed since it was").count() == 1
    first.close()
    second.close()
