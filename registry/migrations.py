"""Schema migrations (forward only) and the site's settings inside the database."""

from __future__ import annotations

import csv
import hashlib
import io
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from registry import __version__, audit
from registry.sqlfiles import folder, read_text

if TYPE_CHECKING:
    import duckdb

    from registry.site import Site


def available(place: str) -> list[tuple[int, str, str]]:
    """Number, name and text of each migration under ``sql/<place>``, in order."""
    found = []
    for entry in folder(place).iterdir():
        if entry.name.endswith(".sql"):
            number = int(entry.name.split("_", 1)[0])
            found.append((number, entry.name, read_text(place, entry.name)))
    return sorted(found)


def applied(cursor: duckdb.DuckDBPyConnection) -> set[int]:
    """Numbers of the migrations that the database has."""
    known = cursor.execute(
        "SELECT count(*) FROM information_schema.tables WHERE table_schema = 'main' AND table_name = 'schema_version'"
    ).fetchall()
    if not known[0][0]:
        return set()
    return {row[0] for row in cursor.execute("SELECT number FROM schema_version").fetchall()}


def pending(cursor: duckdb.DuckDBPyConnection, place: str) -> list[str]:
    """Names of the migrations that are still to be applied."""
    done = applied(cursor)
    return [name for number, name, _ in available(place) if number not in done]


def apply(cursor: duckdb.DuckDBPyConnection, place: str, now: datetime) -> list[str]:
    """Apply what is pending, each in one transaction with the row that records it."""
    made = []
    cursor.execute(
        "CREATE TABLE IF NOT EXISTS schema_version (number INTEGER, name VARCHAR, applied_at TIMESTAMP, program VARCHAR)"
    )
    done = applied(cursor)
    for number, name, text in available(place):
        if number in done:
            continue
        cursor.execute("BEGIN")
        try:
            cursor.execute(text)
            cursor.execute(
                "INSERT INTO schema_version VALUES (?, ?, ?, ?)",
                [number, name, now.astimezone(UTC).replace(tzinfo=None), __version__],
            )
            cursor.execute("COMMIT")
        except BaseException:
            cursor.execute("ROLLBACK")
            raise
        made.append(name)
    if made:
        # DuckDB advises a checkpoint after changing a schema: replaying such a log
        # after a crash is where its reported faults cluster.
        cursor.execute("CHECKPOINT")
    return made


def _vocabulary(name: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(read_text("vocabulary", f"{name}.csv"))))


def ranks() -> list[tuple[str, str, int]]:
    """(list, code, rank) of the ordered code lists: worst diagnosis, worst B category."""
    return [
        (name, row["code"], int(row["rank"]))
        for name in ("diagnosis", "b_category")
        for row in _vocabulary(name)
        if row["rank"]
    ]


def half_lives() -> list[tuple[str, float]]:
    """(tracer, half-life in minutes) for each tracer with a known nuclide."""
    minutes = {row["nuclide"]: float(row["half_life_min"]) for row in _vocabulary("nuclide")}
    return [
        (row["code"], minutes[row["nuclide"]]) for row in _vocabulary("tracer") if row["nuclide"] in minutes
    ]


def settings_digest(site: Site) -> str:
    """Digest of everything that :func:`load_settings` writes."""
    content = {
        "numbers": site.numbers,
        "frames": {code: [frame.x_min, frame.y_min, frame.z_min] for code, frame in site.frames.items()},
        "windows": site.uptake_windows,
        "linkage": site.linkage_complete_until,
        "ranks": ranks(),
        "half_lives": half_lives(),
        # Nothing is written of them; in the digest so that switching one on enters the trail.
        **({"targets": list(site.targets_on)} if site.targets_on else {}),
    }
    return hashlib.sha256(audit.canonical(content).encode()).hexdigest()


def load_settings(cursor: duckdb.DuckDBPyConnection, site: Site, digest: str, now: datetime) -> None:
    """Write the settings that SQL reads into their tables, inside the caller's transaction."""
    for table in (
        "site_setting",
        "uptake_window",
        "tracer_half_life",
        "code_rank",
        "site_frame",
        "site_state",
    ):
        cursor.execute(f"DELETE FROM {table}")
    cursor.executemany(
        "INSERT INTO site_setting VALUES (?, ?, ?)",
        [
            *((name, number, None) for name, number in site.numbers.items()),
            ("linkage_complete_until", None, site.linkage_complete_until),
        ],
    )
    for tracer, (low, high) in site.uptake_windows.items():
        cursor.execute("INSERT INTO uptake_window VALUES (?, ?, ?)", [tracer, low, high])
    for frame in site.frames.values():
        cursor.execute(
            "INSERT INTO site_frame VALUES (?, ?, ?, ?)", [frame.code, frame.x_min, frame.y_min, frame.z_min]
        )
    cursor.executemany("INSERT INTO tracer_half_life VALUES (?, ?)", half_lives())
    cursor.executemany("INSERT INTO code_rank VALUES (?, ?, ?)", ranks())
    cursor.execute("INSERT INTO site_state VALUES (?, ?)", [digest, now.astimezone(UTC).replace(tzinfo=None)])
    # The kept facts hold nothing local; only the counter tells caches to look again.
    cursor.execute("UPDATE facts_state SET revision = revision + 1")
