"""Targeting summaries in sentences: what is known, from how many, and what does not follow from it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from dashboards.components.words import NARROW, count, percent, plural, span

if TYPE_CHECKING:
    from registry.aim import Attempts, Basis, Lengths, Mean, Summary
    from registry.record.offsets import Axis
    from registry.stats.vectors import Limits, RadiusQuantile

_MM = f"{NARROW}mm"
_LEVEL = f"95{NARROW}%"
_SMALLEST_P = 0.001


def limits(found: Limits) -> str:
    """Two limits of a length as a range; which of them is missing, and that there are too few for it."""
    low, high = found
    if low is None and high is None:
        return "too few for limits"
    if high is None:
        return f"from {low:.1f}; too few for an upper limit"
    return f"{low:.1f} to {high:.1f}" if low is not None else f"up to {high:.1f}; too few for a lower limit"


def length(found: RadiusQuantile) -> str:
    """A quantile of lengths with its limits."""
    return f"{found.radius:.1f}{_MM} ({_LEVEL} limits {limits(found.ci)})"


def spread(found: Lengths, what: str, minimum: int) -> str:
    """Median and 95th percentile of lengths in a sentence.

    Parameters
    ----------
    found
        The lengths.
    what
        What the median is of, such as "from the target".
    minimum
        Below so many procedures their number is all that is said.
    """
    if not found.n:
        return "No procedures."
    if found.n < minimum:
        return f"{plural(found.n, 'procedure')}; too few to summarise."
    bound = ""
    if found.high.ci[1] is None and found.high.upper_bound is not None:
        bound = f", one-sided upper {_LEVEL} bound {found.high.upper_bound:.1f}"
    return (
        f"Median {length(found.median)} {what}; 95th percentile {length(found.high)}{bound}; "
        f"{plural(found.n, 'procedure')}."
    )


def without_direction(found: Summary) -> str:
    """How many count in the total error and in no direction, and why; empty where none."""
    parts = []
    if found.without_frame:
        parts.append(f"{plural(found.without_frame, 'procedure')} without a coordinate frame")
    if found.unregistered:
        parts.append(
            f"{plural(found.unregistered, 'procedure')} with a frame that site.toml does not describe"
        )
    if not parts:
        return ""
    return f"{' and '.join(parts)}: directions are not known, so they count in the total error only."


def left_aside(found: Summary, basis: Basis) -> str:
    """What else the directions of this basis leave out or assume; empty where nothing."""
    parts = []
    if basis.needle_axis and found.oblique:
        parts.append(
            f"{plural(found.oblique, 'procedure')} with an oblique needle: not split into along and across."
        )
    if basis.needle_axis and found.direction_empty:
        parts.append(
            f"{plural(found.direction_empty, 'procedure')} along any axis without a needle direction: read as plus, and listed by a data check."
        )
    for axis in basis.uncorrected:
        parts.append(
            f"The frame register gives {axis} no anatomical direction: left and right breasts are pooled as they come, so that a shift towards one side of the body may cancel."
        )
    return " ".join(parts)


def where(mean: tuple[float, ...], directions: tuple[Axis, ...]) -> str:
    """A mean vector in words: 0.5 mm cranial and 0.3 mm anterior."""
    parts = []
    for value, axis in zip(mean, directions, strict=True):
        name = axis.plus if round(value, 1) >= 0 else axis.minus
        parts.append(f"{abs(value):.1f}{_MM} {name}")
    return f"{', '.join(parts[:-1])} and {parts[-1]}"


def systematic(found: Mean, basis: Basis, what: str, minimum: int) -> str:
    """Whether vectors share a systematic part, as far as they can say.

    Parameters
    ----------
    found
        Mean in the directions of the basis.
    basis
        Those directions.
    what
        What lay or moved there, with braces for the place: "the aperture lay {} of the target".
    minimum
        Below so many vectors their number is all that is said.
    """
    if found.mean is None or found.n < minimum:
        few = f"{plural(found.n, 'procedure')} in these directions"
        return f"{few}; {found.reason or 'too few to summarise'}."
    start = f"On average {what.format(where(found.mean, basis.directions))}."
    if found.is_off is None or found.test is None or found.test.p is None:
        return f"{start} {found.reason}"
    p = f"p < {_SMALLEST_P}" if found.test.p < _SMALLEST_P else f"p = {found.test.p:.3f}"
    said = f"{plural(found.n, 'procedure')}; Hotelling\u2019s T\u00b2 {found.test.T2:.1f}, {p}"
    if found.is_off:
        return (
            f"{start} The joint {_LEVEL} region of the mean leaves out 0 ({said}): a systematic part shows."
        )
    return f"{start} The joint {_LEVEL} region of the mean contains 0 ({said}): no systematic part shows, which does not prove that there is none."


def moved(found: Attempts, minimum: int) -> str:
    """First attempt against last in a sentence."""
    pairs = found.moved
    if not pairs.n:
        return "No procedures with several attempts whose first and last position are both usable."
    counts = f"nearer in {count(pairs.nearer)} of {count(pairs.n)}, further in {count(pairs.further)}"
    if pairs.n < minimum or pairs.change is None:
        return f"{plural(pairs.n, 'procedure')} whose needle was moved: {counts}; too few to summarise."
    low, high = pairs.nearer_limits
    share = ""
    if pairs.nearer_share is not None and low is not None and high is not None:
        share = f" ({percent(pairs.nearer_share)}; {_LEVEL} interval {span(low, high)}, Wilson)"
    nearer = f"nearer in {count(pairs.nearer)} of {count(pairs.n)}{share}, further in {count(pairs.further)}"
    return (
        f"Where the needle was moved, the median error was {length(pairs.first)} at the first attempt and "
        f"{length(pairs.last)} at the last; {nearer}."
    )
