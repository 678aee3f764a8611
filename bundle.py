"""What a machine without a package index needs, in one folder: made here, checked there.

    FOLDER/README.txt         what to do with it
    FOLDER/bundle.json        for which Python and system it is, and what belongs to it
    FOLDER/wheels/            the file of every pinned package that fits them
    FOLDER/biopsy-outcomes/   the files of one commit, ``bootstrap.py`` and the lock among them

The hashes stay where they are, in the lock: pip checks each file against it on arrival too.
Part of ``bootstrap.py``, so standard library only.
"""

from __future__ import annotations

import hashlib
import json
import shutil
import subprocess
import tarfile
from pathlib import Path

MANIFEST, WHEELS, PROGRAM = "bundle.json", "wheels", "biopsy-outcomes"
LOCK = Path("requirements") / "lock.txt"
#: Run by the interpreter that is asked about, which may be another one than this.
_ASK = """
import json, platform, sys, sysconfig
print(json.dumps({
    "python": "%s %d.%d" % (sys.implementation.name, *sys.version_info[:2]),
    "system": " ".join([sysconfig.get_platform(), platform.libc_ver()[0]]).strip(),
    "libc": " ".join(platform.libc_ver()),
}))
"""
README = """\
biopsy-outcomes, with all it needs, for {python} on {system} (made with {libc})
Commit {commit}, {count} packages.

On a machine with that Python and system, without any network:

    cd {program}
    python3 bootstrap.py --offline .. demo       an invented service and its dashboard
    python3 bootstrap.py --offline .. test       all tests
    python3 bootstrap.py --offline .. install    only the environment, for a server

Running it in a hospital: {program}/docs/deployment.md
"""
#: What pip prints when it installs from a bundle and something is wrong, and what to do.
PIP_PROBLEMS = {
    "DO NOT MATCH THE HASHES|invalid wheel|BadZipFile": "A wheel of the bundle is not the pinned one and was not "
    "installed: it was damaged or changed on the way. Copy the bundle again.",
    "No matching distribution|not a supported wheel": "A wheel of the bundle does not fit this machine: its "
    "system library is older than that of the machine the bundle was made on, or .venv was made with another "
    "Python. Delete .venv; if that does not help, make the bundle on a machine with a system as old as this.",
}


class Problem(Exception):
    """Something the user can put right; the text says what and how."""


def digest(path: Path) -> str:
    """SHA-256 of a text file, line endings as LF."""
    return hashlib.sha256(path.read_bytes().replace(b"\r\n", b"\n")).hexdigest()


def machine(python: Path | str) -> dict[str, str]:
    """Python, system and C library of an interpreter, as far as wheels depend on them."""
    asked = subprocess.run([str(python), "-c", _ASK], capture_output=True, text=True, check=False)
    if asked.returncode != 0:
        raise Problem(f"{python} cannot be run. Delete the folder .venv and run the same command again.")
    return {name: str(value) for name, value in json.loads(asked.stdout).items()}


def check_place(folder: Path, root: Path) -> None:
    """Refuse, before anything is written, a folder in use or a program that is no checkout."""
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise Problem(f"{folder} exists and is not empty. Name a new folder for the bundle.")
    if shutil.which("git") is None or not (root / ".git").exists():
        raise Problem(
            f"{root} is not a git checkout, or git is not installed: a bundle holds the files of one commit, "
            "so that everybody can tell what runs. Make it in a clone of the repository."
        )


def unpack_program(folder: Path, root: Path) -> None:
    """Put the files of the newest commit into the bundle; say so where the checkout differs from it."""
    folder.mkdir(parents=True, exist_ok=True)
    packed = folder / "program.tar"
    _git(root, "archive", "--format=tar", f"--output={packed.resolve()}", "HEAD")
    with tarfile.open(packed) as archive:
        if hasattr(tarfile, "data_filter"):
            archive.extraction_filter = tarfile.data_filter
        archive.extractall(folder / PROGRAM)
    packed.unlink()
    if _git(root, "status", "--porcelain"):
        print("Not in the bundle: changes of this checkout that are not committed.", flush=True)


def _git(root: Path, *arguments: str) -> str:
    done = subprocess.run(["git", "-C", str(root), *arguments], capture_output=True, text=True, check=False)
    if done.returncode != 0:
        raise Problem(f"git could not give the files of this checkout: {done.stderr.strip()}")
    return done.stdout.strip()


def finish(folder: Path, root: Path, made_on: dict[str, str]) -> None:
    """Write down what belongs to the bundle. Until then the folder is not one."""
    wheels = {path.name: path.stat().st_size for path in sorted((folder / WHEELS).iterdir())}
    about = {**made_on, "commit": _git(root, "rev-parse", "HEAD")}
    text = README.format(**about, count=len(wheels), program=PROGRAM)
    (folder / "README.txt").write_text(text, encoding="utf-8")
    manifest = {**about, "lock": digest(folder / PROGRAM / LOCK), "wheels": wheels}
    (folder / MANIFEST).write_text(json.dumps(manifest, indent=1) + "\n", encoding="utf-8")


def check(folder: Path, lock: Path, python: Path | str) -> Path:
    """Folder of the wheels, once the bundle is known to fit and to be whole.

    Parameters
    ----------
    folder
        What the user calls a bundle.
    lock
        The pins of the program that is going to be installed.
    python
        The interpreter that will use the packages.

    Raises
    ------
    Problem
        Not a bundle, for another Python or system, for other pins, or something is missing.
    """
    folder = folder.resolve()
    try:
        manifest = json.loads((folder / MANIFEST).read_text(encoding="utf-8"))
        made_for, wheels = (manifest["python"], manifest["system"]), dict(manifest["wheels"])
        commit, pins = str(manifest["commit"]), manifest["lock"]
    except (OSError, ValueError, KeyError, TypeError):
        raise Problem(
            f"{folder} is not a bundle: it holds no readable {MANIFEST}. Name the folder that "
            "python3 bootstrap.py bundle FOLDER made where there is a network."
        ) from None
    here = machine(python)
    if made_for != (here["python"], here["system"]):
        raise Problem(
            f"The bundle in {folder} is for {made_for[0]} on {made_for[1]}; this is {here['python']} on "
            f"{here['system']}. Use that Python here, or make a bundle with this one on a system like this."
        )
    if pins != digest(lock):
        raise Problem(
            f"The bundle in {folder} holds the packages of another version of this program (commit "
            f"{commit[:12]}). Use the program in {folder / PROGRAM}, or make the bundle again."
        )
    broken = [
        name
        for name, size in wheels.items()
        if not (folder / WHEELS / name).is_file() or (folder / WHEELS / name).stat().st_size != size
    ]
    if broken:
        more = f" and {len(broken) - 1} more" if len(broken) > 1 else ""
        raise Problem(
            f"{folder / WHEELS}: {broken[0]}{more} missing or not of the right length. Copy the bundle again, "
            "whole."
        )
    return folder / WHEELS
