"""Sources and constancy page: leak tests, counts against expected ones, phantom errors, clocks."""

from __future__ import annotations

from typing import TYPE_CHECKING

import polars as pl

from dashboards.answers import chain as answers
from dashboards.answers import uptake
from dashboards.components import words
from dashboards.components.chain_plot import checks_plot
from dashboards.components.chart import chart
from dashboards.components.markup import element, show
from dashboards.components.tables import table
from registry.uptake import chain as said_of
from registry.uptake import phantom_trends
from registry.uptake import words as said

if TYPE_CHECKING:
    from collections.abc import Iterable

NOT_JUDGED = "not judged"


def leak_test_table() -> None:
    """Leak tests, those due first."""
    found = answers.leak_tests()
    if not found:
        show(element("p", "No radioactive source in use or stored is recorded.", class_="beside"))
        return
    rows = [
        [
            one.source_id,
            one.site,
            one.tested_on or "none recorded",
            one.due_on or "",
            "" if one.days is None else words.count(abs(one.days)) + (" ago" if one.days < 0 else ""),
            one.standing,
        ]
        for one in found
    ]
    heads = ["Source", "Site", "Last leak test", "Next due", "Days", "Standing"]
    table("Leak tests of sources in use or stored", heads, rows, frozenset({4}), caption_seen=True)
    _sentences(said.leak_tests(found))


def counts() -> None:
    """Measured over expected counts of each check."""
    found = uptake.constancy()
    if not found:
        show(element("p", "No constancy check with counts of a recorded source.", class_="beside"))
        return
    frame = pl.DataFrame(
        [
            {
                "scanner": one.scanner,
                "done_on": str(one.done_on),
                "source": one.source_id,
                "measured": one.counts,
                "expected": round(one.expected, 1),
                "ratio": round(one.ratio, 4),
                "lower": round(one.ratio_lower, 4),
                "upper": round(one.ratio_upper, 4),
                "baseline": one.baseline,
                "standing": _standing(one.outside),
            }
            for one in found
        ]
    )
    limit = answers.tolerance(said_of.COUNTS_SHARE)
    chart(
        checks_plot(
            frame,
            "ratio",
            "measured over expected",
            centre=1.0,
            limits=() if limit is None else (1.0 - limit, 1.0 + limit),
        ),
        title="Measured over expected counts, decayed to the day of each check",
        description=f"One mark per check and scanner over time; 1 is as expected. {' '.join(said.counts(found))}",
        frame=frame.sort("done_on", descending=True),
        file_name="constancy.csv",
    )
    _sentences(said.counts(found))


def phantom() -> None:
    """Length of the targeting error on the phantom, with trend and mean."""
    found = answers.phantom_checks()
    if not found:
        show(element("p", "No check of targeting on a phantom is recorded.", class_="beside"))
        return
    frame = pl.DataFrame(
        [
            {
                "scanner": one.scanner,
                "done_on": str(one.done_on),
                "length_mm": round(one.length_mm, 2),
                **{f"{axis}_mm": part for axis, part in zip("xyz", one.error_mm, strict=True)},
                "standing": _standing(one.outside),
            }
            for one in found
        ]
    )
    limit = answers.tolerance(said_of.PHANTOM_MM)
    sentences = said.phantom(phantom_trends(found))
    chart(
        checks_plot(
            frame,
            "length_mm",
            "length of the error, mm",
            centre=None,
            limits=() if limit is None else (limit,),
            zero=True,
        ),
        title="Targeting error on the phantom",
        description=f"One mark per check and scanner over time. {' '.join(sentences)}",
        frame=frame.sort("done_on", descending=True),
        file_name="phantom.csv",
    )
    _sentences(sentences)


def clocks() -> None:
    """Offsets of the scanner clocks."""
    found = answers.clock_checks()
    if not found:
        show(element("p", "No comparison of a scanner clock with a reference is recorded.", class_="beside"))
        return
    frame = pl.DataFrame(
        [
            {
                "scanner": one.scanner,
                "done_on": str(one.done_on),
                "offset_s": one.offset_s,
                "F-18_shift_percent": round(100 * one.shift, 3),
                "standing": _standing(one.outside),
            }
            for one in found
        ]
    )
    limit = answers.tolerance(said_of.CLOCK_S)
    chart(
        checks_plot(
            frame, "offset_s", "offset, s", centre=0.0, limits=() if limit is None else (-limit, limit)
        ),
        title="Scanner clock minus reference clock",
        description=f"One mark per check and scanner over time. {' '.join(said.clocks(found))}",
        frame=frame.sort("done_on", descending=True),
        file_name="clocks.csv",
    )
    _sentences(said.clocks(found))


def tolerances() -> None:
    """The local tolerances, marked as such."""
    _sentences([answers.tolerances()])


def _standing(outside: bool | None) -> str:
    return NOT_JUDGED if outside is None else "outside" if outside else "within"


def _sentences(found: Iterable[str]) -> None:
    show(
        element(
            "div", *(element("p", one.replace(" %", f"{words.NARROW}%"), class_="beside") for one in found)
        )
    )
