"""Signing in and out: forms that work without scripts, before the pages exist for anybody."""

from __future__ import annotations

from typing import TYPE_CHECKING
from urllib.parse import urlencode

from starlette.concurrency import run_in_threadpool
from starlette.responses import HTMLResponse, RedirectResponse, Response
from starlette.routing import Route

from dashboards.components.markup import Markup, element
from dashboards.gate import paper, requests, sessions
from dashboards.gate.desk import USER_HEADER
from registry.errors import Refused, RegistryError
from registry.people import accounts
from registry.people.settings import ACCOUNTS, OIDC, PROXY

if TYPE_CHECKING:
    from starlette.requests import Request

    from dashboards.gate.desk import Desk
    from registry.people import Actor

#: So many people may wait for their password to be looked at; each takes most of a second.
_WAITING_MOST = 16
_WHY = {
    sessions.IDLE: "You were away for a while, so the page was locked. Sign in again to go on.",
    sessions.TOO_LONG: "Your session has reached its longest time. Sign in again to go on.",
    sessions.CHANGED: "Your account was changed by an administrator. Sign in again to go on.",
    sessions.SIGNED_OUT: "You have signed out.",
}
_STALE = "The page was open for too long, or cookies are switched off. Try again."


class SignIn:
    """The routes by which people come in and leave."""

    def __init__(self, desk: Desk) -> None:
        self._desk = desk
        self._waiting = 0

    def routes(self) -> list[Route]:
        """For the page server."""
        made = [
            Route(requests.SIGN_IN, self.show, methods=["GET"]),
            Route(requests.SIGN_IN, self.sign_in, methods=["POST"]),
            Route(requests.SIGN_OUT, self.sign_out, methods=["POST"]),
        ]
        if self._desk.method == OIDC:
            from dashboards.gate.oidc import Provider

            made += Provider(self._desk, self).routes()
        return made

    async def show(self, request: Request) -> Response:
        """The form, and why it is shown; for somebody who has signed in, the way out."""
        token = request.cookies.get(requests.COOKIE)
        actor = await run_in_threadpool(self._desk.sessions.who, token, touch=False)
        wanted = requests.onward(request.query_params.get("next"))
        if self._desk.is_open:
            return RedirectResponse(wanted, status_code=303)
        if actor is not None and "again" not in request.query_params:
            return self._signed_in(request, actor, wanted)
        return self.form(request, wanted, _WHY.get(self._desk.sessions.why(token) or "", ""))

    async def sign_in(self, request: Request) -> Response:
        """Look at name and password, or at whom the proxy names, and begin a session."""
        try:
            fields = await requests.form_of(request)
        except (requests.TooLarge, ValueError):
            return Response("Too large.", status_code=413)
        wanted = requests.onward(fields.get("next"))
        if self._desk.method not in (ACCOUNTS, PROXY):
            return Response("Not found.", status_code=404)
        if not requests.is_own_form(request, fields):
            return self.form(request, wanted, _STALE, status=403)
        if self._waiting >= _WAITING_MOST:
            return self.form(request, wanted, "Too many people are signing in. Try again.", status=503)
        self._waiting += 1
        try:
            actor = await run_in_threadpool(self._who, request, fields)
        except Refused as problem:
            return self.form(request, wanted, str(problem), status=403)
        except RegistryError as problem:
            return self.form(request, wanted, str(problem), status=503)
        finally:
            self._waiting -= 1
        return await self.begin(request, actor, RedirectResponse(wanted, status_code=303))

    def _who(self, request: Request, fields: dict[str, str]) -> Actor:
        if self._desk.method == PROXY:
            return accounts.recognise(self._desk.registry, request.headers.get(USER_HEADER, ""), PROXY)
        name, password = fields.get("name", "").strip(), fields.get("password", "")
        return accounts.verify(self._desk.registry, name, password)

    async def begin(self, request: Request, actor: Actor, response: Response) -> Response:
        """Put a new session into a response; the one before it in this browser ends."""
        old = request.cookies.get(requests.COOKIE)
        await run_in_threadpool(self._desk.sessions.end, old, sessions.SIGNED_OUT)
        requests.set_cookie(response, request, requests.COOKIE, self._desk.sessions.start(actor))
        return response

    async def sign_out(self, request: Request) -> Response:
        """End the session of this browser."""
        try:
            fields = await requests.form_of(request)
        except (requests.TooLarge, ValueError):
            return Response("Too large.", status_code=413)
        if not requests.is_own_form(request, fields):
            return self.form(request, "/", _STALE, status=403)
        await run_in_threadpool(self._desk.sessions.end, request.cookies.get(requests.COOKIE))
        response = RedirectResponse(requests.SIGN_IN, status_code=303)
        response.delete_cookie(requests.COOKIE, path="/", httponly=True, samesite="strict")
        return response

    def form(self, request: Request, wanted: str, said: str = "", *, status: int = 200) -> Response:
        """The page on which somebody signs in."""
        secret = requests.form_secret(request)
        hidden = {"mark": requests.form_mark(secret), "next": wanted}
        parts = [paper.said(said)] if said else []
        if self._desk.method == OIDC:
            text = element("button", "Sign in with the hospital's account", type="submit")
            parts.append(paper.form(requests.OIDC_START, hidden, text))
        elif self._desk.method == PROXY:
            name = request.headers.get(USER_HEADER, "")
            button = element("button", f"Go on as {name}" if name else "Go on", type="submit")
            parts.append(paper.form(requests.SIGN_IN, hidden, button))
        else:
            parts.append(
                paper.form(
                    requests.SIGN_IN,
                    hidden,
                    paper.field("Name", "name", "text", "username", first=True),
                    paper.field("Password", "password", "password", "current-password"),
                    element("button", "Sign in", type="submit"),
                )
            )
        parts.append(element("p", _FOOT, class_="quiet"))
        made = HTMLResponse(self._page("Sign in", *parts), status_code=status)
        requests.set_cookie(made, request, requests.FORM_COOKIE, secret)
        return made

    def onward_page(self, address: str, title: str) -> HTMLResponse:
        """A page that leads on by itself: a cookie set on the way back from another site is kept from it."""
        link = element("p", element("a", "Go on", href=address))
        return HTMLResponse(paper.page(title, self._desk.registry.site.name, link, onward=address))

    def _signed_in(self, request: Request, actor: Actor, wanted: str) -> Response:
        secret = requests.form_secret(request)
        out = paper.form(
            requests.SIGN_OUT,
            {"mark": requests.form_mark(secret)},
            element("button", "Sign out", type="submit", class_="plain"),
        )
        again = f"{requests.SIGN_IN}?{urlencode({'again': '1', 'next': wanted})}"
        body = (
            element("p", f"{actor.name}, {', '.join(sorted(actor.roles))}"),
            element("p", element("a", "Go on to the registry", href=wanted)),
            element("p", element("a", "Sign in again, or as somebody else", href=again)),
            out,
        )
        made = HTMLResponse(self._page("You are signed in", *body))
        requests.set_cookie(made, request, requests.FORM_COOKIE, secret)
        return made

    def _page(self, title: str, *body: Markup) -> str:
        return paper.page(title, self._desk.registry.site.name, *body)


_FOOT = (
    "For people of the service only. Every sign-in, and every record that is opened, is written down. "
    "Forgotten passwords are reset by an administrator of the registry."
)
