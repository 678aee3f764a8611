"""What the gate reads from a request: cookies, where to go afterwards, whose form it is."""

from __future__ import annotations

import hmac
import secrets
from hashlib import sha256
from typing import TYPE_CHECKING
from urllib.parse import parse_qs, quote, urlsplit

if TYPE_CHECKING:
    from starlette.requests import HTTPConnection, Request
    from starlette.responses import Response

COOKIE, FORM_COOKIE = "biopsy_outcomes_session", "biopsy_outcomes_form"
SIGN_IN, SIGN_OUT = "/sign-in", "/sign-out"
OIDC_START, OIDC_BACK = "/sign-in/oidc", "/sign-in/oidc/back"
#: A form holds a name and a password; more is none.
LARGEST_FORM = 8192
_SAFE = "/?&=%-._~:+,;@!$'()*"
_key = secrets.token_bytes(32)


class TooLarge(Exception):
    """A form of more than :data:`LARGEST_FORM` bytes."""


def onward(given: str | None) -> str:
    """The page that was asked for: a path of this site, or the first page."""
    path = given or "/"
    parts = urlsplit(path)
    if (
        not path.startswith("/")
        or path.startswith("//")
        or "\\" in path
        or any(ord(one) < 0x20 or ord(one) == 0x7F for one in path)
        or parts.scheme
        or parts.netloc
        or parts.path.startswith((SIGN_IN, SIGN_OUT, "/_stcore", "/media"))
    ):
        return "/"
    return quote(path, safe=_SAFE)


def is_encrypted(connection: HTTPConnection) -> bool:
    """Whether the browser speaks https, here or to the reverse proxy; a false yes only loses the cookie."""
    return "https" in (connection.url.scheme, connection.headers.get("x-forwarded-proto", ""))


async def form_of(request: Request) -> dict[str, str]:
    """Fields of a form.

    Raises
    ------
    TooLarge
        More bytes than a form of ours has.
    """
    body = b""
    async for chunk in request.stream():
        body += chunk
        if len(body) > LARGEST_FORM:
            raise TooLarge
    fields = parse_qs(body.decode("utf-8", "replace"), keep_blank_values=True, max_num_fields=20)
    return {key: values[0] for key, values in fields.items()}


def form_secret(connection: HTTPConnection) -> str:
    """The random value behind a form: that of the browser, or a new one."""
    found = connection.cookies.get(FORM_COOKIE, "")
    return found if 20 <= len(found) <= 64 else secrets.token_urlsafe(16)


def form_mark(secret: str) -> str:
    """What the form carries to show that this page drew it for this browser."""
    return hmac.new(_key, secret.encode(), sha256).hexdigest()


def is_own_form(request: Request, fields: dict[str, str]) -> bool:
    """Whether a form was drawn here for this browser, and sent from here."""
    origin = request.headers.get("origin")
    if origin is not None and urlsplit(origin).netloc != request.headers.get("host"):
        return False
    secret = request.cookies.get(FORM_COOKIE, "")
    mark = fields.get("mark", "")
    return bool(secret) and hmac.compare_digest(mark.encode("utf-8", "replace"), form_mark(secret).encode())


def set_cookie(response: Response, connection: HTTPConnection, name: str, value: str) -> None:
    """A cookie for this site alone, gone with the browser, out of reach of scripts."""
    response.set_cookie(
        name, value, path="/", httponly=True, samesite="strict", secure=is_encrypted(connection)
    )
