"""docs/deployment/nginx.conf: what it sends, what it lets through, what it refuses."""

from __future__ import annotations

import base64
import hashlib
import http.client
import re
import time
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
import streamlit

from dashboards.launch import UPLOAD_MB
from tests.deployment.conftest import DEPLOYMENT, NAME, SECRET, Proxy, nginx, write_certificate

if TYPE_CHECKING:
    from collections.abc import Iterator

pytestmark = pytest.mark.xdist_group("deployment")

MB = 1024 * 1024
#: What RFC 6797, the CSP 3 and Referrer Policy recommendations and the Fetch standard name.
HEADERS = {
    "strict-transport-security": r"max-age=\d{8,}",
    "content-security-policy": r"default-src 'none'; .*frame-ancestors 'none'",
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "permissions-policy": r".*camera=\(\)",
}
UPGRADE = {
    "Connection": "Upgrade",
    "Upgrade": "websocket",
    "Sec-WebSocket-Version": "13",
    "Sec-WebSocket-Key": "AAAAAAAAAAAAAAAAAAAAAA==",
}


# --- what every answer carries -----------------------------------------------------------


@pytest.mark.parametrize(
    ("path", "status"),
    [
        ("/", 200),
        ("/missing", 404),
        ("/static/main.js", 200),
        ("/_stcore/metrics", 404),
        ("/media/x.csv", 200),
    ],
)
def test_every_answer_says_what_a_browser_may_do(proxy, path, status):
    answer = proxy.ask(path)

    assert answer.status == status
    assert [
        name for name, wanted in HEADERS.items() if not re.match(wanted, answer.headers.get(name, ""))
    ] == []


@pytest.mark.parametrize("path", ["/", "/missing", "/media/x.csv", "/_stcore/health", "/static/missing"])
def test_nothing_is_kept_although_the_application_would_allow_it(proxy, path):
    assert proxy.ask(path).headers["cache-control"] == "no-store"


def test_only_the_programs_own_files_are_kept_and_by_nobody_else(proxy):
    assert proxy.ask("/static/main.js").headers["cache-control"] == "private, max-age=86400"


def test_a_cookie_travels_encrypted_only(proxy):
    assert {"secure", "samesite=lax"} <= set(
        proxy.ask("/").headers["set-cookie"].lower().replace(" ", "").split(";")
    )


def test_the_version_of_nginx_is_not_told(proxy):
    assert proxy.ask("/").headers["server"] == "nginx"


def test_the_one_script_in_the_page_is_the_one_the_policy_names():
    page = (Path(streamlit.__file__).parent / "static" / "index.html").read_text(encoding="utf-8")
    scripts = re.findall(r"<script>(.*?)</script>", page, re.DOTALL)
    policy = (DEPLOYMENT / "nginx.conf").read_text(encoding="utf-8")

    named = [base64.b64encode(hashlib.sha256(one.encode()).digest()).decode() for one in scripts]

    assert re.findall(r"'sha256-([^']+)'", policy) == named


def test_no_script_may_be_made_from_text():
    policy = re.search(r"script-src ([^;]*);", (DEPLOYMENT / "nginx.conf").read_text(encoding="utf-8"))

    assert "unsafe" not in policy.group(1)


# --- who is asking -----------------------------------------------------------------------


CLAIMS = [
    "X-Forwarded-User",
    "x-forwarded-user",
    "X_Forwarded_User",
    "X-Forwarded-Email",
    "X-Forwarded-Groups",
    "X-Auth-Request-User",
    "X-Remote-User",
    "Remote-User",
    "X-Biopsy-Outcomes-Proxy",
    "X-Forwarded-For",
    "X-Forwarded-Host",
    "Forwarded",
    "Authorization",
    "X-Real-IP",
]


@pytest.mark.parametrize("name", CLAIMS)
def test_no_identity_that_a_client_claims_arrives(proxy, application, name):
    proxy.ask("/claimed", headers={name: "director"})

    assert application.arrived[-1][1] == "/claimed"
    assert [header for header in application.headers if "director" in header[1]] == []


@pytest.mark.parametrize(
    "path",
    ["/", "/_stcore/stream", "/_stcore/health", "/_stcore/upload_file/a/b", "/media/x", "/sign-in"],
)
def test_no_claim_arrives_at_any_place(proxy, application, path):
    proxy.ask(path, headers=[(name, "director") for name in CLAIMS])

    assert application.arrived[-1][1] == path
    assert [header for header in application.headers if "director" in header[1]] == []


def test_the_application_can_tell_that_the_proxy_asks(proxy, application):
    proxy.ask("/", headers={"X-Biopsy-Outcomes-Proxy": "guessed"})

    assert [value for name, value in application.headers if name == "x-biopsy-outcomes-proxy"] == [SECRET]


def test_what_the_pages_need_arrives(proxy, application):
    sent = {
        "Cookie": "visit=1",
        "Origin": f"https://{NAME}",
        "X-Xsrftoken": "abc",
        "Content-Type": "text/csv",
    }

    proxy.ask("/_stcore/upload_file/a/b", method="PUT", headers=sent, body=b"a,b")

    arrived = dict(application.headers)
    assert {name: arrived.get(name.lower()) for name in sent} == sent
    assert (arrived["host"], arrived["x-forwarded-proto"]) == (NAME, "https")


def test_a_websocket_is_passed_on(proxy, application):
    proxy.ask("/_stcore/stream", headers=UPGRADE)

    arrived = dict(application.headers)
    assert (arrived["upgrade"], arrived["connection"].lower()) == ("websocket", "upgrade")


