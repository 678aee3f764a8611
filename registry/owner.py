"""One process owns a registry folder: the lock, and the sentence for everybody else."""

from __future__ import annotations

import json
import os
import re
import sys
from contextlib import suppress
from typing import TYPE_CHECKING

from filelock import FileLock, Timeout

from registry.errors import RegistryBusy

if TYPE_CHECKING:
    from datetime import datetime
    from pathlib import Path

_LOCK = "owner.lock"
_NOTE = "owner.json"
_PID = re.compile(r"PID (\d+)")
ADVICE = "Stop it, do it on one of its pages, or put files that are to be imported into the folder's inbox/."


def busy(folder: Path, waited: float, engine_message: str = "") -> RegistryBusy:
    """The sentence for a folder that another process owns."""
    who = ""
    with suppress(OSError, ValueError):
        note = json.loads((folder / _NOTE).read_text(encoding="utf-8"))
        who = f"process {note['pid']} ({note['command']}, since {note['since']})"
    if not who and (match := _PID.search(engine_message)):
        who = f"process {match.group(1)}"
    return RegistryBusy(
        f"{folder}: the registry is in use by {who or 'another process'}; waited {waited:.0f} s. {ADVICE}"
    )


class Ownership:
    """Holds the folder for writing until released.

    Raises
    ------
    RegistryBusy
        Another process holds it longer than ``wait`` seconds.
    """

    def __init__(self, folder: Path, now: datetime, wait: float) -> None:
        self._note = folder / _NOTE
        self._lock = FileLock(folder / _LOCK, mode=0o600)
        try:
            self._lock.acquire(timeout=wait)
        except Timeout:
            raise busy(folder, wait) from None
        note = {
            "pid": os.getpid(),
            "command": " ".join(["biopsy-outcomes", *sys.argv[1:2]]),
            "since": now.isoformat(timespec="seconds"),
        }
        self._note.write_text(json.dumps(note), encoding="utf-8")

    def release(self) -> None:
        """Give the folder back."""
        with suppress(OSError):
            self._note.unlink()
        self._lock.release()
