"""Every parameter says where it comes from, and cited counts give the value."""

from __future__ import annotations

import re

import pytest

from synthetic_data import parameters

LEAVES = dict(parameters.leaves(parameters.tree()))
CITED = {path: leaf for path, leaf in LEAVES.items() if "source" in leaf}

#: Counts as printed in the published series, kept apart from parameters.toml.
PUBLISHED = {
    ("review", "discordant", "benign_of_all"): (64, 3080),  # HKJR 2024;27(2):e80, discordant benign
    ("result", "mri", "malignant"): (138, 517),  # Perlet 2006, malignant of successful
    ("procedure", "cancelled", "mri"): (74, 911),  # Radiology 2011, cancelled lesions
    ("procedure", "cancelled", "gamma_tracer"): (13, 117),  # AJR 2018;210(3), cancelled of recommended
    ("hidden", "concordant_benign"): (11, 1006),  # Clin Imaging, benign concordant with two years
    ("step", "in_situ_upgraded"): (1736, 7350),  # Brennan 2011, in situ to invasive, crude
    ("hidden", "high_risk", "alh"): (12, 339),  # Berg 2016
    ("follow_up", "month_12"): (271, 339),  # Adams 2014, returned at 12 months
    ("complication", "any"): (319, 4776),  # AJR, 9-gauge stereotactic series
    ("procedure", "marker", "within_5_mm"): (119, 204),  # Uematsu 2012
}


@pytest.mark.parametrize("path", sorted(LEAVES), ids=".".join)
def test_leaf_has_exactly_one_of_source_and_assumed(path):
    leaf = LEAVES[path]
    assert ("source" in leaf) != (leaf.get("assumed") is True)


@pytest.mark.parametrize(
    "path", sorted(path for path, leaf in CITED.items() if re.search(r"\d/\d", leaf["source"])), ids=".".join
)
def test_cited_count_gives_the_value(path):
    events, trials = map(int, re.search(r"(\d+)/(\d+)", CITED[path]["source"]).groups())
    # Values are kept to four decimals.
    assert CITED[path]["value"] == pytest.approx(events / trials, abs=5e-5)


@pytest.mark.parametrize(
    "path",
    sorted(path for path, leaf in CITED.items() if not re.search(r"\d/\d", leaf["source"])),
    ids=".".join,
)
def test_cited_figure_is_the_value(path):
    value = CITED[path]["value"]
    printed = [float(text) for text in re.findall(r"\d+(?:\.\d+)?", CITED[path]["source"].rsplit(":", 1)[-1])]
    assert any(value == pytest.approx(number) or value == pytest.approx(number / 100) for number in printed)


@pytest.mark.parametrize(("path", "count"), PUBLISHED.items(), ids=[".".join(path) for path in PUBLISHED])
def test_value_is_the_published_proportion(path, count):
    assert LEAVES[path]["value"] == pytest.approx(count[0] / count[1], abs=5e-5)


def test_leaf_with_source_and_assumed_is_refused():
    with pytest.raises(ValueError, match="x: give exactly one"):
        parameters.check({"x": {"value": 1, "source": "a", "assumed": True}})


def test_leaf_with_neither_is_refused():
    with pytest.raises(ValueError, match="x: give exactly one"):
        parameters.check({"x": {"value": 1}})


@pytest.mark.parametrize(
    "path",
    sorted(
        path
        for path, leaf in LEAVES.items()
        if isinstance(leaf["value"], dict) and path[-1] != "calibration_cps_per_kbq"
    ),
    ids=".".join,
)
def test_shares_of_a_list_sum_to_one(path):
    assert sum(LEAVES[path]["value"].values()) == pytest.approx(1.0, abs=1e-9)
