"""The request to the pathologist set on one page."""

from __future__ import annotations

from typing import TYPE_CHECKING

from registry.reports import pdf as printed
from registry.reports import word as written
from registry.reports.document import Block, Document, Facts, Paragraph, Section, Table
from registry.reports.pathology_request import HEADS, PathologyRequest

if TYPE_CHECKING:
    from collections.abc import Sequence

CAUTIONS = (
    "From the record of an audit registry, which decides nothing about the patient. Tracer uptake is not cancer, and its absence is "
    "not benign. Containers and waste stay radioactive until they have decayed; handling follows the local radiation protection rules.",
)


def pdf(request: PathologyRequest) -> bytes:
    """The request as PDF."""
    return printed.pdf(document(request))


def word(request: PathologyRequest) -> bytes:
    """The request as Word."""
    return written.word(document(request))


def document(request: PathologyRequest) -> Document:
    """What is set: a place for the label, the facts, the containers in the order in which they were filled."""
    blocks: list[Block] = [
        Paragraph(
            "Patient label (put on by hand; the registry prints no identifier): ______________________________________"
        ),
        Facts(request.facts),
    ]
    if request.containers:
        caption = f"Containers, in the order in which they were filled ({len(request.containers)})"
        blocks.append(Table(caption, HEADS, request.containers, widths=(0.8, 1.5, 0.8, 0.9, 1.7, 1.6)))
    blocks.append(Paragraph(missing_words(request.missing)))
    return Document(
        title=f"Request to pathology: procedure {request.procedure_id}",
        subtitle="",
        day=request.done_on,
        sections=(Section("", tuple(blocks)),),
        cautions=CAUTIONS,
        provenance=(),
        head="Goes out with the specimens",
        foot=request.stamp,
        compact=True,
    )


def missing_words(missing: Sequence[str]) -> str:
    """Which fields are empty, in words."""
    if not missing:
        return "Every field that this page prints is recorded."
    return f"Not recorded: {', '.join(missing)}."
