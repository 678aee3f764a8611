"""One screen: is this registry folder in a state that can be left running?

Each look is one line: what was looked at, how it stands, and what to do about it.
"""

from __future__ import annotations

import json
import os
import shutil
import stat
import time
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

import duckdb

from registry import __version__, audit, backup, holds, migrations, snapshot
from registry import site as site_file
from registry.engine import key_path, read_key
from registry.errors import RegistryError
from registry.numerals import grouped
from registry.people import Action, Role, accounts, require
from registry.store import ANCHOR, DATABASE, ERASURE_MARK, IDENTITY, SITE, Registry

if TYPE_CHECKING:
    from collections.abc import Iterator

GOOD, LOOK, WRONG = "in order", "look at it", "wrong"
#: A backup may be late by this share of its interval before it is called late.
_LATE = 1.5
_DRILL_DAYS = 92
_CLOCK_MINUTES = 2
_FREE_FACTOR = 3


@dataclass(frozen=True)
class Line:
    """One look: ``part``, ``state`` (in order, look at it, wrong), what was seen, what to do."""

    part: str
    state: str
    seen: str
    do: str = ""

    def to_dict(self) -> dict[str, str]:
        """As printed in tables and JSON."""
        return {"part": self.part, "state": self.state, "seen": self.seen, "what to do": self.do}


def examine(folder: Path, *, now: datetime) -> list[Line]:
    """Everything worth knowing before a registry is left alone.

    Parameters
    ----------
    folder
        Registry folder, in use or not.
    now
        The machine's time (UTC).
    """
    require(Action.KEEP)
    lines = [Line("versions", GOOD, f"biopsy-outcomes {__version__}, engine {duckdb.__version__}")]
    try:
        site = site_file.read(folder / SITE)
    except RegistryError as problem:
        return [*lines, Line("site.toml", WRONG, str(problem), "Correct it; nothing opens without it.")]
    lines.append(Line("site.toml", GOOD, f"{site.name}, time zone {site.time_zone}"))
    lines += _owner(folder)
    lines += _key(folder)
    lines += _modes(folder)
    lines += _space(folder)
    try:
        opened, copied = _open(folder)
    except RegistryError as problem:
        lines.append(
            Line("database", WRONG, str(problem), f"See what is missing: biopsy-outcomes recover {folder}")
        )
        return lines
    with opened as registry:
        if copied:
            lines.append(Line("database", GOOD, copied))
        lines += _schema(registry)
        lines += _trail(registry, folder, bool(copied))
        lines += _clock(registry, now)
        lines += _backups(registry, folder, site, now)
        lines += _drill(registry, folder, now)
        lines += _sign_in(folder, site)
        lines += _held(registry)
        lines += _holds(registry)
        lines += _received(registry, site)
        lines += _erasure(folder)
        lines += _settings(registry, site, folder)
    return lines


def _open(folder: Path) -> tuple[Registry, str]:
    from registry.errors import RegistryBusy

    try:
        return Registry.open(folder, migrate=False), ""
    except RegistryBusy:
        last = snapshot.published(folder)
        if last is None:
            raise
        return Registry.of_snapshot(folder), last.line()


def _owner(folder: Path) -> Iterator[Line]:
    note = folder / "owner.json"
    try:
        told = json.loads(note.read_text(encoding="utf-8"))
        alive = _alive(int(told["pid"]))
    except (OSError, ValueError, KeyError, TypeError):
        yield Line("owner", GOOD, "nobody has the folder open for writing")
        return
    who = f"process {told['pid']} ({told.get('command', '')}, since {told.get('since', '')})"
    if alive:
        yield Line("owner", GOOD, who)
    else:
        yield Line(
            "owner", LOOK, f"{who} is gone without giving it back", "Nothing: the next owner takes over."
        )


def _alive(pid: int) -> bool:
    if os.name == "nt":
        return True
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    except PermissionError:
        return True
    return True


