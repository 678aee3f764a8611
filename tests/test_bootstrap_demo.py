"""``bootstrap.py demo`` on a stand-in for the command line: nothing is left running."""

import os
import shutil
import signal
import socket
import subprocess
import sys
import time
from pathlib import Path

import psutil
import pytest

ROOT = Path(__file__).resolve().parent.parent
SCRIPTS = (ROOT / "bootstrap.py", ROOT / "bundle.py")
SIGNALS = pytest.mark.skipif(os.name == "nt", reason="a console hands Ctrl-C out differently")

#: Stands in for the command line: ``dashboard`` starts a process of its own, which serves.
STAND_IN = """
import os, pathlib, signal, subprocess, sys, time
verb, folder = sys.argv[1], pathlib.Path(sys.argv[2])
behaviour = os.environ.get("BEHAVIOUR", "")
if verb == "demo":
    folder.mkdir()
    (folder / "half.csv").touch()
    if behaviour == "demo fails":
        sys.exit(1)
    while behaviour == "demo is slow":
        time.sleep(0.1)
    (folder / "DEMO").touch()
elif verb == "dashboard":
    if behaviour == "dashboard fails":
        sys.exit(7)
    serve = '''
import http.server, os, pathlib, signal, sys, time
def end(*_):
    if behaviour == "deaf":
        return
    if behaviour == "slow":
        time.sleep(1)
    pathlib.Path("ended in its own time").touch()
    os._exit(0)
behaviour = os.environ.get("BEHAVIOUR", "")
signal.signal(signal.SIGINT, end)
pathlib.Path("grandchild.pid").write_text(str(os.getpid()))
class Handler(http.server.BaseHTTPRequestHandler):
    def do_GET(self):
        self.send_response(200); self.end_headers()
http.server.HTTPServer(("127.0.0.1", int(sys.argv[1])), Handler).serve_forever()
'''
    server = subprocess.Popen([sys.executable, "-c", serve, sys.argv[4]], stderr=subprocess.DEVNULL)
    pathlib.Path("child.pid").write_text(str(os.getpid()))
    try:
        if behaviour == "dashboard ends":
            while not pathlib.Path("enough").exists():
                time.sleep(0.05)
            server.kill()
            sys.exit(7)
        server.wait()
    except KeyboardInterrupt:
        sys.exit(0)
"""
DRIVER = """
import pathlib, sys
import bootstrap
bootstrap.make_ready = lambda stop, offline: None
bootstrap.PYTHON = pathlib.Path(sys.executable)
bootstrap.STOP_SECONDS = 2
sys.exit(bootstrap.main(sys.argv[1:]))
"""


def unused_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


class Demo:
    """``bootstrap.py demo`` in a place of its own, on a stand-in for the command line."""

    def __init__(self, place: Path, behaviour: str, *options: str) -> None:
        for script in SCRIPTS:
            shutil.copy(script, place)
        (place / "registry").mkdir()
        (place / "registry" / "__init__.py").touch()  # a package of its own, found before an installed one
        (place / "registry" / "__main__.py").write_text(STAND_IN)
        self.place = place
        self.output = place / "output.txt"
        if "--port" not in options:  # two tests at once must not answer for each other
            options = (*options, "--port", str(unused_port()))
        with self.output.open("w") as output:
            self.process = subprocess.Popen(
                [sys.executable, "-c", DRIVER, "demo", *options],
                cwd=place,
                stdout=output,
                stderr=subprocess.STDOUT,
                env={**os.environ, "BEHAVIOUR": behaviour, "PYTHONPATH": str(place)},
                start_new_session=True,
            )

    def wait_for(self, text: str) -> None:
        deadline = time.monotonic() + 20
        while text not in self.output.read_text() and time.monotonic() < deadline:
            time.sleep(0.05)
        assert text in self.output.read_text()

    def running(self) -> list[str]:
        """Which of the processes that the demo started still run."""
        alive = []
        for note in self.place.glob("*.pid"):
            number = int(note.read_text())
            if psutil.pid_exists(number) and psutil.Process(number).status() != psutil.STATUS_ZOMBIE:
                alive.append(note.stem)
        return alive


