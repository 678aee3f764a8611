"""The hospital's own sign-in (OpenID Connect): authorisation code with PKCE, claims of a verified token.

The page server has a sign-in of this kind too, but its cookie is good for 30 days and is
asked about inside the page scripts. Here the verified name only begins a session like any
other, with its limits, and nothing of the token is kept.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from starlette.concurrency import run_in_threadpool
from starlette.responses import Response
from starlette.routing import Route

from dashboards.gate import requests
from registry.errors import Refused, RegistryError
from registry.people import accounts
from registry.people.settings import OIDC

if TYPE_CHECKING:
    from collections.abc import Mapping

    from starlette.requests import Request

    from dashboards.gate.desk import Desk
    from dashboards.gate.sign_in import SignIn

_NEXT = "biopsy_outcomes_next"
_FAILED = "The hospital's sign-in did not answer as agreed. Try again; if it stays so, tell an administrator."


def name_of(claims: Mapping[str, Any], claim: str) -> str:
    """What the account of somebody is called, from the claims of a verified token.

    Raises
    ------
    Refused
        The claim is missing, or the address was not verified by the provider.
    """
    found = claims.get(claim)
    if not isinstance(found, str) or not found.strip():
        raise Refused(f"The hospital's sign-in names no {claim}. Ask an administrator of the registry.")
    if claim == "email":
        # Anybody could write another person's address into a profile.
        if claims.get("email_verified") is not True:
            raise Refused("The hospital's sign-in has not verified your e-mail address.")
        return found.strip().lower()
    return found.strip()


class Provider:
    """The two routes of the flow."""

    def __init__(self, desk: Desk, sign_in: SignIn) -> None:
        from authlib.integrations.starlette_client import OAuth

        self._desk, self._sign_in = desk, sign_in
        settings = desk.settings
        metadata = f"{str(settings.oidc_issuer).rstrip('/')}/.well-known/openid-configuration"
        self._client = OAuth().register(
            "hospital",
            client_id=settings.oidc_client_id,
            client_secret=desk.secret,
            server_metadata_url=metadata,
            client_kwargs={"scope": "openid email profile", "code_challenge_method": "S256"},
        )

    def routes(self) -> list[Route]:
        """For the page server."""
        return [
            Route(requests.OIDC_START, self.start, methods=["POST"]),
            Route(requests.OIDC_BACK, self.back, methods=["GET"]),
        ]

    async def start(self, request: Request) -> Response:
        """Send the browser to the provider, which asks for the password anew."""
        try:
            fields = await requests.form_of(request)
        except (requests.TooLarge, ValueError):
            return Response("Too large.", status_code=413)
        wanted = requests.onward(fields.get("next"))
        if not requests.is_own_form(request, fields):
            return self._sign_in.form(request, wanted, "Try again.", status=403)
        request.session[_NEXT] = wanted
        back = f"{str(self._desk.settings.oidc_address).rstrip('/')}{requests.OIDC_BACK}"
        try:
            made: Response = await self._client.authorize_redirect(request, back, prompt="login")
        except Exception:  # whatever the provider or the network does, the person gets a sentence
            return self._sign_in.form(request, wanted, _FAILED, status=503)
        # A page that leads on, not a redirect: a content policy keeps forms from other sites.
        return self._sign_in.onward_page(made.headers["location"], "The hospital's sign-in")

    async def back(self, request: Request) -> Response:
        """Take the code, have the token verified, and begin a session."""
        wanted = requests.onward(request.session.pop(_NEXT, "/"))
        try:
            token = await self._client.authorize_access_token(request)
            # Only there after signature, issuer, audience, nonce and time were verified.
            claims = token["userinfo"]
        except Exception:  # as above; the details are for the log of the provider, not for a browser
            return self._sign_in.form(request, wanted, _FAILED, status=403)
        try:
            name = name_of(claims, self._desk.settings.oidc_claim)
            actor = await run_in_threadpool(accounts.recognise, self._desk.registry, name, OIDC)
        except Refused as problem:
            return self._sign_in.form(request, wanted, str(problem), status=403)
        except RegistryError as problem:
            return self._sign_in.form(request, wanted, str(problem), status=503)
        return await self._sign_in.begin(request, actor, self._sign_in.onward_page(wanted, "Signed in"))
