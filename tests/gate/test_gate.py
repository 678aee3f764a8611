"""The gate: nothing behind it is reached without a session, whichever way one comes."""

from __future__ import annotations

import pytest
from starlette.websockets import WebSocketDisconnect

from dashboards.gate import middleware
from dashboards.gate.requests import COOKIE, onward
from registry.people import Role, accounts
from tests.gate.conftest import PASSWORD, gated, mark_of, sign_in, trail

HTML = {"accept": "text/html,application/xhtml+xml"}
#: Pages, downloads, uploads, what the page server tells about itself: all of it.
BEHIND = [
    "/",
    "/overview",
    "/media/abc.csv",
    "/_stcore/upload_file/session/file",
    "/_stcore/host-config",
    "/_stcore/allowed-message-origins",
    "/static/js/index.js",
    "/component/any/index.html",
    "//evil.example/",
    "/sign-in/../media/abc.csv",
    "/_stcore/healthy",
    "/sign-in/",
]


@pytest.mark.parametrize("path", BEHIND)
@pytest.mark.parametrize("method", ["GET", "POST", "PUT", "DELETE", "OPTIONS", "HEAD"])
def test_without_a_session_nothing_is_reached(browser, path, method):
    answer = browser.request(method, path)

    assert answer.status_code == 401
    assert "reached" not in answer.text


def test_a_browser_is_led_to_the_form_and_back(browser):
    answer = browser.get("/targeting?measure=tissue_obtained", headers=HTML)
    assert answer.status_code == 303
    assert answer.headers["location"] == "/sign-in?next=%2Ftargeting%3Fmeasure%3Dtissue_obtained"

    shown = browser.get(answer.headers["location"])
    fields = {
        "name": "ines",
        "password": PASSWORD,
        "next": "/targeting?measure=tissue_obtained",
        "mark": mark_of(shown),
    }
    done = browser.post("/sign-in", data=fields)

    assert done.status_code == 303
    assert done.headers["location"] == "/targeting?measure=tissue_obtained"
    assert browser.get("/targeting").text == "reached"


def test_the_form_is_shown_to_everybody_and_so_is_the_health_check(browser):
    assert browser.get("/sign-in").status_code == 200
    assert browser.get("/_stcore/health").text == "reached"


@pytest.mark.parametrize(
    "path",
    [
        "/_stcore/metrics",
        "/_stcore/agent/interact",
        "/_stcore/agent/mcp",
        "/_stcore/script-health-check",
        "/auth/login",
        "/oauth2callback",
    ],
)
def test_what_nobody_uses_is_closed_to_everybody(browser, path):
    sign_in(browser)

    assert browser.get(path).status_code == 404


def test_the_script_stream_is_refused_without_a_session(browser):
    with pytest.raises(WebSocketDisconnect), browser.websocket_connect("/_stcore/stream"):
        pass


def test_the_script_stream_is_refused_with_a_made_up_token(browser):
    browser.cookies.set(COOKIE, "x" * 43)

    with pytest.raises(WebSocketDisconnect), browser.websocket_connect("/_stcore/stream"):
        pass


def test_the_script_stream_is_open_with_a_session(browser):
    sign_in(browser)

    with browser.websocket_connect("/_stcore/stream") as socket:
        socket.send_text("once")
        assert socket.receive_text() == "reached once"


def test_an_open_stream_ends_some_time_after_its_session(browser, desk, monkeypatch):
    monkeypatch.setattr(middleware, "LOOK_SECONDS", 0.02)
    monkeypatch.setattr(middleware, "GRACE_SECONDS", 0.1)
    sign_in(browser)

    with browser.websocket_connect("/_stcore/stream") as socket:
        socket.send_text("once")
        socket.receive_text()
        desk.sessions.end(browser.cookies[COOKIE])
        with pytest.raises(WebSocketDisconnect):
            socket.receive_text()


def test_the_session_cookie_is_out_of_reach(browser):
    cookies = sign_in(browser).headers.get_list("set-cookie")

    (made,) = [one for one in cookies if one.startswith(COOKIE)]
    attributes = {one.strip().lower() for one in made.split(";")[1:]}
    assert {"httponly", "samesite=strict", "path=/"} <= attributes
    assert not any(one.startswith(("max-age", "expires", "domain")) for one in attributes)


@pytest.mark.parametrize(
    ("base", "header"), [("https://registry.example", ""), ("http://127.0.0.1", "https")]
)
def test_the_cookie_goes_over_https_alone_where_the_browser_speaks_it(desk, base, header):
    browser = gated(desk)
    browser.base_url = base
    more = {"headers": {"x-forwarded-proto": header}} if header else {}
    cookies = browser.get("/sign-in", **more).headers.get_list("set-cookie")

    assert all("secure" in one.lower() for one in cookies)


def test_every_answer_carries_the_headers(browser):
    for path in ("/sign-in", "/overview", "/_stcore/health"):
        headers = browser.get(path).headers
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["referrer-policy"] == "same-origin"
        assert headers["x-frame-options"] == "DENY"
        assert "frame-ancestors 'none'" in headers["content-security-policy"]
        assert headers["cache-control"] == "no-store"


def test_what_somebody_sees_is_kept_nowhere(browser):
    sign_in(browser)

    assert browser.get("/media/abc.csv").headers["cache-control"] == "no-store"
    assert browser.get("/static/js/index.js").headers["cache-control"] == "public"


# -- the form --------------------------------------------------------------------------


@pytest.mark.parametrize(("name", "password"), [("ines", "not her password"), ("nobody", PASSWORD), ("", "")])
def test_every_failure_is_told_in_the_same_words(browser, name, password):
    answer = sign_in(browser, name, password)

    assert answer.status_code == 403
    assert "Name or password is wrong, or the account is locked." in answer.text
    assert COOKIE not in browser.cookies


