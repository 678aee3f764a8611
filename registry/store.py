"""The registry folder and its databases: the only module that opens a connection.

One process owns the folder for writing. Within it every call gets its own cursor,
because threads that share a DuckDB connection get each other's rows.
"""

from __future__ import annotations

import os
import secrets
import shutil
import threading
from contextlib import contextmanager, suppress
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import duckdb
import polars as pl

from registry import __version__, audit, migrations
from registry import site as site_file
from registry.engine import (
    KEY,
    current_user,
    engine_settings,
    first_line,
    lock_down,
    open_problem,
    read_key,
    rollback,
)
from registry.errors import FileProblem, IntegrityProblem, NotSaved, UsageProblem
from registry.identity import Pseudonyms
from registry.owner import Ownership

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator


DATABASE = "registry.duckdb"
IDENTITY = "identity.duckdb"
SITE = "site.toml"
ANCHOR = "audit.anchor"
_FOLDERS = ("raw", "inbox", "tmp")
Parameters = dict[str, Any] | list[Any] | None


def utc_now() -> datetime:
    """Now, as the registry records it. The only clock below the command line."""
    return datetime.now(UTC)


def create(
    folder: Path, *, time_zone: str = "UTC", name: str = "Unnamed service", key_file: Path | None = None
) -> None:
    """Make an empty registry folder at the newest schema.

    Parameters
    ----------
    folder
        A new path, or an empty folder.
    time_zone, name
        Written into site.toml.
    key_file
        Where the site key goes; inside the folder where not given.

    Raises
    ------
    UsageProblem
        The folder exists and holds something.
    SiteProblem
        The time zone is not known.
    """
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise UsageProblem(f"{folder}: exists and is not empty. Name a new folder for the registry.")
    text = site_file.template()
    text = text.replace('time_zone = "UTC"', f'time_zone = "{time_zone}"', 1)
    text = text.replace('name = "Unnamed service"', f'name = "{_toml_text(name)}"', 1)
    site_file.parse(text)
    before = os.umask(0o077)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        folder.chmod(0o700)
        for part in _FOLDERS:
            (folder / part).mkdir()
        (folder / SITE).write_text(text, encoding="utf-8")
        key_path = key_file or folder / KEY
        key_path.write_text(secrets.token_hex(32) + "\n", encoding="ascii")
        key_path.chmod(0o600)
        if key_file is not None:
            (folder / "key_file").write_text(str(key_file.resolve()) + "\n", encoding="utf-8")
        with Registry.open(folder, write=True) as made:
            made.record(audit.Entry(current_user(), "create", "registry", name, {"program": __version__}))
    except OSError as problem:
        raise FileProblem(
            f"{folder}: cannot be made ({problem.strerror}). Choose a folder you may write to."
        ) from None
    finally:
        os.umask(before)


def _toml_text(text: str) -> str:
    return text.replace("\\", "\\\\").replace('"', '\\"')


