"""Every request and every socket passes here first; without a living session nothing goes on.

Also for somebody who knows the address of the script stream, of a download or of an upload.
A socket whose session ends is closed, after the page has had time to say so.
"""

from __future__ import annotations

import asyncio
from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import MutableHeaders
from starlette.requests import HTTPConnection
from starlette.responses import PlainTextResponse, RedirectResponse, Response

from dashboards.gate import requests
from dashboards.gate.desk import USER_HEADER
from registry.people.settings import PROXY

if TYPE_CHECKING:
    from starlette.types import ASGIApp, Message, Receive, Scope, Send

    from dashboards.gate.desk import Desk

HEALTH = "/_stcore/health"
#: What the page server offers beside the pages and nobody here uses.
_CLOSED = ("/_stcore/metrics", "/_stcore/agent", "/_stcore/script-health-check", "/auth/", "/oauth2callback")
#: Seconds between two looks at the session of a socket, and how long one that has ended stays open.
LOOK_SECONDS, GRACE_SECONDS = 5.0, 60.0
_STATIC = "/static/"

#: The page server draws with inline styles, compiles charts to functions and starts workers from
#: blobs; nothing is loaded from, or sent to, another place.
_POLICY = (
    "default-src 'self'; script-src 'self' 'unsafe-inline'; style-src 'self' 'unsafe-inline'; "
    "img-src 'self' data: blob:; font-src 'self' data:; media-src 'self' blob:; worker-src 'self' blob:; "
    "connect-src 'self' data: blob:; object-src 'none'; base-uri 'self'; frame-ancestors 'none'"
)


class Gate:
    """Around the whole page server."""

    def __init__(self, app: ASGIApp, desk: Desk) -> None:
        self._app, self._desk = app, desk

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """One request, one socket, or the life of the server, which passes untouched."""
        if scope["type"] == "http":
            await self._request(scope, receive, _guarded(send, scope["path"]))
        elif scope["type"] == "websocket":
            await self._socket(scope, receive, send)
        else:
            await self._app(scope, receive, send)

    async def _request(self, scope: Scope, receive: Receive, send: Send) -> None:
        asked = HTTPConnection(scope)
        answer = await self._refusal(asked, scope)
        await (answer or self._app)(scope, receive, send)

    async def _refusal(self, asked: HTTPConnection, scope: Scope) -> Response | None:
        path = scope["path"]
        if path == HEALTH:
            return None
        if path.startswith(_CLOSED):
            return PlainTextResponse("Not found.", status_code=404)
        if self._desk.is_open:
            return None
        if not self._is_from_proxy(asked):
            return PlainTextResponse("Come through the address of the service.", status_code=403)
        if path in (requests.SIGN_IN, requests.SIGN_OUT, requests.OIDC_START, requests.OIDC_BACK):
            return None
        if await self._is_signed_in(asked):
            return None
        if scope["method"] == "GET" and "text/html" in asked.headers.get("accept", ""):
            query = scope["query_string"].decode("latin-1")
            wanted = requests.onward(f"{path}?{query}" if query else path)
            return RedirectResponse(f"{requests.SIGN_IN}?{urlencode({'next': wanted})}", status_code=303)
        return PlainTextResponse("Sign in first.", status_code=401)

    def _is_from_proxy(self, asked: HTTPConnection) -> bool:
        """With any other method it matters to nobody where a request comes from."""
        if self._desk.method != PROXY:
            return True
        return self._desk.is_peer(asked.client.host if asked.client else None, asked.headers)

    async def _is_signed_in(self, asked: HTTPConnection) -> bool:
        token = asked.cookies.get(requests.COOKIE)
        actor = await run_in_threadpool(self._desk.sessions.who, token, touch=False)
        if actor is None or self._desk.method != PROXY:
            return actor is not None
        # Somebody else at the same browser.
        return asked.headers.get(USER_HEADER, "") == actor.name

    async def _socket(self, scope: Scope, receive: Receive, send: Send) -> None:
        asked = HTTPConnection(scope)
        if scope["path"].startswith(_CLOSED):
            await send({"type": "websocket.close", "code": 1008})
        elif self._desk.is_open:
            await self._app(scope, receive, send)
        elif self._is_from_proxy(asked) and await self._is_signed_in(asked):
            await self._watched(asked.cookies[requests.COOKIE], scope, receive, send)
        else:
            await send({"type": "websocket.close", "code": 1008})

    async def _watched(self, token: str, scope: Scope, receive: Receive, send: Send) -> None:
        """A socket that ends some time after its session."""
        over = asyncio.Event()

        async def until_over() -> Message:
            if over.is_set():
                return {"type": "websocket.disconnect", "code": 1008}
            incoming, end = asyncio.ensure_future(receive()), asyncio.ensure_future(over.wait())
            try:
                await asyncio.wait({incoming, end}, return_when=asyncio.FIRST_COMPLETED)
                if incoming.done():
                    return incoming.result()
                return {"type": "websocket.disconnect", "code": 1008}
            finally:
                incoming.cancel()
                end.cancel()

        has_closed = False

        async def sending(message: Message) -> None:
            nonlocal has_closed
            has_closed = has_closed or message["type"] == "websocket.close"
            await send(message)

        watch = asyncio.create_task(self._watch(token, over))
        try:
            await self._app(scope, until_over, sending)
            if over.is_set() and not has_closed:
                await send({"type": "websocket.close", "code": 1008})
        finally:
            watch.cancel()

    async def _watch(self, token: str, over: asyncio.Event) -> None:
        while await run_in_threadpool(self._desk.sessions.who, token, touch=False) is not None:
            await asyncio.sleep(LOOK_SECONDS)
        await asyncio.sleep(GRACE_SECONDS)
        over.set()


def _guarded(send: Send, path: str) -> Send:
    """Answers with the headers that every page of the registry carries."""

    async def sending(message: Any) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            headers["X-Content-Type-Options"] = "nosniff"
            headers["Referrer-Policy"] = "same-origin"
            headers["X-Frame-Options"] = "DENY"
            headers["Content-Security-Policy"] = _POLICY
            headers["Cross-Origin-Opener-Policy"] = "same-origin"
            # The program's own files hold nothing about anybody, and are named by their content.
            if not path.startswith(_STATIC):
                headers["Cache-Control"] = "no-store"
        await send(message)

    return sending
