"""The measure on the command line: everything it assumes beside the figures, counts only where they are few."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import pytest
from typer.testing import CliRunner

from registry.cli import app
from tests.build import base, load

if TYPE_CHECKING:
    from pathlib import Path

    from registry.store import Registry

AS_OF = ["--as-of", "2026-06-30"]


@pytest.fixture
def with_one(registry: Registry) -> Path:
    """A registry with one procedure of which the geometry is recorded."""
    rows = base()
    rows["procedures"][0]["sampled_hours"] = "all"
    rows["targeting"][0].update(marked_point="aperture_centre", slice_mm="5", measurement_sd_mm="1")
    load(registry, rows)
    registry.close()
    return registry.folder


def run(folder: Path, *options: str) -> str:
    result = CliRunner().invoke(app, ["measure", str(folder), "sampling_probability", *AS_OF, *options])
    assert result.exit_code == 0, result.output
    return " ".join(result.output.split())


def test_below_the_minimum_only_counts_and_assumptions(with_one: Path):
    text = run(with_one)
    assert "1 procedures of 1 patients, 0 left out" in text
    assert "Fewer than 10 procedures: counts only." in text
    assert "median" not in text
    assert "The target is a sphere of its recorded largest diameter." in text
    assert "never a reason to omit a step of the local protocol" in text


def test_json_carries_band_assumptions_and_caution(with_one: Path):
    (found,) = json.loads(
        CliRunner()
        .invoke(app, ["measure", str(with_one), "sampling_probability", *AS_OF, "--format", "json"])
        .output
    )
    assert (found["n"], found["reach_mm"], found["sampled_share"]) == (1, [0.0, 1.5, 3.0], 0.1)
    assert {row["band"] for row in found["rows"]} == {"least reach", "middle reach", "most reach"}
    assert found["assumptions"]
    assert found["caution"]


def test_the_procedures_behind_it_carry_their_figures(with_one: Path):
    lines = (
        CliRunner()
        .invoke(
            app, ["measure", str(with_one), "sampling_probability", *AS_OF, "--procedures", "--format", "csv"]
        )
        .output.splitlines()
    )
    row = dict(zip(lines[0].split(","), lines[1].split(","), strict=True))
    assert row["procedure_id"] == "P1"
    assert 0 < float(row["expected_share_low"]) < float(row["expected_share_high"]) <= 1
    # Planned 40, 22, 31; reached 42, 21, 33.
    assert (row["error_x_mm"], row["error_y_mm"], row["error_z_mm"]) == ("2.0", "-1.0", "2.0")
