"""Local numbers: what is shipped, what a site must state itself, what is refused."""

from __future__ import annotations

import tomllib

import pytest

from registry.errors import SiteProblem
from registry.site import parse, template


def test_the_reach_is_shipped_as_a_band_from_0_to_3_mm():
    numbers = parse(template()).numbers
    assert (numbers["tissue_reach_from_mm"], numbers["tissue_reach_to_mm"]) == (0.0, 3.0)


@pytest.mark.parametrize("name", ["slices_per_view", "measurement_sd_mm"])
def test_what_only_the_site_can_know_has_no_default(name: str):
    assert name not in parse(template()).numbers
    assert name not in tomllib.loads(template())["sampling"]
    assert parse(f"[sampling]\n{name} = 12").numbers[name] == 12.0


def test_a_middle_reach_outside_the_band_is_refused():
    with pytest.raises(SiteProblem, match="runs from 0 over 4 to 3 mm"):
        parse("[sampling]\ntissue_reach_mm = 4")


@pytest.mark.parametrize(
    ("line", "said"),
    [("sampled_share = 0", "from 0.01 to 1"), ("slices = 12", "slices is not a setting")],
)
def test_a_faulty_setting_is_refused(line: str, said: str):
    with pytest.raises(SiteProblem, match=said):
        parse(f"[sampling]\n{line}")
