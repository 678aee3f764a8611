"""A file is tried in a child with limits before the owner of a registry reads it."""

from __future__ import annotations

import os
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

from registry.errors import FileProblem
from registry.imports import apart
from registry.imports.apart import try_apart

ROOT = Path(__file__).resolve().parents[2]
EXAMPLE = ROOT / "synthetic_data" / "example"
limited = pytest.mark.skipif(os.name == "nt", reason="the system has no such limits")


def test_a_sound_folder_passes():
    try_apart(EXAMPLE)


def test_the_sentence_of_the_reader_comes_back(tmp_path):
    (tmp_path / "nonsense.csv").write_text("a,b\n1,2\n")

    with pytest.raises(FileProblem, match=r"nonsense\.csv"):
        try_apart(tmp_path)


@limited
@pytest.mark.parametrize(("megabytes", "given"), [(300, True), (100, False)])
def test_the_child_gets_no_more_memory_than_it_may_have(megabytes, given):
    """200 MB asked for by a program that may have 300, or 100, over what it takes itself."""
    code = (
        f"from registry.imports.apart import _limit\n_limit({megabytes}, 30)\n"
        "try:\n    bytearray(200 * 1024 * 1024)\nexcept MemoryError:\n    print('refused')"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=ROOT)

    assert done.stdout == ("" if given else "refused\n")


@limited
def test_a_file_that_needs_more_time_than_it_may_is_refused(tmp_path):
    header, row = (EXAMPLE / "patients.csv").read_text().splitlines()[:2]
    (tmp_path / "patients.csv").write_text("\n".join([header, *[row] * 3_000_000]))

    with pytest.raises(FileProblem, match="took more than"):
        try_apart(tmp_path, seconds=1)


def test_a_workbook_that_grows_four_hundredfold_is_refused_in_its_own_words(tmp_path):
    """0.3 MB that inflate to 120 MB, as a sheet of blanks."""
    book, mapping = tmp_path / "bomb.xlsx", tmp_path / "mapping.toml"
    with zipfile.ZipFile(book, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("xl/workbook.xml", "<workbook/>")
        archive.writestr("xl/worksheets/sheet1.xml", b" " * (120 * 1024 * 1024))
    mapping.write_bytes((ROOT / "mappings" / "mammographic_masses.toml").read_bytes())

    with pytest.raises(FileProblem, match=r"bomb\.xlsx"):
        try_apart(book, mapping)


@limited
def test_a_child_that_complains_without_end_fills_nothing_here(tmp_path, monkeypatch):
    """What a parser out of memory did once: it wrote to its error stream until 22 GB were full here."""
    import resource

    talker = tmp_path / "talker.py"
    talker.write_text("import sys\nwhile True:\n    sys.stderr.write('no memory' * 1000)\n")
    launcher = tmp_path / "python"
    launcher.write_text(f"#!/bin/sh\nexec {sys.executable} {talker}\n")
    launcher.chmod(0o700)
    monkeypatch.setattr(apart.sys, "executable", str(launcher))
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss

    with pytest.raises(FileProblem, match="took more than 4 s"):
        try_apart(EXAMPLE, seconds=2)

    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before < 100_000  # kB
