"""Was the target sampled: the section of the record, and the calibration of the demonstration."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING

import polars as pl
import pytest

from dashboards.components.bands import bands_plot, calibration_plot
from dashboards.components.record_sampling import figures
from registry.sampling import procedure_estimate, sampling_procedures

if TYPE_CHECKING:
    from collections.abc import Callable

    from streamlit.testing.v1 import AppTest

    from registry.store import Registry

AS_OF = date(2026, 6, 30)


def text_of(page: AppTest) -> str:
    return " ".join(one.proto.body for one in page.get("html"))


def example(served: Registry, condition: pl.Expr) -> str:
    rows = sampling_procedures(served, as_of=AS_OF).filter(condition)
    return str(rows["procedure_id"][0])


KEPT = pl.col("excluded_because").is_null()


def test_evidence_stands_before_the_figure_and_the_caution_after(
    served: Registry, open_page: Callable[..., AppTest]
):
    page = open_page("procedure_record", procedure=example(served, KEPT & (pl.col("hours_used") == "all")))
    text = text_of(page)
    assert not page.exception
    places = [
        text.index(part)
        for part in (
            "judgement at the last needle placement",
            "Probability that at least 10",
            "Error budget",
            "The target is a sphere",
            "never a reason to omit a step of the local protocol",
        )
    ]
    assert places == sorted(places)


def test_the_counts_behind_the_scan_are_shown(served: Registry, open_page: Callable[..., AppTest]):
    key = example(served, KEPT)
    known = procedure_estimate(served, key, AS_OF).known
    text = text_of(open_page("procedure_record", procedure=key))
    assert f"{known.sensitivity.events} / {known.sensitivity.trials}" in text
    assert f"{known.false_positive.events} / {known.false_positive.trials}" in text


def test_why_there_is_no_figure_is_said(served: Registry, open_page: Callable[..., AppTest]):
    key = example(served, pl.col("excluded_because") == "not verified")
    text = text_of(open_page("procedure_record", procedure=key))
    assert "No probability is worked out: not verified (no verification scan at the last attempt)." in text
    assert "Probability that at least" not in text


def test_a_cancelled_procedure_took_no_tissue(served: Registry, open_page: Callable[..., AppTest]):
    key = example(served, pl.col("excluded_because") == "not sampled")
    assert "No tissue was taken." in text_of(open_page("procedure_record", procedure=key))


def test_unknown_hours_have_no_middle(served: Registry):
    estimate = procedure_estimate(
        served, example(served, KEPT & (pl.col("hours_used") == "not known")), AS_OF
    )
    drawn = figures(estimate)
    assert drawn["middle"].is_null().all()
    assert (drawn["low"] <= drawn["high"]).all()


def test_the_band_is_that_of_the_estimate(served: Registry):
    estimate = procedure_estimate(served, example(served, KEPT & (pl.col("hours_used") == "all")), AS_OF)
    share, chance = figures(estimate).head(2).select("low", "middle", "high").rows()
    assert share == tuple(one.expected_share for one in estimate.bands)
    assert chance == tuple(one.probability for one in estimate.bands)


def test_rows_are_drawn_in_the_order_of_the_table():
    frame = pl.DataFrame({"figure": ["b", "a"], "low": [0.1, 0.2], "high": [0.3, 0.4]})
    assert bands_plot(frame)["encoding"]["y"]["sort"] == ["b", "a"]


def test_both_axes_of_the_calibration_run_from_0_to_1():
    spec = calibration_plot(pl.DataFrame({"predicted": [0.1], "observed": [0.2]}))
    domains = {
        tuple(part["encoding"][axis]["scale"]["domain"]) for part in spec["layer"][1:] for axis in "xy"
    }
    assert domains == {(0, 1)}
    assert spec["width"] == spec["height"]


def _calibration_page() -> None:
    from dashboards.components.calibration import calibration

    calibration()


@pytest.mark.usefixtures("served")
def test_the_calibration_is_drawn_in_a_demonstration():
    from streamlit.testing.v1 import AppTest

    page = AppTest.from_function(_calibration_page, default_timeout=60).run()
    assert not page.exception
    assert "whose generator knows where each target lay" in text_of(page)


@pytest.mark.usefixtures("served_empty")
def test_there_is_no_calibration_where_nobody_knows_the_truth():
    from streamlit.testing.v1 import AppTest

    page = AppTest.from_function(_calibration_page, default_timeout=60).run()
    assert not page.exception
    assert not page.get("html")
