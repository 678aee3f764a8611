#!/usr/bin/env python3
"""Make the environment, then show the demo or run the tests.

    python3 bootstrap.py demo            a synthetic registry and its dashboard on this machine
    python3 bootstrap.py test            all tests, the linter and the type checker
    python3 bootstrap.py install         only the environment, for a server
    python3 bootstrap.py bundle FOLDER   the program and all it needs, for a machine without network
    python3 bootstrap.py --offline FOLDER demo|test|install     there, from such a folder

On Windows: ``py bootstrap.py demo``. Needs Python 3.11 or newer and, the first time, a
network connection or a bundle; everything else goes into the folder ``.venv`` beside this
file, at the versions and hashes of ``requirements/lock.txt``. Standard library only.
"""

from __future__ import annotations

import argparse
import contextlib
import functools
import importlib.util
import os
import shutil
import signal
import socket
import subprocess
import sys
import time
import urllib.request
import webbrowser
from pathlib import Path

import bundle
from bundle import Problem, digest

ROOT = Path(__file__).resolve().parent
VENV = ROOT / ".venv"
PYTHON = VENV / ("Scripts/python.exe" if os.name == "nt" else "bin/python")
LOCK = ROOT / "requirements" / "lock.txt"
START_SECONDS, STOP_SECONDS = 120, 10
#: What pip prints when something is wrong, most telling first, and what the user can do.
PIP_PROBLEMS = {
    "No space left|Errno 28|WinError 112": "The disk is full: about 2.5 GB must be free the first time.",
    "DO NOT MATCH THE HASHES": "A downloaded file is not the pinned one and was not installed. Something "
    "on the way to the package index changes files: ask whoever runs the network.",
    "ConnectionError|NameResolutionError|TimeoutError|ProxyError|SSLError": "The package index could not be "
    "reached. Check the network connection (behind a proxy, set HTTPS_PROXY).",
    "No matching distribution": "A pinned package was not found: there is no network connection, or this "
    "Python is too new for it. The pins were made for Python 3.11.",
    "": "pip stopped; its own message stands above.",
}
say = functools.partial(print, flush=True)  # at once, also into a file or a pipe


class StopRequest:
    """Remembers Ctrl-C, a termination signal or a closed terminal.

    A flag, as an exception could come between starting a program and noting that it runs.
    """

    def __init__(self) -> None:
        self.asked = False
        for name in ("SIGINT", "SIGTERM", "SIGHUP", "SIGBREAK"):
            if hasattr(signal, name):
                signal.signal(getattr(signal, name), self._note)

    def _note(self, *_: object) -> None:
        self.asked = True

    def check(self) -> None:
        """Raise KeyboardInterrupt, at a place of our choosing, where the user asked to stop."""
        if self.asked:
            raise KeyboardInterrupt


class Child:
    """A program started from here; ``end`` leaves nothing of it behind.

    In its own process group it ends together with whatever it started. Without one (always
    on Windows) it shares the terminal, which hands Ctrl-C to it directly.
    """

    def __init__(self, command: list[str], *, own_group: bool) -> None:
        self.own_group = own_group and os.name != "nt"
        stdin = subprocess.DEVNULL if own_group else None  # outside the group of the terminal
        self.process = subprocess.Popen(command, cwd=ROOT, stdin=stdin, start_new_session=self.own_group)

    def _tell_group(self, number: int) -> bool:
        if sys.platform == "win32" or not self.own_group:
            return False
        try:
            os.killpg(self.process.pid, number)
        except (ProcessLookupError, PermissionError):  # nobody left; macOS says it the second way
            return False
        return True

    def end(self) -> int:
        """Ask it to stop, wait, then kill; returns its exit code."""
        self._tell_group(signal.SIGINT)
        deadline = time.monotonic() + STOP_SECONDS
        while time.monotonic() < deadline and (self.process.poll() is None or self._tell_group(0)):
            time.sleep(0.05)
        if os.name == "nt" and self.process.poll() is None:
            subprocess.run(["taskkill", "/T", "/F", "/PID", str(self.process.pid)], check=False)
        elif not self._tell_group(signal.SIGKILL):
            self.process.kill()  # does nothing to a process that has ended
        return self.process.wait()


def run(command: list[str], stop: StopRequest, *, own_group: bool = False) -> int:
    """Run a command to its end and return its exit code."""
    child = Child(command, own_group=own_group)
    while child.process.poll() is None and not stop.asked:
        time.sleep(0.05)
    code = child.end()
    stop.check()
    return code


def check_python(version: tuple[int, ...], has_ensurepip: bool) -> None:
    """Refuse a Python that cannot make the environment, before anything is written."""
    if version < (3, 11):
        raise Problem(
            f"Python {version[0]}.{version[1]} is too old: 3.11 or newer is needed. Install it and run "
            "this script with it, for example: python3.11 bootstrap.py demo"
        )
    if not has_ensurepip:
        raise Problem(
            "This Python cannot make an environment: its module ensurepip is missing. On Debian and Ubuntu "
            "install the package python3-venv (apt install python3-venv), then run the same command again."
        )


