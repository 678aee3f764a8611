"""What is refused before anything is served."""

from __future__ import annotations

import pytest

from dashboards.gate.desk import VISITOR, check_start, desk_of
from registry.errors import SiteProblem, UsageProblem
from registry.people import Action, Role, accounts
from registry.people.settings import SignIn, parse
from registry.store import Registry
from tests.gate.conftest import PASSWORD, gated


def with_method(folder, text):
    site = (folder / "site.toml").read_text()
    (folder / "site.toml").write_text(site.replace("[sign_in]\n", f"[sign_in]\n{text}\n", 1))


def start(registry, desk, **changes):
    given = {"address": "127.0.0.1", "is_root": False, "allow_root": False, **changes}
    check_start(registry, desk, **given)


def test_real_data_are_not_served_while_nobody_can_sign_in(registry):
    with pytest.raises(UsageProblem, match=r"Nobody can sign in yet.*account add"):
        desk_of(registry)


def test_a_locked_account_and_one_without_a_password_let_nobody_in(registry):
    accounts.add(registry, "ines", PASSWORD, [Role.VIEWER])
    accounts.lock(registry, "ines")
    accounts.add(registry, "ada", None, [Role.VIEWER])

    with pytest.raises(UsageProblem, match="Nobody can sign in yet"):
        desk_of(registry)


def test_real_data_are_not_served_as_a_demonstration(folder):
    with_method(folder, 'method = "demo"')
    with Registry.open(folder, write=True) as registry, pytest.raises(UsageProblem, match="holds real ones"):
        desk_of(registry)


def test_invented_data_need_no_sign_in(registry):
    (registry.folder / "DEMO").touch()

    desk = desk_of(registry)

    assert desk.is_open
    assert gated(desk).get("/overview").text == "reached"


def test_invented_data_can_be_served_with_sign_in(folder):
    with_method(folder, 'method = "accounts"')
    (folder / "DEMO").touch()
    with Registry.open(folder, write=True) as registry:
        accounts.add(registry, "ines", PASSWORD, [Role.VIEWER])

        assert not desk_of(registry).is_open


def test_a_visitor_of_invented_data_may_not_touch_the_machine():
    assert not any(VISITOR.may(one) for one in (Action.PEOPLE, Action.KEEP, Action.ERASE, Action.IDENTIFIERS))
    assert all(
        VISITOR.may(one)
        for one in Action
        if one not in (Action.PEOPLE, Action.KEEP, Action.ERASE, Action.IDENTIFIERS)
    )


@pytest.mark.parametrize("address", ["0.0.0.0", "10.1.2.3", "::", "registry.hospital.example"])
def test_other_machines_see_nothing_without_sign_in(registry, address):
    (registry.folder / "DEMO").touch()
    desk = desk_of(registry)

    with pytest.raises(UsageProblem, match="nobody has to sign in"):
        start(registry, desk, address=address)


@pytest.mark.parametrize("address", ["127.0.0.1", "127.1.2.3", "::1", "localhost"])
def test_this_machine_does(registry, address):
    (registry.folder / "DEMO").touch()
    desk = desk_of(registry)

    start(registry, desk, address=address)

    assert desk.is_open  # nobody has to sign in, which is what makes another address a refusal


def test_the_superuser_serves_no_real_data_unless_told(registry):
    accounts.add(registry, "ines", PASSWORD, [Role.VIEWER])
    desk = desk_of(registry)

    with pytest.raises(UsageProblem, match="--allow-root"):
        start(registry, desk, is_root=True)

    start(registry, desk, is_root=True, allow_root=True)
    last = registry.rows("SELECT actor, action FROM audit_event ORDER BY seq DESC LIMIT 1")
    assert last == [("root", "serve as the superuser")]


def test_the_superuser_may_serve_invented_data(registry):
    (registry.folder / "DEMO").touch()

    start(registry, desk_of(registry), is_root=True)

    said = registry.rows("SELECT count(*) FROM audit_event WHERE action = 'serve as the superuser'")
    assert said == [(0,)]


# -- site.toml ---------------------------------------------------------------------------


def test_nothing_said_is_nothing_chosen():
    assert parse({}) == SignIn()


@pytest.mark.parametrize(
    ("section", "said"),
    [
        ({"method": "password"}, "not known. Known: accounts, oidc, proxy, demo"),
        ({"metod": "accounts"}, "metod is not a setting"),
        ({"method": 1}, "1 is not a text"),
        ({"method": "proxy"}, "proxy needs proxy_peers, proxy_secret_file"),
        ({"method": "proxy", "proxy_peers": "127.0.0.1"}, "is not a list"),
        ({"method": "proxy", "proxy_peers": ["nginx"]}, "holds no addresses"),
        ({"method": "oidc"}, "oidc needs oidc_issuer, oidc_client_id, oidc_client_secret_file, oidc_address"),
        ({"oidc_issuer": "http://id.hospital.example"}, "begins with https://"),
        ({"oidc_address": "registry.hospital.example"}, "begins with https://"),
        ({"oidc_claim": "name"}, "Known: email, preferred_username, sub"),
    ],
)
def test_a_setting_that_cannot_be_used_is_named(section, said):
    with pytest.raises(SiteProblem, match=said):
        parse(section)
