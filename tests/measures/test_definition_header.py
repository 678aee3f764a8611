"""Every line of a header reaches the measure, and what is wrong with one is said of its file."""

from __future__ import annotations

import re

import pytest

from registry.errors import UsageProblem
from registry.measures.definition import Exclusion, Measure, _measure, chosen
from registry.sqlfiles import HeaderProblem, SqlFile, parse_header

SHORT = """-- measure: example
-- kind: proportion
-- title: Example
-- question: How often?
-- unit: procedure
-- numerator: those
-- denominator: these
-- exclusions: not sampled (status (as sent) not completed); too new (started lately)
-- window: none
-- interval: wilson
-- source: common practice
SELECT 1"""
OPTIONAL = """-- bounds: missing
-- group: marker
-- note: read with care
-- caution: few of them
-- direction: lower
"""
#: What the short header comes to, the exclusion's meaning with brackets of its own.
SAID = {
    "id": "example",
    "kind": "proportion",
    "title": "Example",
    "question": "How often?",
    "unit": "procedure",
    "numerator": "those",
    "value": "",
    "value_unit": "",
    "denominator": "these",
    "exclusions": (
        Exclusion("not sampled", "status (as sent) not completed"),
        Exclusion("too new", "started lately"),
    ),
    "window": "none",
    "interval": "wilson",
    "source": "common practice",
}
LEFT_OUT = {"bounds": "", "group": "", "note": "", "caution": "", "direction": "context"}
GIVEN = {
    "bounds": "missing",
    "group": "marker",
    "note": "read with care",
    "caution": "few of them",
    "direction": "lower",
}


def read(text: str) -> Measure:
    return _measure(SqlFile("example", parse_header(text, "here"), text))


@pytest.mark.parametrize(("more", "said"), [("", LEFT_OUT), (OPTIONAL, GIVEN)])
def test_each_line_is_a_field_of_the_measure(more: str, said: dict[str, str]):
    assert read(more + SHORT) == Measure(**SAID, **said, sql=more + SHORT)


def test_a_quantity_has_a_value_and_its_unit_in_place_of_a_numerator():
    text = SHORT.replace("proportion", "quantity").replace(
        "-- numerator: those", "-- value: delay\n-- value_unit: d"
    )
    found = read(text)

    assert (found.kind, found.numerator, found.value, found.value_unit) == ("quantity", "", "delay", "d")


@pytest.mark.parametrize(
    ("line", "instead", "complaint"),
    [
        ("kind: proportion", "kind: ratio", "kind 'ratio' is not known."),
        ("title: Example", "titel: Example", "unknown titel"),
        ("window: none", "window: none\n-- bounds: some", "bounds 'some' is not known."),
        ("window: none", "window: none\n-- group: other", "group 'other' is not known."),
        ("window: none", "window: none\n-- direction: up", "direction 'up' is not known."),
        ("title: Example", "title:", "title is empty. Say it"),
        ("window: none", "window:\n-- note:", "note, window is empty. Say it"),
        ("too new (started lately)", "too new", "exclusion 'too new' is not 'reason (meaning)'."),
        ("too new (started lately)", "(started lately)", "exclusion '(started lately)' is not"),
    ],
)
def test_a_faulty_line_is_told_with_the_file_it_stands_in(line: str, instead: str, complaint: str):
    with pytest.raises(
        HeaderProblem, match=f"^{re.escape('sql/measures/example.sql')}.*{re.escape(complaint)}"
    ):
        read(SHORT.replace(line, instead))


def test_of_several_measures_the_one_that_does_not_exist_is_named():
    with pytest.raises(
        UsageProblem, match=r"^markers: there is no such measure\. See: biopsy-outcomes measures$"
    ):
        chosen(["marker_placed", "markers"])
