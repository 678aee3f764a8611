"""A package written: rows under a profile, all that describes them, and a manifest that proves them.

What leaves is an allow-list twice over. Each column of the cohort's SQL is declared in its
header with where it comes from and how sensitive it is, and each profile says what becomes of
each sensitivity; a column that is not declared, and any identifier or free text, stops the
export. The stored pseudonym never leaves the engine.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass
from datetime import UTC
from typing import TYPE_CHECKING, Any

import polars as pl

from registry import audit
from registry.codebook import CAUTIONS, COHORT, load_cohort
from registry.disclosure.profiles import INTERNAL, Profile
from registry.disclosure.report import privacy_report
from registry.errors import UsageProblem
from registry.numerals import grouped
from registry.package import archive, contents, place
from registry.package.asked import USUAL, Asked
from registry.package.guard import GUARD_RULE
from registry.package.rows import KEY, TABLE, take, treated
from registry.people import Action, require

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date
    from pathlib import Path

    from registry.cohorts import CohortFile, FlowStep
    from registry.disclosure.report import PrivacyReport
    from registry.package.rows import Taken
    from registry.store import Registry

MANIFEST = "MANIFEST.json"
#: Form of the manifest; raised when a reader must know.
FORM = 2
#: Patients in a class smaller than this are easily known again (common practice).
_SMALL_CLASS = 11
_CLASS_BY = ("ten years of age", "year", "breast", "site")


@dataclass(frozen=True)
class ExportReport:
    """What was written: ``files`` maps a name to its SHA-256."""

    folder: Path
    rows: int
    patients: int
    files: dict[str, str]
    flow: tuple[FlowStep, ...]
    guarded: dict[str, int]
    rows_sha256: str
    privacy: PrivacyReport
    cautions: tuple[str, ...]
    archive: Path | None = None

    def lines(self) -> list[str]:
        """The report as plain text lines."""
        made = [
            f"Wrote {grouped(self.rows)} procedures of {grouped(self.patients)} patients to {self.folder}"
        ]
        made += [
            f"  {one.label}: {grouped(one.left_out)} left out, {grouped(one.remaining)} remaining"
            for one in self.flow
        ]
        made += [f"  {name}  SHA-256 {sha256}" for name, sha256 in self.files.items()]
        made.append(f"Rows in canonical form: SHA-256 {self.rows_sha256}")
        if cells := sum(self.guarded.values()):
            made.append(
                f"{grouped(cells)} text cells that a spreadsheet would take for a formula begin with an apostrophe in the CSV."
            )
        counted = self.privacy.as_they_leave
        made.append(
            f"By {', '.join(counted.quasi)}: k = {counted.k}, {grouped(counted.unique)} records alone in their class, "
            f"{grouped(counted.failing_records)} in classes under {counted.threshold} patients. PRIVACY.md says more."
        )
        if self.archive:
            made.append(f"One archive of all: {self.archive}")
        return [*made, *self.cautions]


def export(
    registry: Registry,
    folder: Path,
    *,
    as_of: date,
    start: date | None = None,
    end: date | None = None,
    author: str,
    reason: str,
    seed: int | None = None,
    profile: Profile = INTERNAL,
    formats: Sequence[str] = USUAL,
    cohort: CohortFile | None = None,
    project: str | None = None,
    packed: bool = False,
) -> ExportReport:
    """Write a package.

    Parameters
    ----------
    registry
        Open for writing: the export is an entry of its trail.
    folder
        New, or empty; neither in the registry folder nor in the program.
    as_of
        Nothing dated after this day counts; a cohort has its own.
    start, end
        First and last day on which a procedure started, where no cohort says it.
    author, reason
        Who exports, and what for.
    seed
        For tests: draws the study numbers again. Left out, they are unpredictable.
    profile, formats
        In which form the rows leave, and in which files.
    cohort
        The cohort file that chooses the rows; all procedures of the period where none is given.
    project
        Whose study keys are used, so that its exports can be joined; the cohort has its own.
    packed
        Whether one archive of everything is written beside the folder.

    Raises
    ------
    UsageProblem
        No reason, a folder that may not be used, or a column that is not classified.
    FileProblem
        The files cannot be written; nothing is left under the folder's name.
    """
    author = require(Action.EXPORT, registry, confirmed=True).author(author)
    asked = Asked(
        cohort.as_of if cohort else as_of,
        cohort.start if cohort else start,
        cohort.end if cohort else end,
        author,
        reason,
        profile,
        tuple(formats),
        cohort.project if cohort else project,
        cohort,
        seed,
    )
    asked.check()
    if not registry.write:
        raise UsageProblem(
            f"{registry.folder}: is open for reading only, and an export is an entry of its trail."
        )
    target = place.target(registry, folder, packed=packed)
    taken = take(registry, asked)
    done, _ = treated(registry, registry, taken, asked)
    privacy = privacy_report(done, profile, load_cohort().withheld)
    with place.apart(target, packed=packed) as (scratch, zipped):
        manifest = _manifest(registry, taken, asked)
        manifest |= {"rows": done.frame.height, "patients": done.frame["patient_no"].n_unique()}
        written = contents.write(scratch, registry, taken, done, privacy, asked, manifest)
        manifest["tables"] = {TABLE: written.table}
        manifest["files"] = {
            name: {"sha256": place.sealed(scratch / name), "rows": written.rows.get(name)}
            for name in written.names
        }
        manifest["small_classes"] = small_classes(taken.frame)
        manifest["guarded"] = {"rule": GUARD_RULE, "cells": written.guarded}
        path = scratch / MANIFEST
        path.write_text(json.dumps(manifest, indent=2, ensure_ascii=False) + "\n", encoding="utf-8")
        hashes = {
            **{name: one["sha256"] for name, one in manifest["files"].items()},
            MANIFEST: place.sealed(path),
        }
        if zipped is not None:
            archive.pack(scratch, zipped)
            hashes[zipped.name] = place.sealed(zipped)
        details = {
            "files": hashes,
            "rows": done.frame.height,
            "patients": manifest["patients"],
            "rows_sha256": written.table["rows_sha256"],
            **asked.stated(),
        }
        registry.record(audit.Entry(author, "export", "cohort", cohort.name if cohort else COHORT, details))
    return ExportReport(
        target,
        done.frame.height,
        manifest["patients"],
        hashes,
        taken.flow,
        written.guarded,
        written.table["rows_sha256"],
        privacy,
        profile.cautions,
        place.archive_of(target) if packed else None,
    )


def small_classes(frame: pl.DataFrame) -> dict[str, Any]:
    """How few patients share what can point to one of them, in the record: measured, not assumed.

    Returns
    -------
    dict
        ``by`` (what makes a class), ``classes``, ``patients_in_smallest``, and the number
        of ``classes_below`` the ``threshold`` of patients; zeros for an empty export.
    """
    keys = [pl.col("age_years") // 10, pl.col("started_on").dt.year(), pl.col("laterality"), pl.col("site")]
    sizes = frame.group_by(keys).agg(pl.col("patient_no").n_unique().alias("patients"))["patients"]
    return {
        "by": list(_CLASS_BY),
        "classes": sizes.len(),
        "patients_in_smallest": min(sizes.to_list(), default=0),
        "threshold": _SMALL_CLASS,
        "classes_below": int((sizes < _SMALL_CLASS).sum()),
    }


def _manifest(registry: Registry, taken: Taken, asked: Asked) -> dict[str, Any]:
    """Everything about the package but its files."""
    cohort = load_cohort()
    now = registry.clock().astimezone(UTC)
    return {
        "form": FORM,
        "title": asked.cohort.title if asked.cohort else cohort.title,
        "invented": (registry.folder / "DEMO").exists(),
        **taken.stamp,
        **asked.stated(),
        "profile_sha256": profile_sha256(asked.profile),
        "libraries": contents.libraries(asked.formats),
        "service": registry.site.name,
        # What was recorded up to this moment is in the rows; to the microsecond, for drawing them again.
        "known_at": now.isoformat(timespec="microseconds"),
        "written_at": now.isoformat(timespec="seconds"),
        "author": asked.author,
        "trail": {"seq": taken.head.seq, "mac": taken.head.mac},
        "cohort_sql_sha256": hashlib.sha256(cohort.sql.encode()).hexdigest(),
        "key": list(KEY),
        "flow": [
            {"step": one.label, "left_out": one.left_out, "remaining": one.remaining} for one in taken.flow
        ],
        "withheld": dict(cohort.withheld),
        "cautions": [*CAUTIONS, *asked.profile.cautions],
    }


def profile_sha256(profile: Profile) -> str:
    """What a profile does with each sensitivity, as one hash."""
    rules = {name: str(one) for name, one in profile.rules.items()}
    return hashlib.sha256(json.dumps([profile.name, rules], sort_keys=True).encode()).hexdigest()
