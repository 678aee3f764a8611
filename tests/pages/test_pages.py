"""Every page runs on the demo and on an empty registry, and says what a page must say."""

import re

import pytest

from dashboards import session
from dashboards.app import PAGES
from dashboards.components import cautions, words
from registry.errors import RegistryBusy
from registry.measures import STRATA
from tests.build import base, load

NAMES = [name for pages in PAGES.values() for name in pages]
QUALITY = list(PAGES["Quality"])
#: These split in a way of their own, and the sidebar's cannot be changed there.
OWN_SPLIT = {
    "operators_and_sites",
    "yearly_table",
    "completeness",
    "timeliness",
    "agreement",
    "sources_and_constancy",
}


def text_of(page):
    """All markup and text of a page, in one string."""
    html = [element.proto.body for element in page.get("html")]
    return " ".join([*html, *(one.value for one in page.markdown), *(one.value for one in page.title)])


@pytest.mark.parametrize("name", NAMES)
def test_a_page_runs_on_the_demo(demo_page, name):
    page = demo_page(name)

    assert [one.value for one in page.exception] == []
    assert [one.value for one in page.error] == []


@pytest.mark.parametrize("name", NAMES)
def test_a_page_runs_on_an_empty_registry(served_empty, open_page, name):
    page = open_page(name)

    assert [one.value for one in page.exception] == []
    assert [one.value for one in page.error] == []


@pytest.mark.parametrize("name", NAMES)
def test_every_page_says_that_it_decides_nothing(demo_page, name):
    assert cautions.FOOTER.split(":")[0] in text_of(demo_page(name))


@pytest.mark.parametrize("name", NAMES)
def test_every_page_of_the_demo_says_that_the_data_are_invented(demo_page, name):
    assert cautions.DEMO in text_of(demo_page(name))


def test_a_real_registry_is_not_called_a_demonstration(served_empty, open_page):
    assert cautions.DEMO not in text_of(open_page("overview"))


@pytest.mark.parametrize("name", ["overview", *QUALITY])
def test_an_empty_registry_shows_no_percentage(served_empty, open_page, name):
    page = text_of(open_page(name))
    # The axis, the level of the intervals and the widths of drawings are no rates.
    drawn = re.sub(r'style="[^"]*"|class="tick"[^>]*>[^<]*<', "", page)

    assert re.findall(rf">[\d.]+{words.NARROW}?%", drawn) == []


# The page of sources counts sources and checks; its own test holds what it says without them.
@pytest.mark.parametrize("name", ["overview", *(name for name in QUALITY if name != "sources_and_constancy")])
def test_an_empty_registry_says_that_it_has_no_procedures(served_empty, open_page, name):
    page = text_of(open_page(name))

    assert words.NO_PROCEDURES in page or "No procedures." in page


@pytest.mark.parametrize("name", [name for name in QUALITY if name not in OWN_SPLIT])
def test_a_quality_page_can_be_split(served, open_page, name):
    page = open_page(name)
    page.sidebar.selectbox[1].select("operator").run()

    assert [one.value for one in page.exception] == []


@pytest.mark.parametrize("by", STRATA)
def test_every_split_can_be_chosen(served, open_page, by):
    page = open_page("complications")
    page.sidebar.selectbox[1].select(by).run()

    assert [one.value for one in page.exception] == []


@pytest.mark.parametrize("interval", ["exact", "jeffreys", "midp", "clustered"])
def test_every_interval_can_be_chosen(served, open_page, interval):
    page = open_page("concordance")
    page.sidebar.selectbox[2].select(interval).run()

    assert [one.value for one in page.exception] == []


@pytest.mark.parametrize("period", ["Last 12 months", "Last 24 months", "From and to"])
def test_every_period_can_be_chosen(served, open_page, period):
    page = open_page("overview")
    page.sidebar.selectbox[0].select(period).run()

    assert [one.value for one in page.exception] == []
    assert "Procedures from 20" in text_of(page)


def test_operators_stand_in_the_order_of_their_codes(served, open_page):
    page = open_page("complications")
    page.sidebar.selectbox[1].select("operator").run()

    codes = re.findall(r'<th scope="row">(OP\d+)</th>', text_of(page))
    half = codes[: len(codes) // 2]  # two measures, each by operator

    assert len(half) > 1
    assert half == sorted(half)


def test_a_deep_link_opens_the_measure_it_names(served, open_page):
    page = open_page("overview", measure="discordance")

    assert page.subheader[0].value == "Discordant at the first conclusive review"


def test_a_deep_link_opens_the_procedure_it_names(served, open_page):
    page = open_page("procedure_record", procedure="B0000007")

    assert page.main.selectbox[0].value == "B0000007"


def test_an_unknown_procedure_ends_in_a_sentence(served, open_page):
    page = open_page("procedure_record", procedure="B9999999")

    assert page.error[0].value.startswith("There is no procedure with this key")
    assert [one.value for one in page.exception] == []


def test_the_record_shows_the_pathologists_own_words_as_text(served_empty, open_page):
    rows = base()
    rows["pathology"][0]["conclusion"] = "Fibroadenoma <b>without</b> atypia."
    load(served_empty, rows)

    page = text_of(open_page("procedure_record"))

    assert "<blockquote><p>Fibroadenoma &lt;b&gt;without&lt;/b&gt; atypia.</p></blockquote>" in page


def test_no_page_shows_an_identifier(served_empty, open_page):
    rows = base()
    rows["patients"][0]["patient_id"] = "NHS-4711"
    rows["findings"][0]["patient_id"] = "NHS-4711"
    rows["procedures"][0]["accession"] = "ACCESSION-4711"
    load(served_empty, rows)

    shown = " ".join(text_of(open_page(name)) for name in NAMES)

    assert "4711" not in shown
    assert "1960-05-17" not in shown  # the birth date of tests.build


def test_a_change_shows_at_once(served_empty, open_page):
    page = open_page("procedure_record")
    assert "holds no procedures yet" in text_of(page)

    load(served_empty, base())

    assert page.run().main.selectbox[0].value == "P1"


def test_the_handbook_finds_words_in_definitions(served, open_page):
    page = open_page("measure_handbook")
    page.main.text_input[0].set_value("insufficient sample").run()

    labels = [one.label for one in page.expander]
    assert "Insufficient sample" in labels
    assert "Marker placed" not in labels


def test_the_handbook_says_when_nothing_is_found(served, open_page):
    page = open_page("measure_handbook")
    page.main.text_input[0].set_value("zzz").run()

    assert "No measure holds these words" in text_of(page)


def test_a_registry_in_use_ends_in_a_sentence(served_empty, open_page, monkeypatch):
    def busy():
        raise RegistryBusy("The registry is in use by another process.")

    monkeypatch.setattr(session, "registry", busy)

    page = open_page("overview")

    assert page.error[0].value == "The registry is in use by another process."
    assert [one.value for one in page.exception] == []