def test_no_other_upgrade_is_passed_on(proxy, application):
    """A plain-text upgrade to HTTP/2 would let later requests past every rule."""
    proxy.ask(
        "/", headers={"Connection": "Upgrade, HTTP2-Settings", "Upgrade": "h2c", "HTTP2-Settings": "AAMA"}
    )

    assert {"upgrade", "http2-settings"} & {name for name, _ in application.headers} == set()


@pytest.fixture(scope="module")
def staff(application, tmp_path_factory) -> Iterator[Proxy]:
    """The guide's nginx with its two lines for client certificates switched on."""
    folder = tmp_path_factory.mktemp("staff")
    for name, organisation in {"director": "Hospital", "tricky": "x,CN=director"}.items():
        write_certificate(folder, name, name, organisation)
    both = "".join((folder / f"{name}.pem").read_text() for name in ("director", "tricky"))
    (folder / "authority.pem").write_text(both)
    write_certificate(folder, "stranger", "director")
    authority = (
        "#ssl_client_certificate /etc/ssl/certs/staff-authority.pem",
        f"ssl_client_certificate {folder}/authority.pem",
    )
    with nginx(
        folder, application.port, authority=authority, on=("#ssl_verify_client", "ssl_verify_client")
    ) as running:
        yield running


@pytest.mark.parametrize("name", ["director", "tricky"])
def test_the_holder_of_a_certificate_is_named_and_nobody_else(staff, application, name):
    staff.ask("/", headers={"X-Forwarded-User": "somebody"}, certificate=name)

    assert [value for header, value in application.headers if header == "x-forwarded-user"] == [name]


@pytest.mark.parametrize("certificate", ["", "stranger"])
def test_without_a_certificate_of_the_hospital_nothing_is_reached(staff, application, certificate):
    before = len(application.arrived)

    assert (staff.ask("/", certificate=certificate).status, len(application.arrived)) == (400, before)


# --- what is refused ---------------------------------------------------------------------


@pytest.mark.parametrize(
    "path",
    [
        "/_stcore/metrics",
        "//_stcore/metrics",
        "/%5fstcore/metrics",
        "/_stcore%2fmetrics",
        "/_stcore//metrics",
        "/static/../_stcore/metrics",
        "/static/%2e%2e/_stcore/metrics",
        "/media/%2e%2e/_stcore/metrics",
        "/overview/_stcore/metrics",
        "/_STCORE/metrics",
        "/_stcore/",
        "/_stcore/anything/else",
        "/_stcore/script-health-check",
        "/_stcore/bidi-components/x",
        "/_stcore/health/../metrics",
    ],
)
def test_what_the_pages_do_not_need_is_not_reached(proxy, application, path):
    before = len(application.arrived)

    assert (proxy.ask(path).status, len(application.arrived)) == (404, before)


@pytest.mark.parametrize("path", ["/", "/_stcore/stream", "/_stcore/health", "/media/x", "/overview"])
@pytest.mark.parametrize("method", ["POST", "PUT", "DELETE", "OPTIONS"])
def test_pages_are_only_read(proxy, application, path, method):
    before = len(application.arrived)

    assert (proxy.ask(path, method=method).status, len(application.arrived)) == (403, before)


def test_the_largest_file_that_a_page_takes_passes(proxy, application):
    answer = proxy.ask("/_stcore/upload_file/a/b", method="PUT", body=b"x" * (UPLOAD_MB * MB + 1000))

    assert (answer.status, application.arrived[-1][0]) == (200, "PUT")


def test_a_larger_file_is_refused_on_the_way(proxy, application):
    before = len(application.arrived)

    answer = proxy.ask("/_stcore/upload_file/a/b", method="PUT", body=b"x" * ((UPLOAD_MB + 2) * MB))

    assert (answer.status, len(application.arrived)) == (413, before)


def test_sign_in_cannot_be_tried_at_will(proxy):
    """Ten a minute and ten at once: of twenty the first and ten more pass, and then one every six seconds.

    Other places are not slowed.
    """
    begin = time.monotonic()
    seen = [proxy.ask("/sign-in").status for _ in range(20)]
    later = int((time.monotonic() - begin) / 6) + 1

    assert seen.count(429) >= 20 - 11 - later > 0
    assert proxy.ask("/").status == 200


def test_another_name_gets_no_answer(proxy, application):
    before = len(application.arrived)

    with pytest.raises((http.client.RemoteDisconnected, ConnectionResetError)):
        proxy.ask("/", host="elsewhere.example")

    assert len(application.arrived) == before


def test_an_unencrypted_request_is_sent_to_the_encrypted_place(proxy):
    connection = http.client.HTTPConnection("127.0.0.1", proxy.plain, timeout=10)
    connection.request("GET", "/procedure-record?procedure=P1", headers={"Host": NAME})
    answer = connection.getresponse()

    assert (answer.status, answer.headers["Location"]) == (
        308,
        f"https://{NAME}/procedure-record?procedure=P1",
    )


def test_the_log_does_not_say_which_procedure_was_looked_at(proxy):
    proxy.ask("/procedure-record?procedure=P000123", headers={"Referer": "https://x/?procedure=P000123"})
    proxy.ask("/_stcore/metrics?procedure=P000123")
    proxy.ask("/?procedure=P000123", method="POST")

    written = "".join((proxy.folder / name).read_text() for name in ("access.log", "error.log", "stderr"))
    assert "/procedure-record" in written
    assert "P000123" not in written
