"""The demo's targeting errors, read back through the registry, show what was put into them."""

from __future__ import annotations

import json
import os
from datetime import date
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from typer.testing import CliRunner

from registry import aim
from registry.cli import app
from registry.measures import evaluate
from registry.stats.vectors import hotelling_test
from registry.store import Registry

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

AS_OF = date(2026, 6, 30)
SITES = ("SITE-A", "SITE-B", "SITE-C")


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo as it is shipped."""
    made = tmp_path_factory.mktemp("aim") / "demo"
    result = CliRunner().invoke(app, ["demo", str(made)])
    assert result.exit_code == 0, result.output
    return made


@pytest.fixture
def demo(folder: Path) -> Iterator[Registry]:
    with Registry.open(folder) as opened:
        yield opened


@pytest.fixture(scope="module")
def truth(folder: Path) -> dict[str, Any]:
    return json.loads((folder / "truth.json").read_text(encoding="utf-8"))["targeting"]


def errors(demo: Registry, site: str) -> np.ndarray:
    """Errors of the biopsies to which the stated bias applies, in the axes of the frame.

    x plus is medial there, in either breast, so nothing is mirrored on the way.
    """
    within = {"site": site, "guidance": "pet_tracer", "device": "vacuum_assisted"}
    rows = aim.vectors(demo, as_of=AS_OF, within=within)
    found = aim.points(rows, aim.Basis(demo.site.frames["SUITE"]))
    return found.select("first_mm", "second_mm", "third_mm").to_numpy()


@pytest.mark.parametrize("site", SITES)
def test_the_region_of_the_mean_contains_the_bias_of_the_site(demo, truth, site):
    found = hotelling_test(errors(demo, site), truth["bias_mm"][site])

    assert found.n > 150
    assert found.crit95 > found.T2


def test_the_biased_site_is_seen_to_be_off(demo, truth):
    found = hotelling_test(errors(demo, "SITE-B"))

    assert truth["bias_mm"]["SITE-B"] == [0.0, 2.4, -1.2]
    assert 20 * found.crit95 < found.T2


@pytest.mark.parametrize("site", SITES)
def test_the_covariance_is_the_stated_one(demo, truth, site):
    """Within four standard errors, sqrt((s_ii s_jj + s_ij^2) / (n - 1)) for normal errors."""
    stated = np.array(truth["covariance_mm2"])
    found = errors(demo, site)
    variances = np.diag(stated)
    error = np.sqrt((np.outer(variances, variances) + stated**2) / (len(found) - 1))

    assert (np.abs(np.cov(found, rowvar=False) - stated) < 4 * error).all()


def test_95_of_100_single_errors_lie_within_their_ellipse(demo):
    """In the plane cranial x posterior of the biased site; four binomial standard errors."""
    rows = aim.vectors(
        demo, as_of=AS_OF, within={"site": "SITE-B", "device": "vacuum_assisted", "guidance": "pet_tracer"}
    )
    points = aim.points(rows, aim.Basis(demo.site.frames["SUITE"]))
    plane = aim.planes(points)[2]
    away = points.select("second_mm", "third_mm").to_numpy() - np.array(plane.mean)
    outline = plane.single_outline - np.array(plane.mean)
    # Distance of the outline in the direction of each error, between its corners.
    angle, bearing = np.arctan2(outline[:-1, 1], outline[:-1, 0]), np.arctan2(away[:, 1], away[:, 0])
    order = np.argsort(angle)
    reach = np.interp(bearing, angle[order], np.hypot(*outline[:-1].T)[order], period=2 * np.pi)
    inside = (np.hypot(*away.T) <= reach).mean()

    assert abs(inside - 0.95) < 4 * np.sqrt(0.95 * 0.05 / len(away))


def test_motion_is_the_stated_one(demo, truth):
    rows = aim.vectors(demo, as_of=AS_OF)
    found = aim.summary(rows, demo.site.frames, aim.Basis(demo.site.frames["SUITE"])).motion_mean

    # Four standard errors: the 95 % region of these draws leaves out 0, as one in twenty does.
    assert (np.abs(found.mean) < 4 * truth["motion_sd_mm"] / np.sqrt(found.n)).all()
    assert found.sd == pytest.approx([truth["motion_sd_mm"]] * 3, rel=0.15)


# --- the command -------------------------------------------------------------------------


@pytest.fixture
def run(folder: Path):
    """The command on the demo."""

    def call(*arguments: str) -> str:
        wide = {**os.environ, "COLUMNS": "200"}
        result = CliRunner().invoke(
            app, ["targeting", str(folder), "--as-of", "2026-06-30", *arguments], env=wide
        )
        assert result.exit_code == 0, result.output
        return result.output

    return call


def test_the_command_gives_what_the_measure_gives(run, folder):
    (found,) = json.loads(run("--format", "json"))
    with Registry.open(folder) as opened:
        (measure,) = evaluate(opened, ["targeting_error_mm"], as_of=AS_OF)

    assert found["error"]["n"] == measure.n
    assert found["error"]["median"]["radius"] == measure.median
    assert found["error"]["median"]["ci"] == [measure.lower, measure.upper]
    assert found["error"]["high"]["radius"] == measure.p95
    assert found["excluded"] == measure.excluded


def test_the_command_splits_in_the_order_of_the_codes(run):
    found = json.loads(run("--by", "site", "--directions", "breast", "--format", "json"))

    # The stories of the demo's meeting stand at a site of their own, after the generated ones.
    assert [one["stratum"] for one in found] == [*SITES, "SITE-D"]
    found = found[:3]
    assert found[0]["directions"] == ["medial", "cranial", "posterior"]
    assert [one["error_mean"]["is_off"] for one in found] == [False, True, False]


def test_the_command_shows_numbers_only_below_the_minimum(run):
    rows = [
        line.split()
        for line in run("--by", "approach").splitlines()
        if line.split()[:3] == ["oblique", "needle", "error"]
    ]

    assert rows
    assert {" ".join(row[-3:]) for row in rows if "mean" not in row} == {"fewer than 10"}


def test_the_command_says_what_it_is_about(run):
    shown = run()

    assert "Along and across a needle along x, frame SUITE." in shown
    assert "In the lengths but in no vector: " in shown
    assert "Positions are compared after the procedure" in shown


def test_an_impossible_day_ends_in_a_sentence(folder):
    result = CliRunner().invoke(app, ["targeting", str(folder), "--from", "2026-02-30"])

    assert result.exit_code != 0
    assert "2026-02-30: is not a calendar date" in f"{result.output} {result.exception}"
