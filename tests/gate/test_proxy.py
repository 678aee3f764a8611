"""A reverse proxy that has signed people in: only ours, only from where it stands."""

from __future__ import annotations

import pytest

from dashboards.gate.desk import desk_of
from registry.errors import FileProblem
from registry.people import Role, accounts
from registry.store import Registry
from tests.gate.conftest import gated, mark_of

SECRET = "shared-by-the-two-servers"
OURS = {"x-biopsy-outcomes-proxy": SECRET}


def write_site(folder, tmp_path, mode=0o600, secret=SECRET):
    place = tmp_path / "secret"
    place.write_text(f"{secret}\n")
    place.chmod(mode)
    text = (folder / "site.toml").read_text()
    made = f'[sign_in]\nmethod = "proxy"\nproxy_peers = ["127.0.0.1"]\nproxy_secret_file = "{place}"\n'
    (folder / "site.toml").write_text(text.replace("[sign_in]\n", made, 1))


@pytest.fixture
def behind(folder, tmp_path, clock):
    write_site(folder, tmp_path)
    with Registry.open(folder, write=True, clock=clock) as registry:
        accounts.add(registry, "ines@hospital.example", None, [Role.COORDINATOR])
        accounts.add(registry, "ada@hospital.example", None, [Role.ADMINISTRATOR])
        yield desk_of(registry)


@pytest.fixture
def browser(behind):
    return gated(behind, client=("127.0.0.1", 50000))


def named(name):
    return {**OURS, "x-forwarded-user": name}


def go_on(browser, name):
    mark = mark_of(browser.get("/sign-in", headers=named(name)))
    return browser.post("/sign-in", data={"mark": mark}, headers=named(name))


def test_whom_the_proxy_names_goes_on_with_the_roles_of_the_account(browser, behind):
    assert go_on(browser, "ines@hospital.example").status_code == 303
    assert browser.get("/overview", headers=named("ines@hospital.example")).text == "reached"

    (token,) = [one.value for one in browser.cookies.jar if one.name == "biopsy_outcomes_session"]
    actor = behind.sessions.who(token, touch=False)
    assert (actor.name, actor.roles, actor.via) == (
        "ines@hospital.example",
        frozenset({Role.COORDINATOR}),
        "proxy",
    )


@pytest.mark.parametrize(
    "headers",
    [
        {"x-forwarded-user": "ines@hospital.example"},
        {"x-forwarded-user": "ines@hospital.example", "x-biopsy-outcomes-proxy": ""},
        {"x-forwarded-user": "ines@hospital.example", "x-biopsy-outcomes-proxy": SECRET[:-1]},
        {"x-forwarded-user": "ines@hospital.example", "x-biopsy-outcomes-proxy": f"{SECRET}x"},
        {"x-forwarded-user": "ines@hospital.example", "x-biopsy-outcomes-proxy": SECRET.upper()},
    ],
)
def test_without_the_secret_not_even_the_form_is_shown(browser, headers):
    for path in ("/sign-in", "/overview", "/media/abc"):
        assert browser.get(path, headers=headers).status_code == 403


@pytest.mark.parametrize("peer", ["127.0.0.2", "10.0.0.7", "::1", "testclient"])
def test_from_elsewhere_the_secret_is_of_no_use(behind, peer):
    browser = gated(behind, client=(peer, 50000))

    assert browser.get("/sign-in", headers=named("ines@hospital.example")).status_code == 403


def test_a_name_without_an_account_is_refused(browser, behind):
    answer = go_on(browser, "somebody@hospital.example")

    assert answer.status_code == 403
    assert "You have no role in this registry" in answer.text
    last = behind.registry.rows("SELECT actor, action, outcome FROM audit_event ORDER BY seq DESC LIMIT 1")
    assert last == [("unknown", "sign in", "refused")]


def test_no_name_at_all_is_refused(browser):
    mark = mark_of(browser.get("/sign-in", headers=OURS))

    assert browser.post("/sign-in", data={"mark": mark}, headers=OURS).status_code == 403


def test_the_session_of_one_person_is_not_that_of_the_next(browser):
    go_on(browser, "ines@hospital.example")

    assert browser.get("/overview", headers=named("ada@hospital.example")).status_code == 401


def test_a_session_cookie_without_the_proxy_is_of_no_use(browser):
    go_on(browser, "ines@hospital.example")

    assert browser.get("/overview").status_code == 403


def test_idle_sessions_end_here_too(browser, clock):
    go_on(browser, "ines@hospital.example")
    clock.forward(minutes=15)

    assert browser.get("/overview", headers=named("ines@hospital.example")).status_code == 401


@pytest.mark.parametrize(
    ("mode", "secret", "said"),
    [(0o640, SECRET, "others on this machine can read"), (0o600, "short", "fewer than 20 characters")],
)
def test_a_secret_that_is_none_stops_the_start(folder, tmp_path, mode, secret, said):
    write_site(folder, tmp_path, mode, secret)
    with Registry.open(folder, write=True) as registry:
        accounts.add(registry, "ines", None, [Role.VIEWER])
        with pytest.raises(FileProblem, match=said):
            desk_of(registry)


def test_a_secret_that_is_missing_stops_the_start(folder, tmp_path):
    write_site(folder, tmp_path)
    (tmp_path / "secret").unlink()
    with Registry.open(folder, write=True) as registry:
        accounts.add(registry, "ines", None, [Role.VIEWER])
        with pytest.raises(FileProblem, match="cannot be read here"):
            desk_of(registry)
