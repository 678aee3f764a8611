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

from registry import __version__, audit, migrations, preparation
from registry import site as site_file
from registry.earlier_days import EarlierDays
from registry.engine import (
    DAMAGE,
    KEY,
    current_user,
    engine_settings,
    first_line,
    lock_down,
    open_problem,
    read_key,
    rollback,
    too_little_memory,
)
from registry.errors import FileProblem, IntegrityProblem, NotSaved, SiteProblem, UsageProblem
from registry.feed import Feed
from registry.identity import Pseudonyms
from registry.owner import Ownership

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator


DATABASE = "registry.duckdb"
IDENTITY = "identity.duckdb"
SNAPSHOT = "snapshot/registry.duckdb"
SITE = "site.toml"
ANCHOR = "audit.anchor"
#: Lies in the folder from the beginning of an erasure until its databases are written anew.
ERASURE_MARK = "erasure.unfinished"
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
        upgrade: bool = False,
        database: str = DATABASE,
    ) -> None:
        self.folder = folder.resolve()
        folder = self.folder
        self._database = folder / database
        self.write = write
        self.clock = clock
        self.site = site_file.read(folder / SITE)
        self.key = read_key(folder)
        self.pseudonyms = Pseudonyms(self.key)
        self.feed = Feed(Path(self.site.trail_feed)) if self.site.trail_feed else None
        self._write_lock = threading.RLock()
        self._identity: duckdb.DuckDBPyConnection | None = None
        self._ownership = Ownership(folder, clock(), wait) if write else None
        try:
            self._connection = self._connect(self._database)
            self.earlier_days = EarlierDays()
            if migrate:
                preparation.prepare(self, check_anchor=check_anchor, upgrade=upgrade)
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
        upgrade: bool = False,
    ) -> Registry:
        """Open a registry folder, for reading or as its owner.

        ``migrate=False`` takes the schema as it is; ``check_anchor=False`` leaves the
        comparison of trail and anchor to the caller; ``upgrade=True`` applies pending
        migrations, which is for a copy (see :mod:`registry.upgrade`).

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
        return cls(
            folder,
            write=write,
            clock=clock,
            wait=wait,
            migrate=migrate,
            check_anchor=check_anchor,
            upgrade=upgrade,
        )

    @classmethod
    def of_snapshot(cls, folder: Path, *, clock: Callable[[], datetime] = utc_now) -> Registry:
        """The copy that the owner of a folder published last, for reading.

        It holds no identifiers, and its trail may end before the anchor.

        Raises
        ------
        UsageProblem
            There is none.
        """
        if not (folder / SNAPSHOT).is_file():
            raise UsageProblem(f"{folder}: its owner has published no copy for readers yet.")
        return cls(
            folder, write=False, clock=clock, wait=0, migrate=False, check_anchor=False, database=SNAPSHOT
        )

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

    def _connect(self, path: Path, log_mb: int = 16) -> duckdb.DuckDBPyConnection:
        if self.write:
            (self.folder / "tmp").mkdir(mode=0o700, exist_ok=True)
        before = os.umask(0o077)
        try:
            connection = duckdb.connect(
                str(path), read_only=not self.write, config=engine_settings(self.folder, self.site, log_mb)
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

    @property
    def anchor(self) -> Path:
        """File beside the database that holds the head of the trail after each write."""
        return self.folder / ANCHOR

    @property
    def identity(self) -> duckdb.DuckDBPyConnection:
        """A cursor on identity.duckdb, opened at first use."""
        with self._write_lock:
            if self._identity is None:
                path = self.folder / IDENTITY
                if not self.write and not path.exists():
                    raise UsageProblem(f"{self.folder}: holds no identifiers yet.")
                self._identity = self._connect(path, log_mb=4)
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
        """A cursor of its own; temporary tables made on it vanish with it.

        Raises
        ------
        SiteProblem
            The engine ran out of the memory that site.toml gives it.
        IntegrityProblem
            The engine cannot read its own file.
        """
        cursor = self._connection.cursor()
        try:
            yield cursor
        except duckdb.OutOfMemoryException:
            raise SiteProblem(f"Not answered: {too_little_memory(self.site)}") from None
        except DAMAGE as problem:
            raise IntegrityProblem(
                f"{self._database}: a part of it cannot be read: {first_line(problem)}. Do not write to this "
                f"folder. See what can be opened: biopsy-outcomes recover {self.folder}"
            ) from None
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
                raise NotSaved(f"Not saved: {too_little_memory(self.site)}") from None
            except (duckdb.IOException, duckdb.TransactionException) as problem:
                rollback(cursor)
                raise NotSaved(f"Not saved: {first_line(problem)}. Free some space and save again.") from None
            except BaseException:
                rollback(cursor)
                raise
            newest = audit.head(cursor)
            if newest.seq:
                audit.write_anchor(self.folder / ANCHOR, newest, self.clock())
            if self.feed is not None:
                self.feed.follow(cursor)

    def record(self, entry: audit.Entry) -> None:
        """Write one entry to the trail, in a transaction of its own."""
        with self.writing() as cursor:
            audit.append(cursor, self.key, self.clock(), entry)

    @contextmanager
    def standing_still(self) -> Iterator[duckdb.DuckDBPyConnection]:
        """Nothing is written within the block, and the files hold all that was."""
        with self._write_lock:
            if not self.write:
                raise UsageProblem(f"{self.folder}: is open for reading only.")
            self.checkpoint()
            if self._identity is not None:
                self._identity.cursor().execute("CHECKPOINT")
            with self.cursor() as cursor:
                yield cursor

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
        self._connection, self.earlier_days = self._connect(self._database), EarlierDays()


def frame(cursor: duckdb.DuckDBPyConnection, sql: str, parameters: Parameters = None) -> pl.DataFrame:
    """Rows of one query on a given cursor as a polars frame."""
    # Not cursor.sql(): with parameters it asks first and converts the kept answer again, five times slower.
    table = cursor.execute(sql, parameters).to_arrow_table()
    made = pl.from_arrow(table)
    if isinstance(made, pl.Series):
        return made.to_frame()
    return made
