"""How the needle was aimed: errors and motion as vectors, and what they have in common.

SQL gives each procedure its vectors and says why one is left out; here they are turned into
the directions of the needle or of the breast, and summarised.
"""

from registry.aim.bases import Basis, bases, points
from registry.aim.summary import Attempts, Lengths, Mean, Plane, Summary, by_stratum, moved, planes, summary
from registry.aim.vectors import STRATA, vectors
from registry.aim.within import Within, within

__all__ = [
    "STRATA",
    "Attempts",
    "Basis",
    "Lengths",
    "Mean",
    "Plane",
    "Summary",
    "Within",
    "bases",
    "by_stratum",
    "moved",
    "planes",
    "points",
    "summary",
    "vectors",
    "within",
]
