"""Opening a registry that another version of the program left."""

from __future__ import annotations

import pytest

from registry.errors import UsageProblem
from registry.intake import accept
from registry.store import Registry
from registry.verify import verify
from tests.build import TODAY, base, received


@pytest.fixture
def stale(folder):
    """A registry with one procedure whose kept row another program derived, wrongly."""
    with Registry.open(folder, write=True) as registry:
        accept(registry, received(base()), author="coordinator", today=TODAY)
        with registry.writing() as cursor:
            cursor.execute("UPDATE facts_definition SET sha256 = 'of another program'")
            cursor.execute("UPDATE procedure_facts SET diagnosis = 'normal'")
    return folder


def test_after_a_first_small_import_readers_can_open_it(folder):
    with Registry.open(folder, write=True) as registry:
        accept(registry, received(base()), author="coordinator", today=TODAY)

    with Registry.open(folder) as registry:
        assert registry.rows("SELECT count(*) FROM procedure_facts") == [(1,)]


def test_the_owner_derives_the_kept_rows_anew_and_says_so(stale):
    with Registry.open(stale, write=True) as registry:
        assert registry.rows("SELECT diagnosis FROM procedure_facts") != [("normal",)]
        assert registry.rows("SELECT action, object_kind FROM audit_event ORDER BY seq DESC LIMIT 1") == [
            ("rebuild", "facts")
        ]
        assert verify(registry) == []


def test_a_reader_is_told_what_to_run(stale):
    with pytest.raises(UsageProblem, match="derived by another version.*biopsy-outcomes migrate"):
        Registry.open(stale)


def test_a_cache_is_not_served_after_the_rows_were_derived_anew(stale):
    with Registry.open(stale, write=True, migrate=False) as registry:
        before = registry.revision()
    with Registry.open(stale, write=True) as registry:
        assert registry.revision() == before + 1


def test_an_older_schema_is_refused_until_it_is_migrated(folder):
    with Registry.open(folder, write=True) as registry, registry.writing() as cursor:
        cursor.execute("DELETE FROM schema_version WHERE number = (SELECT max(number) FROM schema_version)")

    for write in (True, False):
        with pytest.raises(UsageProblem, match="made by an older version.*biopsy-outcomes migrate"):
            Registry.open(folder, write=write)


def test_opening_twice_writes_nothing(folder):
    with Registry.open(folder, write=True) as registry:
        before = registry.rows("SELECT count(*) FROM audit_event")
    with Registry.open(folder, write=True) as registry:
        assert registry.rows("SELECT count(*) FROM audit_event") == before
