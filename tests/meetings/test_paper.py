"""Minutes and request on paper: what they say is what the registry holds, read back from the files themselves."""

from __future__ import annotations

import io
import re
import shutil
import subprocess
from datetime import datetime

import docx
import pytest
from typer.testing import CliRunner

from registry.cli import app
from registry.errors import UsageProblem
from registry.meetings import minutes as service
from registry.reports import minutes as printed
from registry.reports import request_page
from registry.reports.pathology_request import pathology_request, radioactive_words
from tests.build import load
from tests.meetings.conftest import TODAY, review

pytestmark = pytest.mark.skipif(
    shutil.which("pdftotext") is None, reason="NO PDF READER: install poppler-utils."
)


def ask_pdf(tool, content, *options, tmp_path):
    (tmp_path / "one.pdf").write_bytes(content)
    done = subprocess.run(
        [tool, *options, "one.pdf", *(["-"] if tool == "pdftotext" else [])],
        cwd=tmp_path,
        capture_output=True,
        check=True,
    )
    return done.stdout.decode()


def text_of(content, tmp_path):
    return " ".join(ask_pdf("pdftotext", content, "-layout", tmp_path=tmp_path).split())


def word_text(content):
    made = docx.Document(io.BytesIO(content))
    cells = [cell.text for table in made.tables for row in table.rows for cell in row.cells]
    head = made.sections[0].header.paragraphs[0].text
    return " ".join([head, *(one.text for one in made.paragraphs), *cells])


def facts_of(content, tmp_path):
    information = ask_pdf("pdfinfo", content, tmp_path=tmp_path)
    return dict(line.split(":", 1) for line in information.splitlines() if ":" in line)


#: Read off the rows of tests/meetings/conftest.py: what was typed in there must be read out here.
SAID = (
    "Discordant, because: target not sampled",
    "The pathologist would have waited for levels.",
    "due 2025-04-20",
    "not recorded as told",
    "3.0 mm from target to aperture centre",
    "9 cores",
    "2.30 g",
    "coordinator",
    "2025-04-01",
)


@pytest.fixture
def with_tissue(registry, decided):
    load(
        registry,
        {
            "specimens": [
                {
                    "specimen_id": f"T{n}",
                    "procedure_id": "P2",
                    "taken_order": str(n),
                    "cores": "3",
                    "mass_g": mass,
                }
                for n, mass in ((1, "1.1"), (2, "1.2"))
            ]
        },
    )
    return decided


@pytest.mark.parametrize("said", SAID)
def test_pdf_and_word_say_what_was_recorded(registry, with_tissue, tmp_path, said):
    made = service.draft(registry, with_tissue)
    assert said in text_of(printed.pdf(made), tmp_path)
    assert said in word_text(printed.word(made))


def test_both_files_carry_the_same_numbers(registry, with_tissue, tmp_path):
    """Every number of the Word file stands in the PDF as well, and none beside it but page numbers and the figure's."""
    made = service.draft(registry, with_tissue)
    number = re.compile(r"\d+(?:\.\d+)?")
    in_word = set(number.findall(word_text(printed.word(made))))
    in_pdf = set(number.findall(text_of(printed.pdf(made), tmp_path)))
    assert len(in_word) > 20
    assert in_word <= in_pdf


def test_nothing_that_names_a_patient_is_printed(registry, with_tissue, tmp_path):
    made = service.draft(registry, with_tissue)
    both = text_of(printed.pdf(made), tmp_path) + word_text(printed.word(made))
    assert not [one for one in ("PAT1", "ACC2", "1960-05-17", "Words of the pathologist") if one in both]


def test_a_draft_is_marked_on_every_page(registry, with_tissue, tmp_path):
    content = printed.pdf(service.draft(registry, with_tissue))
    pages = ask_pdf("pdftotext", content, tmp_path=tmp_path).rstrip("\f").split("\f")
    assert all("DRAFT" in page and "Draft, not signed" in page for page in pages)
    assert (
        "DRAFT"
        in docx.Document(io.BytesIO(printed.word(service.draft(registry, with_tissue))))
        .sections[0]
        .header.paragraphs[0]
        .text
    )


def test_signed_minutes_print_their_digest_on_every_page_and_are_no_draft(registry, with_tissue, tmp_path):
    made = service.sign(registry, with_tissue, author="chair", today=TODAY)
    content = printed.pdf(made)
    pages = ask_pdf("pdftotext", content, tmp_path=tmp_path).rstrip("\f").split("\f")
    (sha256, mac) = registry.rows("SELECT sha256, head_mac FROM signed_minutes")[0]
    assert all(sha256 in page for page in pages)
    whole = "".join(text_of(content, tmp_path).split())
    assert mac in whole
    assert "DRAFT" not in whole


def test_an_amendment_prints_what_it_amends_and_why(registry, with_tissue, tmp_path):
    service.sign(registry, with_tissue, author="chair", today=TODAY)
    load(registry, {"reviews": [review(informed_on="2025-04-04")]})
    made = service.amend(registry, with_tissue, reason="The patient was told.", author="chair")
    text = text_of(printed.pdf(made), tmp_path)
    assert "minutes 1, because: The patient was told." in text
    assert "told on 2025-04-04" in text


def test_the_pdf_is_tagged_and_every_figure_has_words(registry, with_tissue, tmp_path):
    made = service.draft(registry, with_tissue)
    assert facts_of(printed.pdf(made), tmp_path)["Tagged"].strip() == "yes"
    shapes = docx.Document(io.BytesIO(printed.word(made))).inline_shapes
    assert len(shapes) == 1
    assert (
        shapes[0]
        ._inline.docPr.get("descr")
        .startswith("Line of the procedure: Finding recorded on 2025-02-20")
    )


