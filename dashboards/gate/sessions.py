"""Who is signed in: a table in the memory of the page server.

The browser holds a random token and nothing else; the table holds its digest. A session
ends after some minutes without a click, after some hours in any event, at sign-out, and at
once when the account changes. Whether it has ended is asked at every use.
"""

from __future__ import annotations

import hashlib
import hmac
import secrets
import threading
from dataclasses import dataclass, replace
from datetime import timedelta
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import datetime

    from registry.people import Actor

#: Why a session ended, as the trail says it.
IDLE, TOO_LONG, CHANGED, SIGNED_OUT = "idle lock", "time is up", "account changed", "sign out"
#: Ended sessions of which the reason is still known.
_REMEMBERED = 1000


@dataclass
class _Session:
    actor: Actor
    started: datetime
    seen: datetime
    stamp: str | None


class Sessions:
    """Sessions by token.

    Parameters
    ----------
    clock
        Says what time it is, in UTC.
    idle, longest
        A session ends so long after its last use, and after its start.
    stamp
        Digest of an account by its name, None where it is locked or gone; a session ends when
        it differs from the one at the start.
    ended
        Told of each end: the actor and one of the reasons above.
    """

    def __init__(
        self,
        clock: Callable[[], datetime],
        idle: timedelta,
        longest: timedelta,
        stamp: Callable[[str], str | None],
        ended: Callable[[Actor, str], None] = lambda *_: None,
    ) -> None:
        self._clock, self._idle, self._longest = clock, idle, longest
        self._stamp, self._ended = stamp, ended
        self._open: dict[str, _Session] = {}
        self._over: dict[str, str] = {}
        self._lock = threading.Lock()

    def start(self, actor: Actor) -> str:
        """Begin a session; returns its token, 256 random bits."""
        token = secrets.token_urlsafe(32)
        digest, now = _digest(token), self._clock()
        signed = replace(actor, confirmed_at=now, session=digest[:12])
        with self._lock:
            self._open[digest] = _Session(signed, now, now, self._stamp(actor.name))
        return token

    def who(self, token: str | None, *, touch: bool) -> Actor | None:
        """Who this is, or None where the session has ended; ``touch`` counts as a click."""
        found = self._living(token)
        if found is None:
            return None
        if touch:
            found.seen = max(found.seen, self._clock())
        return found.actor

    def left(self, token: str | None) -> timedelta | None:
        """Time until the session ends without a click; None where it has ended."""
        found = self._living(token)
        if found is None:
            return None
        return min(found.seen + self._idle, found.started + self._longest) - self._clock()

    def why(self, token: str | None) -> str | None:
        """Why a session ended, if it is remembered."""
        with self._lock:
            return self._over.get(_digest(token or ""))

    def confirm(self, token: str | None) -> None:
        """The person has given the password again."""
        found = self._living(token)
        if found is not None:
            found.actor = replace(found.actor, confirmed_at=self._clock())

    def end(self, token: str | None, reason: str = SIGNED_OUT) -> None:
        """End a session; one that has ended stays ended for the reason it had."""
        digest = _digest(token or "")
        with self._lock:
            found = self._open.pop(digest, None)
            if found is None:
                return
            self._over[digest] = reason
            while len(self._over) > _REMEMBERED:
                self._over.pop(next(iter(self._over)))
        self._ended(found.actor, reason)

    def form_token(self, token: str) -> str:
        """What a form of this session carries, so that no other page can send it."""
        return hmac.new(token.encode(), b"form", hashlib.sha256).hexdigest()

    def sweep(self) -> None:
        """End what nobody uses any more, so that the trail says so in time."""
        with self._lock:
            known = list(self._open)
        for digest in known:
            self._judge(digest)

    def _living(self, token: str | None) -> _Session | None:
        return self._judge(_digest(token)) if token else None

    def _judge(self, digest: str) -> _Session | None:
        with self._lock:
            found = self._open.get(digest)
        if found is None:
            return None
        now = self._clock()
        reason = None
        if now - found.started >= self._longest:
            reason = TOO_LONG
        elif now - found.seen >= self._idle:
            reason = IDLE
        elif self._stamp(found.actor.name) != found.stamp or found.stamp is None:
            reason = CHANGED
        if reason is None:
            return found
        with self._lock:
            if self._open.pop(digest, None) is None:
                return None  # another thread told of it
            self._over[digest] = reason
        self._ended(found.actor, reason)
        return None


def _digest(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()
