"""The commands: what they refuse, what they install and in which order they run."""

import argparse
import ast
import importlib.util
import socket
import sys
import threading
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
SCRIPT = ROOT / "bootstrap.py"
#: Its other half, beside it.
BUNDLE = ROOT / "bundle.py"


class Quiet:
    """A user who never asks to stop."""

    asked = False

    def check(self) -> None:
        pass


@pytest.fixture
def bootstrap(tmp_path, monkeypatch):
    """The script as a module, its paths bent to an empty place."""
    monkeypatch.syspath_prepend(str(ROOT))  # as when the script is run
    spec = importlib.util.spec_from_file_location("bootstrap_under_test", SCRIPT)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    monkeypatch.setattr(module, "ROOT", tmp_path)
    monkeypatch.setattr(module, "VENV", tmp_path / ".venv")
    monkeypatch.setattr(module, "PYTHON", tmp_path / ".venv" / "bin" / "python")
    monkeypatch.setattr(module, "LOCK", tmp_path / "lock.txt")
    return module


# --- the script itself -------------------------------------------------------------------


@pytest.mark.parametrize("file", [SCRIPT, BUNDLE], ids=lambda file: file.name)
def test_an_old_python_can_read_the_script_far_enough_to_say_that_it_is_too_old(file):
    ast.parse(file.read_text(encoding="utf-8"), feature_version=(3, 7))


@pytest.mark.parametrize("file", [SCRIPT, BUNDLE], ids=lambda file: file.name)
def test_only_the_standard_library_is_imported(file):
    tree = ast.parse(file.read_text(encoding="utf-8"))
    names = {alias.name for node in ast.walk(tree) if isinstance(node, ast.Import) for alias in node.names}
    names |= {node.module for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)}

    assert {name.split(".")[0] for name in names} <= {*sys.stdlib_module_names, BUNDLE.stem}


@pytest.mark.parametrize("name", ["lock.txt", "duckdb2.txt"])
def test_every_pin_has_a_hash_and_none_names_a_host(name):
    text = (ROOT / "requirements" / name).read_text(encoding="utf-8")
    pins = [line for line in text.splitlines() if line and line[0].isalnum()]
    blocks = text.replace("\\\n", "").splitlines()

    assert "://" not in text
    assert pins
    assert all("==" in block and "--hash=sha256:" in block for block in blocks if block.strip())


# --- what is refused, and how ------------------------------------------------------------


def test_an_old_python_is_told_which_one_is_needed(bootstrap):
    with pytest.raises(bootstrap.Problem, match=r"Python 3\.9 is too old: 3\.11 or newer"):
        bootstrap.check_python((3, 9), True)


def test_a_python_without_ensurepip_is_told_the_package_to_install(bootstrap):
    with pytest.raises(bootstrap.Problem, match="apt install python3-venv"):
        bootstrap.check_python((3, 11), False)


def test_the_oldest_python_that_will_do_is_accepted(bootstrap):
    bootstrap.check_python((3, 11), True)


# Lines that pip 23.2.1 wrote to its log with the index unreachable, behind a dead proxy, with
# a version that does not exist, with a wrong hash and on a full disk; shortened.
@pytest.mark.parametrize(
    ("line", "meaning"),
    [
        (
            "WARNING: Retrying (Retry(total=0)) after connection broken by 'NewConnectionError(...)'\n"
            "ERROR: No matching distribution found for pytz==2024.1",
            "Check the network connection",
        ),
        (
            "WARNING: Retrying (Retry(total=0)) after connection broken by 'ProxyError('Cannot connect...",
            "set HTTPS_PROXY",
        ),
        ("ERROR: No matching distribution found for duckdb==1.5.5", "made for Python 3.11"),
        ("ERROR: THESE PACKAGES DO NOT MATCH THE HASHES FROM THE REQUIREMENTS FILE.", "not the pinned one"),
        ("ERROR: Could not install packages due to an OSError: [Errno 28] No space left on device", "disk"),
        ("ERROR: something new", "its own message stands above"),
    ],
)
def test_what_stops_pip_is_said_in_a_sentence(bootstrap, line, meaning):
    assert meaning in bootstrap.explain_pip(line)


def test_a_folder_that_is_not_an_environment_is_not_cleared(bootstrap):
    bootstrap.VENV.mkdir()
    (bootstrap.VENV / "letter.txt").write_text("mine")

    with pytest.raises(bootstrap.Problem, match="Move it away"):
        bootstrap.make_venv(Quiet())

    assert (bootstrap.VENV / "letter.txt").read_text() == "mine"


