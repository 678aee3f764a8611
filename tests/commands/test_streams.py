"""What a command writes where the screen or the file has an encoding of its own."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner

from registry.cli import app


@pytest.mark.parametrize(("encoding", "apart"), [("cp1252", "?"), ("utf-8", "\u202f")])
def test_a_screen_that_lacks_a_character_shows_a_question_mark(tmp_path: Path, encoding: str, apart: str):
    """The Windows code page for Western Europe has no narrow space."""
    made = CliRunner().invoke(app, ["demo", str(tmp_path / "demo"), "--procedures", "1500"])
    assert made.exit_code == 0, made.output
    told = subprocess.run(
        [
            sys.executable,
            "-m",
            "registry",
            "backup",
            str(tmp_path / "demo"),
            "--to",
            str(tmp_path / "backups"),
        ],
        capture_output=True,
        env={**os.environ, "PYTHONIOENCODING": encoding},
        check=False,
    )

    assert (told.returncode, told.stderr) == (0, b"")
    assert re.search(f"1{re.escape(apart)}[0-9]{{3}} procedures", told.stdout.decode(encoding))
