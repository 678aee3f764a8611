"""A whole visit to the pages, watched for any attempt to reach another machine.

    python -m tests.campaigns.silence

The page server of an invented registry runs under strace while a browser opens every page.
Every address that the server or one of its children tries to connect or send to is listed;
other than loopback must be none. Needs strace and Chromium (Debian: strace, chromium).
"""

from __future__ import annotations

import os
import re
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import time
import urllib.request
from contextlib import suppress
from pathlib import Path

PAGES = Path(__file__).resolve().parents[2] / "dashboards" / "app_pages"
_ADDRESS = re.compile(r'(?:sin_addr=inet_addr\("([^"]+)"\)|inet_pton\(AF_INET6, "([^"]+)")')
CALLS = "connect,sendto,sendmsg,sendmmsg"


def addresses(log: str) -> set[str]:
    """Addresses that were tried."""
    return {one or six for one, six in _ADDRESS.findall(log)}


def is_here(address: str) -> bool:
    """Whether an address is this machine."""
    return address.startswith("127.") or address in ("::1", "0.0.0.0", "::", "::ffff:127.0.0.1")


def free_port() -> int:
    """A port that nobody uses."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def visit(address: str) -> list[str]:
    """Open every page; their titles."""
    from playwright.sync_api import sync_playwright

    titles = []
    with sync_playwright() as player:
        browser = player.chromium.launch(
            executable_path=shutil.which("chromium"), args=["--no-sandbox", "--disable-gpu"]
        )
        page = browser.new_page()
        for one in sorted(PAGES.glob("*.py")):
            name = "" if one.stem == "overview" else one.stem.replace("_", "-")
            page.goto(f"{address}/{name}", timeout=120_000)
            title = page.locator("h1").first
            title.wait_for(timeout=120_000)
            titles.append(title.inner_text())
        browser.close()
    return titles


def wait_for(address: str, seconds: float = 120.0) -> None:
    """Until the page server answers."""
    deadline = time.monotonic() + seconds
    while time.monotonic() < deadline:
        with suppress(OSError), urllib.request.urlopen(f"{address}/_stcore/health", timeout=2) as reply:
            if reply.status == 200:
                return
        time.sleep(0.3)
    raise SystemExit(f"{address} did not answer.")


def watching(log: Path) -> list[str]:
    """The command line that writes down every address that a program and its children try."""
    return ["strace", "-f", "-qq", "--seccomp-bpf", "-e", f"trace={CALLS}", "-o", str(log)]


def sees(scratch: Path) -> bool:
    """Whether the watch works here at all: a try at a port of this machine must be seen."""
    log = scratch / "probe"
    tried = "import socket; s = socket.socket(); s.settimeout(1); s.connect_ex(('127.0.0.9', 9))"
    subprocess.run([*watching(log), sys.executable, "-c", tried], check=False)
    return "127.0.0.9" in addresses(log.read_text(errors="replace"))


def main() -> None:
    """Print what was tried; exit code 1 where it was another machine."""
    for program in ("strace", "chromium"):
        if shutil.which(program) is None:
            raise SystemExit(f"{program} is not on this machine. Debian: apt-get install {program}")
    with tempfile.TemporaryDirectory(prefix="silence-") as scratch:
        folder, log = Path(scratch) / "demo", Path(scratch) / "calls"
        if not sees(Path(scratch)):
            raise SystemExit("strace sees nothing here (no permission to trace?): the campaign says nothing.")
        made = [sys.executable, "-m", "registry", "demo", str(folder), "--procedures", "60"]
        subprocess.run(made, check=True, stdout=subprocess.DEVNULL)
        port = free_port()
        command = [sys.executable, "-m", "registry", "dashboard", str(folder), "--port", str(port)]
        watched = [*watching(log), *command]
        # A group of its own: strace alone, when it is ended, lets go of what it watches and waits on.
        server = subprocess.Popen(
            watched, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, start_new_session=True
        )
        try:
            wait_for(f"http://127.0.0.1:{port}")
            titles = visit(f"http://127.0.0.1:{port}")
        finally:
            os.killpg(server.pid, signal.SIGTERM)
            server.wait(60)
        tried = addresses(log.read_text(errors="replace"))
    elsewhere = sorted(one for one in tried if not is_here(one))
    print(f"{len(titles)} pages opened; addresses tried: {', '.join(sorted(tried)) or 'none'}")
    print(f"other machines: {', '.join(elsewhere) or 'none'}")
    raise SystemExit(1 if elsewhere else 0)


if __name__ == "__main__":
    main()