def test_a_folder_of_other_files_is_not_used_for_the_demo(bootstrap, tmp_path):
    (tmp_path / "letters").mkdir()
    (tmp_path / "letters" / "letter.txt").write_text("mine")

    with pytest.raises(bootstrap.Problem, match="something else than a demo"):
        bootstrap.make_registry(tmp_path / "letters", None, Quiet())

    assert (tmp_path / "letters" / "letter.txt").read_text() == "mine"


# --- what is installed, and when ---------------------------------------------------------


@pytest.fixture
def installs(bootstrap, tmp_path, monkeypatch):
    """The arguments of every call of pip; the environment itself is taken as made."""
    calls = []
    bootstrap.VENV.mkdir()
    bootstrap.LOCK.write_text("duckdb==1.5.5 --hash=sha256:00\n")
    (tmp_path / "pyproject.toml").write_text("[project]\n")
    monkeypatch.setattr(bootstrap, "make_venv", lambda stop: None)
    monkeypatch.setattr(bootstrap, "run_pip", lambda verb, arguments, stop, wheels: calls.append(arguments))
    return calls


def test_the_lock_is_installed_with_hashes_and_the_project_without_dependencies(
    bootstrap, installs, tmp_path
):
    bootstrap.make_ready(Quiet())

    assert installs == [
        ["--require-hashes", "-r", str(bootstrap.LOCK)],
        ["--no-deps", "--no-build-isolation", "-e", str(tmp_path)],
    ]


def test_a_second_run_installs_nothing(bootstrap, installs):
    bootstrap.make_ready(Quiet())
    installs.clear()

    bootstrap.make_ready(Quiet())

    assert installs == []


def test_a_changed_lock_is_installed_again_and_the_project_is_not(bootstrap, installs):
    bootstrap.make_ready(Quiet())
    installs.clear()
    bootstrap.LOCK.write_text("duckdb==1.5.6 --hash=sha256:00\n")

    bootstrap.make_ready(Quiet())

    assert [arguments[0] for arguments in installs] == ["--require-hashes"]


