"""A frozen cohort file: written once, followed by the next version, bound to the trail."""

from __future__ import annotations

import re

import duckdb
import pytest

from registry.cohorts import freeze, frozen, frozen_file
from registry.errors import Refused, UsageProblem
from registry.people import Actor, Role, acting
from registry.store import Registry
from registry.verify import verify
from tests.cohorts.conftest import NOW, cohort


@pytest.fixture
def own(registry_of_the_test):
    return registry_of_the_test


@pytest.fixture
def registry_of_the_test(folder):
    with Registry.open(folder, write=True, clock=lambda: NOW) as opened:
        yield opened


def second(first, **changed):
    return cohort(version=2, previous=first.sha256, **changed)


def test_a_frozen_file_is_given_back_as_it_was(own):
    file = cohort(title="Größe")
    made = freeze(own, file, author="ines")

    assert (made.name, made.version, made.sha256, made.author) == ("everything", 1, file.sha256, "ines")
    assert frozen(own) == (made,)
    assert frozen_file(own, "everything", 1) == file


def test_it_is_one_entry_of_the_trail_with_its_digest(own):
    freeze(own, cohort(), author="ines")
    rows = own.rows(
        "SELECT actor, object_kind, object_key, details FROM audit_event WHERE action = 'freeze a cohort'"
    )

    assert [row[:3] for row in rows] == [("ines", "cohort", "everything")]
    assert cohort().sha256 in rows[0][3]


def test_the_same_file_again_changes_nothing(own):
    first = freeze(own, cohort(), author="ines")
    before = own.rows("SELECT count(*) FROM audit_event")
    assert freeze(own, cohort(), author="somebody else") == first
    assert own.rows("SELECT count(*) FROM audit_event") == before


def test_another_content_under_the_same_version_is_refused(own):
    freeze(own, cohort(), author="ines")
    with pytest.raises(UsageProblem, match="frozen with another content .* give the changed file version 2"):
        freeze(own, cohort(title="Another"), author="ines")
    assert len(frozen(own)) == 1


def test_version_2_names_version_1(own):
    freeze(own, cohort(), author="ines")
    made = second(cohort(), title="Narrower")
    freeze(own, made, author="ines")

    assert [one.version for one in frozen(own)] == [1, 2]
    assert frozen_file(own, "everything", 2).previous == frozen(own)[0].sha256


@pytest.mark.parametrize(
    ("file", "says"),
    [
        (
            lambda: second(cohort(title="Never frozen")),
            f"names another file as version 1 .* Write {cohort().sha256}",
        ),
        (
            lambda: cohort(version=3, previous="a" * 64),
            "its newest frozen version is 1. The next one to freeze is version 2",
        ),
        (
            lambda: cohort(name="other", version=2, previous="a" * 64),
            "no version of it is frozen. .* is version 1",
        ),
    ],
)
def test_a_version_that_does_not_follow_is_refused(own, file, says):
    freeze(own, cohort(), author="ines")
    with pytest.raises(UsageProblem, match=says):
        freeze(own, file(), author="ines")


def test_a_file_that_is_not_frozen_is_named(own):
    with pytest.raises(UsageProblem, match="No version 1 of a cohort nothing is frozen"):
        frozen_file(own, "nothing", 1)


def test_a_registry_open_for_reading_refuses(folder):
    with Registry.open(folder) as opened, pytest.raises(UsageProblem, match="open for reading only"):
        freeze(opened, cohort(), author="ines")


def test_who_signed_in_stands_as_the_author(own):
    with acting(Actor("rita", frozenset({Role.RESEARCHER}))):
        assert freeze(own, cohort(), author="somebody").author == "rita"


def test_somebody_else_may_not(own):
    with acting(Actor("rita", frozenset({Role.COORDINATOR, Role.RADIOLOGIST}))), pytest.raises(Refused):
        freeze(own, cohort(), author="rita")


# -- against the trail -------------------------------------------------------------


def cohorts_said(folder) -> list[str]:
    with Registry.open(folder) as opened:
        return [one.message for one in verify(opened) if one.part == "cohorts"]


def test_an_untouched_file_verifies(own, folder):
    freeze(own, cohort(), author="ines")
    own.close()
    assert cohorts_said(folder) == []


@pytest.mark.parametrize(
    ("sql", "says"),
    [
        ("UPDATE frozen_cohort SET content = replace(content, 'Every', 'Some')", "is not the file"),
        ("UPDATE frozen_cohort SET author = 'somebody'", "is not the file"),
        ("UPDATE frozen_cohort SET version = 7", "is not the file|is missing"),
        ("DELETE FROM frozen_cohort", "is missing, and the trail says"),
        (
            "INSERT INTO frozen_cohort SELECT 'new', 1, sha256, content, author, frozen_at FROM frozen_cohort",
            "is not the file",
        ),
    ],
)
def test_a_change_behind_the_trail_is_found(own, folder, sql, says):
    freeze(own, cohort(), author="ines")
    own.close()
    with duckdb.connect(str(folder / "registry.duckdb")) as connection:
        connection.execute(sql)
    found = cohorts_said(folder)

    assert found
    assert all(re.search(says, one) for one in found)
