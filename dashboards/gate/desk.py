"""What the gate knows: the registry, how people sign in to it, and who has."""

from __future__ import annotations

import hmac
import stat
from contextlib import suppress
from dataclasses import dataclass
from datetime import timedelta
from ipaddress import ip_address
from pathlib import Path
from typing import TYPE_CHECKING

from dashboards.gate.sessions import Sessions
from registry import audit
from registry.errors import FileProblem, RegistryError, UsageProblem
from registry.people import Action, Actor, Role, accounts
from registry.people.settings import ACCOUNTS, DEMO, OIDC, PROXY, SignIn

if TYPE_CHECKING:
    from collections.abc import Mapping

    from registry.store import Registry

#: Headers of a reverse proxy: that it is ours, and whom it has signed in.
PROXY_HEADER, USER_HEADER = "x-biopsy-outcomes-proxy", "x-forwarded-user"
_SHORTEST_SECRET = 20

#: Everybody who looks at invented data. Accounts, backups and erasure are those of the machine.
VISITOR = Actor(
    "visitor",
    frozenset(Role),
    via=DEMO,
    without=frozenset({Action.PEOPLE, Action.KEEP, Action.ERASE, Action.IDENTIFIERS}),
)


@dataclass(frozen=True)
class Desk:
    """How people sign in to one registry.

    ``method`` is accounts, oidc, proxy or demo; ``secret`` is what the reverse proxy, or
    the hospital's sign-in, shares with this program.
    """

    registry: Registry
    method: str
    sessions: Sessions
    settings: SignIn
    secret: str = ""

    @property
    def is_open(self) -> bool:
        """Whether nobody signs in, as the data are invented."""
        return self.method == DEMO

    def is_peer(self, peer: str | None, headers: Mapping[str, str]) -> bool:
        """Whether a request comes from the reverse proxy: its address and the shared secret."""
        try:
            listed = peer is not None and str(ip_address(peer)) in self.settings.proxy_peers
        except ValueError:
            return False
        given = headers.get(PROXY_HEADER, "")
        same = hmac.compare_digest(given.encode("utf-8", "replace"), self.secret.encode())
        return listed and same and bool(self.secret)


def desk_of(registry: Registry) -> Desk:
    """How people sign in to a registry.

    Raises
    ------
    UsageProblem
        Real data, and no way to sign in that works.
    FileProblem
        The file of a shared secret cannot be used.
    """
    settings = registry.site.sign_in
    invented = (registry.folder / "DEMO").exists()
    method = settings.method or (DEMO if invented else ACCOUNTS)
    if method == DEMO and not invented:
        raise UsageProblem(
            'site.toml, [sign_in] method: "demo" is for invented data, and this registry holds real ones. '
            "Choose accounts, oidc or proxy."
        )
    known = accounts.read(registry.folder)
    if method != DEMO and not any(
        not one.locked and (one.password or method != ACCOUNTS) for one in known.values()
    ):
        raise UsageProblem(
            "Nobody can sign in yet, and real data are not served without. Make the first account: "
            f"biopsy-outcomes account add {registry.folder} NAME --role administrator"
            + ("" if method == ACCOUNTS else " --no-password")
        )
    place = {PROXY: settings.proxy_secret_file, OIDC: settings.oidc_client_secret_file}.get(method)
    numbers = registry.site.numbers
    return Desk(
        registry,
        method,
        Sessions(
            registry.clock,
            timedelta(minutes=numbers["idle_minutes"]),
            timedelta(hours=numbers["session_hours"]),
            _Stamps(registry.folder),
            lambda actor, reason: _note(registry, actor, reason),
        ),
        settings,
        _secret(Path(place)) if place else "",
    )


def check_start(registry: Registry, desk: Desk, *, address: str, is_root: bool, allow_root: bool) -> None:
    """Refuse a start that would show real data to whom they are not for.

    Parameters
    ----------
    address
        Address to listen on.
    is_root, allow_root
        Whether the program runs as the superuser, and whether that is wanted; then it is an
        entry of the trail.

    Raises
    ------
    UsageProblem
        With what to do instead.
    """
    if desk.is_open and not _is_loopback(address):
        raise UsageProblem(
            f"{address}: is not a loopback address, and nobody has to sign in here. Serve a demonstration on "
            "127.0.0.1, or set a method under [sign_in] in site.toml."
        )
    if not is_root or (registry.folder / "DEMO").exists():
        return
    if not allow_root:
        raise UsageProblem(
            "Real data are not served by the superuser: a mistake in a program would reach the whole machine. "
            "Start the pages as a user of their own, or, in a container, with --allow-root."
        )
    registry.record(audit.Entry("root", "serve as the superuser", "registry", "", {"address": address}))


def _note(registry: Registry, actor: Actor, reason: str) -> None:
    """The end of a session in the trail; a full disk must not keep anybody signed in."""
    entry = audit.Entry(actor.name, reason, "session", actor.session, {"via": actor.via})
    with suppress(RegistryError):
        registry.record(entry)


def _is_loopback(address: str) -> bool:
    try:
        return ip_address(address).is_loopback
    except ValueError:
        return address == "localhost"


def _secret(path: Path) -> str:
    """A shared secret, from a file that nobody else can read."""
    try:
        mode = path.stat().st_mode
        text = path.read_text(encoding="utf-8").strip()
    except (OSError, UnicodeDecodeError):
        raise FileProblem(
            f"{path}: the shared secret of site.toml, [sign_in], cannot be read here."
        ) from None
    if stat.S_IMODE(mode) & 0o077:
        raise FileProblem(f"{path}: others on this machine can read the secret. Run: chmod 600 {path}")
    if len(text) < _SHORTEST_SECRET:
        raise FileProblem(
            f"{path}: the secret has fewer than {_SHORTEST_SECRET} characters. Make a longer one."
        )
    return text


class _Stamps:
    """Digest of an account, read again only when the file of the accounts has changed."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._kept: tuple[object, dict[str, str]] = (None, {})

    def __call__(self, name: str) -> str | None:
        try:
            seen = (self._folder / accounts.FILE).stat()
            mark = (seen.st_ino, seen.st_mtime_ns, seen.st_size)
            if mark != self._kept[0]:
                known = accounts.read(self._folder)
                self._kept = (mark, {one.name: one.stamp() for one in known.values() if not one.locked})
        except (OSError, RegistryError):
            return None  # nobody is known while the file cannot be read
        return self._kept[1].get(name)
