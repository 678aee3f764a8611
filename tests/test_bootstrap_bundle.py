"""``bootstrap.py bundle`` and ``--offline``: what is made, what is refused, and that it works without network."""

from __future__ import annotations

import base64
import hashlib
import importlib.util
import json
import os
import re
import shutil
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
SCRIPTS = ("bootstrap.py", "bundle.py")
#: Nobody listens there.
NOWHERE = "http://127.0.0.1:9/"
HERE = {"python": "cpython 3.11", "system": "linux-x86_64 glibc", "libc": "glibc 2.36"}

#: A build backend of a few lines, so that the project of a test can be installed without any other.
BACKEND = """
import zipfile
def _write(folder, editable):
    name = "tiny-1-py3-none-any.whl"
    with zipfile.ZipFile(folder + "/" + name, "w") as wheel:
        wheel.writestr("tiny_project.py", "")
        wheel.writestr("tiny-1.dist-info/METADATA", "Metadata-Version: 2.1\\nName: tiny\\nVersion: 1\\n")
        wheel.writestr("tiny-1.dist-info/WHEEL", "Wheel-Version: 1.0\\nRoot-Is-Purelib: true\\nTag: py3-none-any\\n")
        wheel.writestr("tiny-1.dist-info/RECORD", "")
    return name
def build_wheel(folder, config_settings=None, metadata_directory=None):
    return _write(folder, False)
def build_editable(folder, config_settings=None, metadata_directory=None):
    return _write(folder, True)
"""
PROJECT = '[project]\nname = "tiny"\nversion = "1"\n[build-system]\nrequires = []\nbuild-backend = "backend"\nbackend-path = ["."]\n'


