"""Funnels of drawn procedures: so many sampled and so many abandoned for each operator."""

from __future__ import annotations

from registry.units import funnel
from tests.measures.build import day

AS_OF = day(400)
MEASURE = "tissue_obtained"


def draw(drawn, **units):
    """operator=(sampled, abandoned): tissue_obtained counts both, and the sampled ones in the numerator."""
    for operator, (sampled, abandoned) in units.items():
        for number in range(sampled + abandoned):
            status = "completed" if number < sampled else "abandoned"
            site = "A" if operator in ("OP1", "OP2") else "B"
            drawn.procedure(f"{operator} {number:03}", number, operator=operator, site=site, status=status)
    return drawn.built()


def found(registry, **asked):
    made = funnel(registry, MEASURE, as_of=AS_OF, **asked)
    return {one.code: one for one in made.units}, made