def _key(folder: Path) -> Iterator[Line]:
    try:
        read_key(folder)
    except RegistryError as problem:
        yield Line("site key", WRONG, str(problem), "Bring it back from where it is kept.")
        return
    path = key_path(folder)
    if os.name != "nt" and stat.S_IMODE(path.stat().st_mode) & 0o077:
        yield Line("site key", WRONG, "others may read it", f"chmod 600 {path}")
    elif path.resolve().is_relative_to(folder.resolve()):
        yield Line(
            "site key",
            LOOK,
            "it lies in the registry folder",
            "Keep a copy elsewhere, apart from the backups: without it pseudonyms and trail cannot be checked.",
        )
    else:
        yield Line("site key", GOOD, "readable by its owner only, outside the folder")


def _modes(folder: Path) -> Iterator[Line]:
    if os.name == "nt":
        return
    open_to_others = [
        path.name
        for path in [folder, *sorted(folder.iterdir())]
        if not path.is_symlink() and stat.S_IMODE(path.stat().st_mode) & 0o077
    ]
    if open_to_others:
        yield Line(
            "file modes",
            WRONG if {DATABASE, IDENTITY, folder.name} & set(open_to_others) else LOOK,
            f"others may reach {', '.join(open_to_others)}",
            f"chmod -R go= {folder}",
        )
    else:
        yield Line("file modes", GOOD, "nobody else may read the folder")


def _space(folder: Path) -> Iterator[Line]:
    free = shutil.disk_usage(folder).free
    size = sum(path.stat().st_size for path in folder.rglob("*") if path.is_file())
    seen = f"{free / 1e9:.1f} GB free, the registry takes {size / 1e9:.2f} GB"
    if free < max(_FREE_FACTOR * size, 500e6):
        yield Line(
            "space", LOOK if free > size else WRONG, seen, "Free some: saving stops when the disk is full."
        )
    else:
        yield Line("space", GOOD, seen)


def _schema(registry: Registry) -> Iterator[Line]:
    with registry.cursor() as cursor:
        pending = migrations.pending(cursor, "migrations")
        done = max(migrations.applied(cursor), default=0)
    if pending:
        yield Line(
            "schema",
            WRONG,
            f"schema {done}; {', '.join(pending)} not applied",
            f"biopsy-outcomes migrate {registry.folder}",
        )
    else:
        yield Line("schema", GOOD, f"schema {done}")


def _trail(registry: Registry, folder: Path, copied: bool) -> Iterator[Line]:
    anchors = audit.read_anchors(folder / ANCHOR)
    with registry.cursor() as cursor:
        head = audit.head(cursor)
        problem = None if copied else audit.anchor_problem(cursor, anchors)
    if problem:
        yield Line("trail", WRONG, problem, f"biopsy-outcomes recover {folder}")
    elif not anchors:
        yield Line("trail", WRONG, "its anchor is missing", "Bring audit.anchor back from the newest backup.")
    else:
        yield Line("trail", GOOD, f"{grouped(head.seq)} entries; the newest anchor is {anchors[-1][2]}")


def _clock(registry: Registry, now: datetime) -> Iterator[Line]:
    last = registry.rows("SELECT max(happened_at) FROM audit_event")[0][0]
    if last is not None and last.replace(tzinfo=UTC) > now + timedelta(minutes=_CLOCK_MINUTES):
        yield Line(
            "clock", WRONG, f"the trail ends at {last} UTC, after now", "Set the clock of this machine."
        )
    else:
        yield Line("clock", GOOD, f"{now:%Y-%m-%d %H:%M:%S} UTC ({time.tzname[0]} on this machine)")


def _backups(registry: Registry, folder: Path, site: site_file.Site, now: datetime) -> Iterator[Line]:
    if site.backup_folder is None:
        yield Line(
            "backup",
            LOOK,
            "no backup folder is set",
            "Set backup_folder under [service] in site.toml, on another disk.",
        )
        return
    made = backup.backups(Path(site.backup_folder).expanduser(), of=folder.resolve().name)
    if not made:
        yield Line("backup", WRONG, f"none in {site.backup_folder}", f"biopsy-outcomes backup {folder}")
        return
    age = now - made[-1].made_at
    late = age > timedelta(hours=site.numbers["backup_hours"] * _LATE)
    yield Line(
        "backup",
        WRONG if late else GOOD,
        f"{len(made)}; the newest is {age.total_seconds() / 3600:.0f} h old",
        f"biopsy-outcomes backup {folder}" if late else "",
    )


