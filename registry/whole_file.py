"""A small file that is there as a whole or not at all, whenever the process ends."""

from __future__ import annotations

import os
from contextlib import suppress
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path


def write_whole(path: Path, text: str) -> None:
    """Write beside the place, force it to disk, and only then give it its name; readable by its owner alone.

    Raises
    ------
    OSError
        It cannot be written; what stood there before stays.
    """
    beside = path.with_name(f".{path.name}.{os.getpid()}")
    try:
        descriptor = os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
        with os.fdopen(descriptor, "w", encoding="utf-8") as handle:
            handle.write(text)
            handle.flush()
            os.fsync(handle.fileno())
        beside.replace(path)
    except OSError:
        with suppress(OSError):
            beside.unlink()
        raise
