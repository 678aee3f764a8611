"""The database engine: how it is set, locked down, and what its refusals mean in words."""

from __future__ import annotations

import os
import subprocess
import sys
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any

import duckdb

from registry.errors import IntegrityProblem, UsageProblem
from registry.owner import busy

if TYPE_CHECKING:
    from registry.site import Site

#: Read by both engine versions that are supported.
STORAGE_VERSION = "v1.5.0"
KEY = "site.key"


def engine_settings(folder: Path, site: Site) -> dict[str, Any]:
    """Settings with which every database of a registry folder is opened."""
    return {
        "autoinstall_known_extensions": "false",
        "autoload_known_extensions": "false",
        "allow_community_extensions": "false",
        "allow_persistent_secrets": "false",
        "python_enable_replacements": "false",
        "storage_compatibility_version": STORAGE_VERSION,
        "temp_directory": str(folder / "tmp"),
        "memory_limit": f"{int(site.numbers['memory_limit_mb'])}MB",
    }


def lock_down(connection: duckdb.DuckDBPyConnection, folder: Path) -> None:
    """Take files, extensions and settings out of the reach of any statement."""
    # Received files lie here, each under its hash; intake reads them in place.
    readable = ", ".join("'" + str(folder / part).replace("'", "''") + "/'" for part in ("raw", "tmp"))
    connection.execute(f"SET allowed_directories = [{readable}]")
    connection.execute("SET enable_external_access = false")
    connection.execute("SET lock_configuration = true")


def current_user() -> str:
    """Name of the operating-system user, for the trail."""
    with suppress(OSError, KeyError, ImportError):
        import getpass

        return getpass.getuser()
    return "unknown"


def key_path(folder: Path) -> Path:
    """Where the site key of a registry folder lies."""
    pointer = folder / "key_file"
    if pointer.exists():
        return Path(pointer.read_text(encoding="utf-8").strip())
    return folder / KEY


def read_key(folder: Path) -> bytes:
    """The site key: secret of the pseudonyms and of the audit chain."""
    path = key_path(folder)
    try:
        key = bytes.fromhex(path.read_text(encoding="ascii").strip())
    except FileNotFoundError:
        raise IntegrityProblem(
            f"{path}: the site key is missing. Bring it back from where it is kept; without it the trail cannot be checked."
        ) from None
    except ValueError:
        raise IntegrityProblem(
            f"{path}: is not a site key (hexadecimal digits). Bring the right file back."
        ) from None
    if len(key) < 32:
        raise IntegrityProblem(f"{path}: the site key is too short. Bring the right file back.")
    return key


def rollback(cursor: duckdb.DuckDBPyConnection) -> None:
    """Undo the open transaction, if there still is one."""
    with suppress(duckdb.Error):
        cursor.execute("ROLLBACK")


def first_line(problem: BaseException) -> str:
    """First line of what the engine said."""
    return str(problem).splitlines()[0]


def open_problem(folder: Path, path: Path, message: str) -> Exception:
    """The sentence for a database that cannot be opened."""
    if "Could not set lock" in message or "Conflicting lock" in message:
        return busy(folder, 0, message)
    if "version number" in message or "storage version" in message:
        return UsageProblem(
            f"{path.name}: was written by another version of the database engine (this one is {duckdb.__version__}). "
            "The file is untouched. Install the newer version of the program."
        )
    if "Permission denied" in message:
        return UsageProblem(f"{path}: may not be opened by {current_user()}. Ask whoever keeps the folder.")
    return IntegrityProblem(
        f"{path.name}: cannot be opened: {message.splitlines()[0]}. Restore a backup to a new folder and compare."
    )


def copy_apart(source: Path, target: Path) -> None:
    """Copy a database file that this process has open.

    In a process of its own: a POSIX record lock is lost as soon as its process closes any
    handle of the file, and with it would go the engine's hold on the database.

    Raises
    ------
    OSError
        The copy could not be written.
    """
    code = (
        "import shutil, sys\n"
        "try:\n    shutil.copyfile(*sys.argv[1:])\n"
        "except OSError as problem:\n    sys.exit(problem.errno or 1)"
    )
    done = subprocess.run([sys.executable, "-I", "-S", "-c", code, str(source), str(target)], check=False)
    if done.returncode:
        raise OSError(done.returncode, os.strerror(done.returncode), str(target))


def look_into(path: Path) -> duckdb.DuckDBPyConnection:
    """A database that nobody writes to, opened for reading.

    Raises
    ------
    IntegrityProblem
        It does not open.
    """
    try:
        connection = duckdb.connect(str(path), read_only=True)
    except duckdb.Error as problem:
        raise IntegrityProblem(
            f"{path}: does not open: {first_line(problem)}. Check the disk and try again."
        ) from None
    lock_down(connection, path.parent)
    return connection


def too_little_memory(site: Site) -> str:
    """The sentence for an engine that ran out of its memory, with a figure to try."""
    limit = int(site.numbers["memory_limit_mb"])
    return (
        f"the engine needs more than its {limit:,} MB of memory. Set memory_limit_mb = {2 * limit} or more "
        "under [engine] in site.toml, at most half of the machine's memory, and try again."
    )
