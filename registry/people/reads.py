"""What somebody who signed in looked at: one entry of the trail per person and thing, not per redraw."""

from __future__ import annotations

import threading
from datetime import timedelta
from typing import TYPE_CHECKING
from weakref import WeakKeyDictionary

from registry import audit
from registry.people.acting import DEMO, MACHINE
from registry.people.roles import Action

if TYPE_CHECKING:
    from datetime import datetime

    from registry.people.acting import Actor
    from registry.store import Registry

#: Looking at the same thing again within this time is the same look.
ONE_LOOK = timedelta(minutes=15)
_KEPT = 5000

_seen: WeakKeyDictionary[Registry, dict[tuple[str, ...], datetime]] = WeakKeyDictionary()
_lock = threading.Lock()


def note_read(registry: Registry, actor: Actor, kind: str, key: str, action: Action = Action.RECORD) -> None:
    """Write down that somebody sees one record, or identifiers; before it is shown.

    Parameters
    ----------
    actor
        A person; programs on the machine and visitors of invented data read without an entry.
    kind, key
        Kind and pseudonymous key of what is seen.

    Raises
    ------
    NotSaved
        The entry could not be written; then nothing is shown either.
    """
    if actor.via in (MACHINE, DEMO) or not registry.write:
        return
    now, mark = registry.clock(), (actor.name, actor.session, str(action), kind, key)
    with _lock:
        seen = _seen.setdefault(registry, {})
        if mark in seen and now - seen[mark] < ONE_LOOK:
            return
    registry.record(audit.Entry(actor.name, str(action), kind, key, {"session": actor.session}))
    with _lock:
        seen[mark] = now
        while len(seen) > _KEPT:
            seen.pop(next(iter(seen)))