@pytest.fixture
def demo(tmp_path):
    """Start the demo; whatever it leaves behind is ended after the test."""
    started: list[Demo] = []

    def start(behaviour: str = "", *options: str) -> Demo:
        started.append(Demo(tmp_path, behaviour, *options))
        return started[0]

    yield start
    for one in started:
        for note in one.place.glob("*.pid"):
            if psutil.pid_exists(int(note.read_text())):
                psutil.Process(int(note.read_text())).kill()
        one.process.kill()
        one.process.wait()


@SIGNALS
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP], ids=lambda one: one.name)
def test_stopping_the_demo_leaves_no_process_behind(demo, number):
    running = demo()
    running.wait_for("answers at http://127.0.0.1:")
    assert sorted(running.running()) == ["child", "grandchild"]

    running.process.send_signal(number)

    assert running.process.wait(20) == 130
    assert running.running() == []


@SIGNALS
@pytest.mark.parametrize("behaviour", ["", "slow"])
def test_processes_are_asked_and_given_time_before_they_are_killed(demo, behaviour):
    running = demo(behaviour)
    running.wait_for("answers at http://127.0.0.1:")

    running.process.send_signal(signal.SIGINT)

    assert running.process.wait(20) == 130
    assert (running.place / "ended in its own time").exists()


@SIGNALS
def test_a_process_that_will_not_stop_is_killed(demo):
    running = demo("deaf")
    running.wait_for("answers at http://127.0.0.1:")

    running.process.send_signal(signal.SIGINT)

    assert running.process.wait(20) == 130
    assert running.running() == []


@SIGNALS
def test_an_interrupted_demo_leaves_no_half_made_registry(demo):
    running = demo("demo is slow")
    half = running.place / "demo-registry" / "half.csv"
    deadline = time.monotonic() + 20
    while not half.exists() and time.monotonic() < deadline:
        time.sleep(0.05)
    assert half.exists()

    running.process.send_signal(signal.SIGINT)

    assert running.process.wait(20) == 130
    assert not half.parent.exists()


def test_a_registry_that_cannot_be_made_is_said_and_removed(demo):
    running = demo("demo fails")

    assert running.process.wait(20) == 2
    assert "could not be made (exit code 1)" in running.output.read_text()
    assert not (running.place / "demo-registry").exists()


def test_a_dashboard_that_ends_at_once_is_said(demo):
    running = demo("dashboard fails")

    assert running.process.wait(20) == 2
    assert "did not answer" in running.output.read_text()
    assert "Traceback" not in running.output.read_text()


def test_a_dashboard_that_ends_later_gives_its_exit_code(demo):
    running = demo("dashboard ends")
    running.wait_for("answers at http://127.0.0.1:")

    (running.place / "enough").touch()

    assert running.process.wait(20) == 7


@SIGNALS
def test_a_registry_that_is_there_is_used_again(demo, tmp_path):
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "DEMO").write_text("kept")

    running = demo("demo fails", "--folder", "mine")
    running.wait_for("answers at http://127.0.0.1:")
    running.process.send_signal(signal.SIGINT)

    assert running.process.wait(20) == 130
    assert (tmp_path / "mine" / "DEMO").read_text() == "kept"


@SIGNALS
def test_a_port_that_is_taken_is_named_with_the_one_used_instead(demo):
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]

        running = demo("", "--port", str(port))
        running.wait_for(f"Port {port} is taken; using {port + 1}.")
        running.wait_for(f"answers at http://127.0.0.1:{port + 1}")
        running.process.send_signal(signal.SIGINT)

        assert running.process.wait(20) == 130