def explain_pip(output: str, *, offline: bool = False) -> str:
    """Why pip stopped and what to do."""
    problems = [*(bundle.PIP_PROBLEMS if offline else {}).items(), *PIP_PROBLEMS.items()]
    known = (text for marks, text in problems if any(mark in output for mark in marks.split("|")))
    return f"{next(known)} Then run the same command again; nothing needs to be undone."


def run_pip(verb: str, arguments: list[str], stop: StopRequest, wheels: Path | None = None) -> None:
    """Run the pip of the environment: the one place that says where packages come from.

    With ``wheels`` from that folder only, whatever index this machine is set up for.
    """
    log = VENV / "pip.log"
    log.unlink(missing_ok=True)
    source = [] if wheels is None else ["--isolated", "--no-index", "--find-links", str(wheels)]
    command = [str(PYTHON), "-m", "pip", verb, "--disable-pip-version-check", "--no-input", *source]
    if run([*command, "--log", str(log), *arguments], stop) != 0:
        output = log.read_text(encoding="utf-8", errors="replace") if log.exists() else ""
        raise Problem(explain_pip(output, offline=wheels is not None))


def make_venv(stop: StopRequest) -> None:
    """Make ``.venv``, or make it again where its Python has gone or is too old."""
    probe = [str(PYTHON), "-c", "import sys, pip; sys.exit(sys.version_info < (3, 11))"]
    if PYTHON.exists() and subprocess.run(probe, capture_output=True, check=False).returncode == 0:
        return
    stop.check()
    if VENV.is_dir() and any(VENV.iterdir()) and not (VENV / "pyvenv.cfg").is_file():
        raise Problem(f"{VENV} holds something else than a Python environment. Move it away and try again.")
    say("Making the environment in .venv ...")
    if run([sys.executable, "-m", "venv", "--clear", str(VENV)], stop) != 0:
        raise Problem("The environment could not be made; the message above says why.")


def make_ready(stop: StopRequest, offline: Path | None = None) -> None:
    """Bring ``.venv`` to what the lock file says; quick where it is there already.

    ``offline`` names a bundle, from which everything is then taken.
    """
    wheels = bundle.check(offline, LOCK, sys.executable) if offline else None
    make_venv(stop)
    for source, arguments in (
        (LOCK, ["--require-hashes", "-r", str(LOCK)]),
        (ROOT / "pyproject.toml", ["--no-deps", "--no-build-isolation", "-e", str(ROOT)]),
    ):
        note = VENV / f"{source.stem}.sha256"
        if note.is_file() and note.read_text(errors="replace").strip() == digest(source):
            continue
        say(f"Installing what {source.name} asks for (a few minutes the first time) ...")
        run_pip("install", arguments, stop, wheels)
        note.write_text(digest(source) + "\n", encoding="ascii")


def install(options: argparse.Namespace, stop: StopRequest) -> int:
    """Make the environment, and say what is in it."""
    make_ready(stop, options.offline)
    say(f"Ready: {PYTHON.with_name('biopsy-outcomes')}")
    return 0


def make_bundle(options: argparse.Namespace, stop: StopRequest) -> int:
    """Put the program and every pinned wheel for this Python and system into a new folder."""
    folder = options.folder.resolve()
    bundle.check_place(folder, ROOT)
    make_venv(stop)
    say("Fetching what lock.txt asks for (hundreds of MB) ...")
    pins = [
        "--no-deps",
        "--only-binary",
        ":all:",
        "--require-hashes",
        "-r",
        str(folder / bundle.PROGRAM / bundle.LOCK),
    ]
    try:
        bundle.unpack_program(folder, ROOT)
        run_pip("download", [*pins, "--dest", str(folder / bundle.WHEELS)], stop)
        bundle.finish(folder, ROOT, bundle.machine(PYTHON))
    except BaseException:
        shutil.rmtree(folder, ignore_errors=True)  # it was empty before, and half of one is no use
        raise
    say(f"\nThe bundle is in {folder}; its README.txt says how to use it.")
    return 0


def test(options: argparse.Namespace, stop: StopRequest) -> int:
    """Run tests, linter, formatter's check and type checker; exit code of the first that fails."""
    make_ready(stop, options.offline)
    codes = []
    for step in (
        ["pytest", *(options.rest or ["-n", "2", "--dist", "loadgroup"])],
        ["ruff", "check", "."],
        ["ruff", "format", "--check", "."],
        ["mypy"],
    ):
        say(f"== {' '.join(step)}")
        codes.append(run([str(PYTHON), "-m", *step], stop))
    return next((code for code in codes if code != 0), 0)


def free_port(wanted: int) -> int:
    """First port of the loopback address, from the wanted one on, that nobody uses."""
    for port in range(wanted, min(wanted + 50, 65536)):
        with socket.socket(socket.AF_INET, socket.SOCK_STREAM) as probe, contextlib.suppress(OSError):
            if os.name != "nt":  # there the option would let two programs share a port
                probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            probe.bind(("127.0.0.1", port))
            return port
    raise Problem(f"No port from {wanted} on is free on this machine. Choose another with --port.")


