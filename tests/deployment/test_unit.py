"""docs/deployment/biopsy-outcomes.service: what systemd makes of it, and that the command in it exists."""

from __future__ import annotations

import re
import shlex
import shutil
import subprocess

import pytest
from typer.testing import CliRunner

from registry.cli import app
from tests.deployment.conftest import DEPLOYMENT, NAME, required

UNIT = DEPLOYMENT / "biopsy-outcomes.service"
#: systemd's own scale runs from 0 to 10; up to 2 it calls a service safe or well protected.
MOST_EXPOSED = 20  # in tenths, as --threshold takes it


def settings() -> dict[str, list[str]]:
    found: dict[str, list[str]] = {}
    for line in UNIT.read_text(encoding="utf-8").splitlines():
        if "=" in line and not line.startswith("#"):
            name, value = line.split("=", 1)
            found.setdefault(name, []).append(value)
    return found


def test_systemd_understands_every_line(tmp_path):
    """A misspelt setting is ignored by systemd with a line in the journal that nobody reads."""
    analyze = required("systemd-analyze", "systemd")
    shutil.copy(UNIT, tmp_path)
    text = UNIT.read_text(encoding="utf-8").replace(
        "/opt/biopsy-outcomes/.venv/bin/biopsy-outcomes", "/bin/true"
    )
    (tmp_path / UNIT.name).write_text(text, encoding="utf-8")

    done = subprocess.run(
        [analyze, "verify", "--man=no", str(tmp_path / UNIT.name)],
        capture_output=True,
        text=True,
        check=False,
    )

    assert (done.returncode, [line for line in done.stderr.splitlines() if UNIT.name in line]) == (0, [])


def test_systemd_finds_the_service_little_exposed():
    analyze = required("systemd-analyze", "systemd")

    done = subprocess.run(
        [analyze, "security", "--offline=true", f"--threshold={MOST_EXPOSED}", "--no-pager", str(UNIT)],
        capture_output=True,
        text=True,
        check=False,
    )

    assert done.returncode == 0, done.stdout[-500:] + done.stderr


def test_the_settings_that_guard_the_data_are_there():
    found = settings()

    assert found["ReadWritePaths"][0] == "/var/lib/biopsy-outcomes"
    assert (found["ProtectSystem"], found["UMask"], found["LimitCORE"]) == (["strict"], ["0077"], ["0"])
    assert (found["IPAddressDeny"], found["IPAddressAllow"]) == (["any"], ["localhost"])
    assert found["User"] == ["biopsy-outcomes"]


def test_the_command_of_the_unit_is_one_that_the_program_takes(tmp_path):
    """Its folder is not there, which is the first thing the program would say."""
    program, *arguments = shlex.split(settings()["ExecStart"][0])
    arguments[1] = str(tmp_path / "registry")

    answer = CliRunner().invoke(app, arguments)

    assert program.endswith("/.venv/bin/biopsy-outcomes")
    assert "is not a registry folder" in str(answer.exception)


def test_unit_and_proxy_speak_of_the_same_port_and_name():
    command = settings()["ExecStart"][0]
    proxy = (DEPLOYMENT / "nginx.conf").read_text(encoding="utf-8")

    port = re.search(r"--port (\d+)", command).group(1)
    assert f"server 127.0.0.1:{port};" in proxy
    assert settings()["SocketBindAllow"] == [f"tcp:{port}"]
    assert f"--host-name {NAME}" in command and f"server_name {NAME};" in proxy


@pytest.mark.parametrize("address", ["0.0.0.0", "192.0.2.7", "::", "2001:db8::1", "localhost", ""])
def test_the_pages_are_not_served_to_other_machines(tmp_path, address):
    answer = CliRunner().invoke(app, ["dashboard", str(tmp_path), "--address", address])

    assert "loopback address only" in str(answer.exception)


@pytest.mark.parametrize("name", ["*", "*.hospital.example", "https://registry", "registry:443", "a b", ""])
def test_a_host_name_is_a_plain_name(tmp_path, name):
    answer = CliRunner().invoke(app, ["dashboard", str(tmp_path), "--host-name", name])

    assert "is not a host name" in str(answer.exception)
