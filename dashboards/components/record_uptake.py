"""Record page: what the tracer counts of the specimens show, and the dose of the visit."""

from __future__ import annotations

from typing import TYPE_CHECKING

from dashboards.answers import uptake
from dashboards.components import cautions, words
from dashboards.components.markup import Markup, element, joined, show
from dashboards.components.tables import table, two_lines
from dashboards.components.uptake_ratios import ratio_text
from registry.numerals import measured
from registry.tracer import HALF_LIFE_MIN, half_life_source
from registry.vocabulary import label

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date

    from registry.uptake import Injection, Scan

HEADING = "Tracer in the specimens"
#: What the words of a decision do not mean.
NOT_THE_TARGET = "Tissue beside the target holds tracer too: radioactivity measured over an empty tray does not say that the target was sampled."
NOT_A_PERSONS_DOSE = "Effective dose is a figure for comparison, not the dose of a person."
_HEADS = (
    "Scan",
    "Counts",
    "Background",
    "Net rate ± u, 1/s",
    "Decision threshold, 1/s",
    "Detection limit, 1/s",
    "Times an even spread",
    "Over SUV max",
    "Reader",
)


def tracer_in_specimens(procedure_id: str, day: date) -> None:
    """Scans with net rate, decision and concentration ratio; below them decay, uptake time and dose.

    Parameters
    ----------
    procedure_id
        Key of the procedure.
    day
        Day on which it started.
    """
    found = uptake.scans_of(procedure_id)
    visit = uptake.visit_of(procedure_id, day)
    if not found and visit is None:
        return
    if found:
        cells = [_cells(one) for one in found]
        kept = [place for place in range(len(_HEADS)) if any(row[place] for row in cells)]
        table(
            HEADING,
            [_HEADS[place] for place in kept],
            [[row[place] for place in kept] for row in cells],
            frozenset(number for number, place in enumerate(kept) if 1 <= place <= 7),
            caption_seen=True,
        )
        show(joined(_said(one, len(found) > 1) for one in found))
        show(element("p", _method(found), class_="beside"))
    else:
        show(element("p", f"{HEADING}: no scan and no reading recorded.", class_="beside"))
    if visit is not None:
        injection = next(one for one in visit.injections if procedure_id in one.procedures)
        terms = [*_decay(found), *_dose(injection, procedure_id, visit.msv, len(visit.injections))]
        parts = (element("div", element("dt", name), element("dd", text)) for name, text in terms)
        show(element("dl", joined(parts), class_="facts"))
        show(element("p", f"{NOT_A_PERSONS_DOSE} {cautions.RADIATION}", class_="beside"))


def _cells(one: Scan) -> list[object]:
    containers = ", ".join(one.containers)
    together = f"{containers} (together)" if len(one.containers) > 1 else containers
    read = label("specimens", "uptake_seen", one.uptake_seen) if one.uptake_seen else "not read"
    seconds = f" in {one.seconds:g}{words.NARROW}s" if one.seconds is not None else ""
    counted = [
        f"{_whole(one.counts)}{seconds}" if one.counts is not None else "",
        _whole(one.background_counts),
    ]
    if one.net is None:
        return [together, *counted, "", "", "", "", "", read]
    net = one.net
    ratio: str | Markup = ""
    over: str | Markup = ""
    if one.uptake is not None:
        ratio = _ratio(one.uptake.ratio, one.uptake.ci)
    if one.over_lesion is not None and one.over_lesion_ci is not None:
        over = _ratio(one.over_lesion, one.over_lesion_ci)
    rates = (net.decision_threshold, net.detection_limit)
    return [
        together,
        *counted,
        f"{_two(net.net_rate)} ± {_two(net.standard_uncertainty)}",
        *map(_two, rates),
        ratio,
        over,
        read,
    ]


def _said(one: Scan, several: bool) -> Markup:
    head = f"{one.scan_id}: " if several else ""
    high = (
        " The background counted more than the specimens, beyond chance: a contaminated tray or exchanged regions cannot be excluded."
        if one.high_background
        else ""
    )
    missing = (
        f" No concentration: {', '.join(one.missing)} missing."
        if one.net is not None and one.net.detected and one.missing
        else ""
    )
    return element(
        "p", f"{head}{one.decision.sentence}{missing}{high}", class_="beside" if several else "result"
    )


def _method(found: Sequence[Scan]) -> str:
    methods = sorted({one.net.method for one in found if one.net is not None})
    said = (
        f"Method: {' and '.join(methods)}, errors of 5{words.NARROW}% each; intervals 95{words.NARROW}%, from counting alone. "
        if methods
        else ""
    )
    return f"{said}{NOT_THE_TARGET}"


def _decay(found: Sequence[Scan]) -> list[tuple[str, str]]:
    terms = []
    for one in found:
        if one.decay is None or one.minutes is None or one.nuclide is None:
            continue
        within = f"; mean of the scan × {one.scan_average:.4f} to its start" if one.scan_average else ""
        name = f"Decay at the scan {one.scan_id}" if len(found) > 1 else "Decay at the scan"
        terms.append((name, f"{one.decay:.4f} left after {one.minutes:.0f}{words.NARROW}min{within}"))
        half_life = f"{HALF_LIFE_MIN[one.nuclide]:g}{words.NARROW}min ({half_life_source(one.nuclide)})"
        terms.append((f"Half-life of {one.nuclide}", half_life))
    return list(dict.fromkeys(terms))


def _dose(
    injection: Injection, procedure_id: str, visit_msv: float | None, injections: int
) -> list[tuple[str, str]]:
    minutes = injection.uptake_minutes
    terms = [
        (
            "Uptake time",
            f"{minutes:.0f}{words.NARROW}min from injection to the first scan"
            if minutes is not None
            else "injection time not recorded",
        )
    ]
    if injection.dose is None:
        terms.append(("Effective dose of the visit", f"not computed: {injection.reason}"))
        return terms
    others = [key for key in injection.procedures if key != procedure_id]
    shared = f"; one injection, counted once with {', '.join(others)}" if others else ""
    whole = visit_msv if injections > 1 and visit_msv is not None else injection.dose.msv
    several = f" by {injections} injections" if injections > 1 else ""
    terms.append(("Effective dose of the visit", f"{whole:.1f}{words.NARROW}mSv{several}{shared}"))
    terms.append(
        (
            "Dose coefficient",
            f"{injection.dose.coefficient_msv_per_mbq:g}{words.NARROW}mSv/MBq ({injection.dose.source})",
        )
    )
    return terms


def _ratio(value: float, limits: tuple[float, float]) -> Markup:
    """The ratio, and its interval below it."""
    return two_lines(ratio_text(value), f"{ratio_text(limits[0])} to {ratio_text(limits[1])}")


def _two(value: float) -> str:
    return measured(value)


def _whole(value: float | None) -> str:
    return "" if value is None else words.count(int(value)) if value == int(value) else f"{value:g}"
