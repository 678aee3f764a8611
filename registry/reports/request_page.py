"""The request to the pathologist set on one page."""

from __future__ import annotations

from typing import TYPE_CHECKING

from registry.reports import sheet_pdf, sheet_word
from registry.reports.pathology_request import HEADS, PathologyRequest
from registry.reports.sheet import Block, Grid, Pairs, Sheet, Words

if TYPE_CHECKING:
    from collections.abc import Sequence

CAUTIONS = (
    "From the record of an audit registry, which decides nothing about the patient. Tracer uptake is not cancer, and its absence is "
    "not benign. Containers and waste stay radioactive until they have decayed; handling follows the local radiation protection rules.",
)


def pdf(request: PathologyRequest) -> bytes:
    """The request as PDF."""
    return sheet_pdf.pdf(sheet(request))


def word(request: PathologyRequest) -> bytes:
    """The request as Word."""
    return sheet_word.word(sheet(request))


def sheet(request: PathologyRequest) -> Sheet:
    """What is set: a place for the label, the facts, the containers in the order in which they were filled."""
    blocks: list[Block] = [
        Words(
            "Patient label (put on by hand; the registry prints no identifier): ______________________________________"
        ),
        Pairs(request.facts),
    ]
    if request.containers:
        caption = f"Containers, in the order in which they were filled ({len(request.containers)})"
        blocks.append(Grid(caption, HEADS, request.containers, (0.8, 1.5, 0.8, 0.9, 1.7, 1.6)))
    blocks.append(Words(missing_words(request.missing)))
    return Sheet(
        f"Request to pathology: procedure {request.procedure_id}",
        "Goes out with the specimens",
        tuple(blocks),
        CAUTIONS,
        request.stamp,
        request.done_on,
        text_pt=9.0,
        margin_mm=17.0,
    )


def missing_words(missing: Sequence[str]) -> str:
    """Which fields are empty, in words."""
    if not missing:
        return "Every field that this page prints is recorded."
    return f"Not recorded: {', '.join(missing)}."
