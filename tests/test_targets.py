"""Targets as data: nothing from memory, and a line only where three conditions hold."""

from __future__ import annotations

import pytest

from registry import site
from registry.errors import SiteProblem
from registry.measures import load_measures
from registry.targets import KINDS, SEEN, SETS_A_MARK, drawn, targets


def test_every_target_names_a_measure_of_the_registry_or_none():
    named = {one.measure for one in targets().values()} - {""}

    assert named <= set(load_measures())


def test_nothing_is_from_memory():
    assert {one.status for one in targets().values()} == {SEEN, "SECOND-HAND"}


@pytest.mark.parametrize("name", sorted(targets()))
def test_every_target_has_wording_source_and_population(name):
    one = targets()[name]

    assert all((one.wording, one.body, one.document, one.edition, one.place, one.population, one.shown))
    assert one.kind in KINDS


def test_the_published_cut_points_of_ppv3():
    """Radiology 2013: below 20 % or above 45 % is low after screening, 30 and 55 % for a lump."""
    ends = {one.id: (one.low, one.high) for one in targets().values() if one.measure == "ppv3" and one.low}

    assert ends == {"ppv3-mammography-screen": (0.20, 0.45), "ppv3-mammography-lump": (0.30, 0.55)}


def test_only_marks_read_in_their_document_can_be_switched_on():
    usable = [one for one in targets().values() if not one.refusal]

    assert usable
    assert all(
        one.status == SEEN and one.kind in SETS_A_MARK and one.match != "no" and one.measure for one in usable
    )


def test_none_is_on_by_itself():
    assert site.parse(site.template()).targets_on == ()
    assert drawn("ppv3", ()) == ()


def test_a_target_that_is_switched_on_is_drawn_for_its_measure_only():
    on = site.parse('[targets]\non = ["ppv3-mammography-lump"]').targets_on

    assert [one.id for one in drawn("ppv3", on)] == ["ppv3-mammography-lump"]
    assert drawn("discordance", on) == ()
    assert targets()["ppv3-mammography-lump"].why(on).startswith("Drawn: ")
    assert "has not switched it on" in targets()["ppv3-mammography-screen"].why(on)


@pytest.mark.parametrize(
    ("name", "why"),
    [
        ("seen-discordance-heller", "published observation: context, no pass mark"),
        ("report-90-in-7-days", "the document itself was not read"),
        ("screen-to-diagnosis-7-weeks", "its population or its count is another"),
        ("audit-data-set", "states no figure"),
        ("mine", "is no target"),
    ],
)
def test_what_cannot_be_drawn_is_refused_with_a_sentence(name, why):
    with pytest.raises(SiteProblem, match=why) as refused:
        site.parse(f'[targets]\non = ["{name}"]')

    assert str(refused.value).startswith("site.toml, [targets] on: ")


@pytest.mark.parametrize("text", ["[targets]\non = 3", "[targets]\non = [3]", "[targets]\noff = []"])
def test_a_section_that_cannot_be_read_is_refused(text):
    with pytest.raises(SiteProblem, match=r"\[targets\]"):
        site.parse(text)
