"""Colours and shapes: ink on paper, one accent, groups told apart by shape as well."""

from __future__ import annotations

from typing import Any

INK = "#22303C"
MUTED = "#56636F"
PAPER = "#FCFBF8"
SHADE = "#F4F1EA"
RULE = "#D9D5CC"
ACCENT = "#0B5D66"
#: For marks and borders; as text it would be too pale on paper, see ATTENTION_TEXT.
ATTENTION = "#B7791F"
ATTENTION_TEXT = "#85560F"
CONTRADICTION = "#A23B2A"

#: Okabe and Ito's colours that are dark enough on paper, each with a shape of its own, so
#: that a greyscale print still tells the groups apart.
GROUPS: tuple[tuple[str, str], ...] = (
    ("#0072B2", "circle"),
    ("#D55E00", "square"),
    ("#009E73", "triangle-up"),
    ("#CC79A7", "diamond"),
    ("#000000", "cross"),
    ("#E69F00", "triangle-down"),
    ("#56B4E9", "triangle-right"),
)

FONT = '"Source Sans", "Source Sans Pro", "Noto Sans", Arial, sans-serif'

#: Shared by every Vega-Lite drawing.
VEGA_CONFIG: dict[str, Any] = {
    "background": PAPER,
    "font": FONT,
    "view": {"stroke": None},
    "axis": {
        "labelColor": INK,
        "titleColor": INK,
        "labelFontSize": 12,
        "titleFontSize": 12,
        "titleFontWeight": "normal",
        "domainColor": MUTED,
        "tickColor": MUTED,
        "gridColor": RULE,
        "labelOverlap": True,
    },
    "legend": {
        "labelColor": INK,
        "titleColor": INK,
        "labelFontSize": 12,
        "titleFontSize": 12,
        "titleFontWeight": "normal",
    },
    "title": {"color": INK, "fontSize": 13, "fontWeight": "normal", "anchor": "start", "font": FONT},
    "text": {"color": INK, "fontSize": 12, "font": FONT},
}
