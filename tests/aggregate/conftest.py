"""Three services, and one registry that holds the procedures of all of them."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import TYPE_CHECKING

import pytest

from tests.measures.build import Drawn, day

if TYPE_CHECKING:
    from collections.abc import Iterator

AS_OF = day(1200)
SITES = ("A", "B", "C")
START, END = date(2020, 1, 1), date(2021, 12, 31)


def put(drawn: Drawn, site: str) -> None:
    """Sixty procedures of one site: reports, reviews, follow-up and repeats that differ from site to site."""
    step = 3 + SITES.index(site)
    for number in range(60):
        key, on = f"{site}{number:03}", 10 * number
        # Every seventh patient has two findings, so that procedures hang together.
        patient = f"patient {site}{number - 1 if number % 7 == 1 else number:03}"
        finding = f"finding of {key}"
        drawn.finding(finding, patient, assessment="4" if number % 2 else "5")
        status = ("completed", "cancelled", "abandoned")[min(2, max(0, number % 11 - 8))]
        drawn.procedure(key, on, finding=finding, site=site, operator=f"OP-{site}", status=status)
        if status != "completed":
            continue
        is_cancer = number % step == 0
        category = "B5" if is_cancer else ("B2", "B2", "B1", "B3", "B2", "B4")[number % 6]
        drawn.report(key, "invasive" if is_cancer else "benign", on + number % 5, b_category=category)
        if number % 9:
            found = "discordant" if number % (step + 2) == 1 else "concordant"
            drawn.review(key, found, on + 7 + number % 6)
        if number % 4 == 0:
            drawn.excision(key, on + 40, "invasive" if number % 8 == 0 else "benign")
        elif number % 4 == 1:
            drawn.imaging(key, on + 200 + number)


def service(*sites: str) -> Drawn:
    """A registry with these sites."""
    made = Drawn()
    made.site = replace(made.site, name=f"Service {''.join(sites)}")
    for site in sites:
        put(made, site)
    return made.built()


@pytest.fixture(scope="session")
def three() -> Iterator[list[Drawn]]:
    made = [service(site) for site in SITES]
    yield made
    for one in made:
        one.close()


@pytest.fixture(scope="session")
def together() -> Iterator[Drawn]:
    made = service(*SITES)
    yield made
    made.close()
