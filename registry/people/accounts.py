"""Local accounts: names, roles and password hashes in a file of their own.

Argon2id with the library's defaults. A wrong name costs the same time as a wrong password
and is answered in the same words; few verifications run at once, and after repeated
failures an account has to wait. Every change is an entry of the trail, without the hash.
"""

from __future__ import annotations

import hashlib
import json
import os
import threading
from dataclasses import asdict, dataclass, field, replace
from datetime import UTC, datetime, timedelta
from functools import cache
from typing import TYPE_CHECKING, Any

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError

from registry import audit
from registry.errors import IntegrityProblem, Refused, UsageProblem
from registry.people.acting import Actor, require
from registry.people.roles import Action, Role
from registry.whole_file import write_whole

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable
    from pathlib import Path

    from registry.store import Registry

FILE = "accounts.json"
#: Length of a password in bytes of UTF-8; nothing else is asked of it.
SHORTEST, LONGEST = 12, 1024
#: From so many failures within the window on, each further try has to wait.
FAILURES, WINDOW = 5, timedelta(minutes=15)
#: Each verification takes 64 MB.
_at_once = threading.BoundedSemaphore(2)
_writing = threading.Lock()
_hasher = PasswordHasher()


@dataclass(frozen=True)
class Account:
    """One local account; times are ISO 8601 in UTC.

    Without a password (empty) nobody signs in with one: the roles are for somebody whom the
    hospital's own sign-in names.
    """

    name: str
    roles: tuple[str, ...]
    password: str
    operator: str | None = None
    locked: bool = False
    changed_at: str = ""
    failures: tuple[str, ...] = field(default=())

    def actor(self, via: str = "account") -> Actor:
        """The account as somebody who acts."""
        return Actor(self.name, frozenset(Role(one) for one in self.roles), self.operator, via)

    def stamp(self) -> str:
        """Digest of all that ends the sessions of an account when it changes."""
        text = json.dumps([self.roles, self.operator, self.locked, self.password, self.changed_at])
        return hashlib.sha256(text.encode()).hexdigest()


def read(folder: Path) -> dict[str, Account]:
    """Accounts by name.

    Raises
    ------
    IntegrityProblem
        The file cannot be read.
    """
    path = folder / FILE
    if not path.exists():
        return {}
    try:
        stored = json.loads(path.read_text(encoding="utf-8"))
        return {
            one["name"]: Account(
                **{**one, "roles": tuple(one["roles"]), "failures": tuple(one.get("failures", ()))}
            )
            for one in stored["accounts"]
        }
    except (OSError, ValueError, KeyError, TypeError):
        raise IntegrityProblem(
            f"{path}: cannot be read. Bring the file back from the newest backup; nobody can sign in until then."
        ) from None


def _write(folder: Path, accounts: dict[str, Account]) -> None:
    write_whole(folder / FILE, json.dumps({"accounts": [asdict(one) for one in accounts.values()]}, indent=1))


def _change(registry: Registry, change: Callable[[dict[str, Account]], tuple[str, dict[str, Any]]]) -> None:
    """Change the file and write what was done to the trail; both or, at worst, the entry alone."""
    actor = require(Action.PEOPLE, registry, kind="account", confirmed=True)
    with _writing:
        accounts = read(registry.folder)
        name, details = change(accounts)
        action = str(details.pop("action"))
        registry.record(audit.Entry(actor.name, action, "account", name, details))
        _write(registry.folder, accounts)


def listed(registry: Registry) -> list[Account]:
    """The accounts, in the order of their names.

    Raises
    ------
    Refused
        The actor may not manage accounts.
    """
    require(Action.PEOPLE, registry, kind="account")
    return sorted(read(registry.folder).values(), key=lambda one: one.name)


def _existing(accounts: dict[str, Account], name: str) -> Account:
    if name not in accounts:
        raise UsageProblem(f"{name}: there is no such account. See: biopsy-outcomes account list")
    return accounts[name]


def _hash(password: str) -> str:
    if not SHORTEST <= len(password.encode()) <= LONGEST:
        raise UsageProblem(
            f"A password has {SHORTEST} to {LONGEST} bytes. Choose a longer one: a sentence is easy to keep."
        )
    return _hasher.hash(password)


def add(
    registry: Registry, name: str, password: str | None, roles: Iterable[Role], operator: str | None = None
) -> None:
    """Add an account.

    Parameters
    ----------
    name
        1 to 64 letters, digits, dots, hyphens, underscores, plus or at signs.
    password
        12 to 1,024 bytes; None for somebody whom the hospital's own sign-in names.
    roles
        At least one.
    operator
        Operator code of a person who performs biopsies.

    Raises
    ------
    UsageProblem
        The name is taken or cannot be one, the password is too short, or no role is given.
    Refused
        The actor may not manage accounts.
    """
    require(Action.PEOPLE, registry, kind="account", confirmed=True)
    chosen = tuple(sorted({str(one) for one in roles}))
    if not chosen:
        raise UsageProblem(f"{name}: give at least one role: {', '.join(Role)}.")
    if not (0 < len(name) <= 64 and name.isascii() and all(one.isalnum() or one in ".-_@+" for one in name)):
        raise UsageProblem(f"{name!r} cannot be the name of an account: use letters, digits and . - _ @ +.")
    stored = "" if password is None else _hash(password)

    def change(accounts: dict[str, Account]) -> tuple[str, dict[str, Any]]:
        if name in accounts:
            raise UsageProblem(f"{name}: this account exists. Change it with account reset or account roles.")
        accounts[name] = Account(name, chosen, stored, operator, changed_at=_now(registry))
        return name, {"action": "add", "roles": list(chosen), "operator": operator}

    _change(registry, change)


