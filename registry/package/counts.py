"""A table of counts of a cohort, released and written to a file."""

from __future__ import annotations

from typing import TYPE_CHECKING

from registry.disclosure.cells import SMALLEST
from registry.disclosure.profiles import INTERNAL
from registry.disclosure.release import release
from registry.errors import FileProblem, UsageProblem
from registry.package.asked import Asked
from registry.package.guard import guard
from registry.package.rows import take
from registry.people import Action, require

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date
    from pathlib import Path

    from registry.cohorts import CohortFile
    from registry.disclosure.release import Release
    from registry.store import Registry

#: A column with more values than this makes no table to read, and points to persons.
MOST_LEVELS = 40
#: Sensitivities that a table may be made by.
_COUNTED_BY = ("person", "place", "clinical")


def write_counts(
    registry: Registry,
    path: Path,
    by: Sequence[str],
    *,
    purpose: str,
    author: str,
    as_of: date,
    start: date | None = None,
    end: date | None = None,
    cohort: CohortFile | None = None,
    upto: int = SMALLEST,
) -> Release:
    """Release a table and write it as CSV; the release is recorded before the file is there.

    Parameters
    ----------
    path
        A new file.
    by
        One column, or two.

    Raises
    ------
    UsageProblem
        A column that cannot be counted by, or what :func:`registry.disclosure.release.release` refuses.
    FileProblem
        The file is there already, or cannot be written.
    """
    require(Action.EXPORT, registry, kind="counts", confirmed=True)
    if not 1 <= len(by) <= 2 or len(set(by)) != len(by):
        raise UsageProblem("A table is made by one column or two different ones. Give --by once or twice.")
    if path.exists():
        raise FileProblem(f"{path}: is there already. Name a new file.")
    day = cohort.as_of if cohort else as_of
    asked = Asked(day, start, end, author, purpose, INTERNAL, (), None, cohort)
    asked.check()
    taken = take(registry, asked)
    known = {one.name: one.sensitivity for one in taken.columns}
    for name in by:
        if known.get(name) not in _COUNTED_BY or taken.frame[name].dtype.is_float():
            allowed = ", ".join(
                n for n, s in known.items() if s in _COUNTED_BY and not taken.frame[n].dtype.is_float()
            )
            raise UsageProblem(f"--by {name}: a table cannot be made by it. Allowed: {allowed}.")
        if (levels := taken.frame[name].n_unique()) > MOST_LEVELS:
            raise UsageProblem(
                f"--by {name}: has {levels} values here, and a table has room for {MOST_LEVELS}."
            )
    made = release(
        registry,
        taken.frame.select("procedure_id", *by),
        by[0],
        by[1] if len(by) > 1 else None,
        purpose=purpose,
        author=author,
        upto=upto,
    )
    try:
        with path.open("x", encoding="utf-8", newline="") as handle:
            guard(made.frame())[0].write_csv(handle)
        path.chmod(0o600)
    except OSError as problem:
        raise FileProblem(
            f"{path}: cannot be written ({problem.strerror}). The release is recorded; name another file and release again."
        ) from None
    return made