def test_a_locked_account_is_told_in_the_same_words(browser, kept):
    accounts.lock(kept, "ines")

    assert "Name or password is wrong, or the account is locked." in sign_in(browser).text


def test_the_form_repeats_nothing_that_was_typed(browser):
    answer = sign_in(browser, '"><script>alert(1)</script>', "wrong, wrong, wrong")

    assert "<script" not in answer.text
    assert "wrong, wrong" not in answer.text


@pytest.mark.parametrize(
    ("given", "path"),
    [
        ("/targeting", "/targeting"),
        ("/procedure-record?procedure=B1&x=%20", "/procedure-record?procedure=B1&x=%20"),
        ("https://evil.example/", "/"),
        ("//evil.example/", "/"),
        ("/\\evil.example/", "/"),
        ("\\\\evil.example", "/"),
        ("javascript:alert(1)", "/"),
        ("evil.example", "/"),
        ("/\tevil", "/"),
        ("/\r\nset-cookie: a=b", "/"),
        ("/sign-in?next=/", "/"),
        ("/media/abc", "/"),
        ("", "/"),
        (None, "/"),
        ('/"><script>', "/%22%3E%3Cscript%3E"),
    ],
)
def test_only_a_page_of_this_site_is_gone_to(given, path):
    assert onward(given) == path


@pytest.mark.parametrize("wanted", ["https://evil.example/", "//evil.example", "/\\evil.example"])
def test_signing_in_leads_to_no_other_site(browser, wanted):
    assert sign_in(browser, wanted=wanted).headers["location"] == "/"


def test_a_form_without_its_mark_is_refused(browser):
    browser.get("/sign-in")
    for mark in ("", "x" * 64):
        answer = browser.post("/sign-in", data={"name": "ines", "password": PASSWORD, "mark": mark})
        assert answer.status_code == 403
        assert COOKIE not in browser.cookies


def test_the_mark_of_another_browser_is_refused(desk, browser):
    other = mark_of(gated(desk).get("/sign-in"))
    browser.get("/sign-in")

    answer = browser.post("/sign-in", data={"name": "ines", "password": PASSWORD, "mark": other})

    assert answer.status_code == 403
    assert COOKIE not in browser.cookies


def test_a_form_that_another_site_sends_is_refused(browser):
    mark = mark_of(browser.get("/sign-in"))

    answer = browser.post(
        "/sign-in",
        data={"name": "ines", "password": PASSWORD, "mark": mark},
        headers={"origin": "https://evil.example"},
    )

    assert answer.status_code == 403


def test_a_form_that_is_too_large_is_not_read(browser):
    assert browser.post("/sign-in", content=b"name=" + b"x" * 9000).status_code == 413


def test_a_new_session_ends_the_one_before_it_in_this_browser(browser, desk):
    sign_in(browser)
    first = browser.cookies[COOKIE]
    mark = mark_of(browser.get("/sign-in?again=1"))
    browser.post("/sign-in", data={"name": "ada", "password": PASSWORD, "mark": mark})

    assert browser.cookies[COOKIE] != first
    assert desk.sessions.who(first, touch=False) is None
    assert desk.sessions.who(browser.cookies[COOKIE], touch=False).name == "ada"


def test_who_signs_out_is_out(browser):
    sign_in(browser)
    token = browser.cookies[COOKIE]
    page = browser.get("/sign-in")
    assert "ines, coordinator" in page.text

    assert browser.post("/sign-out", data={"mark": mark_of(page)}).status_code == 303

    browser.cookies.set(COOKIE, token)
    assert browser.get("/overview").status_code == 401


def test_another_page_cannot_sign_anybody_out(browser):
    sign_in(browser)

    assert browser.post("/sign-out", data={}).status_code == 403
    assert browser.get("/overview").text == "reached"


# -- the ends of a session ---------------------------------------------------------------


def test_idle_is_told_on_the_form(browser, clock):
    sign_in(browser)
    clock.forward(minutes=15)

    assert browser.get("/overview").status_code == 401
    assert "You were away for a while" in browser.get("/sign-in").text


@pytest.mark.parametrize(
    "change",
    [
        lambda kept: accounts.lock(kept, "ines"),
        lambda kept: accounts.reset(kept, "ines", "another sentence, not hers"),
        lambda kept: accounts.set_roles(kept, "ines", [Role.VIEWER]),
    ],
    ids=["lock", "reset", "roles"],
)
def test_a_change_of_the_account_ends_its_sessions_at_once(browser, kept, clock, change):
    sign_in(browser)
    assert browser.get("/overview").text == "reached"
    clock.forward(seconds=1)

    change(kept)

    assert browser.get("/overview").status_code == 401


def test_failures_of_others_do_not_end_a_session(browser, desk):
    sign_in(browser)
    sign_in(gated(desk), password="not her password")

    assert browser.get("/overview").text == "reached"


def test_comings_and_goings_are_in_the_trail(browser, kept, clock):
    before = len(trail(kept))
    sign_in(browser, password="not her password")
    sign_in(browser)
    browser.post("/sign-out", data={"mark": mark_of(browser.get("/sign-in"))})
    sign_in(browser)
    clock.forward(minutes=15)
    browser.get("/overview")

    assert trail(kept)[before:] == [
        ("ines", "sign in", "refused"),
        ("ines", "sign in", "done"),
        ("ines", "sign out", "done"),
        ("ines", "sign in", "done"),
        ("ines", "idle lock", "done"),
    ]
