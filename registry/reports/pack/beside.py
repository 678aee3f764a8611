"""Part of the pack: operators and sites beside one another, with what chance alone would do; nobody is ranked."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from registry.disclosure.cells import HIDDEN
from registry.measures import load_measures
from registry.numerals import grouped
from registry.reports.document import Paragraph, Section, Table
from registry.reports.pack import charts
from registry.reports.pack.asked import COMMITTEE, Part
from registry.reports.pack.cells import percent, span
from registry.units import OPERATOR, SITE, WAYS, funnel, without_names
from registry.units import words as said
from registry.units.frames import limit_lines, marks, name_of, unit_frame

if TYPE_CHECKING:
    from registry.reports.document import Block
    from registry.reports.pack.asked import Asked
    from registry.units import Funnel, Unit

LEAD = (
    "Each mark is one unit: its share against its number of procedures, with its 95 % interval. The line across is the rate of all; the "
    "limits around it are exact, 95 % drawn through and 99.8 % broken, and are a guide to the eye. A diamond stands out by the test "
    "against all the others. Units differ in the patients they see and by chance; they stand in the order of their codes, and no order "
    "of merit is meant."
)
_BACKGROUND = ("role", "experience_before", "supervised", "supervisors")


def beside(asked: Asked) -> tuple[Part, ...]:
    """Funnel, expected numbers, tests and spread of each watched measure, by operator and by site."""
    lead = Paragraph(LEAD, "small")
    rows: list[dict[str, Any]] = []
    parts = [Part(Section("Operators and sites", (lead,), new_page=True), {"units": rows})]
    for name in COMMITTEE:
        found = {by: _funnel(asked, name, by) for by in WAYS}
        shown = {by: one for by, one in found.items() if not _hides(asked, one)}
        for by, one in shown.items():
            frame = unit_frame(one)
            if not frame.height:
                continue
            frame = frame.drop(_BACKGROUND if asked.rule.upto else ())
            rows += [
                {"measure": name, "by": by, "unit": row.pop(by), **_whole(asked, row)}
                for row in frame.to_dicts()
            ]
        title = load_measures()[name].title
        parts.append(Part(Section(title, _blocks(asked, title, found, shown), level=2), {}))
    return tuple(parts)


def _funnel(asked: Asked, name: str, by: str) -> Funnel:
    found = funnel(asked.registry, name, by=by, minimum=asked.minimum, **asked.period)  # type: ignore[arg-type]
    return without_names(found) if asked.rule.upto else found


def _whole(asked: Asked, row: dict[str, Any]) -> dict[str, Any]:
    """A row of the file; what was left out holds small counts of its own."""
    return {**row, "left_out": None} if asked.rule.upto else row


def _hides(asked: Asked, found: Funnel) -> bool:
    """Whether one unit tells a small count: then none is shown, as it could be worked out from the others."""
    return asked.told.hides(found.by, found.measure)


def _blocks(
    asked: Asked, title: str, found: dict[str, Funnel], shown: dict[str, Funnel]
) -> tuple[Block, ...]:
    blocks: list[Block] = []
    panels = [
        (f"By {by}", marks(one), limit_lines(one), one.proportion or 0.0)
        for by, one in shown.items()
        if one.lines
    ]
    words = f"{title} against the number of procedures, by operator and by site. " + " ".join(
        said.looked_at(one) for one in shown.values()
    )
    if drawn := charts.funnels(panels, words):
        blocks.append(drawn)
    for by, one in found.items():
        sentences: tuple[str, ...]
        if by in shown:
            sentences = (
                said.looked_at(one),
                said.flags(one),
                said.spread(one),
                said.pooled(one.pool, by) if by == SITE else "",
                one.withheld,
            )
        else:
            small = f"A small count would follow from one {by} at least: the {by}s are not shown ({HIDDEN})."
            sentences = (_number(one), said.spread(one), small)
        text = " ".join(sentence for sentence in sentences if sentence)
        if text:
            blocks.append(Paragraph(f"By {by}: {text}", "small"))
    spread = any(one.spread is not None for one in shown.values())
    cells = tuple(
        _cells(by, unit)[: 7 if spread else 6] for by, one in shown.items() for unit in one.units if unit.n
    )
    if cells:
        heads = (
            "Unit",
            "x / n",
            "Rate (95 % interval)",
            "Expected",
            "Outside",
            "p, adjusted",
            *(["Spread allowed for"] if spread else []),
        )
        note = (
            "Expected: events at the rate of all, or of all the others for a unit with a tenth of the procedures or more. p: Fisher, "
            "adjusted by Benjamini and Hochberg."
            + (
                " Spread allowed for: deviation in standard deviations after over-dispersion."
                if spread
                else ""
            ),
        )
        blocks.append(
            Table(
                f"{title} by operator and site",
                heads,
                cells,
                frozenset((1, 3, 5, 6) if spread else (1, 3, 5)),
                note,
                (4, 2.6, 4.6, 2, 2, 2.4, 2.6)[: 7 if spread else 6],
            )
        )
    return tuple(blocks)


def _number(made: Funnel) -> str:
    """How many were looked at, without the words on those that were not."""
    return (
        f"{made.looked_at} were looked at; if all had one true rate, the chance that at least one lay outside the 95 % limits would be "
        f"up to {said.percent(made.chance_95)}, outside the 99.8 % limits up to {said.percent(made.chance_998)}."
        if made.looked_at > 1
        else ""
    )


def _cells(by: str, one: Unit) -> tuple[str, ...]:
    name = name_of(one)
    rate = "counts only"
    if one.proportion is not None:
        rate = f"{percent(one.proportion)} ({span(one.lower, one.upper)})"
    return (
        f"Operator {name}" if by == OPERATOR else f"Site {name}",
        f"{grouped(one.x)} / {grouped(one.n)}",
        rate,
        "" if one.expected is None else f"{one.expected:.1f}",
        one.outside,
        "" if one.adjusted is None else f"{one.adjusted:.3f}" + (", look" if one.flagged else ""),
        "" if one.deviation_spread is None else f"{one.deviation_spread:.1f}".replace("-", "\u2212"),
    )