class Registry:
    """An open registry folder.

    Open with :meth:`Registry.open`, as a context manager. ``site`` is the local
    protocol, ``clock`` the source of the time of recording (UTC).
    """

    def __init__(
        self,
        folder: Path,
        *,
        write: bool,
        clock: Callable[[], datetime],
        wait: float,
        migrate: bool,
        check_anchor: bool,
    ) -> None:
        self.folder = folder.resolve()
        folder = self.folder
        self.write = write
        self.clock = clock
        self.site = site_file.read(folder / SITE)
        self.key = read_key(folder)
        self.pseudonyms = Pseudonyms(self.key)
        self._write_lock = threading.RLock()
        self._identity: duckdb.DuckDBPyConnection | None = None
        self._ownership = Ownership(folder, clock(), wait) if write else None
        try:
            self._connection = self._connect(folder / DATABASE)
            self._prepare(migrate, check_anchor)
        except BaseException:
            self.close()
            raise

    @classmethod
    def open(
        cls,
        folder: Path,
        *,
        write: bool = False,
        clock: Callable[[], datetime] = utc_now,
        wait: float = 10.0,
        migrate: bool = True,
        check_anchor: bool = True,
    ) -> Registry:
        """Open a registry folder, for reading or as its owner.

        ``migrate=False`` only looks at the schema; ``check_anchor=False`` leaves the
        comparison of trail and anchor to the caller.

        Raises
        ------
        UsageProblem
            Not a registry folder, or its schema is older than the program.
        RegistryBusy
            Another process owns it.
        IntegrityProblem
            The trail is behind its anchor, or the site key is missing.
        """
        if not (folder / SITE).is_file() or not (write or (folder / DATABASE).is_file()):
            raise UsageProblem(
                f"{folder}: is not a registry folder. Make one with: biopsy-outcomes create {folder}"
            )
        return cls(folder, write=write, clock=clock, wait=wait, migrate=migrate, check_anchor=check_anchor)

    def __enter__(self) -> Registry:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Checkpoint, close the databases and give the folder back."""
        for connection in (getattr(self, "_connection", None), self._identity):
            if connection is not None:
                with suppress(duckdb.Error):
                    connection.close()
        self._identity = None
        if self._ownership is not None:
            shutil.rmtree(self.folder / "tmp", ignore_errors=True)
            self._ownership.release()
            self._ownership = None

    # -- opening -------------------------------------------------------------------

    def _connect(self, path: Path) -> duckdb.DuckDBPyConnection:
        if self.write:
            (self.folder / "tmp").mkdir(mode=0o700, exist_ok=True)
        before = os.umask(0o077)
        try:
            connection = duckdb.connect(
                str(path), read_only=not self.write, config=engine_settings(self.folder, self.site)
            )
        except duckdb.IOException as problem:
            raise open_problem(self.folder, path, str(problem)) from None
        except duckdb.Error as problem:
            raise IntegrityProblem(
                f"{path.name}: cannot be opened: {first_line(problem)}. Restore a backup to a new folder and compare."
            ) from None
        finally:
            os.umask(before)
        lock_down(connection, self.folder)
        return connection

    def _prepare(self, migrate: bool, check_anchor: bool) -> None:
        cursor = self._connection.cursor()
        if not migrate:
            return
        pending = migrations.pending(cursor, "migrations")
        if pending and not self.write:
            raise UsageProblem(
                f"{self.folder}: the registry was made by an older version. Run: biopsy-outcomes migrate {self.folder}"
            )
        if pending:
            migrations.apply(cursor, "migrations", self.clock())
        if check_anchor and (
            problem := audit.anchor_problem(cursor, audit.read_anchors(self.folder / ANCHOR))
        ):
            raise IntegrityProblem(
                f"{self.folder}: {problem}. Nothing was changed. Do not write to this folder; restore the newest backup to a new name and compare."
            )
        self._load_settings()

    def _load_settings(self) -> None:
        digest = migrations.settings_digest(self.site)
        cursor = self._connection.cursor()
        if cursor.execute("SELECT count(*) FROM site_state WHERE sha256 = ?", [digest]).fetchall()[0][0]:
            return
        if not self.write:
            raise UsageProblem(
                f"{self.folder}: site.toml was changed. Run: biopsy-outcomes check {self.folder} (it applies the change and records it)"
            )
        with self.writing() as change:
            migrations.load_settings(change, self.site, digest, self.clock())
            audit.append(
                change,
                self.key,
                self.clock(),
                audit.Entry(current_user(), "change", "site_protocol", "site.toml", {"sha256": digest}),
            )

    @property
    def identity(self) -> duckdb.DuckDBPyConnection:
        """A cursor on identity.duckdb, opened at first use."""
        with self._write_lock:
            if self._identity is None:
                path = self.folder / IDENTITY
                if not self.write and not path.exists():
                    raise UsageProblem(f"{self.folder}: holds no identifiers yet.")
                self._identity = self._connect(path)
                cursor = self._identity.cursor()
                if self.write and migrations.pending(cursor, "migrations_identity"):
                    migrations.apply(cursor, "migrations_identity", self.clock())
            return self._identity.cursor()

    def identity_frame(self, sql: str, empty: pl.DataFrame) -> pl.DataFrame:
        """Rows of identity.duckdb, or ``empty`` where the registry holds no identifiers yet."""
        if not (self.folder / IDENTITY).exists():
            return empty
        return frame(self.identity, sql)

    # -- reading -------------------------------------------------------------------

    @contextmanager
    def cursor(self) -> Iterator[duckdb.DuckDBPyConnection]:
        """A cursor of its own; temporary tables made on it vanish with it."""
        cursor = self._connection.cursor()
        try:
            yield cursor
        finally:
            cursor.close()

    def frame(self, sql: str, parameters: Parameters = None) -> pl.DataFrame:
        """Rows of one query as a polars frame."""
        with self.cursor() as cursor:
            return frame(cursor, sql, parameters)

    def rows(self, sql: str, parameters: Parameters = None) -> list[tuple[Any, ...]]:
        """Rows of one query as tuples."""
        with self.cursor() as cursor:
            found: list[tuple[Any, ...]] = cursor.execute(sql, parameters).fetchall()
            return found

    def revision(self) -> int:
        """Counter that every write raises; the key of every cache."""
        return int(self.rows("SELECT revision FROM facts_state")[0][0])

    def stamp(self) -> str:
        """Version stamp for results: program, schema, revision and head of the trail."""
        schema, revision, seq = self.rows(
            "SELECT (SELECT max(number) FROM schema_version), (SELECT revision FROM facts_state), "
            "(SELECT coalesce(max(seq), 0) FROM audit_event)"
        )[0]
        return f"biopsy-outcomes {__version__}, schema {schema}, revision {revision}, trail {seq}"

    # -- writing -------------------------------------------------------------------

    @contextmanager
    def writing(self) -> Iterator[duckdb.DuckDBPyConnection]:
        """One transaction: committed and anchored at the end, rolled back on any error.

        Raises
        ------
        NotSaved
            The disk is full or the engine refused the commit; nothing was written.
        """
        if not self.write:
            raise UsageProblem(f"{self.folder}: is open for reading only.")
        with self._write_lock, self.cursor() as cursor:
            cursor.execute("BEGIN")
            try:
                yield cursor
                cursor.execute("COMMIT")
            except duckdb.FatalException as problem:
                self._reopen()
                raise NotSaved(f"Not saved: {first_line(problem)}. Free some space and save again.") from None
            except duckdb.OutOfMemoryException:
                rollback(cursor)
                raise NotSaved(
                    "Not saved: the engine needs more memory than memory_limit_mb in site.toml allows. Raise it and save again."
                ) from None
            except (duckdb.IOException, duckdb.TransactionException) as problem:
                rollback(cursor)
                raise NotSaved(f"Not saved: {first_line(problem)}. Free some space and save again.") from None
            except BaseException:
                rollback(cursor)
                raise
            newest = audit.head(cursor)
            if newest.seq:
                audit.write_anchor(self.folder / ANCHOR, newest, self.clock())

    def record(self, entry: audit.Entry) -> None:
        """Write one entry to the trail, in a transaction of its own."""
        with self.writing() as cursor:
            audit.append(cursor, self.key, self.clock(), entry)

    def checkpoint(self) -> None:
        """Move the write-ahead log into the database file."""
        with self._write_lock, self.cursor() as cursor:
            try:
                cursor.execute("CHECKPOINT")
            except duckdb.FatalException:
                self._reopen()
                raise NotSaved("The last change is saved, but the disk is full: free some space.") from None

    def _reopen(self) -> None:
        with suppress(duckdb.Error):
            self._connection.close()
        self._connection = self._connect(self.folder / DATABASE)


def frame(cursor: duckdb.DuckDBPyConnection, sql: str, parameters: Parameters = None) -> pl.DataFrame:
    """Rows of one query on a given cursor as a polars frame."""
    table = cursor.sql(sql, params=parameters).to_arrow_table()
    made = pl.from_arrow(table)
    if isinstance(made, pl.Series):
        return made.to_frame()
    return made
