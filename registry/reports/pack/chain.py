"""Part of the pack for the medical physicist: sources, leak tests, constancy, phantom, clocks, dose."""

from __future__ import annotations

from dataclasses import asdict
from datetime import timedelta
from typing import TYPE_CHECKING, Any

from registry import uptake
from registry.disclosure.cells import HIDDEN
from registry.numerals import grouped
from registry.reports.document import Bullets, Paragraph, Section, Table
from registry.reports.pack import charts
from registry.reports.pack.asked import Part
from registry.uptake import words as said
from registry.uptake.chain import COUNTS_SHARE, PHANTOM_MM
from registry.uptake.constancy import DISPOSED
from registry.vocabulary import label

if TYPE_CHECKING:
    from registry.reports.document import Block
    from registry.reports.pack.asked import Asked, Rows
    from registry.uptake import VisitDoses

DRAWN_DAYS = 731
"""Two years of checks are drawn; sentences and files hold all."""


def chain(asked: Asked) -> Part:
    """Whether scanner, targeting and clocks are as they were on the as-of day, and dose per visit in the period."""
    registry, on = asked.registry, asked.as_of
    held = [one for one in uptake.sources(registry, on=on) if one.state != DISPOSED]
    tests = uptake.leak_tests(registry, on=on)
    counts, phantom = uptake.constancy(registry, as_of=on), uptake.phantom_checks(registry, as_of=on)
    clocks = uptake.clock_checks(registry, as_of=on)
    limit, far = uptake.tolerance(registry, COUNTS_SHARE), uptake.tolerance(registry, PHANTOM_MM)
    since = on - timedelta(days=DRAWN_DAYS)
    blocks: list[Block] = [
        Paragraph(f"As of {on}, for the medical physicist. {said.tolerances(registry)}", "small"),
        _sources(held, tests) if held else Paragraph("No radioactive source in use or stored is recorded."),
    ]
    drawn = charts.checks(
        (
            (
                "Measured over expected counts",
                [(c.scanner, c.done_on, c.ratio, bool(c.outside)) for c in counts if c.done_on > since],
                () if limit is None else (1.0 - limit, 1.0 + limit),
                1.0,
            ),
            (
                "Targeting error on the phantom, mm",
                [(c.scanner, c.done_on, c.length_mm, bool(c.outside)) for c in phantom if c.done_on > since],
                () if far is None else (far,),
                None,
            ),
        ),
        " ".join((*said.counts(counts), *said.phantom(uptake.phantom_trends(phantom))))
        or "No check is recorded.",
    )
    blocks += [drawn] if drawn else []
    sentences = (
        *said.leak_tests(tests),
        *said.counts(counts),
        *said.phantom(uptake.phantom_trends(phantom)),
        *said.clocks(clocks),
    )
    blocks.append(Bullets(sentences or ("No check of counts, phantom or clocks is recorded.",)))
    doses = uptake.visit_doses(uptake.visits(registry, **asked.period))
    hidden = [_hides(asked, one) for one in doses]
    blocks.append(
        _doses(asked, doses, hidden) if doses else Paragraph("No procedure with a tracer in the period.")
    )
    rows: Rows = {
        "sources": [asdict(one) for one in held],
        "leak_tests": [asdict(one) for one in tests],
        "constancy": [asdict(one) for one in counts],
        "phantom": [_phantom(asdict(one)) for one in phantom],
        "clocks": [asdict(one) for one in clocks],
        "doses": [_dose_row(asked, one, is_hidden) for one, is_hidden in zip(doses, hidden, strict=True)],
    }
    return Part(Section("Sources and constancy", tuple(blocks), new_page=True), rows)


def _sources(held: list[uptake.Source], tests: list[uptake.LeakTest]) -> Table:
    due = {(one.site, one.source_id): one for one in tests}
    cells = []
    for one in held:
        test = due.get((one.site, one.source_id))
        activity = one.reason if one.activity_mbq is None else f"{one.activity_mbq:.3g}"
        left = "" if one.left is None else f"{100 * one.left:.0f} %"
        tested = "none recorded" if test is None or test.tested_on is None else str(test.tested_on)
        when = (
            "" if test is None else " ".join(str(part) for part in (test.due_on or "", test.standing) if part)
        )
        cells.append(
            (
                one.source_id,
                one.site,
                one.nuclide,
                label("sources", "state", one.state),
                activity,
                left,
                tested,
                when,
            )
        )
    return Table(
        "Sources in use or stored",
        ("Source", "Site", "Nuclide", "State", "MBq now", "Left", "Leak test", "Next due"),
        tuple(cells),
        frozenset((4, 5)),
        widths=(2.4, 1.8, 1.6, 1.6, 1.6, 1.2, 2.2, 3.4),
    )


def _hides(asked: Asked, one: VisitDoses) -> bool:
    """Whether the numbers of visits are hidden; those with and without a dose make up all."""
    without = sum(one.without_dose.values())
    return not asked.told.admits(
        one.visits, one.shared, without, one.visits - one.shared, one.visits - without
    )


def _doses(asked: Asked, found: list[VisitDoses], hidden_ones: list[bool]) -> Table:
    cells = []
    for one, hidden in zip(found, hidden_ones, strict=True):
        tracer = " + ".join(label("procedures", "tracer", name) for name in one.tracers)
        without = sum(one.without_dose.values())
        shown = one.dose.n >= asked.minimum and not asked.rule.is_small(one.dose.n)
        timed = one.uptake_minutes.n >= asked.minimum and not asked.rule.is_small(one.uptake_minutes.n)
        cells.append(
            (
                tracer,
                HIDDEN if hidden else grouped(one.visits),
                HIDDEN if hidden else grouped(one.shared),
                f"{one.dose.median:.2f} ({one.dose.q1:.2f} to {one.dose.q3:.2f})" if shown else "",
                HIDDEN if hidden else grouped(without),
                f"{one.uptake_minutes.median:.0f} ({one.uptake_minutes.q1:.0f} to {one.uptake_minutes.q3:.0f})"
                if timed
                else "",
            )
        )
    named = dict.fromkeys(
        f"{label('procedures', 'tracer', tracer)} {value:g} mSv/MBq ({source})"
        for one in found
        for tracer, value, source in one.coefficients
    )
    return Table(
        "Effective dose and uptake time per visit of the period, medians with quartiles",
        ("Tracer", "Visits", "Shared", "Dose, mSv", "No dose", "Uptake, min"),
        tuple(cells),
        frozenset((1, 2, 4)),
        (
            f"Coefficients: {'; '.join(named) or 'none'}. An injection that served several targets counts once. A dose by coefficient "
            "describes a reference person, nobody in particular.",
        ),
        (3, 1.4, 1.4, 3, 1.6, 3),
    )


def _phantom(row: dict[str, Any]) -> dict[str, Any]:
    error = row.pop("error_mm")
    return {**row, **{f"error_{name}_mm": part for name, part in zip("xyz", error, strict=True)}}


def _dose_row(asked: Asked, one: VisitDoses, hidden: bool) -> dict[str, Any]:
    without = sum(one.without_dose.values())
    shown = one.dose.n >= asked.minimum and not asked.rule.is_small(one.dose.n)
    return {
        "tracers": " + ".join(one.tracers),
        "visits": None if hidden else one.visits,
        "shared": None if hidden else one.shared,
        "without_dose": None if hidden else without,
        **{f"dose_msv_{name}": getattr(one.dose, name) if shown else None for name in ("median", "q1", "q3")},
    }
