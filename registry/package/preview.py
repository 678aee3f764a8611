"""How far the rows of a cohort would point to persons under a profile, before anything leaves."""

from __future__ import annotations

from typing import TYPE_CHECKING

from registry.codebook import load_cohort
from registry.disclosure.report import PrivacyReport, privacy_report
from registry.errors import UsageProblem
from registry.package.asked import USUAL, Asked
from registry.package.rows import take, treated
from registry.people import Action, require

if TYPE_CHECKING:
    from registry.cohorts import CohortFile
    from registry.disclosure.profiles import Profile
    from registry.store import Registry


def preview(registry: Registry, cohort: CohortFile, profile: Profile) -> PrivacyReport:
    """The privacy report of a package that is not written; no study key is drawn for it.

    Raises
    ------
    UsageProblem
        The cohort is empty.
    """
    actor = require(Action.COHORTS, registry)
    asked = Asked(cohort.as_of, cohort.start, cohort.end, actor.name, "preview", profile, USUAL, None, cohort)
    taken = take(registry, asked)
    if taken.frame.is_empty():
        raise UsageProblem(
            f"Cohort {cohort.name}: nobody is left in it, so there is nothing to take away. Look at its flow and widen a step."
        )
    done, _ = treated(registry, registry, taken, asked)
    return privacy_report(done, profile, load_cohort().withheld)
