"""Specimen uptake page: readings against the diagnosis, an empty scan as a warning, specimens beside the lesion."""

from __future__ import annotations

from typing import TYPE_CHECKING

from dashboards import session
from dashboards.answers import uptake
from dashboards.components import words
from dashboards.components.markup import element, show
from dashboards.components.tables import capital, table
from registry.uptake.warning import AGAINST_DIAGNOSIS, MISSED
from registry.uptake.warning_rows import TIMES, of_diagnosis, of_markers, of_missed

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from registry.uptake import Figure


def diagnosis_section() -> None:
    """How far a reading of the specimens goes with the diagnosis at biopsy."""
    found = uptake.against_diagnosis()
    show(element("p", f"{capital(AGAINST_DIAGNOSIS)}.", class_="question"))
    if not found.malignant + found.other:
        _beside("No procedures whose specimens were read, with a diagnosis that decides.")
        return
    figures("Uptake seen against the diagnosis", of_diagnosis(found, session.minimum_n()))
    _beside(
        f"{_left_out(found.left_out)} Predictive values hold for the share of malignant diagnoses here ({words.count(found.malignant)} of "
        f"{words.count(found.malignant + found.other)}). Every specimen read here came from tissue that was taken: this says nothing of targets that were missed."
    )


def missed_section() -> None:
    """Whether an empty scan after a benign result warned of a missed cancer."""
    found = uptake.missed_cancer()
    show(element("p", f"{capital(MISSED)}.", class_="question"))
    if not found.n:
        _beside(f"No procedures. {_left_out(found.left_out)}")
        return
    figures("No uptake seen as a warning", of_missed(found, session.minimum_n()))
    known = found.corrected
    _beside(
        f"{_left_out(found.left_out)} The correction holds only where follow-up hung on the scan alone, and leans on {words.count(known.false_negatives)} of "
        f"{words.count(known.negatives_verified)} cancers after uptake had been seen; suspicion decides too who comes back, so read the bounds."
    )


def markers_section() -> None:
    """Whether the specimens tell more than the uptake of the lesion had told."""
    found = uptake.beside_the_lesion()
    if not found.n:
        return
    figures("The specimens beside the lesion's own uptake", of_markers(found, session.minimum_n()))
    _beside(
        f"{words.plural(found.n, 'procedure')} of {words.plural(found.patients, 'patient')} with a concentration ratio, the lesion's SUV max and an outcome. "
        "A difference above 0 means that the specimens tell malignant from not malignant better than the lesion did."
    )


def figures(caption: str, rows: Sequence[Figure]) -> None:
    """Figures as a table: what and by which method, counts, value with interval."""
    cells = [
        [f"{capital(one.what)}{f'; {one.method}' if one.method else ''}", _counts(one), _value(one)]
        for one in rows
    ]
    table(caption, ["", "Counts", "Figure and interval (95 %)"], cells, frozenset({1, 2}), caption_seen=True)


def _counts(one: Figure) -> str:
    if one.n is None:
        return ""
    return words.count(one.n) if one.x is None else f"{words.count(one.x)} of {words.count(one.n)}"


def _value(one: Figure) -> str:
    low, high = one.limits
    if one.unit == TIMES:
        span = "" if low is None or high is None else f"\u00a0({low:.2f}\u2060–\u2060{high:.2f})"
        return "" if one.value is None else f"{one.value:.2f}{span}"
    if one.what.startswith("area"):
        span = "" if low is None or high is None else f"\u00a0({low:+z.3f} to {high:+z.3f})"
        return "" if one.value is None else f"{one.value:+z.3f}{span}".replace("-", "\u2212")
    if one.value is None:
        return "" if low is None or high is None else words.span(low, high)
    if low is None or high is None:
        return f"{words.percent(one.value)}, no interval"
    return words.with_interval(one.value, low, high)


def _left_out(left: Mapping[str, int]) -> str:
    if not left:
        return "Nothing left out."
    return f"Left out: {', '.join(f'{words.count(number)} {name}' for name, number in left.items())}."


def _beside(text: str) -> None:
    show(element("p", text, class_="beside"))
