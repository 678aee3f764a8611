"""Offsets from the target: sense along the needle, sides of the breast, what cannot be drawn."""

import pytest

from registry.record.offsets import offsets
from registry.store import Registry
from tests.build import base, load

FRAMES = """
[frames.SUITE]
x_plus = "medial"
y_plus = "cranial"
z_plus = "posterior"

[frames.ROOM]
x_plus = "posterior"
y_plus = "left"
z_plus = "cranial"
"""


@pytest.fixture
def framed(folder):
    site = folder / "site.toml"
    site.write_text(site.read_text(encoding="utf-8") + FRAMES, encoding="utf-8")
    with Registry.open(folder, write=True) as opened:
        yield opened


def drawn(registry, **changes):
    rows = base()
    rows["findings"][0]["laterality"] = changes.pop("laterality", "L")
    # The error of tests.build is 2, -1, 2 mm: reached 42, 21, 33 for 40, 22, 31.
    rows["targeting"][0].update({"frame": "SUITE", **changes})
    load(registry, rows)
    return offsets(registry, ["P1"])


def test_plus_along_the_needle_is_deeper(framed):
    row = drawn(framed).geometries[0].offsets.to_dicts()[0]

    # Needle along x; compression along z, so y comes first and z second.
    assert (row["along_mm"], row["first_mm"], row["second_mm"]) == (2.0, -1.0, 2.0)


def test_a_needle_that_advances_towards_minus_turns_the_sign_along_it_only(framed):
    row = drawn(framed, needle_direction="minus").geometries[0].offsets.to_dicts()[0]

    assert (row["along_mm"], row["first_mm"], row["second_mm"]) == (-2.0, -1.0, 2.0)


def test_the_axis_of_compression_comes_second(framed):
    geometry = drawn(framed, compression_axis="y").geometries[0]

    assert [axis.name for axis in geometry.across] == ["z", "y"]


def test_the_frame_register_says_what_plus_means(framed):
    first, second = drawn(framed).geometries[0].across

    assert (first.minus, first.plus) == ("caudal", "cranial")
    assert (second.minus, second.plus) == ("anterior", "posterior")


@pytest.mark.parametrize(("side", "towards_lateral"), [("L", -1.0), ("R", 1.0)])
def test_left_of_the_patient_is_lateral_in_the_left_breast_only(framed, side, towards_lateral):
    geometry = drawn(framed, frame="ROOM", laterality=side).geometries[0]

    # y plus is the patient's left: the error of -1 points to the right, medial in the left breast.
    assert geometry.across[0].plus == "lateral"
    assert geometry.offsets.to_dicts()[0]["first_mm"] == towards_lateral


def test_a_target_re_seen_on_the_scan_is_the_reference(framed):
    row = drawn(framed, seen_x_mm="41", seen_y_mm="21", seen_z_mm="32").geometries[0].offsets.to_dicts()[0]

    assert (row["along_mm"], row["first_mm"], row["second_mm"]) == (1.0, 0.0, 1.0)


def test_an_oblique_needle_is_counted_and_not_drawn(framed):
    found = drawn(framed, needle_axis="oblique")

    assert (found.geometries, found.oblique) == ((), 1)


def test_without_a_frame_nothing_is_drawn(framed):
    found = drawn(framed, frame="")

    assert (found.geometries, found.without_frame) == ((), 1)


def test_only_the_named_procedures_are_drawn(framed):
    drawn(framed)

    assert offsets(framed, []).geometries == ()
