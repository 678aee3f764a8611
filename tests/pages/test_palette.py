"""Text can be read: contrast of every text colour against its ground, by the formula of WCAG 2.1."""

import pytest

from dashboards.components import palette


def luminance(colour):
    """Relative luminance (WCAG 2.1, definition of relative luminance)."""
    channels = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.03928 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(text, ground):
    light, dark = sorted((luminance(text), luminance(ground)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_the_formula_gives_the_known_extreme():
    assert contrast("#000000", "#FFFFFF") == pytest.approx(21.0)


@pytest.mark.parametrize("text", ["INK", "MUTED", "ACCENT", "ATTENTION_TEXT", "CONTRADICTION"])
@pytest.mark.parametrize("ground", ["PAPER", "SHADE"])
def test_text_stands_out(text, ground):
    assert contrast(getattr(palette, text), getattr(palette, ground)) >= 4.5


def test_every_group_has_a_shape_of_its_own():
    shapes = [shape for _, shape in palette.GROUPS]

    assert len(set(shapes)) == len(shapes)
