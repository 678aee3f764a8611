"""The parts put together: one document, and the rows of every table by the name of its file."""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from registry import provenance
from registry.disclosure.cells import SMALLEST, Rule
from registry.errors import UsageProblem
from registry.numerals import NARROW
from registry.people import Action, require
from registry.reports.document import Bullets, Document, Paragraph, Section, Table
from registry.reports.pack import parts
from registry.reports.pack.afterwards import afterwards
from registry.reports.pack.asked import Asked
from registry.reports.pack.before import before
from registry.reports.pack.beside import beside
from registry.reports.pack.chain import chain
from registry.reports.pack.filled import filled
from registry.reports.pack.told import told
from registry.reports.pack.watching import watching

if TYPE_CHECKING:
    from datetime import date

    from registry.measures.counting import Reader
    from registry.reports.document import Block

CAUTIONS = (
    "An audit of the record. It is no diagnostic device and decides nothing about concordance, biopsy or treatment; decisions belong to qualified clinicians under their local protocol.",
    "Small denominators swing widely: read the interval, not the rate. No percentage is shown below the local minimum; of no events the one-sided upper bound is shown.",
    "A benign result is not proven benign until its follow-up is complete; repeat biopsy and excision are chosen for a reason. What is pending, lost or unknown is counted and bounded.",
    "Several procedures of one patient are not independent; the plain interval assumes that they are.",
    "Many figures are looked at: one outside what was expected is a reason to look, not a finding.",
    "Published figures come from other patients, devices and definitions; none is drawn as a pass mark unless the service has switched it on.",
    "Tracer uptake is not cancer, and its absence is not benign.",
    "Confidential to the service and its quality committee unless marked as to be shared.",
)
DEMO = "Invented data: they say nothing about any patient, service, device, operator or way of care."


@dataclass(frozen=True)
class Pack:
    """The report as a document, and its tables as rows by the name of the file."""

    document: Document
    rows: dict[str, list[dict[str, Any]]]
    digest: str


def quality_pack(
    registry: Reader,
    *,
    start: date,
    end: date,
    as_of: date,
    shareable: bool = False,
    smallest: int = SMALLEST,
) -> Pack:
    """The pack for the procedures of a period.

    Parameters
    ----------
    registry
        An open registry, or one as it was known at a moment.
    start, end
        First and last day on which a procedure started, both included.
    as_of
        Nothing dated after this day counts.
    shareable
        Leave out small cells, single procedures, and what would give either away.
    smallest
        Counts of 1 to so many are small; at least ``SMALLEST``.

    Raises
    ------
    UsageProblem
        A period that ends before it begins or after the as-of date, or a lower ``smallest``.
    Refused
        The actor may not see figures, or, for the whole pack, single procedures.
    """
    require(Action.FIGURES if shareable else Action.PROCEDURES, registry)
    if not start <= end <= as_of:
        raise UsageProblem(
            f"The period runs from {start} to {end} and is read as of {as_of}: let them stand in this order."
        )
    if smallest < SMALLEST:
        raise UsageProblem(
            f"Counts of 1 to {SMALLEST} are left out at least; {smallest} hides fewer. Give {SMALLEST} or more."
        )
    rule = Rule(smallest if shareable else 0)
    asked = Asked(registry, as_of, start, end, rule, told(registry, rule, start, end, as_of))
    made = [
        part
        for part in (
            parts.measures(asked),
            before(asked),
            *watching(asked),
            *beside(asked),
            parts.left_out(asked),
            parts.discordance(asked),
            parts.b_categories(asked),
            afterwards(asked),
            parts.harm(asked),
            parts.yearly(asked),
            parts.steps(asked),
            filled(asked),
            chain(asked),
            parts.definitions(),
        )
        if part is not None
    ]
    rows = {name: lines for part in made for name, lines in part.rows.items()}
    digest = hashlib.sha256(json.dumps(rows, sort_keys=True, default=str).encode()).hexdigest()
    demo = (registry.folder / "DEMO").exists() if hasattr(registry, "folder") else False
    cautions = (*((DEMO,) if demo else ()), *([asked.rule.words] if shareable else []), *CAUTIONS)
    document = Document(
        title="Quality report",
        subtitle=f"{registry.site.name}: procedures from {start} to {end}, as of {as_of}",
        day=as_of,
        sections=tuple(_kept_together(part.section) for part in made),
        cautions=cautions,
        provenance=_origin(registry, as_of, digest),
        mark="To be shared" if shareable else "Confidential",
    )
    return Pack(document, rows, digest)


def _kept_together(section: Section) -> Section:
    """No line ends between a number and its percent sign."""

    def whole(text: str) -> str:
        return text.replace(" %", f"{NARROW}%")

    blocks: list[Block] = []
    for block in section.blocks:
        if isinstance(block, Paragraph):
            blocks.append(replace(block, text=whole(block.text)))
        elif isinstance(block, Bullets):
            blocks.append(Bullets(tuple(map(whole, block.texts))))
        elif isinstance(block, Table):
            blocks.append(replace(block, notes=tuple(map(whole, block.notes))))
        else:
            blocks.append(block)
    return replace(section, blocks=tuple(blocks))


def _origin(registry: Reader, as_of: date, digest: str) -> tuple[tuple[str, str], ...]:
    stamp = provenance.stamp(registry, as_of=as_of)  # type: ignore[arg-type]
    names = {
        "program": "Program",
        "schema": "Schema",
        "revision": "Revision of the registry",
        "as_of": "As of",
        "known_at": "As known at",
        "definitions_sha256": "Definitions (SHA-256)",
    }
    made = [(words, str(stamp[name])) for name, words in names.items() if name in stamp]
    return (*made, ("Tables (SHA-256)", digest))
