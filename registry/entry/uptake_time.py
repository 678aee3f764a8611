"""Uptake time while it is entered: minutes from injection, the local window, what has decayed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from registry.entry.times import minutes
from registry.tracer import HALF_LIFE_MIN, decay_factor
from registry.vocabulary import column

if TYPE_CHECKING:
    from datetime import datetime

    from registry.site import Site


@dataclass(frozen=True)
class Uptake:
    """Minutes since injection, the local window in minutes where the site has one, and what is left.

    ``left`` is the share of the activity that has not decayed; None where the nuclide is not
    known or the times run backwards. ``activity_mbq`` is that share of what was injected.
    """

    minutes: float
    window: tuple[float, float] | None
    nuclide: str
    left: float | None
    activity_mbq: float | None

    @property
    def place(self) -> str:
        """Where the minutes lie in the local window: before, within or after; empty without one."""
        if self.window is None:
            return ""
        low, high = self.window
        return "before" if self.minutes < low else "after" if self.minutes > high else "within"


def uptake_time(
    site: Site, tracer: str, injected: datetime, until: datetime, activity_mbq: float | None = None
) -> Uptake:
    """From the injection to the first scan, or to now while none has begun.

    Parameters
    ----------
    site
        Its windows by tracer.
    tracer
        Code of ``procedures.tracer``; may be empty.
    injected, until
        With their offsets.
    activity_mbq
        Activity injected, MBq, where it is known.
    """
    passed = minutes(injected, until)
    nuclide = column("tracer", "nuclide").get(tracer, "")
    left = float(decay_factor(nuclide, passed)) if nuclide in HALF_LIFE_MIN and passed >= 0 else None
    remaining = None if left is None or activity_mbq is None else left * activity_mbq
    return Uptake(passed, site.uptake_windows.get(tracer), nuclide, left, remaining)
