"""Every campaign at the size that fits into a test run; by hand they run in full."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
#: In CI as many as the project asks of every change; fewer while somebody waits.
KILLS = 100 if os.environ.get("CI") else 10


def campaign(name: str, *options: str) -> subprocess.CompletedProcess[str]:
    """Run one in a process of its own: it forks, which a process with threads must not."""
    return subprocess.run(
        [sys.executable, "-m", f"tests.campaigns.{name}", *options],
        cwd=ROOT,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
        timeout=1800,
        check=False,
    )


@pytest.mark.slow
@pytest.mark.skipif(os.name == "nt", reason="needs fork")
def test_nothing_is_lost_half_or_double_when_the_owner_is_killed():
    done = campaign("kill", "--trials", str(KILLS))

    assert done.returncode == 0, done.stdout + done.stderr
    assert f"{KILLS} kills" in done.stdout
    assert "lost 0, half 0, double 0, damaged 0" in done.stdout


@pytest.mark.slow
@pytest.mark.skipif(os.name == "nt", reason="needs fork")
def test_a_damaged_file_is_right_or_refused_in_a_sentence():
    done = campaign("damage", "--trials", "60" if os.environ.get("CI") else "20")

    assert done.returncode == 0, done.stdout + done.stderr
    assert "wrong or crashed 0" in done.stdout


@pytest.mark.slow
@pytest.mark.skipif(os.name == "nt", reason="needs fork")
def test_nothing_told_done_is_lost_on_a_full_disk():
    done = campaign("full_disk", "--points", "20" if os.environ.get("CI") else "5")

    assert done.returncode == 0, done.stdout + done.stderr
    assert "lost or unsaid 0" in done.stdout


@pytest.mark.slow
def test_people_who_save_at_once_lose_nothing():
    done = campaign("savers", "--people", "20", "--saves", "4", "--pause", "4")

    assert done.returncode == 0, done.stdout + done.stderr
    assert "20 people, 80 saves" in done.stdout
    assert "not saved 0, lost or unseen 0" in done.stdout


@pytest.mark.slow
@pytest.mark.skipif(os.name == "nt", reason="needs fork")
def test_mutated_files_are_read_or_refused_in_a_sentence():
    files = 20_000 if os.environ.get("CI") else 1_000
    done = campaign("mutated_files", "--files", str(files), "--whole", "200")

    assert done.returncode == 0, done.stdout + done.stderr
    assert f"{files} files; tracebacks 0" in done.stdout


@pytest.mark.slow
def test_people_with_a_page_open_each_are_all_answered():
    # No time is asked for here: the machine of a test run is shared.
    done = campaign(
        "sessions", "--people", "4", "--seconds", "10", "--pause", "2", "--procedures", "60", "--no-goal"
    )

    assert done.returncode == 0, done.stdout + done.stderr
    assert "4 people" in done.stdout
    assert "failed 0" in done.stdout