def test_the_note_holds_the_sha256_of_the_lock(bootstrap, installs):
    bootstrap.LOCK.write_bytes(b"abc")

    bootstrap.make_ready(Quiet())

    # FIPS 180-2, appendix B.1: the digest of the three letters abc.
    assert (bootstrap.VENV / "lock.sha256").read_text().strip() == (
        "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    )


def test_windows_line_endings_do_not_ask_for_a_new_installation(bootstrap, installs):
    bootstrap.make_ready(Quiet())
    installs.clear()
    bootstrap.LOCK.write_bytes(bootstrap.LOCK.read_bytes().replace(b"\n", b"\r\n"))

    bootstrap.make_ready(Quiet())

    assert installs == []


def test_an_installation_that_failed_is_tried_again(bootstrap, installs, monkeypatch):
    def refuse(*_):
        raise bootstrap.Problem("no network")

    with monkeypatch.context() as patch:
        patch.setattr(bootstrap, "run_pip", refuse)
        with pytest.raises(bootstrap.Problem):
            bootstrap.make_ready(Quiet())

    bootstrap.make_ready(Quiet())

    assert len(installs) == 2


@pytest.fixture
def pip(bootstrap, monkeypatch):
    """The commands that would have run."""
    commands = []
    bootstrap.VENV.mkdir()
    monkeypatch.setattr(bootstrap, "run", lambda command, stop: commands.append(command) or 0)
    return commands


def test_from_a_bundle_no_index_is_asked_whatever_this_machine_is_set_up_for(bootstrap, pip):
    bootstrap.run_pip("install", ["--require-hashes"], Quiet(), Path("/media/bundle/wheels"))

    assert {"--no-index", "--isolated"} <= set(pip[0])
    assert pip[0][pip[0].index("--find-links") + 1] == "/media/bundle/wheels"


def test_without_a_bundle_the_index_of_this_machine_is_asked(bootstrap, pip):
    bootstrap.run_pip("install", ["--require-hashes"], Quiet())

    assert {"--no-index", "--isolated", "--find-links"} & set(pip[0]) == set()


# Lines that pip 23.2.1 printed with a changed wheel, and with one for another system in the folder.
@pytest.mark.parametrize(
    ("line", "meaning"),
    [
        (
            "ERROR: THESE PACKAGES DO NOT MATCH THE HASHES FROM THE REQUIREMENTS FILE.",
            "Copy the bundle again",
        ),
        ("ERROR: No matching distribution found for duckdb==1.5.5", "does not fit this machine"),
        ("ERROR: Could not install packages due to an OSError: [Errno 28] No space left on device", "disk"),
    ],
)
def test_what_stops_pip_on_a_bundle_is_said_in_a_sentence(bootstrap, line, meaning):
    assert meaning in bootstrap.explain_pip(line, offline=True)


# --- test --------------------------------------------------------------------------------


@pytest.fixture
def steps(bootstrap, monkeypatch):
    """The steps that ran; ``codes`` holds the exit code that each of them gives."""
    ran = []
    codes = {"pytest": 0, "ruff check": 0, "ruff format": 0, "mypy": 0}

    def run(command, stop):
        ran.append(command[2:])
        name = " ".join(command[2:4]) if command[2] == "ruff" else command[2]
        return codes[name]

    monkeypatch.setattr(bootstrap, "make_ready", lambda stop, offline: None)
    monkeypatch.setattr(bootstrap, "run", run)
    return ran, codes


def asked(*rest: str) -> argparse.Namespace:
    return argparse.Namespace(rest=list(rest), offline=None)


@pytest.mark.parametrize(
    ("failing", "expected"),
    [
        ({}, 0),
        ({"pytest": 5, "mypy": 1}, 5),
        ({"ruff check": 3, "mypy": 1}, 3),
        ({"ruff format": 4}, 4),
        ({"mypy": 1}, 1),
    ],
    ids=["none", "pytest", "linter", "formatter", "type checker"],
)
def test_the_first_step_that_fails_gives_the_exit_code(bootstrap, steps, failing, expected):
    steps[1].update(failing)

    assert bootstrap.test(asked(), Quiet()) == expected


def test_every_step_runs_although_the_first_failed(bootstrap, steps):
    steps[1]["pytest"] = 1

    bootstrap.test(asked(), Quiet())

    assert [step[:2] for step in steps[0]] == [
        ["pytest", "-n"],
        ["ruff", "check"],
        ["ruff", "format"],
        ["mypy"],
    ]


def test_arguments_replace_those_of_pytest(bootstrap, steps):
    bootstrap.test(asked("-k", "wilson"), Quiet())

    assert steps[0][0] == ["pytest", "-k", "wilson"]


def test_an_option_after_test_is_not_taken_for_one_of_the_script(bootstrap):
    assert bootstrap.read_arguments(["test", "-x", "--lf"]).rest == ["-x", "--lf"]


@pytest.mark.parametrize("before", [["--offline", "/media/bundle"], ["--offline=/media/bundle"]])
def test_a_bundle_named_before_test_is_not_handed_to_pytest(bootstrap, before):
    options = bootstrap.read_arguments([*before, "test", "-x"])

    assert (options.verb, options.offline, options.rest) == ("test", Path("/media/bundle"), ["-x"])


@pytest.mark.parametrize("verb", ["demo", "install"])
def test_a_bundle_may_be_named_before_the_verb_and_after_it(bootstrap, verb):
    before = bootstrap.read_arguments(["--offline", "/media/bundle", verb])
    after = bootstrap.read_arguments([verb, "--offline", "/media/bundle"])

    assert before.offline == after.offline == Path("/media/bundle")


def test_without_a_bundle_nothing_is_offline(bootstrap):
    assert bootstrap.read_arguments(["demo"]).offline is None


# --- demo --------------------------------------------------------------------------------


def test_a_taken_port_is_passed_over(bootstrap):
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]

        assert bootstrap.free_port(port) > port


def test_health_is_asked_past_any_proxy(bootstrap, monkeypatch):
    class Healthy(BaseHTTPRequestHandler):
        def do_GET(self):
            self.send_response(200 if self.path == "/_stcore/health" else 404)
            self.end_headers()

        def log_message(self, *_):
            pass

    server = HTTPServer(("127.0.0.1", 0), Healthy)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    monkeypatch.setenv("http_proxy", "http://127.0.0.1:9")
    try:
        assert bootstrap.answers(f"http://127.0.0.1:{server.server_port}")
    finally:
        server.shutdown()
        server.server_close()

    assert not bootstrap.answers(f"http://127.0.0.1:{server.server_port}")


def test_an_impossible_port_is_refused_in_a_line(bootstrap, capsys):
    with pytest.raises(SystemExit):
        bootstrap.read_arguments(["demo", "--port", "65536"])

    assert "a number from 1 to 65535" in capsys.readouterr().err
