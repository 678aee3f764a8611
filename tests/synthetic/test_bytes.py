"""The same request gives the same bytes."""

from __future__ import annotations

import datetime
import hashlib
from pathlib import Path

import pytest

from synthetic_data import generate

EXAMPLE = Path(generate.__file__).parent / "example"


def _digests(folder: Path) -> dict[str, str]:
    return {path.name: hashlib.sha256(path.read_bytes()).hexdigest() for path in sorted(folder.iterdir())}


def test_example_in_the_repository_is_what_the_generator_writes(tmp_path):
    assert _digests(generate.write_example(tmp_path)) == _digests(EXAMPLE)


def test_second_run_gives_the_same_bytes(demo, tmp_path):
    assert _digests(generate.write(tmp_path)) == _digests(demo.folder)


def test_another_seed_gives_other_procedures(tmp_path):
    first = _digests(generate.write(tmp_path / "1", procedures=50, seed=1))
    second = _digests(generate.write(tmp_path / "2", procedures=50, seed=2))
    assert first["procedures.csv"] != second["procedures.csv"]


@pytest.mark.parametrize("wanted", [1, 2, 17, 1000])
def test_number_of_procedures_is_the_number_asked_for(tmp_path, wanted):
    folder = generate.write(tmp_path, procedures=wanted)
    assert (folder / "procedures.csv").read_text(encoding="utf-8").count("\n") == wanted + 1


def test_files_end_lines_with_lf_only(demo):
    assert [path.name for path in demo.folder.iterdir() if b"\r" in path.read_bytes()] == []


def test_span_that_ends_on_29_february_is_written(tmp_path):
    folder = generate.write(tmp_path, procedures=40, until=datetime.date(2024, 2, 29), years=1)
    assert (folder / "procedures.csv").exists()


@pytest.mark.parametrize("wrong", [{"procedures": 0}, {"years": 0}, {"seed": -1}])
def test_number_outside_its_range_is_refused_by_name(tmp_path, wrong):
    with pytest.raises(ValueError, match=f"{next(iter(wrong))} must lie in"):
        generate.write(tmp_path, **wrong)
