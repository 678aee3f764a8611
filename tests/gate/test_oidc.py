"""The hospital's own sign-in, against a small provider on this machine that can be made to lie."""

from __future__ import annotations

import base64
import hashlib
import html
import re
import socket
import threading
import time
from contextlib import contextmanager
from urllib.parse import parse_qs, urlsplit

import httpx
import pytest
import uvicorn
from joserfc import jwt
from joserfc.jwk import RSAKey
from starlette.applications import Starlette
from starlette.responses import JSONResponse, RedirectResponse
from starlette.routing import Route

from dashboards.gate.desk import desk_of
from dashboards.gate.oidc import name_of
from dashboards.gate.requests import COOKIE
from registry.errors import Refused
from registry.people import Role, accounts
from registry.store import Registry
from tests.gate.conftest import gated, mark_of

SECRET = "known-to-the-provider-and-us"
CLIENT = "biopsy-outcomes"
MAIL = "ines@hospital.example"


class Provider:
    """Answers as the standard says; ``claims`` and ``key`` are what a test changes."""

    def __init__(self, port):
        self.issuer = f"http://127.0.0.1:{port}"
        self.key = RSAKey.generate_key(2048, {"kid": "one"})
        self.other_key = RSAKey.generate_key(2048, {"kid": "one"})
        self.signed_with = self.key
        self.claims = {"sub": "4711", "email": MAIL, "email_verified": True}
        self.asked = {}
        self.app = Starlette(
            routes=[
                Route("/.well-known/openid-configuration", self.metadata),
                Route("/authorize", self.authorize),
                Route("/token", self.token, methods=["POST"]),
                Route("/jwks", self.keys),
            ]
        )

    async def metadata(self, _):
        names = {"authorization_endpoint": "authorize", "token_endpoint": "token", "jwks_uri": "jwks"}
        return JSONResponse(
            {
                "issuer": self.issuer,
                **{key: f"{self.issuer}/{path}" for key, path in names.items()},
                "response_types_supported": ["code"],
                "id_token_signing_alg_values_supported": ["RS256"],
                "code_challenge_methods_supported": ["S256"],
            }
        )

    async def authorize(self, request):
        self.asked = dict(request.query_params)
        back = f"{self.asked['redirect_uri']}?code=once&state={self.asked['state']}"
        return RedirectResponse(back, status_code=302)

    async def token(self, request):
        form = parse_qs((await request.body()).decode())
        challenge = base64.urlsafe_b64encode(hashlib.sha256(form["code_verifier"][0].encode()).digest())
        assert challenge.rstrip(b"=").decode() == self.asked["code_challenge"]
        assert base64.b64decode(request.headers["authorization"].split()[1]).decode() == f"{CLIENT}:{SECRET}"
        now = int(time.time())
        claims = {
            "iss": self.issuer,
            "aud": CLIENT,
            "iat": now,
            "exp": now + 60,
            "nonce": self.asked["nonce"],
            **self.claims,
        }
        made = jwt.encode({"alg": "RS256", "kid": "one"}, claims, self.signed_with)
        return JSONResponse({"access_token": "a", "token_type": "Bearer", "id_token": made})

    async def keys(self, _):
        return JSONResponse({"keys": [self.key.as_dict(private=False)]})


@contextmanager
def running(app, listening):
    server = uvicorn.Server(uvicorn.Config(app, log_level="error"))
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]}, daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.01)
    yield
    server.should_exit = True
    thread.join()


@pytest.fixture
def provider():
    with socket.socket() as listening:
        listening.bind(("127.0.0.1", 0))
        made = Provider(listening.getsockname()[1])
        with running(made.app, listening):
            yield made


@pytest.fixture
def desk(folder, tmp_path, clock, provider):
    place = tmp_path / "secret"
    place.write_text(SECRET)
    place.chmod(0o600)
    text = (folder / "site.toml").read_text()
    made = (
        f'[sign_in]\nmethod = "oidc"\noidc_issuer = "{provider.issuer}"\noidc_client_id = "{CLIENT}"\n'
        f'oidc_client_secret_file = "{place}"\noidc_address = "http://localhost"\n'
    )
    (folder / "site.toml").write_text(text.replace("[sign_in]\n", made, 1))
    with Registry.open(folder, write=True, clock=clock) as registry:
        accounts.add(registry, MAIL, None, [Role.PATHOLOGIST])
        yield desk_of(registry)


@pytest.fixture
def browser(desk):
    return gated(desk)


