"""How people sign in to the pages, as site.toml says under [sign_in]."""

from __future__ import annotations

from dataclasses import dataclass
from ipaddress import ip_address
from typing import Any
from urllib.parse import urlsplit

from registry.errors import SiteProblem

ACCOUNTS, OIDC, PROXY, DEMO = METHODS = ("accounts", "oidc", "proxy", "demo")
CLAIMS = ("email", "preferred_username", "sub")
_TEXTS = frozenset(
    {"method", "proxy_secret_file", "oidc_issuer", "oidc_client_id", "oidc_client_secret_file", "oidc_claim"}
    | {"oidc_address"}
)
_NEEDED = {
    PROXY: ("proxy_peers", "proxy_secret_file"),
    OIDC: ("oidc_issuer", "oidc_client_id", "oidc_client_secret_file", "oidc_address"),
}


@dataclass(frozen=True)
class SignIn:
    """How people sign in; ``method`` is None where site.toml does not say.

    ``proxy_peers`` are addresses from which a reverse proxy may name the person, ``oidc_address``
    the address of the pages as a browser writes it, ``oidc_claim`` what the account is called after.
    """

    method: str | None = None
    proxy_peers: tuple[str, ...] = ()
    proxy_secret_file: str | None = None
    oidc_issuer: str | None = None
    oidc_client_id: str | None = None
    oidc_client_secret_file: str | None = None
    oidc_address: str | None = None
    oidc_claim: str = "email"


def parse(section: dict[str, Any]) -> SignIn:
    """Read [sign_in] strictly.

    Raises
    ------
    SiteProblem
        An unknown key, a value that cannot be used, or a method that lacks what it needs.
    """
    unknown = sorted(section.keys() - _TEXTS - {"proxy_peers"})
    if unknown:
        known = ", ".join(sorted({*_TEXTS, "proxy_peers"}))
        raise _fail("", f"{', '.join(unknown)} is not a setting.", f"Known: {known}.")
    for key in sorted(section.keys() & _TEXTS):
        if not (isinstance(section[key], str) and section[key].strip()):
            raise _fail(key, f"{section[key]!r} is not a text.", "Write it in quotes.")
    _one_of("method", section.get("method"), METHODS)
    _one_of("oidc_claim", section.get("oidc_claim"), CLAIMS)
    for key in ("oidc_issuer", "oidc_address"):
        if key in section:
            _web_address(key, section[key])
    made = SignIn(**{**section, "proxy_peers": _peers(section.get("proxy_peers", []))})
    missing = [key for key in _NEEDED.get(made.method or "", ()) if not getattr(made, key)]
    if missing:
        raise _fail("method", f"{made.method} needs {', '.join(missing)}.", "Add them.")
    return made


def _fail(key: str, what: str, hint: str) -> SiteProblem:
    return SiteProblem(f"site.toml, {f'[sign_in] {key}'.strip()}: {what} {hint}")


def _one_of(key: str, given: str | None, known: tuple[str, ...]) -> None:
    if given is not None and given not in known:
        raise _fail(key, f"{given!r} is not known.", f"Known: {', '.join(known)}.")


def _peers(given: Any) -> tuple[str, ...]:
    if not isinstance(given, list):
        raise _fail("proxy_peers", f"{given!r} is not a list.", 'Write it as ["127.0.0.1"].')
    try:
        return tuple(str(ip_address(one)) for one in given)
    except ValueError:
        raise _fail("proxy_peers", f"{given!r} holds no addresses.", 'Write it as ["127.0.0.1"].') from None


def _web_address(key: str, given: str) -> None:
    """Encrypted, but on this machine itself."""
    parts = urlsplit(given)
    local = parts.hostname in ("127.0.0.1", "localhost", "::1")
    if not parts.hostname or not (parts.scheme == "https" or (parts.scheme == "http" and local)):
        raise _fail(
            key,
            f"{given!r} is not an address that begins with https://.",
            'Write it as "https://registry.hospital.example".',
        )
