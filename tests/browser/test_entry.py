"""Entry in a real browser: by keyboard alone, two people on one record, and In the room with a reload in between."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import pytest

from registry.store import Registry
from tests.browser.server import PASSWORD, ask_who, make_demo, serving
from tests.browser.test_sign_in import come_in

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from playwright.sync_api import Browser, Page

pytestmark = pytest.mark.browser

PATIENCE = 60_000
#: More elements than this between two fields is a way too long for anybody.
FAR = 120


@pytest.fixture(scope="module")
def service(browser: Browser, tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[str, str, str]]:
    """Address of a page server at which two coordinators sign in, a finding without a procedure, a procedure."""
    folder: Path = tmp_path_factory.mktemp("entry") / "registry"
    make_demo(folder, procedures=20)
    with Registry.open(folder) as registry:
        ((finding,), *_) = registry.rows(
            "SELECT finding_id FROM findings AS f WHERE NOT EXISTS "
            "(SELECT 1 FROM procedures AS p WHERE p.finding_id = f.finding_id) ORDER BY 1"
        )
        ((procedure,), *_) = registry.rows(
            "SELECT procedure_id FROM procedures WHERE status = 'completed' AND cores > 1 ORDER BY 1"
        )
    ask_who(folder, {"ines": "coordinator", "otto": "coordinator"})
    with serving(folder) as at:
        yield at, finding, procedure


def settle(page: Page) -> None:
    """Until the page has run to its end."""
    page.wait_for_timeout(250)
    page.wait_for_selector("[data-testid=stApp][data-test-script-state=notRunning]", timeout=PATIENCE)


def told(page: Page, text: str) -> None:
    """Until the page says so; where it says something else instead, that is the failure."""
    from playwright.sync_api import TimeoutError as TookTooLong

    try:
        page.get_by_text(text).first.wait_for(timeout=PATIENCE)
    except TookTooLong:
        said = page.get_by_test_id("stAlert").all_inner_texts()
        pytest.fail(f"The page does not say: {text}. It says: {said or 'nothing'}")


def holds(page: Page, label: str, value: str) -> None:
    """Until the one field of that name holds what it should; while a page is redrawn there may be two."""
    page.wait_for_function(
        """([label, value]) => {
            const found = [...document.querySelectorAll('input')].filter(one => one.getAttribute('aria-label') === label);
            return found.length === 1 && found[0].value === value;
        }""",
        arg=[label, value],
        timeout=PATIENCE,
    )


# -- by keyboard alone ---------------------------------------------------------------------

_FOCUSED = """() => {
    const one = document.activeElement;
    return (one.getAttribute('aria-label') || one.labels?.[0]?.innerText || one.innerText || '').trim();
}"""


def reach(page: Page, label: str) -> None:
    """Tab until the field or button of that name has the focus."""
    passed = []
    for _ in range(FAR):
        page.keyboard.press("Tab")
        passed.append(page.evaluate(_FOCUSED))
        if passed[-1].startswith(label):
            return
    pytest.fail(f"The keyboard does not come to {label}; it passed {passed}")


def write(page: Page, label: str, text: str) -> None:
    """Come to a field, write, and commit with Enter; in a box of codes Enter takes what was written."""
    reach(page, label)
    page.keyboard.press("Control+A")
    page.keyboard.type(text)
    page.wait_for_timeout(400)
    page.keyboard.press("Enter")
    settle(page)


def test_a_procedure_is_entered_by_keyboard_alone(browser, service, pictures):
    address, finding, _ = service
    context = browser.new_context(viewport={"width": 1440, "height": 900})
    page = context.new_page()
    page.goto(f"{address}/entry")
    reach(page, "Name")
    page.keyboard.type("ines")
    reach(page, "Password")
    page.keyboard.type(PASSWORD)
    page.keyboard.press("Enter")
    page.wait_for_selector("h1:has-text('Entry')", timeout=PATIENCE)
    page.wait_for_selector("footer", timeout=PATIENCE)
    settle(page)

    write(page, "What is entered", "Procedure")
    page.get_by_label("Procedure id *", exact=True).wait_for(timeout=PATIENCE)
    for label, text in {
        "Procedure id": "KEYBOARD-1",
        "Finding id": finding,
        "Site": "SITE-A",
        "Operator": "OP01",
        "Started at": "2026-07-01T09:30",
        "Status": "Completed",
        "Guided by": "Ultrasound",
        "Cores": "6",
    }.items():
        write(page, label, text)
    page.screenshot(path=pictures / "entry-keyboard.png", full_page=True)
    reach(page, "Save this row")
    page.keyboard.press("Enter")
    told(page, "Procedure KEYBOARD-1 is saved.")
    assert page.get_by_text("Nothing was saved").count() == 0
    context.close()


# -- two people on one record --------------------------------------------------------------


def open_row(browser: Browser, address: str, name: str, procedure: str):
    context, page = come_in(browser, address, name, "/entry")
    settle(page)
    box = page.get_by_role("combobox", name="What is entered")
    box.click()
    box.fill("Procedure")
    page.get_by_role("option", name="Procedure", exact=True).click()
    settle(page)
    fill(page, "Procedure id *", procedure)
    page.get_by_role("button", name="Open the stored row").click()
    page.wait_for_selector("text=The stored row is open", timeout=PATIENCE)
    settle(page)
    return context, page


def fill(page: Page, label: str, text: str) -> None:
    one = page.get_by_label(label, exact=True)
    one.fill(text)
    one.press("Enter")
    settle(page)


def save(page: Page, reason: str) -> None:
    fill(page, "Why the row is changed *", reason)
    page.get_by_role("button", name="Save this row").click()


def test_two_people_edit_one_record_and_see_each_others_change(browser, service, pictures):
    address, _, procedure = service
    first, ines = open_row(browser, address, "ines", procedure)
    second, otto = open_row(browser, address, "otto", procedure)

    fill(ines, "Compression [mm]", "61")
    save(ines, "read from the image")
    told(ines, f"Procedure {procedure} is saved.")

    # What otto opened is no longer what is stored: nothing is saved, and both versions stand there.
    fill(otto, "Cores", "3")
    save(otto, "counted again")
    otto.wait_for_selector("text=Somebody else has changed this row since you opened it", timeout=PATIENCE)
    clash = otto.locator("table:has(caption:text('Where your form and the stored row differ'))").inner_text()
    assert re.search(r"Compression\s+\S*\s*61\b", clash)
    otto.screenshot(path=pictures / "entry-clash.png", full_page=True)
    otto.get_by_role("button", name="Take over what is stored: compression", exact=True).click()
    holds(otto, "Compression [mm]", "61")
    otto.get_by_role("button", name="I have seen both: save mine for the rest").click()
    settle(otto)
    otto.get_by_role("button", name="Save this row").click()
    told(otto, f"Procedure {procedure} is saved.")

    # And what ines opens now holds both.
    fill(ines, "Procedure id *", procedure)
    ines.get_by_role("button", name="Open the stored row").click()
    ines.wait_for_selector("text=The stored row is open", timeout=PATIENCE)
    settle(ines)
    holds(ines, "Compression [mm]", "61")
    holds(ines, "Cores", "3")
    first.close()
    second.close()


# -- in the room ---------------------------------------------------------------------------


def touch(page: Page, name: str) -> None:
    page.get_by_role("button", name=name, exact=True).click(timeout=PATIENCE)
    settle(page)


def choose(page: Page, label: str, text: str) -> None:
    box = page.get_by_role("combobox", name=label)
    box.click()
    box.fill(text)
    page.wait_for_timeout(300)
    box.press("Enter")
    settle(page)


def pick(page: Page, group: str, option: str) -> None:
    page.get_by_role("radiogroup", name=group).get_by_text(option, exact=True).click(timeout=PATIENCE)
    settle(page)


def test_in_the_room_from_the_first_stamp_to_the_saved_procedure(browser, service, pictures):
    address, finding, _ = service
    context, page = come_in(browser, address, "otto", "/in-the-room")
    settle(page)
    choose(page, "Finding to be sampled", finding)
    fill(page, "Key of the procedure *", "ROOM-1")
    choose(page, "Operator (a code) *", "OP01")
    choose(page, "Site *", "SITE-A")
    choose(page, "Guided by *", "PET tracer")
    choose(page, "Tracer", "F-18 FDG")
    touch(page, "Begin")
    page.wait_for_selector("text=Needle placement", timeout=PATIENCE)
    touch(page, "Injected: now")
    page.wait_for_selector("text=Since injection", timeout=PATIENCE)
    stamped = page.get_by_label("Time, injected").input_value()
    assert re.fullmatch(r"\d\d:\d\d:\d\d", stamped)

    # The tablet goes dark in between; what was stamped is there again.
    page.reload()
    page.wait_for_selector("text=Needle placement", timeout=PATIENCE)
    holds(page, "Time, injected", stamped)

    touch(page, "First scan: now")
    touch(page, "Start, needle in: now")
    pick(page, "Target against the aperture, as read on the scan", "Within")
    pick(page, "Verification scan with the needle in place", "Done")
    for axis, text in zip("xyz", ("12", "20", "30"), strict=True):
        fill(page, f"Planned {axis} [mm]", text)
    touch(page, "Specimens scanned: now")
    fill(page, "Cores taken", "9")
    pick(page, "Marker", "Placed")
    pick(page, "Target on the guiding modality after sampling", "Reduced")
    touch(page, "End: now")
    pick(page, "Procedure", "Tissue taken")
    page.screenshot(path=pictures / "in-the-room.png", full_page=True)
    assert (
        page.evaluate(
            "Math.min(...[...document.querySelectorAll('.st-key-room [data-testid=stButton] button')].map(b => b.offsetHeight).filter(h => h))"
        )
        >= 56
    )
    page.get_by_role("button", name=re.compile("^Save the procedure")).click()
    told(page, "Procedure ROOM-1 is saved.")
    page.get_by_role("link", name=re.compile("Open its record")).click()
    page.wait_for_selector("h1:has-text('Procedure record')", timeout=PATIENCE)
    page.wait_for_selector("text=ROOM-1", timeout=PATIENCE)
    context.close()