@pytest.fixture
def bundle():
    spec = importlib.util.spec_from_file_location("bundle_under_test", ROOT / "bundle.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def wheel(folder: Path, name: str) -> str:
    """Write a wheel that holds one empty module; returns its pin."""
    path = folder / f"{name}-1-py3-none-any.whl"
    with zipfile.ZipFile(path, "w") as made:
        made.writestr(f"{name}.py", "")
        made.writestr(f"{name}-1.dist-info/METADATA", f"Metadata-Version: 2.1\nName: {name}\nVersion: 1\n")
        made.writestr(
            f"{name}-1.dist-info/WHEEL", "Wheel-Version: 1.0\nRoot-Is-Purelib: true\nTag: py3-none-any\n"
        )
        digest = base64.urlsafe_b64encode(hashlib.sha256(b"").digest()).rstrip(b"=").decode()
        made.writestr(f"{name}-1.dist-info/RECORD", f"{name}.py,sha256={digest},0\n")
    return f"{name}==1 --hash=sha256:{hashlib.sha256(path.read_bytes()).hexdigest()}\n"


def git(place: Path, *arguments: str) -> str:
    author = [
        "-c",
        "user.name=Test",
        "-c",
        "user.email=test@hospital.example",
        "-c",
        "core.hooksPath=/dev/null",
    ]
    done = subprocess.run(["git", *author, *arguments], cwd=place, capture_output=True, text=True, check=True)
    return done.stdout.strip()


def checkout(place: Path, pins: str) -> Path:
    """A repository of a tiny project with the real scripts."""
    (place / "requirements").mkdir(parents=True)
    for script in SCRIPTS:
        shutil.copy(ROOT / script, place)
    (place / "requirements" / "lock.txt").write_text(pins)
    (place / "pyproject.toml").write_text(PROJECT)
    (place / "backend.py").write_text(BACKEND)
    (place / ".gitignore").write_text(".venv/\n")
    git(place, "init", "--quiet")
    git(place, "add", "--all")
    git(place, "commit", "--quiet", "--message", "first")
    return place


def begin(bundle, folder: Path, root: Path) -> None:
    bundle.check_place(folder, root)
    bundle.unpack_program(folder, root)


@pytest.fixture
def made(bundle, tmp_path, monkeypatch) -> Path:
    """A bundle of one wheel, made for the machine of ``HERE``, which this one takes itself for."""
    monkeypatch.setattr(bundle, "machine", lambda python: HERE)
    (tmp_path / "origin").mkdir()
    folder, root = tmp_path / "usb", checkout(tmp_path / "checkout", wheel(tmp_path / "origin", "first"))
    begin(bundle, folder, root)
    shutil.copytree(tmp_path / "origin", folder / "wheels")
    bundle.finish(folder, root, HERE)
    return folder


def lock_of(made: Path) -> Path:
    return made / "biopsy-outcomes" / "requirements" / "lock.txt"


# --- what is made ------------------------------------------------------------------------


def test_a_bundle_holds_the_files_of_the_commit_and_no_others(bundle, tmp_path):
    root = checkout(tmp_path / "checkout", "")
    (root / "letter.txt").write_text("mine")
    (root / "pyproject.toml").write_text("changed")

    begin(bundle, tmp_path / "usb", root)

    held = {path.name: path for path in (tmp_path / "usb").rglob("*") if path.is_file()}
    assert set(held) == {*SCRIPTS, "lock.txt", "pyproject.toml", "backend.py", ".gitignore"}
    assert held["pyproject.toml"].read_text() == PROJECT


def test_changes_that_stay_out_are_announced(bundle, tmp_path, capsys):
    root = checkout(tmp_path / "checkout", "")
    begin(bundle, tmp_path / "clean", root)
    assert capsys.readouterr().out == ""

    (root / "pyproject.toml").write_text("changed")
    begin(bundle, tmp_path / "usb", root)

    assert "not committed" in capsys.readouterr().out


def test_a_bundle_says_what_it_is_for_and_from_which_commit(made):
    text = (made / "README.txt").read_text()

    assert "cpython 3.11 on linux-x86_64 glibc" in text
    assert git(made.parent / "checkout", "rev-parse", "HEAD") in text
    assert "python3 bootstrap.py --offline .. demo" in text


def test_a_folder_in_use_is_left_alone(bundle, tmp_path):
    (tmp_path / "usb").mkdir()
    (tmp_path / "usb" / "letter.txt").write_text("mine")

    with pytest.raises(bundle.Problem, match="is not empty"):
        bundle.check_place(tmp_path / "usb", ROOT)

    assert [path.name for path in (tmp_path / "usb").iterdir()] == ["letter.txt"]


def test_a_copy_without_its_history_is_sent_to_a_clone(bundle, tmp_path):
    with pytest.raises(bundle.Problem, match="not a git checkout"):
        bundle.check_place(tmp_path / "usb", tmp_path)

    assert not (tmp_path / "usb").exists()


def test_the_machine_is_that_of_the_interpreter(bundle):
    """Asked of the interpreter's own words: its version line and its build."""
    version = subprocess.run([sys.executable, "--version"], capture_output=True, text=True, check=True).stdout

    named = bundle.machine(sys.executable)

    assert version.startswith(f"Python {named['python'].split()[1]}.")
    assert (
        named["system"].split("-")[0] == {"linux": "linux", "darwin": "macosx", "win32": "win"}[sys.platform]
    )


# --- what is refused, and how ------------------------------------------------------------


def test_a_whole_bundle_for_this_machine_is_taken(bundle, made):
    assert bundle.check(made, lock_of(made), sys.executable) == made / "wheels"


def test_windows_line_endings_in_the_lock_do_not_matter(bundle, made):
    lock_of(made).write_bytes(lock_of(made).read_bytes().replace(b"\n", b"\r\n"))

    assert bundle.check(made, lock_of(made), sys.executable) == made / "wheels"


@pytest.mark.parametrize("content", [None, "", "[]", "{}", '{"python": 3}'])
def test_another_folder_is_told_how_a_bundle_is_made(bundle, made, content):
    (made / "bundle.json").unlink()
    if content is not None:
        (made / "bundle.json").write_text(content)

    with pytest.raises(bundle.Problem, match=r"is not a bundle.*bootstrap\.py bundle FOLDER"):
        bundle.check(made, lock_of(made), sys.executable)


@pytest.mark.parametrize(
    ("field", "other"),
    [
        ("python", "cpython 3.12"),
        ("python", "pypy 3.11"),
        ("system", "win-amd64"),
        ("system", "linux-aarch64 glibc"),
        ("system", "linux-x86_64"),
    ],
)
def test_another_python_or_system_is_named_beside_the_right_one(bundle, made, monkeypatch, field, other):
    monkeypatch.setattr(bundle, "machine", lambda python: {**HERE, field: other})

    with pytest.raises(bundle.Problem) as told:
        bundle.check(made, lock_of(made), sys.executable)

    assert HERE[field] in str(told.value) and other in str(told.value)


def test_another_version_of_the_program_is_sent_to_the_one_in_the_bundle(bundle, made, tmp_path):
    (tmp_path / "lock.txt").write_text("other==2 --hash=sha256:00\n")

    with pytest.raises(bundle.Problem, match=re.escape(f"Use the program in {made / 'biopsy-outcomes'}")):
        bundle.check(made, tmp_path / "lock.txt", sys.executable)


@pytest.mark.parametrize("damage", ["missing", "cut short"])
def test_a_wheel_that_did_not_arrive_is_named(bundle, made, damage):
    [one] = (made / "wheels").iterdir()
    if damage == "missing":
        one.unlink()
    else:
        one.write_bytes(one.read_bytes()[:-1])

    with pytest.raises(bundle.Problem, match=re.escape(one.name)):
        bundle.check(made, lock_of(made), sys.executable)


def test_a_bundle_is_asked_for_before_anything_is_written(tmp_path):
    root = checkout(tmp_path / "checkout", "")
    command = [sys.executable, "bootstrap.py", "--offline", str(tmp_path), "demo"]

    done = subprocess.run(command, cwd=root, capture_output=True, text=True, check=False)

    assert done.returncode == 2 and "is not a bundle" in done.stderr and "Traceback" not in done.stderr
    assert not (root / ".venv").exists()


# --- from end to end, with pip itself ----------------------------------------------------


def bootstrap(place: Path, *arguments: str, **environment: str) -> subprocess.CompletedProcess[str]:
    kept = {name: text for name, text in os.environ.items() if not name.startswith(("PIP_", "PYTHONPATH"))}
    command = [sys.executable, "bootstrap.py", *arguments]
    return subprocess.run(
        command, cwd=place, env={**kept, **environment}, capture_output=True, text=True, check=False
    )


def installed(place: Path) -> set[str]:
    python = place / ".venv" / ("Scripts/python.exe" if os.name == "nt" else "bin/python")
    command = [str(python), "-m", "pip", "list", "--format", "json", "--disable-pip-version-check"]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    return {one["name"] for one in json.loads(done.stdout)} - {"pip", "setuptools"}


@pytest.mark.slow
def test_what_was_bundled_is_installed_where_no_index_answers(tmp_path):
    (tmp_path / "origin").mkdir()
    pins = wheel(tmp_path / "origin", "first") + wheel(tmp_path / "origin", "second")
    origin = {"PIP_NO_INDEX": "1", "PIP_FIND_LINKS": str(tmp_path / "origin")}

    packed = bootstrap(checkout(tmp_path / "checkout", pins), "bundle", str(tmp_path / "usb"), **origin)
    assert packed.returncode == 0, packed.stdout + packed.stderr
    shutil.rmtree(tmp_path / "checkout")
    shutil.rmtree(tmp_path / "origin")
    place = tmp_path / "usb" / "biopsy-outcomes"
    done = bootstrap(place, "--offline", "..", "install", PIP_INDEX_URL=NOWHERE)

    assert done.returncode == 0, done.stdout + done.stderr
    assert installed(place) == {"first", "second", "tiny"}

    # The same length, so that only the hash in the lock can tell.
    [one] = (tmp_path / "usb" / "wheels").glob("first-*")
    one.write_bytes(one.read_bytes()[:-1] + b"!")
    shutil.rmtree(place / ".venv")
    changed = bootstrap(place, "--offline", "..", "install", PIP_INDEX_URL=NOWHERE)

    assert changed.returncode == 2
    assert "damaged or changed on the way. Copy the bundle again." in changed.stderr


@pytest.mark.slow
def test_a_bundle_that_cannot_be_finished_is_not_left_half_made(tmp_path):
    root = checkout(tmp_path / "checkout", f"first==1 --hash=sha256:{'0' * 64}\n")

    done = bootstrap(root, "bundle", str(tmp_path / "usb"), PIP_NO_INDEX="1")

    assert done.returncode == 2 and "A pinned package was not found" in done.stderr
    assert not (tmp_path / "usb").exists()


@pytest.mark.slow
def test_pins_of_the_lock_are_fetched_from_the_index(tmp_path):
    """Two of the smallest; all of them are hundreds of MB."""
    if os.environ.get("CI") != "true":
        pytest.skip("fetched from a package index only where CI=true")
    blocks = re.split(r"\n(?=\S)", (ROOT / "requirements" / "lock.txt").read_text(encoding="utf-8"))
    pins = [block for block in blocks if block.startswith(("annotated-doc==", "mdurl=="))]
    root = checkout(tmp_path / "checkout", "\n".join(pins) + "\n")
    settings = {name: text for name, text in os.environ.items() if name.startswith("PIP_")}

    done = bootstrap(root, "bundle", str(tmp_path / "usb"), **settings)

    assert done.returncode == 0, done.stdout + done.stderr
    names = [path.name.split("-")[0] for path in (tmp_path / "usb" / "wheels").iterdir()]
    assert sorted(names) == ["annotated_doc", "mdurl"]