def test_two_runs_give_the_same_bytes(registry, with_tissue):
    made = service.draft(registry, with_tissue)
    assert printed.pdf(made) == printed.pdf(made)
    assert printed.word(made) == printed.word(made)


def test_text_that_looks_like_markup_stays_text(registry, with_tissue, tmp_path):
    load(registry, {"reviews": [review(note="#pagebreak() *not bold* $x^2$ <w:b/> & done")]})
    made = service.draft(registry, with_tissue)
    assert "#pagebreak() *not bold* $x^2$ <w:b/> & done" in text_of(printed.pdf(made), tmp_path)
    assert "#pagebreak() *not bold* $x^2$ <w:b/> & done" in word_text(printed.word(made))


# -- the request to the pathologist ------------------------------------------------


def containers(registry, number):
    load(
        registry,
        {
            "specimens": [
                {
                    "specimen_id": f"T{n:02d}",
                    "procedure_id": "P2",
                    "taken_order": str(n),
                    "cores": "0" if n > 9 else "1",
                    "mass_g": "0.125",
                    "calcifications_seen": "yes" if n == 1 else "no",
                    "uptake_seen": "equivocal",
                }
                for n in range(1, number + 1)
            ]
        },
    )


@pytest.mark.parametrize("number", [0, 1, 20])
def test_the_request_is_one_page(registry, decided, tmp_path, number):
    if number:
        containers(registry, number)
    content = request_page.pdf(pathology_request(registry, "P2"))
    assert facts_of(content, tmp_path)["Pages"].strip() == "1"
    text = text_of(content, tmp_path)
    assert [f"T{n:02d}" for n in range(1, number + 1)] == re.findall(r"\bT\d\d\b", text)


def test_the_longest_words_still_fit_on_one_page(registry, decided, tmp_path):
    from dataclasses import replace

    containers(registry, 20)
    registry.site = replace(registry.site, pathology_call="A place with a long name, " * 4)
    content = request_page.pdf(pathology_request(registry, "P2"))
    assert facts_of(content, tmp_path)["Pages"].strip() == "1"


def test_more_containers_than_the_page_holds_are_refused(registry, decided):
    containers(registry, 21)
    with pytest.raises(UsageProblem, match="21 containers, and the page holds 20"):
        pathology_request(registry, "P2")


def test_the_request_says_in_words_what_is_not_recorded(registry, decided, tmp_path):
    text = text_of(request_page.pdf(pathology_request(registry, "P2")), tmp_path)
    assert "Not recorded: nipple distance, clock position or region, containers." in text
    assert "Not stated by the service" in text


def test_calcium_is_counted_by_container(registry, decided, tmp_path):
    containers(registry, 3)
    text = text_of(request_page.pdf(pathology_request(registry, "P2")), tmp_path)
    assert "calcifications seen in 1 of 3 containers, no calcifications seen in 2 of 3 containers" in text


def test_ten_half_lives_after_injection_the_containers_are_released():
    """F-18: 109.77 min (European Pharmacopoeia); 10 half-lives are 1097.7 min = 18 h 17.7 min, the started minute kept."""
    row = {"tracer": "F-18 FDG", "injected_at": datetime(2025, 3, 24, 8, 20)}
    said, missing = radioactive_words(row, 10)
    # 08:20 + 18 h 17 min 42 s = 02:37:42 the next day, so 02:38. 0.5 ** 10 = 0.0977 %.
    assert "until 2025-03-25 02:38" in said
    assert "0.098 %" in said
    assert missing == []


@pytest.mark.parametrize(
    ("row", "said", "missing"),
    [
        ({"tracer": None, "injected_at": None}, "No tracer was given", []),
        ({"tracer": "F-18 FDG", "injected_at": None}, "its time is not recorded", ["injected_at"]),
        ({"tracer": "other", "injected_at": datetime(2025, 3, 24)}, "without a known half-life", ["nuclide"]),
    ],
)
def test_what_cannot_be_computed_is_said(row, said, missing):
    words, lacking = radioactive_words(row, 10)
    assert said in words
    assert lacking == missing


def test_nothing_is_requested_where_no_tissue_was_taken(registry, decided):
    load(
        registry,
        {
            "procedures": [
                {
                    "procedure_id": "P9",
                    "finding_id": "F2",
                    "site": "A",
                    "operator": "OP1",
                    "started_at": "2025-03-26T09:00",
                    "status": "cancelled",
                    "status_reason": "target_not_seen",
                    "guidance": "pet_tracer",
                }
            ]
        },
    )
    with pytest.raises(UsageProblem, match="No tissue was taken"):
        pathology_request(registry, "P9")


def test_the_commands_write_both_files(registry, decided, tmp_path):
    folder = registry.folder
    registry.close()
    for command, key in (("minutes", decided), ("pathology-request", "P2")):
        done = CliRunner().invoke(app, ["report", command, str(folder), key, "--out", str(tmp_path / "out")])
        assert done.exit_code == 0, done.output
    assert {one.name for one in (tmp_path / "out").iterdir()} == {
        f"minutes-{decided}-draft.pdf",
        f"minutes-{decided}-draft.docx",
        "pathology-request-P2.pdf",
        "pathology-request-P2.docx",
    }


def test_an_unknown_meeting_is_a_sentence(registry, decided, tmp_path):
    with pytest.raises(UsageProblem, match="M77: there is no such meeting"):
        service.latest(registry, "M77")
