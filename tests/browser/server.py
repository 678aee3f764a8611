"""A page server on a free port of loopback, with the demo and, where wanted, with accounts."""

from __future__ import annotations

import os
import socket
import subprocess
import time
import urllib.request
from contextlib import contextmanager, suppress
from typing import TYPE_CHECKING

import pytest
from typer.testing import CliRunner

from dashboards.launch import command, environment
from registry.cli import app as command_line

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence
    from pathlib import Path

PASSWORD = "a sentence is easy to keep"
PROCEDURES = 150
START_SECONDS = 90


def run(*arguments: str, given: str | None = None) -> None:
    """One command, which must succeed."""
    done = CliRunner().invoke(command_line, list(arguments), input=given)
    assert done.exit_code == 0, done.output


def make_demo(folder: Path, procedures: int = PROCEDURES) -> None:
    run("demo", str(folder), "--procedures", str(procedures))


def ask_who(folder: Path, people: Mapping[str, str]) -> None:
    """Turn accounts on, and give every name its role."""
    settings = folder / "site.toml"
    text = settings.read_text(encoding="utf-8")
    assert "[sign_in]\n" in text
    settings.write_text(text.replace("[sign_in]\n", '[sign_in]\nmethod = "accounts"\n', 1), encoding="utf-8")
    for name, role in people.items():
        run("account", "add", str(folder), name, "--role", role, given=f"{PASSWORD}\n")


@contextmanager
def serving(folder: Path, names: Sequence[str] = ()) -> Iterator[str]:
    """Address of the pages of a registry, also known under names; logged to the folder above it."""
    place = folder.parent
    port = free_port()
    with (place / "server.log").open("wb") as log:
        server = subprocess.Popen(
            command(folder, port, "127.0.0.1", names),
            env={**os.environ, **environment(folder)},
            cwd=place,
            stdout=log,
            stderr=log,
        )
        try:
            wait_for(f"http://127.0.0.1:{port}/_stcore/health", server)
            yield f"http://127.0.0.1:{port}"
        finally:
            server.terminate()
            server.wait(timeout=20)


def free_port() -> int:
    """A port of loopback that nobody listens on."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        return int(free.getsockname()[1])


def wait_for(url: str, server: subprocess.Popen[bytes]) -> None:
    """Until a page server answers; the test fails where it does not."""
    end = time.monotonic() + START_SECONDS
    while time.monotonic() < end and server.poll() is None:
        with suppress(OSError), urllib.request.urlopen(url, timeout=2) as answer:
            if answer.status == 200:
                return
        time.sleep(0.3)
    pytest.fail("The page server did not start.")
