"""The database engine: how it is set, locked down, and what its refusals mean in words."""

from __future__ import annotations

import os
import subprocess
import sys
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any

import duckdb

from registry.errors import IntegrityProblem, NotSaved, UsageProblem
from registry.numerals import grouped
from registry.owner import busy

if TYPE_CHECKING:
    from registry.site import Site

#: Read by both engine versions that are supported.
STORAGE_VERSION = "v1.5.0"
KEY = "site.key"
#: What the engine raises where its file is not as it wrote it.
DAMAGE = (duckdb.IOException, duckdb.SerializationException, duckdb.InternalException, duckdb.FatalException)


def engine_settings(folder: Path, site: Site, log_mb: int = 16) -> dict[str, Any]:
    """Settings with which every database of a registry folder is opened.

    ``log_mb`` is the size of the write-ahead log [MiB] from which a commit writes the file itself.
    With less for the identifiers, those of a first load leave memory before the facts need it.
    """
    return {
        "autoinstall_known_extensions": "false",
        "autoload_known_extensions": "false",
        "allow_community_extensions": "false",
        "allow_persistent_secrets": "false",
        "python_enable_replacements": "false",
        "storage_compatibility_version": STORAGE_VERSION,
        "temp_directory": str(folder / "tmp"),
        "checkpoint_threshold": f"{log_mb}MiB",
        "memory_limit": f"{int(site.numbers['memory_limit_mb'])}MB",
        # A full row group of a large write goes to the file at once, not five of them together:
        # what waits in memory makes the engine put other rows aside on disk.
        "write_buffer_row_group_count": 1,
        # More than one only where a site asks for it (decision 0040).
        "threads": int(site.numbers["threads"]),
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


def rewrite(folder: Path, site: Site, name: str) -> None:
    """Write a database of a registry folder anew, row by row, and let it take the place of the old one.

    The engine only marks the blocks of deleted and replaced rows as free: their bytes stay in
    the file, and in its log, until something else happens to be written there. In a new file
    they never were. The caller owns the folder and has closed the database: a file that this
    process still had open would lose its lock here, and go on being written to unseen.

    Raises
    ------
    NotSaved
        There is no space for the new file; the old one stays.
    IntegrityProblem
        The new file does not hold the rows of the old one, which stays.
    """
    path, fresh = folder / name, folder / f"{name}.new"
    settings = engine_settings(folder, site)
    before = os.umask(0o077)
    try:
        for left in (fresh, Path(f"{fresh}.wal")):
            left.unlink(missing_ok=True)
        duckdb.connect(str(path), config=settings).close()  # its log goes into it, and is removed
        with duckdb.connect(":memory:", config=settings) as connection:
            connection.execute(f"ATTACH {_text(path)} AS old (READ_ONLY)")
            connection.execute(f"ATTACH {_text(fresh)} AS fresh (STORAGE_VERSION '{STORAGE_VERSION}')")
            connection.execute("COPY FROM DATABASE old TO fresh")
            if _rows_of(connection, "old") != _rows_of(connection, "fresh"):
                raise IntegrityProblem(
                    f"{name}: written anew it lacks rows. The file is as it was; report this."
                )
        with fresh.open("rb") as handle:
            os.fsync(handle.fileno())
        fresh.replace(path)
    except (duckdb.Error, OSError) as problem:
        raise NotSaved(
            f"{name}: could not be written anew ({first_line(problem)}); what was removed from it can still be "
            "found in its bytes. Free some space and give the same command again."
        ) from None
    finally:
        fresh.unlink(missing_ok=True)
        os.umask(before)


def _text(path: Path) -> str:
    return "'" + str(path).replace("'", "''") + "'"


def _rows_of(connection: duckdb.DuckDBPyConnection, database: str) -> dict[tuple[str, str], int]:
    names = connection.execute(
        "SELECT schema_name, table_name FROM duckdb_tables() WHERE database_name = ? ORDER BY ALL", [database]
    ).fetchall()
    return {
        (schema, name): connection.execute(f'SELECT count(*) FROM {database}."{schema}"."{name}"').fetchall()[
            0
        ][0]
        for schema, name in names
    }


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
        f"the engine needs more than its {grouped(limit)} MB of memory. Set memory_limit_mb = {2 * limit} or more "
        "under [engine] in site.toml, at most half of the machine's memory, and try again."
    )
