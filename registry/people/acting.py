"""On whose behalf the running code acts.

A service function asks ``require`` before it does its work. Who acts is set around a call,
or asked of whoever knows: the page server names a function that looks the visitor up, and
each ``require`` asks it anew, so that a session that has ended ends everything at once. A
program on the machine that sets nobody acts as the operating-system user, who can read the
files anyway; the page server says ``deny_by_default``, and from then on nobody means nobody.
"""

from __future__ import annotations

from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, field
from datetime import timedelta
from typing import TYPE_CHECKING, Any

from registry import audit
from registry.engine import current_user
from registry.errors import ConfirmFirst, Refused, RegistryError
from registry.people.roles import Action, Role, may

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from datetime import datetime

    from registry.store import Registry

#: How long a password that was given again is good for what asks for it.
CONFIRMED_FOR = timedelta(minutes=5)
MACHINE, DEMO = "machine", "demo"


@dataclass(frozen=True)
class Actor:
    """Who acts.

    ``name`` stands in the trail, ``operator`` is the operator code of a person who
    performs biopsies, ``via`` how it is known: machine, account, oidc, proxy or demo.
    ``without`` is what the actor may not do, whatever the roles say; ``confirmed_at`` when
    the person last proved who it is, ``session`` what tells two sessions of one person apart.
    """

    name: str
    roles: frozenset[Role]
    operator: str | None = None
    via: str = "account"
    without: frozenset[Action] = frozenset()
    confirmed_at: datetime | None = field(default=None, compare=False)
    session: str = field(default="", compare=False)

    def may(self, action: Action) -> bool:
        """Whether one of the actor's roles may do it."""
        return action not in self.without and may(self.roles, action)

    def author(self, given: str) -> str:
        """Who stands in the trail: the person who signed in, or whom a program names."""
        return given if self.via == MACHINE else self.name


_current: ContextVar[Actor | None] = ContextVar("actor", default=None)


@dataclass
class _State:
    denies: bool = False
    visitor: Callable[[], Actor | None] | None = None


_state = _State()


def machine() -> Actor:
    """The operating-system user, who holds the files and with them every role."""
    return Actor(current_user(), frozenset(Role), via=MACHINE)


def deny_by_default(denies: bool = True) -> None:
    """From now on code that acts for nobody in particular may do nothing."""
    _state.denies = denies


def ask(visitor: Callable[[], Actor | None] | None) -> None:
    """Where nobody is set, this function says who acts; None takes it away again."""
    _state.visitor = visitor


def current() -> Actor | None:
    """Who acts now; None for somebody who has not signed in."""
    found = _current.get()
    if found is None and _state.visitor is not None:
        found = _state.visitor()
    return found or (None if _state.denies else machine())


@contextmanager
def acting(actor: Actor) -> Iterator[Actor]:
    """Within the block the running code acts for this actor."""
    token = _current.set(actor)
    try:
        yield actor
    finally:
        _current.reset(token)


def begin(actor: Actor | None) -> None:
    """The thread that runs acts for this actor until it ends, or for nobody."""
    _current.set(actor)


def require(
    action: Action, registry: Any = None, *, kind: str = "registry", key: str = "", confirmed: bool = False
) -> Actor:
    """The actor, if the action is allowed.

    Parameters
    ----------
    action
        What is about to be done.
    registry
        Where a refusal is written to the trail, if it is open for writing.
    kind, key
        Kind and pseudonymous key of what it would be done to.
    confirmed
        The person must have given the password within the last five minutes.

    Raises
    ------
    Refused
        Nobody signed in, none of the roles may do it, or the password is asked for again.
    """
    actor = current()
    if actor is not None and actor.may(action):
        if confirmed and not _is_confirmed(actor, registry):
            raise ConfirmFirst(
                f"To {action}, give your password again: it was last given more than "
                f"{CONFIRMED_FOR.seconds // 60} min ago."
            )
        return actor
    _note_refusal(registry, actor, action, kind, key)
    if actor is None:
        raise Refused("You are not signed in, or your session has ended. Sign in and try again.")
    held = ", ".join(sorted(actor.roles)) or "none"
    raise Refused(
        f"{actor.name} may not {action}: roles held are {held}. Ask an administrator of the registry."
    )


def operators(actor: Actor) -> str | None:
    """Whose results by operator the actor sees: None is everybody's, a code its own, "" nobody's."""
    return None if actor.may(Action.OPERATORS) else actor.operator or ""


def _is_confirmed(actor: Actor, registry: Any) -> bool:
    if actor.via in (MACHINE, DEMO):
        return True
    return actor.confirmed_at is not None and registry.clock() - actor.confirmed_at <= CONFIRMED_FOR


def _note_refusal(
    registry: Registry | None, actor: Actor | None, action: Action, kind: str, key: str
) -> None:
    if registry is None or not getattr(registry, "write", False):
        return
    name = actor.name if actor else "nobody"
    try:
        registry.record(audit.Entry(name, str(action), kind, key, {}, "refused"))
    except RegistryError:
        return  # refused all the same; the disk problem is told where something is saved