def _drill(registry: Registry, folder: Path, now: datetime) -> Iterator[Line]:
    last = registry.rows(
        "SELECT max(happened_at) FROM audit_event WHERE action = 'drill' AND outcome = 'done'"
    )[0][0]
    if last is None or now - last.replace(tzinfo=UTC) > timedelta(days=_DRILL_DAYS):
        seen = "never" if last is None else f"last on {last:%Y-%m-%d}"
        yield Line("restore drill", LOOK, seen, f"biopsy-outcomes drill {folder}")
    else:
        yield Line("restore drill", GOOD, f"last on {last:%Y-%m-%d}")


def _sign_in(folder: Path, site: site_file.Site) -> Iterator[Line]:
    if (folder / "DEMO").exists():
        yield Line("sign-in", GOOD, "invented data: nobody has to sign in")
        return
    method = site.sign_in.method or "accounts"
    open_ = sorted(one.name for one in accounts.read(folder).values() if not one.locked)
    keepers = [name for name in open_ if Role.ADMINISTRATOR in accounts.read(folder)[name].roles]
    seen = f"by {method}; {len(open_)} accounts, {len(keepers)} of them administrators"
    if open_ and keepers:
        yield Line("sign-in", GOOD, seen)
    else:
        yield Line("sign-in", LOOK, seen, f"biopsy-outcomes account add {folder} NAME --role administrator")


def _held(registry: Registry) -> Iterator[Line]:
    number = registry.rows("SELECT count(*) FROM quarantine WHERE state = 'open'")[0][0]
    if number:
        yield Line(
            "held rows",
            LOOK,
            f"{grouped(number)} wait for correction",
            f"biopsy-outcomes held {registry.folder}",
        )
    else:
        yield Line("held rows", GOOD, "none")


def _holds(registry: Registry) -> Iterator[Line]:
    number = holds.open_holds(registry)
    seen = (
        f"{grouped(number)} patient{'' if number == 1 else 's'}; no received file is removed meanwhile"
        if number
        else "none"
    )
    yield Line("legal holds", GOOD, seen)


def _received(registry: Registry, site: site_file.Site) -> Iterator[Line]:
    days = site.numbers.get("raw_keep_days")
    count = sum(1 for _ in (registry.folder / "raw").glob("*"))
    how = "without an end" if days is None else f"{days:g} days after they came last"
    yield Line("received files", GOOD, f"{grouped(count)} in raw/, kept {how}")


def _erasure(folder: Path) -> Iterator[Line]:
    if (folder / ERASURE_MARK).exists():
        yield Line(
            "erasure",
            WRONG,
            "one was interrupted: what it removed can still be found in the bytes of the databases",
            "Give the same erase command again.",
        )


#: Settings whose shipped value is the careful one: key, and which way is less careful.
_CAREFUL = {
    "minimum_n": "below",
    "held_share_max": "above",
    "idle_minutes": "above",
    "session_hours": "above",
}


def _settings(registry: Registry, site: site_file.Site, folder: Path) -> Iterator[Line]:
    shipped = site_file.parse(site_file.template()).numbers
    looser = [
        f"{key} = {site.numbers[key]:g} (shipped: {shipped[key]:g})"
        for key, way in _CAREFUL.items()
        if (site.numbers[key] < shipped[key] if way == "below" else site.numbers[key] > shipped[key])
    ]
    current = registry.rows(
        "SELECT count(*) FROM site_state WHERE sha256 = ?", [migrations.settings_digest(site)]
    )[0][0]
    if not current:
        yield Line(
            "settings", LOOK, "site.toml was changed and not applied", f"biopsy-outcomes check {folder}"
        )
    if looser:
        yield Line("settings", LOOK, "; ".join(looser), "Set them back, or know why.")
    elif current:
        yield Line("settings", GOOD, "none is looser than shipped")