def led_to(page):
    """Where a page leads by itself; a form that is answered with a redirect could not leave this site."""
    assert page.status_code == 200, page.text
    return html.unescape(re.search(r'content="0;url=([^"]+)"', page.text)[1])


def come_back(browser, wanted="/targeting"):
    """Press the button, be asked by the provider, and come back."""
    mark = mark_of(browser.get("/sign-in"))
    away = browser.post("/sign-in/oidc", data={"mark": mark, "next": wanted})
    back = httpx.get(led_to(away)).headers["location"]
    parts = urlsplit(back)
    return browser.get(f"{parts.path}?{parts.query}")


def test_a_verified_person_goes_on_with_the_roles_of_the_account(browser, desk, provider):
    answer = come_back(browser)

    assert answer.status_code == 200
    # The cookie is for this site alone, so the page itself leads on.
    assert 'content="0;url=/targeting"' in answer.text
    actor = desk.sessions.who(browser.cookies[COOKIE], touch=False)
    assert (actor.name, actor.roles, actor.via) == (MAIL, frozenset({Role.PATHOLOGIST}), "oidc")
    assert browser.get("/targeting").text == "reached"


def test_the_provider_is_told_to_ask_for_the_password_and_gets_a_challenge(browser, provider):
    come_back(browser)

    assert provider.asked["prompt"] == "login"
    assert provider.asked["code_challenge_method"] == "S256"
    assert provider.asked["redirect_uri"] == "http://localhost/sign-in/oidc/back"


def test_idle_sessions_end_whatever_the_provider_thinks(browser, clock):
    come_back(browser)
    clock.forward(minutes=15)

    assert browser.get("/targeting").status_code == 401


@pytest.mark.parametrize(
    "claims",
    [
        {"aud": "another program"},
        {"iss": "https://evil.example"},
        {"exp": 1_000_000_000, "iat": 999_999_000},
        {"nonce": "of another sign-in"},
    ],
    ids=["audience", "issuer", "expired", "nonce"],
)
def test_a_token_that_is_not_for_this_sign_in_lets_nobody_in(browser, provider, claims):
    provider.claims.update(claims)

    assert come_back(browser).status_code == 403
    assert COOKIE not in browser.cookies


def test_a_token_that_another_key_signed_lets_nobody_in(browser, provider):
    provider.signed_with = provider.other_key

    assert come_back(browser).status_code == 403
    assert COOKIE not in browser.cookies


def test_an_address_that_was_not_verified_lets_nobody_in(browser, provider):
    provider.claims["email_verified"] = False

    answer = come_back(browser)

    assert answer.status_code == 403
    assert "has not verified your e-mail address" in answer.text


def test_somebody_without_an_account_has_no_role_here(browser, provider, desk):
    provider.claims["email"] = "somebody@hospital.example"

    assert "You have no role in this registry" in come_back(browser).text
    last = desk.registry.rows("SELECT actor, outcome FROM audit_event ORDER BY seq DESC LIMIT 1")
    assert last == [("unknown", "refused")]


def test_a_code_from_another_browser_lets_nobody_in(browser, desk):
    """The answer of the provider, sent to somebody else's browser."""
    mark = mark_of(browser.get("/sign-in"))
    away = browser.post("/sign-in/oidc", data={"mark": mark, "next": "/"})
    parts = urlsplit(httpx.get(led_to(away)).headers["location"])
    other = gated(desk)

    assert other.get(f"{parts.path}?{parts.query}").status_code == 403
    assert COOKIE not in other.cookies


def test_another_page_cannot_start_it(browser):
    assert browser.post("/sign-in/oidc", data={"next": "/"}).status_code == 403


def test_a_password_is_of_no_use_here(browser):
    mark = mark_of(browser.get("/sign-in"))

    assert browser.post("/sign-in", data={"name": MAIL, "password": "", "mark": mark}).status_code == 404


@pytest.mark.parametrize(
    ("claims", "claim", "name"),
    [
        ({"email": "Ines@Hospital.example ", "email_verified": True}, "email", MAIL),
        ({"preferred_username": "ines"}, "preferred_username", "ines"),
        ({"sub": "4711"}, "sub", "4711"),
    ],
)
def test_the_account_is_called_after_the_claim(claims, claim, name):
    assert name_of(claims, claim) == name


@pytest.mark.parametrize(
    "claims", [{}, {"email": ""}, {"email": MAIL}, {"email": MAIL, "email_verified": "true"}, {"email": 1}]
)
def test_a_claim_that_is_missing_or_not_verified_is_refused(claims):
    with pytest.raises(Refused):
        name_of(claims, "email")
