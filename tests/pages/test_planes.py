"""The planes through the target: equal scales, aperture, scale bar, shape beside colour."""

import polars as pl

from dashboards.components.planes import judgement_styles, plane, reach

ROWS = pl.DataFrame(
    {
        "procedure_id": ["P1", "P2"],
        "along_mm": [2.0, -1.0],
        "across_mm": [1.0, -4.0],
        "judgement": ["Target within the aperture", "Target outside the aperture"],
    }
)


def span(scale, width, height):
    """Length of an axis in mm as the drawing computes it from its pixels."""
    low, high = (
        eval(scale[end]["expr"], {"max": max, "width": width, "height": height})
        for end in ("domainMin", "domainMax")
    )
    return high - low


def test_both_directions_have_one_scale_whatever_the_width():
    layer = plane(ROWS, "cranial", 20.0, (11.0, 5.0), True)["layer"][0]["encoding"]

    for width, height in ((240, 200), (480, 200), (150, 300)):
        along = width / span(layer["x"]["scale"], width, height)
        across = height / span(layer["y"]["scale"], width, height)
        assert abs(along - across) < 1e-9


def test_everything_lies_within_reach():
    offsets = pl.DataFrame({"along_mm": [-14.0], "first_mm": [2.0], "second_mm": [-9.0]})

    along, across = reach(offsets, None)

    assert along >= 14.0
    assert across >= 9.0


def test_the_aperture_has_its_own_length_around_the_target():
    box = plane(ROWS, "cranial", 20.0, (11.0, 5.0), True)["layer"][0]["data"]["values"][0]

    assert (box["along_mm"], box["along_end"]) == (-10.0, 10.0)


def test_the_aperture_of_one_procedure_lies_around_the_position_reached():
    box = plane(ROWS.head(1), "cranial", 20.0, (13.0, 5.0), False)["layer"][0]["data"]["values"][0]

    assert (box["along_mm"], box["along_end"]) == (-8.0, 12.0)  # reached 2 mm deeper


def test_without_a_length_no_aperture_is_drawn():
    kinds = [one["mark"]["type"] for one in plane(ROWS, "cranial", None, (11.0, 5.0), True)["layer"]]

    assert "rect" not in kinds


def test_the_scale_bar_is_as_long_as_it_says():
    bar = plane(ROWS, "cranial", 20.0, (11.0, 5.0), True)["layer"][-2]["data"]["values"][0]

    assert f"{bar['along_end'] - bar['along_mm']:g} mm" == bar["words"]


def test_groups_differ_in_colour_and_in_shape():
    styles = list(judgement_styles(ROWS).values())

    assert len({colour for colour, _ in styles}) == len(styles) == len({shape for _, shape in styles})
