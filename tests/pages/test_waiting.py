"""What waits on the overview: each worklist in its own words, and findings without a procedure."""

from __future__ import annotations

from dashboards.components.waiting import _SENTENCES
from registry.worklists import load_worklists
from tests.build import base, load


def test_every_worklist_has_words_of_its_own():
    assert set(_SENTENCES) == set(load_worklists())


def test_a_suspicious_finding_without_a_procedure_is_listed_by_its_own_key(served_empty, open_page):
    """One finding of category 4B and nothing after it: there is no procedure whose record could be opened."""
    one = base()
    load(served_empty, {"patients": one["patients"], "findings": one["findings"]})
    page = open_page("overview")
    labels = [fold.label for fold in page.expander]
    assert "1 finding of category 4 or 5 without a biopsy procedure" in labels

    page.session_state["waiting not_biopsied"] = True
    page.run()

    assert [one.value for one in page.exception] == []
    drawn = " ".join(one.proto.body for one in page.get("html"))
    assert "F1" in drawn