def answers(address: str) -> bool:
    """Whether the dashboard says that it is up; never asked through a proxy."""
    opener = urllib.request.build_opener(urllib.request.ProxyHandler({}))
    with contextlib.suppress(OSError), opener.open(f"{address}/_stcore/health", timeout=2) as reply:
        return bool(reply.status == 200)
    return False


def make_registry(folder: Path, procedures: int | None, stop: StopRequest) -> None:
    """Generate the synthetic registry and import it; keep one that is there."""
    if (folder / "DEMO").is_file():  # written last, and only where all data are invented
        say(f"Using the registry in {folder}. Delete that folder to have it made again.")
        return
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise Problem(f"{folder} holds something else than a demo. Name another place with --folder.")
    say(f"Making a synthetic registry in {folder} ...")
    amount = [] if procedures is None else ["--procedures", str(procedures)]
    try:
        code = run([str(PYTHON), "-m", "registry", "demo", str(folder), *amount], stop, own_group=True)
    except KeyboardInterrupt:
        code = 130
    if code != 0:
        shutil.rmtree(folder, ignore_errors=True)  # it was not there before, and half of one is no use
        stop.check()
        raise Problem(f"The synthetic registry could not be made (exit code {code}); see the message above.")


def demo(options: argparse.Namespace, stop: StopRequest) -> int:
    """Show the dashboard on a synthetic registry until the user stops it."""
    make_ready(stop, options.offline)
    folder = options.folder.resolve()
    make_registry(folder, options.procedures, stop)
    port = free_port(options.port)
    if port != options.port:
        say(f"Port {options.port} is taken; using {port}.")
    address = f"http://127.0.0.1:{port}"
    command = [str(PYTHON), "-m", "registry", "dashboard", str(folder), "--port", str(port)]
    child = Child(command, own_group=True)
    deadline = time.monotonic() + START_SECONDS
    try:
        while not answers(address):
            stop.check()
            if child.process.poll() is not None or time.monotonic() > deadline:
                raise Problem(f"The dashboard did not answer at {address}; see the message above.")
            time.sleep(0.2)
        say(f"\nThe dashboard answers at {address}\nIts data are synthetic. Stop it with Ctrl-C.")
        if options.browser:
            webbrowser.open(address)
        while child.process.poll() is None:
            stop.check()
            time.sleep(0.1)
    finally:
        code = child.end()
    return code


def read_arguments(arguments: list[str]) -> argparse.Namespace:
    """Verb and options; whatever follows ``test`` belongs to pytest."""
    parser = argparse.ArgumentParser(prog="bootstrap.py", description=(__doc__ or "").split("\n\n", 1)[0])
    text = "take every package from this bundle, nothing from a network"
    parser.add_argument("--offline", type=Path, metavar="FOLDER", help=text)
    verbs = parser.add_subparsers(dest="verb", required=True)
    verbs.add_parser("test", help="run all tests; further arguments go to pytest").set_defaults(run=test)
    show = verbs.add_parser("demo", help="show the dashboard on a synthetic registry")
    ready = verbs.add_parser("install", help="only make the environment")
    pack = verbs.add_parser("bundle", help="put the program and all it needs into a folder")
    show.set_defaults(run=demo)
    ready.set_defaults(run=install)
    pack.set_defaults(run=make_bundle)
    pack.add_argument("folder", type=Path, metavar="FOLDER")
    for verb in (show, ready):  # also after the verb; SUPPRESS keeps what stood before it
        verb.add_argument("--offline", type=Path, metavar="FOLDER", help=text, default=argparse.SUPPRESS)
    show.add_argument("--port", type=int, default=8501, metavar="N")
    show.add_argument("--procedures", type=int, metavar="N", help="how many procedures to invent")
    show.add_argument("--folder", type=Path, default=ROOT / "demo-registry", metavar="DIR")
    show.add_argument("--browser", action=argparse.BooleanOptionalAction, default=False)
    verb_at = (
        2
        if arguments[:1] == ["--offline"]
        else 1
        if arguments and arguments[0].startswith("--offline=")
        else 0
    )
    rest = arguments[verb_at + 1 :]
    to_pytest = arguments[verb_at : verb_at + 1] == ["test"] and rest not in (["-h"], ["--help"])
    options = parser.parse_args(arguments[: verb_at + 1] if to_pytest else arguments)
    options.rest = rest
    if options.verb == "bundle" and options.offline:
        parser.error("a bundle is made from the package index: leave out --offline")
    if options.verb == "demo" and not 0 < options.port < 65536:
        parser.error("--port takes a number from 1 to 65535")
    return options


def main(arguments: list[str]) -> int:
    """Run one verb; exit code 2 with a sentence for what the user can put right."""
    stop = StopRequest()
    try:
        check_python(sys.version_info[:2], importlib.util.find_spec("ensurepip") is not None)
        options = read_arguments(arguments)
        return int(options.run(options, stop))
    except Problem as problem:
        say(f"\n{problem}", file=sys.stderr)
        return 2
    except OSError as refused:
        say(f"\n{refused.filename or 'The system'}: {refused.strerror}.", file=sys.stderr)
        return 2
    except KeyboardInterrupt:
        say("\nStopped.")
        return 130


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
