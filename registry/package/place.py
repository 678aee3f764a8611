"""Where a package is written: beside its name until all of it is there, and nowhere it must not be."""

from __future__ import annotations

import hashlib
import os
import shutil
import tempfile
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from registry.errors import FileProblem, UsageProblem

if TYPE_CHECKING:
    from collections.abc import Iterator

    from registry.store import Registry


def archive_of(target: Path) -> Path:
    """The archive beside a package folder."""
    return target.with_name(f"{target.name}.zip")


def target(registry: Registry, folder: Path, *, packed: bool = False) -> Path:
    """The folder in full, if a package may be written there.

    Raises
    ------
    UsageProblem
        It lies in the registry folder or in the program, holds something, or has no place to be.
    """
    full = folder.resolve()
    for place, what in [
        (registry.folder, "the registry folder"),
        *((one, "the program's own folder") for one in _program_folders()),
    ]:
        if full.is_relative_to(place.resolve()):
            raise UsageProblem(
                f"{folder}: lies in {what}, which is no place for an export. Name a folder elsewhere."
            )
    if full.exists() and (not full.is_dir() or any(full.iterdir())):
        raise UsageProblem(f"{folder}: exists and is not empty. Name a new folder for the export.")
    if packed and archive_of(full).exists():
        raise UsageProblem(f"{archive_of(folder)}: exists. Name a new folder for the export.")
    if not full.parent.is_dir():
        raise UsageProblem(
            f"{full.parent}: there is no such folder. Make it, or name another place for the export."
        )
    return full


def _program_folders() -> list[Path]:
    """Where the program lies: its packages, and the checkout around them if it is one."""
    own = Path(__file__).resolve().parent.parent
    around = own.parent
    return (
        [around]
        if (around / "pyproject.toml").is_file()
        else [around / name for name in ("registry", "dashboards", "synthetic_data")]
    )


@contextmanager
def apart(target: Path, *, packed: bool) -> Iterator[tuple[Path, Path | None]]:
    """A folder, and where asked an archive, beside the target that take their names only when all is written."""
    around = None
    try:
        around = Path(tempfile.mkdtemp(prefix=f".{target.name}-", dir=target.parent))
        scratch = around / target.name
        scratch.mkdir(mode=0o700)
        zipped = around / archive_of(target).name if packed else None
        yield scratch, zipped
        if target.exists():
            target.rmdir()
        scratch.rename(target)
        if zipped is not None:
            try:
                zipped.rename(archive_of(target))
            except OSError:
                shutil.rmtree(target, ignore_errors=True)
                raise
    except OSError as problem:
        why = problem.strerror or "the disk does not take it"
        raise FileProblem(
            f"The export was not written: {why}. Nothing is left under {target}. Free some space or name another place."
        ) from None
    finally:
        if around is not None:
            shutil.rmtree(around, ignore_errors=True)


def sealed(path: Path) -> str:
    """Force a written file to disk, for its owner only; its SHA-256."""
    path.chmod(0o600)
    with path.open("r+b") as handle:
        os.fsync(handle.fileno())
        return hashlib.file_digest(handle, "sha256").hexdigest()
