"""The rows of a package drawn again: the same, or the first row that differs and why."""

from __future__ import annotations

import json
from datetime import timedelta

import pytest
from typer.testing import CliRunner

from registry import erasure
from registry.cli import app
from registry.disclosure.profiles import RESTRICTED, SHIFTED
from registry.errors import UsageProblem
from registry.package.again import draw_again
from registry.store import Registry
from tests.build import load
from tests.exports.made import NOW
from tests.package.made import cohort_file, package


@pytest.fixture
def manifest(registry, tmp_path):
    package(registry, tmp_path / "out", profile=SHIFTED, cohort=cohort_file(), project=None)
    return tmp_path / "out" / "MANIFEST.json"


def later(registry):
    registry.clock = lambda: NOW + timedelta(days=30)


def test_the_same_record_gives_the_same_rows(registry, manifest):
    found = draw_again(registry, manifest)

    assert (found.as_known, found.now, found.messages) == (True, True, ())


def test_after_a_correction_the_rows_as_known_then_are_the_same_and_the_first_that_changed_is_named(
    registry, manifest
):
    later(registry)
    load(registry, {"procedures": [{"procedure_id": "P5", "cores": "9"}]}, reason="typing")

    found = draw_again(registry, manifest)

    number = registry.identity.execute(
        "SELECT number FROM study_key WHERE kind = 'procedure' AND original = 'P5'"
    ).fetchall()[0][0]
    assert (found.as_known, found.now) == (True, False)
    assert found.messages == (
        f"The record changed since: as it is now it differs first at procedure_id {number}: it has other values in cores.",
    )


def test_a_row_that_came_since_is_named_as_new(registry, manifest):
    later(registry)
    one = {
        "procedure_id": "P21",
        "finding_id": "F5",
        "started_at": "2025-09-01T09:30",
        "site": "A",
        "operator": "OP1",
        "status": "completed",
        "guidance": "pet_tracer",
        "device": "vacuum_assisted",
        "cores": "8",
        "marker": "not_placed",
    }
    report = load(registry, {"procedures": [one]})
    assert report.total.held == 0

    found = draw_again(registry, manifest)

    assert found.as_known and not found.now


def test_without_the_rows_beside_it_only_the_hashes_are_compared(registry, manifest, tmp_path):
    later(registry)
    load(registry, {"procedures": [{"procedure_id": "P5", "cores": "9"}]}, reason="typing")
    alone = tmp_path / "alone"
    alone.mkdir()
    for name in ("MANIFEST.json", "cohort.json"):
        (alone / name).write_bytes((manifest.parent / name).read_bytes())

    (message,) = draw_again(registry, alone / "MANIFEST.json").messages

    assert "Put the manifest beside its data/" in message


def test_an_erased_patient_is_the_reason_and_no_key_is_drawn_anew(registry, manifest):
    folder = registry.folder
    registry.close()
    erasure.erase(
        folder,
        "PAT5",
        reason="asked to be erased",
        author="administrator",
        clock=lambda: NOW + timedelta(days=1),
    )

    with Registry.open(folder) as again:
        found = draw_again(again, manifest)
        keys = again.identity.execute("SELECT count(*) FROM study_key WHERE original = 'P5'").fetchall()

    assert not found.as_known
    assert "The study keys of 1 patients are no longer kept" in found.messages[0]
    assert keys == [(0,)]


def test_other_definitions_are_named(registry, manifest):
    content = json.loads(manifest.read_text(encoding="utf-8"))
    content["definitions_sha256"] = "0" * 64
    content["tables"]["procedures"]["rows_sha256"] = "0" * 64
    manifest.write_text(json.dumps(content), encoding="utf-8")

    assert (
        draw_again(registry, manifest)
        .messages[0]
        .startswith("Other definitions: the package was made by biopsy-outcomes")
    )


def test_a_cohort_file_that_was_changed_is_refused(registry, manifest):
    (manifest.parent / "cohort.json").write_bytes(cohort_file(title="Another").canonical())

    with pytest.raises(UsageProblem, match="is not the cohort file of this manifest"):
        draw_again(registry, manifest)


def test_without_a_project_it_cannot_be(registry, tmp_path):
    package(registry, tmp_path / "out", project=None, profile=RESTRICTED)

    with pytest.raises(UsageProblem, match="made without a project"):
        draw_again(registry, tmp_path / "out" / "MANIFEST.json")


def test_the_command_says_so_and_writes_nothing(registry, manifest):
    folder = registry.folder
    registry.close()
    before = sorted(path for path in manifest.parent.parent.iterdir())

    done = CliRunner().invoke(app, ["export", str(folder), "--from-manifest", str(manifest)])

    assert done.exit_code == 0, done.output
    assert "The same rows: drawn from the record as it was known then" in done.output
    assert sorted(path for path in manifest.parent.parent.iterdir()) == before
