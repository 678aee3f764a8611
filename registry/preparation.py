"""What stands between opening the files of a registry and using them.

Schema, trail against its anchor, the site's settings inside the database, and the kept
facts: each is brought up to date by the owner, and asked for by everybody else.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from registry import __version__, audit, facts, migrations
from registry.engine import current_user
from registry.errors import IntegrityProblem, UsageProblem

if TYPE_CHECKING:
    from registry.store import Registry


def prepare(registry: Registry, *, check_anchor: bool, upgrade: bool) -> None:
    """Refuse what cannot be used, and let the owner bring up to date what can.

    Raises
    ------
    UsageProblem
        The schema is older than the program and this is not its upgrade, or something is
        out of date and the folder is open for reading only.
    IntegrityProblem
        The trail is behind its anchor.
    """
    _schema(registry, upgrade)
    if check_anchor:
        _anchor(registry)
    _settings(registry)
    _facts(registry)


def _schema(registry: Registry, upgrade: bool) -> None:
    with registry.cursor() as cursor:
        pending = migrations.pending(cursor, "migrations")
        fresh = registry.write and not migrations.applied(cursor)
        if pending and not fresh and not upgrade:
            raise UsageProblem(
                f"{registry.folder}: the registry was made by an older version. "
                f"Run: biopsy-outcomes migrate {registry.folder}"
            )
        if pending:
            migrations.apply(cursor, "migrations", registry.clock())


def _anchor(registry: Registry) -> None:
    with registry.cursor() as cursor:
        problem = audit.anchor_problem(cursor, audit.read_anchors(registry.anchor))
    if problem:
        raise IntegrityProblem(
            f"{registry.folder}: {problem}. Nothing was changed. Do not write to this folder. See what is "
            f"missing: biopsy-outcomes recover {registry.folder}; and compare with the newest backup, restored to a new name."
        )


def _settings(registry: Registry) -> None:
    digest = migrations.settings_digest(registry.site)
    if registry.rows("SELECT count(*) FROM site_state WHERE sha256 = ?", [digest])[0][0]:
        return
    if not registry.write:
        raise UsageProblem(
            f"{registry.folder}: site.toml was changed. Run: biopsy-outcomes check {registry.folder} "
            "(it applies the change and records it)"
        )
    with registry.writing() as change:
        migrations.load_settings(change, registry.site, digest, registry.clock())
        entry = audit.Entry(current_user(), "change", "site_protocol", "site.toml", {"sha256": digest})
        audit.append(change, registry.key, registry.clock(), entry)


def _facts(registry: Registry) -> None:
    """Derive the kept rows anew where this program derives them otherwise than the last one."""
    with registry.cursor() as cursor:
        if facts.is_current(cursor):
            return
        if not cursor.execute("SELECT 1 FROM procedures LIMIT 1").fetchall():
            if registry.write:
                facts.rebuild(cursor)  # nothing to derive yet: only writes down by which definition
            return
    if not registry.write:
        raise UsageProblem(
            f"{registry.folder}: the kept rows were derived by another version of the program. "
            f"Run: biopsy-outcomes migrate {registry.folder}"
        )
    with registry.writing() as change:
        facts.rebuild(change)
        change.execute("UPDATE facts_state SET revision = revision + 1")
        entry = audit.Entry(current_user(), "rebuild", "facts", "", {"program": __version__})
        audit.append(change, registry.key, registry.clock(), entry)
