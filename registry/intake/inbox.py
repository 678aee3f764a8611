"""The drop folder: whatever lies in inbox/ is imported, and moved aside once it is kept.

Files named after tables are one batch, so that a parent and its children come together; a
subfolder is a batch of its own; any other file needs a mapping. A file moves to inbox/done/
or inbox/held/ only when its bytes lie in raw/ and it is still the file that was read.
"""

from __future__ import annotations

import hashlib
import time
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

from registry.dictionary import tables
from registry.errors import FileProblem
from registry.imports import mapped, registry_csv
from registry.intake.accept import Options, accept
from registry.people import Action, require

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import date
    from pathlib import Path

    from registry.imports.mapping_parts import Mapping
    from registry.imports.received import Received
    from registry.intake.report import IntakeReport
    from registry.store import Registry

DONE, HELD = "done", "held"
#: What programs call a file while they write or edit it.
_UNFINISHED = (".part", ".partial", ".tmp", ".crdownload", ".filepart", ".download")
#: A file changed less than this long ago is looked at twice, so many seconds apart.
_RECENT_S, SETTLE_S = 60.0, 1.0


@dataclass(frozen=True)
class Taken:
    """One batch of the inbox: its files, the report or the sentence that refused them, and where they went."""

    files: tuple[str, ...]
    report: IntakeReport | None = None
    problem: str = ""
    moved: dict[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class InboxReport:
    """What was taken from the inbox, and a sentence for each file that was left there."""

    batches: tuple[Taken, ...]
    left: tuple[str, ...]

    @property
    def exit_code(self) -> int:
        """2 where a file could not be read, 1 where rows are held, else 0."""
        if any(one.problem for one in self.batches):
            return 2
        return max((one.report.exit_code for one in self.batches if one.report), default=0)

    def to_dict(self) -> dict[str, Any]:
        """JSON-able form."""
        batches = [
            {
                "files": list(one.files),
                "report": one.report.to_dict() if one.report else None,
                "problem": one.problem,
                "moved": one.moved,
            }
            for one in self.batches
        ]
        return {"batches": batches, "left": list(self.left)}

    def lines(self) -> list[str]:
        """The report as plain text lines."""
        made = []
        for one in self.batches:
            made.append(f"{', '.join(one.files)}:")
            made += [f"  {line}" for line in (one.report.lines() if one.report else one.problem.splitlines())]
            made += [
                f"  {name}: moved {place}."
                if place.startswith("nowhere")
                else f"  {name}: moved to inbox/{place}"
                for name, place in one.moved.items()
            ]
        made += self.left
        return made or ["The inbox is empty."]


@dataclass(frozen=True)
class Reading:
    """How files are read that are not named after tables, and what is left out of the others."""

    mapping: Mapping | None = None
    ignore_unknown: bool = False
    include_hidden: bool = False


def take_inbox(
    registry: Registry,
    *,
    author: str,
    today: date,
    options: Options | None = None,
    reading: Reading | None = None,
    settle: float = SETTLE_S,
) -> InboxReport:
    """Import everything in inbox/.

    Parameters
    ----------
    registry
        Open for writing.
    author, today, options
        As for :func:`registry.intake.accept`; a dry run moves nothing.
    reading
        The mapping for files that are not named after tables.
    settle
        Seconds between the two looks at a file that was changed lately.

    Raises
    ------
    NotSaved
        The registry could not take the change; the files of that batch stay.
    """
    author = require(Action.ENTER, registry).author(author)
    how = reading or Reading()
    inbox = registry.folder / "inbox"
    inbox.mkdir(mode=0o700, exist_ok=True)
    found = sorted(
        one for one in inbox.iterdir() if one.name not in (DONE, HELD) and not one.name.startswith(".")
    )
    growing = _growing(found, registry.clock().timestamp(), settle)
    left = [
        f"{one.name}: left in the inbox, it is still being written. Run the import again when it is complete."
        for one in found
        if one in growing
    ]
    native = [one for one in found if _is_native(one)]
    sources: list[tuple[list[Path], Callable[[], Received]]] = []
    if waited := [one for one in native if one in growing]:
        left += [
            f"{one.name}: left in the inbox until {waited[0].name} is complete: files named after tables are taken together."
            for one in native
            if one not in growing
        ]
    elif native:
        sources.append((native, lambda: registry_csv.read_files(native, ignore_unknown=how.ignore_unknown)))
    for one in found:
        if one in growing or one in native:
            continue
        if one.is_dir():
            sources.append(([one], _reader(one, replace(how, mapping=None))))
        elif how.mapping is not None:
            sources.append(([one], _reader(one, how)))
        else:
            left.append(
                f"{one.name}: left in the inbox, it is not a CSV file named after a table. "
                "Run the import with the --mapping that reads it."
            )
    chosen = options or Options()
    taken = [_take(registry, paths, read, author, today, chosen) for paths, read in sources]
    return InboxReport(tuple(taken), tuple(left))


def _is_native(path: Path) -> bool:
    return path.is_file() and path.suffix.lower() == ".csv" and path.stem.lower() in tables()


def _reader(path: Path, how: Reading) -> Callable[[], Received]:
    if how.mapping is None:
        return lambda: registry_csv.read(path, ignore_unknown=how.ignore_unknown)
    mapping = how.mapping
    return lambda: mapped.read(path, mapping, include_hidden=how.include_hidden)


# -- files that are not complete ---------------------------------------------------


def _growing(paths: list[Path], now: float, settle: float) -> set[Path]:
    """Files and folders that change between two looks, or whose name says that they are not complete."""
    before = {one: _state(one) for one in paths}
    # A time in the future is that of another clock: it says nothing.
    if any(abs(now - changed) < _RECENT_S or changed > now for _, changed in _all(before)):
        time.sleep(settle)
    return {one for one in paths if _is_unfinished(one) or _state(one) != before[one]}


def _all(states: dict[Path, dict[str, tuple[int, float]]]) -> list[tuple[int, float]]:
    return [state for files in states.values() for state in files.values()]


def _is_unfinished(path: Path) -> bool:
    files = path.rglob("*") if path.is_dir() else [path]
    return any(one.name.lower().endswith(_UNFINISHED) or one.name.startswith("~$") for one in files)


def _state(path: Path) -> dict[str, tuple[int, float]]:
    """Size and time of a file, or of every file of a folder."""
    files = [one for one in path.rglob("*") if one.is_file()] if path.is_dir() else [path]
    found = {}
    for one in files:
        try:
            seen = one.stat()
        except FileNotFoundError:
            continue
        found[str(one)] = (seen.st_size, seen.st_mtime)
    return found


# -- one batch ---------------------------------------------------------------------


def _take(
    registry: Registry,
    paths: list[Path],
    read: Callable[[], Received],
    author: str,
    today: date,
    options: Options,
) -> Taken:
    names = tuple(one.name for one in paths)
    try:
        received = read()
        report = accept(registry, received, author=author, today=today, options=options)
    except FileProblem as problem:
        return Taken(names, problem=f"{problem} Left in the inbox.")
    if options.dry_run:
        return Taken(names, report)
    moved = {}
    for path in paths:
        own = [one for one in received.files if one.path == path or path in one.path.parents]
        if not own or not all(_is_kept(registry, one.path, one.sha256) for one in own):
            moved[path.name] = (
                "nowhere: it changed after it was read. It stays in the inbox and is read again"
            )
            continue
        place = HELD if report.refused or any(_speaks_of(one.name, report) for one in own) else DONE
        moved[path.name] = _move(path, place)
    return Taken(names, report, moved=moved)


def _is_kept(registry: Registry, path: Path, sha256: str) -> bool:
    """Whether the bytes lie in raw/, and the file still has them."""
    if not (registry.folder / "raw" / sha256).is_file() or not path.is_file():
        return False
    with path.open("rb") as handle:
        return hashlib.file_digest(handle, "sha256").hexdigest() == sha256


def _speaks_of(name: str, report: IntakeReport) -> bool:
    """Whether a row of the file is held; a workbook's rows are named with their sheet."""
    return any(problem.file == name or problem.file.startswith(f"{name}, ") for problem in report.problems)


def _move(path: Path, place: str) -> str:
    """Move aside under a name that is free; returns where to, below inbox/."""
    target = path.parent / place
    free, number = target / path.name, 1
    while free.exists():
        number += 1
        free = target / f"{path.stem}-{number}{path.suffix}"
    try:
        target.mkdir(mode=0o700, exist_ok=True)
        path.replace(free)
    except OSError as problem:
        return f"nowhere: it was imported, but cannot be moved ({problem.strerror}). Move it by hand"
    return f"{place}/{free.name}"
