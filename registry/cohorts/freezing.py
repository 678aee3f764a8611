"""Cohort files that a registry keeps: frozen once, read again, never edited in place."""

from __future__ import annotations

from typing import TYPE_CHECKING

from registry import frozen_cohorts
from registry.cohorts.definition import CohortFile
from registry.errors import UsageProblem
from registry.people import Action, require

if TYPE_CHECKING:
    from registry.frozen_cohorts import Frozen
    from registry.store import Registry


def freeze(registry: Registry, cohort_file: CohortFile, *, author: str) -> Frozen:
    """Keep a cohort file as it is; the same file again changes nothing.

    Parameters
    ----------
    registry
        Open for writing: a frozen file is an entry of its trail.
    author
        Who freezes, where a program says so.

    Raises
    ------
    UsageProblem
        Another content stands under this name and version, or it does not follow on the
        version before; a code in the file is not one of this service.
    """
    author = require(Action.COHORTS, registry, kind="cohort", key=cohort_file.name).author(author)
    if not registry.write:
        raise UsageProblem(
            f"{registry.folder}: is open for reading only, and freezing a cohort is an entry of its trail."
        )
    text = cohort_file.canonical()
    CohortFile.parse(text, f"Cohort {cohort_file.name}", registry.site.added_codes)
    return frozen_cohorts.keep(
        registry, cohort_file.name, cohort_file.version, cohort_file.previous, text.decode(), author
    )


def frozen(registry: Registry) -> tuple[Frozen, ...]:
    """Every frozen cohort file, by name and version."""
    require(Action.COHORTS, registry)
    return frozen_cohorts.all_of(registry)


def frozen_file(registry: Registry, name: str, version: int) -> CohortFile:
    """One frozen cohort file.

    Raises
    ------
    UsageProblem
        There is none of this name and version.
    """
    for one in frozen(registry):
        if (one.name, one.version) == (name, version):
            return CohortFile.parse(one.content.encode(), f"Cohort {name}", registry.site.added_codes)
    raise UsageProblem(f"No version {version} of a cohort {name} is frozen. See: biopsy-outcomes cohort list")
