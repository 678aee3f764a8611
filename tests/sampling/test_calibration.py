"""Predicted against the truth of the generator, whose geometry is written apart from the product's."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING

import numpy as np
import polars as pl
import pytest
from typer.testing import CliRunner

from registry.cli import app
from registry.errors import FileProblem
from registry.sampling import FIGURES, calibration, sampling_procedures, setting
from registry.sampling.calibration import truth
from registry.sampling.estimate import estimated
from registry.store import Registry

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

AS_OF = date(2026, 6, 30)


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Registry]:
    """The demo as it is shipped."""
    folder = tmp_path_factory.mktemp("sampling") / "demo"
    result = CliRunner().invoke(app, ["demo", str(folder)])
    assert result.exit_code == 0, result.output
    with Registry.open(folder) as opened:
        yield opened


@pytest.fixture(scope="module")
def both(demo: Registry) -> pl.DataFrame:
    """Prediction and truth of the procedures whose hours are known."""
    known = truth(demo.folder)
    rows = sampling_procedures(demo, as_of=AS_OF).filter(pl.col("probability").is_not_null())
    return rows.with_columns(
        truth=pl.col("procedure_id").replace_strict(known, default=None, return_dtype=pl.Float64)
    ).drop_nulls("truth")


def test_the_chart_has_every_prediction_once(demo: Registry, both: pl.DataFrame):
    bins = calibration(demo, demo.folder, AS_OF)
    assert sum(one.procedures for one in bins) == both.height > 1000
    assert sum(one.sampled for one in bins) == both.filter(pl.col("truth") >= 0.1).height


def test_each_bin_holds_within_binomial_limits(demo: Registry, both: pl.DataFrame):
    """Variance of the sum p (1 - p); ten bins, so 3.5 standard errors, and the numerical error of a mean."""
    predicted, sampled = both["probability"].to_numpy(), both["truth"].to_numpy() >= 0.1
    place = np.minimum((predicted * 10).astype(int), 9)
    for number in np.unique(place):
        own = place == number
        sd = np.sqrt((predicted[own] * (1 - predicted[own])).sum())
        assert abs(sampled[own].sum() - predicted[own].sum()) <= 3.5 * sd + 0.01 * own.sum(), number


def test_the_predictions_separate_the_sampled_from_the_others(both: pl.DataFrame):
    """A prediction that knew only the mean would have the Brier score p (1 - p); this one has less than half of it."""
    predicted, sampled = both["probability"].to_numpy(), both["truth"].to_numpy() >= 0.1
    rate = sampled.mean()
    assert ((predicted - sampled) ** 2).mean() < rate * (1 - rate) / 2


@pytest.mark.parametrize("hours", ["all", "recorded"])
def test_mean_share_is_the_true_mean(both: pl.DataFrame, hours: str):
    """Four standard errors of the mean difference: hours on the wrong side would be far outside."""
    own = both.filter(pl.col("hours_used") == hours)
    difference = (own["truth"] - own["expected_share"]).to_numpy()
    assert abs(difference.mean()) < 4 * difference.std(ddof=1) / np.sqrt(own.height) + 0.003


def test_hours_on_the_wrong_side_would_be_seen(demo: Registry, both: pl.DataFrame):
    """Seen from the tip in place of the hub, hours swap sides: then prediction and truth agree less."""
    own = both.filter(pl.col("hours_used") == "recorded")
    from_tip = own.with_columns(
        needle_direction=pl.col("needle_direction").replace_strict({"plus": "minus", "minus": "plus"})
    )
    mirrored = estimated(from_tip.drop(*FIGURES), setting(demo, AS_OF), demo.site.frames)
    wrong, right = (np.corrcoef(own["truth"], rows["expected_share"])[0, 1] for rows in (mirrored, own))
    assert right > 0.5
    assert wrong < right - 0.1


def test_without_a_truth_there_is_nothing_to_show(demo: Registry, tmp_path: Path):
    assert calibration(demo, tmp_path, AS_OF) == ()


def test_a_broken_truth_is_named(tmp_path: Path):
    (tmp_path / "sampling_truth.json").write_text("{", encoding="utf-8")
    with pytest.raises(FileProblem, match=r"sampling_truth.json: cannot be read"):
        truth(tmp_path)
