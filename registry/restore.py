"""Restoring: a backup goes to a new name, is verified there, and only then changes places.

A backup that was never restored is a hope. The drill makes one, restores it beside, lets
the verification and every measure run on the copy, and writes to the trail how it ended.
"""

from __future__ import annotations

import os
import shutil
import tempfile
import time
from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

from registry import audit
from registry.backup import MANIFEST, Backup, backup, check
from registry.engine import KEY, key_path, read_key
from registry.errors import FileProblem, IntegrityProblem, UsageProblem
from registry.measures import b_category_table, curve, evaluate, load_measures
from registry.numerals import grouped
from registry.people import Action, acting, machine, require
from registry.store import Registry
from registry.verify import verify


def restore(source: Path, target: Path, *, key_file: Path, author: str) -> Backup:
    """Lay a backup out as a registry folder of a new name and verify it there.

    Parameters
    ----------
    source
        Folder of one backup.
    target
        A path that does not exist yet.
    key_file
        The site key, from where it is kept apart; copied into the new folder.
    author
        Who asked; the first new entry of the restored trail.

    Raises
    ------
    UsageProblem
        ``target`` exists, or ``source`` is no backup.
    IntegrityProblem
        The backup was damaged, or the restored folder does not verify, or it is another key.
    """
    author = require(Action.KEEP).author(author)
    if target.exists():
        raise UsageProblem(f"{target}: exists already. A backup is restored to a new name.")
    found = check(source)
    before = os.umask(0o077)
    try:
        shutil.copytree(source, target, ignore=shutil.ignore_patterns(MANIFEST))
        target.chmod(0o700)
        for part in ("raw", "inbox", "tmp"):
            (target / part).mkdir(exist_ok=True)
        shutil.copyfile(key_file, target / KEY)
        (target / KEY).chmod(0o600)
        read_key(target)
        with Registry.open(target, check_anchor=False) as restored:
            findings = verify(restored)
        if findings:
            raise IntegrityProblem(
                f"{target}: the restored registry does not verify: {findings[0]}. It was removed again; "
                "use another backup, or bring the key that belongs to it."
            )
        with Registry.open(target, write=True) as restored:
            details = {"from": source.name, "head": found.manifest["trail"]}
            restored.record(audit.Entry(author, "restore", "registry", target.name, details))
    except OSError as problem:
        shutil.rmtree(target, ignore_errors=True)
        raise FileProblem(f"{target}: the backup could not be restored ({problem.strerror}).") from None
    except BaseException:
        shutil.rmtree(target, ignore_errors=True)
        raise
    finally:
        os.umask(before)
    return found


def swap(restored: Path, folder: Path, now: datetime) -> Path:
    """Let a restored folder take the place of another, which keeps its data under a new name.

    Returns
    -------
    Path
        Where the folder that was replaced lies now.
    """
    aside = folder.with_name(f"{folder.name}.replaced-{now.astimezone(UTC):%Y%m%dT%H%M%SZ}")
    folder.rename(aside)
    try:
        restored.rename(folder)
    except OSError:
        aside.rename(folder)
        raise
    return aside


@dataclass(frozen=True)
class Drill:
    """How a restore drill ended."""

    seconds: float
    procedures: int
    results: int
    head: int

    def line(self) -> str:
        """The outcome in one sentence."""
        return (
            f"Restored and verified in {self.seconds:.1f} s: {grouped(self.procedures)} procedures, trail to entry "
            f"{self.head}, and {self.results} results equal to those of the registry."
        )


def drill(registry: Registry, *, as_of: date, author: str, place: Path | None = None) -> Drill:
    """Back up, restore beside, verify, compare every measure; nothing of it is kept.

    Parameters
    ----------
    registry
        Open for writing: its owner. It stays in use meanwhile.
    as_of
        Day for which the measures are compared.
    place
        Where the copies are made; beside the registry folder unless given.

    Raises
    ------
    IntegrityProblem
        The copy did not verify or gave other results; the trail says so.
    """
    author = require(Action.KEEP, registry).author(author)
    began = time.monotonic()
    with tempfile.TemporaryDirectory(prefix="drill-", dir=place or registry.folder.parent) as scratch:
        expected = results(registry, as_of)
        made = backup(registry, Path(scratch) / "backups", author=author)
        copy = Path(scratch) / "restored"
        try:
            restore(made.folder, copy, key_file=key_path(registry.folder), author=author)
            with Registry.open(copy) as restored:
                found = results(restored, as_of)
            if found != expected:
                raise IntegrityProblem(
                    "The restored copy gives other results than the registry. If nobody saved meanwhile, the "
                    "backup cannot be relied on: keep the older ones and check the disk."
                )
        except IntegrityProblem as problem:
            registry.record(
                audit.Entry(author, "drill", "registry", made.folder.name, {"said": str(problem)}, "failed")
            )
            raise
        done = Drill(
            time.monotonic() - began,
            made.manifest["counts"].get("procedures", 0),
            len(expected),
            made.manifest["trail"]["seq"],
        )
        details = {"seconds": f"{done.seconds:.1f}", "results": done.results, "head": made.manifest["trail"]}
        registry.record(audit.Entry(author, "drill", "registry", made.folder.name, details))
    return done


def results(registry: Registry, as_of: date) -> dict[str, Any]:
    """Every measure by its name, without the stamp, which tells two folders apart."""
    require(Action.KEEP, registry)
    counted = [one.id for one in load_measures().values() if one.kind in ("proportion", "quantity")]
    # Compared with those of a copy and shown to nobody: whoever keeps the machine sees no figure.
    with acting(machine()):
        found = {one.measure: one.to_dict() for one in evaluate(registry, counted, as_of=as_of)}
        found["b_category_accuracy"] = b_category_table(registry, as_of=as_of).to_dict()
        found["cancer_after_benign"] = curve(registry, as_of=as_of).to_dict()
    return {name: _unstamped(one) for name, one in found.items()}


def _unstamped(result: dict[str, Any]) -> dict[str, Any]:
    rest = {name: value for name, value in result.items() if name != "registry"}
    if isinstance(rest.get("rows"), list):
        rest["rows"] = [_unstamped(row) for row in rest["rows"]]
    return rest