def reset(registry: Registry, name: str, password: str) -> None:
    """Give an account a new password and unlock it."""
    require(Action.PEOPLE, registry, kind="account", confirmed=True)
    stored = _hash(password)

    def change(accounts: dict[str, Account]) -> tuple[str, dict[str, Any]]:
        accounts[name] = replace(
            _existing(accounts, name), password=stored, locked=False, failures=(), changed_at=_now(registry)
        )
        return name, {"action": "reset"}

    _change(registry, change)


def lock(registry: Registry, name: str, *, locked: bool = True) -> None:
    """Lock an account, which ends its sessions, or unlock it."""

    def change(accounts: dict[str, Account]) -> tuple[str, dict[str, Any]]:
        accounts[name] = replace(
            _existing(accounts, name), locked=locked, failures=(), changed_at=_now(registry)
        )
        return name, {"action": "lock" if locked else "unlock"}

    _change(registry, change)


def set_roles(registry: Registry, name: str, roles: Iterable[Role]) -> None:
    """Give an account these roles instead of those it has."""
    require(Action.PEOPLE, registry, kind="account", confirmed=True)
    chosen = tuple(sorted({str(one) for one in roles}))
    if not chosen:
        raise UsageProblem(f"{name}: give at least one role: {', '.join(Role)}.")

    def change(accounts: dict[str, Account]) -> tuple[str, dict[str, Any]]:
        before = _existing(accounts, name)
        accounts[name] = replace(before, roles=chosen, changed_at=_now(registry))
        return name, {"action": "roles", "before": list(before.roles), "roles": list(chosen)}

    _change(registry, change)


def verify(registry: Registry, name: str, password: str) -> Actor:
    """Who this is, if the password is right; every attempt is an entry of the trail.

    Raises
    ------
    Refused
        Wrong name or password, a locked account, or one that has to wait; one sentence for
        all but the last, so that it does not tell which names exist.
    """
    now = registry.clock().astimezone(UTC)
    account = read(registry.folder).get(name)
    wait = _wait(account, now) if account else None
    if wait is not None:
        _note(registry, name if account else "unknown", "delayed")
        raise Refused(
            f"Too many failed attempts. Try again in {max(1, round(wait.total_seconds() / 60))} min."
        )
    right = _matches(account.password if account and account.password else _nobody(), password)
    if account is None or not right or account.locked:
        if account is not None and not right:
            _count(registry, name, now)
        _note(registry, name if account else "unknown", "refused")
        raise Refused("Name or password is wrong, or the account is locked.")
    _settle(registry, name, password)
    _note(registry, name, "done")
    return account.actor()


def recognise(registry: Registry, name: str, via: str) -> Actor:
    """Who this is, for a name that the hospital's own sign-in vouches for; an entry of the trail.

    Parameters
    ----------
    name
        E-mail address or user name, as the account is called here.
    via
        ``oidc`` or ``proxy``.

    Raises
    ------
    Refused
        No account of this name has a role here, or it is locked.
    """
    account = read(registry.folder).get(name)
    if account is None or account.locked:
        _note(registry, name if account else "unknown", "refused", via)
        raise Refused(
            "You have no role in this registry, or your account is locked. Ask an administrator of the registry."
        )
    _note(registry, name, "done", via)
    return account.actor(via)


def _matches(stored: str, password: str) -> bool:
    if len(password.encode()) > LONGEST:
        return False
    with _at_once:
        try:
            return _hasher.verify(stored, password)
        except (VerificationError, InvalidHashError):
            return False


@cache
def _nobody() -> str:
    """Hash that no password has: an unknown name takes as long as a known one."""
    return _hasher.hash(os.urandom(32).hex())


def _wait(account: Account, now: datetime) -> timedelta | None:
    """How long the account still has to wait: twice as long after each failure, at most the window."""
    recent = [moment for one in account.failures if now - (moment := datetime.fromisoformat(one)) < WINDOW]
    if len(recent) < FAILURES:
        return None
    pause = min(timedelta(seconds=30) * 2 ** (len(recent) - FAILURES), WINDOW)
    left = max(recent) + pause - now
    return left if left > timedelta(0) else None


def _count(registry: Registry, name: str, now: datetime) -> None:
    with _writing:
        accounts = read(registry.folder)
        account = accounts[name]
        recent = [one for one in account.failures if now - datetime.fromisoformat(one) < WINDOW]
        accounts[name] = replace(account, failures=(*recent, now.isoformat()))
        _write(registry.folder, accounts)


def _settle(registry: Registry, name: str, password: str) -> None:
    """Forget earlier failures, and hash anew where the library's defaults were raised."""
    with _writing:
        accounts = read(registry.folder)
        account = accounts[name]
        stored = account.password
        if _hasher.check_needs_rehash(stored):
            stored = _hasher.hash(password)
        if account.failures or stored != account.password:
            accounts[name] = replace(account, failures=(), password=stored)
            _write(registry.folder, accounts)


def _note(registry: Registry, name: str, outcome: str, via: str = "account") -> None:
    registry.record(audit.Entry(name, "sign in", "account", name, {"via": via}, outcome))


def _now(registry: Registry) -> str:
    return registry.clock().astimezone(UTC).isoformat(timespec="seconds")
