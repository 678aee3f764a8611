"""A gate with a clock that is set, in front of an application that tells when it was reached."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from argon2 import PasswordHasher
from starlette.applications import Starlette
from starlette.middleware import Middleware
from starlette.middleware.sessions import SessionMiddleware
from starlette.responses import PlainTextResponse
from starlette.routing import Route, WebSocketRoute
from starlette.testclient import TestClient

from dashboards.gate.desk import desk_of
from dashboards.gate.middleware import Gate
from dashboards.gate.sign_in import SignIn
from registry.people import Role, accounts
from registry.store import Registry

PASSWORD = "a sentence is easy to keep"


class Clock:
    def __init__(self):
        self.now = datetime(2026, 7, 1, 8, 0, tzinfo=UTC)

    def __call__(self):
        return self.now

    def forward(self, **given):
        self.now += timedelta(**given)


@pytest.fixture(autouse=True)
def quick_hashes(monkeypatch):
    """What a password costs is tested with the accounts; here it only has to be right."""
    monkeypatch.setattr(accounts, "_hasher", PasswordHasher(time_cost=1, memory_cost=64, parallelism=1))
    accounts._nobody.cache_clear()
    yield
    accounts._nobody.cache_clear()


@pytest.fixture
def clock():
    return Clock()


@pytest.fixture
def kept(folder, clock):
    """A registry with a coordinator and an administrator."""
    with Registry.open(folder, write=True, clock=clock) as registry:
        accounts.add(registry, "ines", PASSWORD, [Role.COORDINATOR])
        accounts.add(registry, "ada", PASSWORD, [Role.ADMINISTRATOR])
        yield registry


async def reached(request):
    return PlainTextResponse("reached", headers={"Cache-Control": "public"})


async def stream(websocket):
    await websocket.accept()
    async for text in websocket.iter_text():
        await websocket.send_text(f"reached {text}")


def gated(desk, **client):
    """A client of the gate; what lies behind answers every address."""
    behind = [
        WebSocketRoute("/_stcore/stream", stream),
        Route("/{path:path}", reached, methods=["GET", "POST", "PUT"]),
    ]
    app = Starlette(
        routes=[*SignIn(desk).routes(), *behind],
        middleware=[Middleware(Gate, desk=desk), Middleware(SessionMiddleware, secret_key="of the test")],
    )
    return TestClient(app, base_url="http://testserver", follow_redirects=False, **client)


@pytest.fixture
def desk(kept):
    return desk_of(kept)


@pytest.fixture
def browser(desk):
    return gated(desk)


def mark_of(page):
    """The hidden mark of the form on a page."""
    return page.text.split('name="mark" value="')[1].split('"')[0]


def sign_in(browser, name="ines", password=PASSWORD, wanted="/", **more):
    """Fill in the form as a person would."""
    mark = mark_of(browser.get("/sign-in", **more))
    fields = {"name": name, "password": password, "next": wanted, "mark": mark}
    return browser.post("/sign-in", data=fields, **more)


def trail(registry):
    """Actor, action and outcome of what was written about sessions and accounts."""
    return registry.rows(
        "SELECT actor, action, outcome FROM audit_event WHERE object_kind IN ('session', 'account') ORDER BY seq"
    )
