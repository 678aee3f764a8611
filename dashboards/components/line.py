"""The line of a procedure: stations from finding to follow-up, with the days between them.

A list in the order of time, drawn as one horizontal line: filled where it is recorded, half
filled where a part is missing, hollow where nothing is, and marked where something came
after the decision.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from dashboards.components.markup import Markup, element, show

if TYPE_CHECKING:
    from collections.abc import Sequence

    from registry.record import Station

_STATES = {
    "recorded": "recorded",
    "partly": "partly recorded",
    "missing": "missing",
    "not due": "not due",
}


def line(stations: Sequence[Station]) -> None:
    """Draw the line of a procedure with its legend, and say what changed after the decision."""
    show(line_list(stations))
    changes = [station.changed for station in stations if station.changed]
    show(_legend(bool(changes)))
    for change in changes:
        show(element("p", f"{change}.", class_="change"))


def line_list(stations: Sequence[Station]) -> Markup:
    """The stations as an ordered list."""
    return element(
        "ol", *(_station(one) for one in stations), class_="line", aria_label="Line of the procedure"
    )


def _station(station: Station) -> Markup:
    kind = f"station {station.state.replace(' ', '-')}{' changed' if station.changed else ''}"
    gap = element("span", _days(station.days), class_="days") if station.days is not None else None
    said = element("span", f" ({_STATES[station.state]})", class_="unseen")
    return element(
        "li",
        gap,
        element("i", class_="marker", aria_hidden="true"),
        element("strong", station.name, said),
        element("time", str(station.on), datetime=str(station.on))
        if station.on
        else element("span", "no date", class_="no-date"),
        element("ul", *(element("li", word[:1].upper() + word[1:]) for word in station.words)),
        element("p", "changed after the decision", class_="change") if station.changed else None,
        class_=kind,
    )


def _days(days: int) -> str:
    if days == 0:
        return "same day"
    return f"{days} day{'' if abs(days) == 1 else 's'}" if days > 0 else f"{-days} days before"


def _legend(changed: bool) -> Markup:
    entries = [
        ("recorded", "recorded"),
        ("partly", "a part is missing"),
        ("missing", "nothing recorded"),
        ("not-due", "not due"),
    ]
    if changed:
        entries.append(("recorded changed", "changed after it was decided"))
    made = [element("li", element("i", class_=f"marker {kind}"), text) for kind, text in entries]
    return element("ul", *made, class_="legend stations", aria_hidden="true")
