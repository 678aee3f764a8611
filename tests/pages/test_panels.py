"""What opens below a figure: definition, exclusion flow, procedures."""

from datetime import date

import polars as pl
import pytest

from dashboards import session
from dashboards.components.exclusion_flow import flow_table
from dashboards.components.procedure_list import with_part
from dashboards.components.tables import csv_bytes
from registry.measures import load_measures, reason_in_words
from tests.pages.test_pages import text_of


def fold(page, label, measure):
    """Open one fold of one measure, as a click does."""
    page.session_state[f"{label} {measure}"] = True
    return page.run()


def test_a_fold_shows_nothing_until_it_is_opened(demo_page):
    assert "A procedure is left out for the first reason that applies." not in text_of(
        demo_page("complications")
    )


def test_the_definition_is_that_of_the_measures_file(served, open_page):
    page = fold(open_page("complications"), "Definition", "complication")

    assert load_measures()["complication"].numerator in text_of(page)


def test_the_exclusion_flow_names_every_reason(served, open_page):
    page = text_of(fold(open_page("complications"), "Exclusion flow", "complication"))

    assert "All procedures of the period" in page
    assert all(reason_in_words(reason)[1:] in page for reason in load_measures()["complication"].reasons)


def test_the_procedures_lead_to_their_records(served, open_page):
    page = fold(open_page("complications"), "Procedures behind it", "complication")

    assert [box.label for box in page.main.selectbox] == ["Show", "Procedure"]
    assert page.main.selectbox[1].options


def test_the_flow_is_drawn_in_proportion_to_the_first_step():
    drawn = flow_table(
        "caption", [("procedures", 0, 200), ("not sampled", 50, 150), ("no pathology report", 100, 50)]
    )

    assert [part.split('"')[0] for part in drawn.split("width:")[1:]] == ["100.00%", "75.00%", "25.00%"]


def test_the_flow_of_an_empty_registry_can_be_drawn():
    assert "width:0.00%" in flow_table("caption", [("procedures", 0, 0), ("not sampled", 0, 0)])


def test_each_procedure_is_named_by_its_part():
    found = pl.DataFrame(
        {
            "procedure_id": ["P1", "P2", "P3"],
            "excluded_because": [None, None, "not sampled"],
            "in_numerator": [True, False, None],
        }
    )

    parts = with_part(found, load_measures()["complication"]).get_column("part").to_list()

    assert parts == ["In the numerator", "In the denominator only", "Left out: not sampled"]


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1"])
def test_a_file_holds_no_formula(text):
    assert csv_bytes(pl.DataFrame({"note": [text]})).decode().splitlines()[1].lstrip('"').startswith("'")


def test_a_number_below_zero_stays_a_number():
    assert csv_bytes(pl.DataFrame({"along_mm": [-1.5]})) == b"along_mm\n-1.5\n"


@pytest.mark.parametrize(
    ("day", "months", "first"),
    # A year up to 30 June begins on 1 July; one up to the last of February on 1 March.
    [
        ("2026-06-30", 12, "2025-07-01"),
        ("2025-02-28", 12, "2024-02-29"),
        ("2024-02-29", 12, "2023-03-01"),
        ("2026-01-15", 24, "2024-01-16"),
    ],
)
def test_a_period_begins_on_the_day_after(day, months, first):
    assert session.months_before(date.fromisoformat(day), months) == date.fromisoformat(first)
