"""What the checks of the chain show, in sentences."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from registry.numerals import signed
from registry.uptake.chain import (
    CLOCK_S,
    COUNTS_SHARE,
    DUE,
    LEAK_DAYS,
    NO_INTERVAL,
    OVERDUE,
    PHANTOM_MM,
    tolerance,
)
from registry.uptake.constancy import BASELINE

if TYPE_CHECKING:
    from collections.abc import Sequence

    from registry.measures.counting import Reader
    from registry.uptake.chain import ClockCheck, LeakTest, PhantomTrend
    from registry.uptake.constancy import Constancy


def leak_tests(found: Sequence[LeakTest]) -> tuple[str, ...]:
    """Which leak tests wait."""
    if not found:
        return ()
    waiting = [one for one in found if one.standing in (OVERDUE, DUE)]
    if all(one.standing == NO_INTERVAL for one in found):
        return ("When leak tests are due is not said: the service has stated no interval.",)
    if not waiting:
        return ("No leak test is due.",)
    names = "; ".join(
        f"{one.source_id} since {one.due_on}" if one.standing == OVERDUE else f"{one.source_id} today"
        for one in waiting
    )
    return (f"Leak test due: {names}.",)


def counts(found: Sequence[Constancy]) -> tuple[str, ...]:
    """The latest ratio of each scanner, and what the ratio is to."""
    if not found:
        return ()
    last = {(one.site, one.scanner): one for one in found}
    latest = "; ".join(
        f"{one.scanner} {one.ratio:.3f} on {one.done_on}{', outside' if one.outside else ''}"
        for one in last.values()
    )
    outside = sum(bool(one.outside) for one in found)
    judged = (
        ""
        if found[0].outside is None
        else f" {outside} of {len(found)} checks lie outside the local tolerance."
    )
    return (
        f"Measured over expected counts, latest: {latest}.{judged}",
        f"Expected: the median rate per MBq of the scanner's first {BASELINE} checks, times the activity of the source as decayed to "
        "the day. A slow drift within those first checks, or a source whose stated activity is wrong, shifts all that follows.",
    )


def phantom(found: Sequence[PhantomTrend]) -> tuple[str, ...]:
    """Trend and mean error of each scanner."""
    return tuple(_trend(one) for one in found)


def _trend(one: PhantomTrend) -> str:
    x, y, z = one.mean_mm
    judged = "" if one.outside is None else f", {one.outside} outside the local tolerance"
    mean = f"{one.scanner}: {one.checks} checks{judged}. Mean error x {signed(x, 2)}, y {signed(y, 2)}, z {signed(z, 2)} mm"
    shared = "" if one.p is None else f" (that all are nothing: p {_p(one.p)}, Hotelling)"
    if one.slope.slope is None or one.slope.lower is None or one.slope.upper is None:
        return f"{mean}{shared}. No trend: {one.slope.reason}."
    told = "no trend is shown" if one.slope.lower <= 0 <= one.slope.upper else "the error changes with time"
    return (
        f"{mean}{shared}. Length changes by {signed(one.slope.slope, 2)} mm a year (95 % interval {signed(one.slope.lower, 2)} to "
        f"{signed(one.slope.upper, 2)}; median of all slopes): {told}."
    )


def _p(p: float) -> str:
    return "below 0.001" if p < 0.001 else f"{p:.2g}"


def clocks(found: Sequence[ClockCheck]) -> tuple[str, ...]:
    """The largest offsets, and what an offset does."""
    if not found:
        return ()
    last = {(one.site, one.scanner): one for one in found}
    latest = "; ".join(
        f"{one.scanner} {signed(one.offset_s, 0)} s on {one.done_on}{', outside' if one.outside else ''}"
        for one in last.values()
    )
    most = max(found, key=lambda one: abs(one.offset_s))
    return (
        f"Scanner clock minus reference, latest: {latest}. Largest: {most.scanner} {signed(most.offset_s, 0)} s on {most.done_on}, "
        f"which changes an F-18 activity corrected for decay by {signed(100 * most.shift, 2)} %.",
    )


def tolerances(registry: Reader) -> str:
    """The local tolerances, as the service states them."""
    parts: list[Any] = [
        ("leak test every", tolerance(registry, LEAK_DAYS), "days", 1),
        ("counts within", tolerance(registry, COUNTS_SHARE), "%", 100),
        ("phantom error up to", tolerance(registry, PHANTOM_MM), "mm", 1),
        ("clock within", tolerance(registry, CLOCK_S), "s", 1),
    ]
    stated = [f"{what} {value * scale:g} {unit}" for what, value, unit, scale in parts if value is not None]
    missing = [what for what, value, _, _ in parts if value is None]
    said = f"Local tolerances of this service, from site.toml: {'; '.join(stated)}." if stated else ""
    none = (
        f"{'Not stated' if stated else 'This service has stated no tolerance of its own (site.toml, [constancy])'}"
        f"{': ' + ', '.join(missing) if stated else ''}; without one nothing is judged."
        if missing
        else ""
    )
    return " ".join(one for one in (said, none) if one)
