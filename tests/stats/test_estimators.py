"""The table of intervals a measure may ask for."""

from __future__ import annotations

import pytest

from registry.stats.estimators import CLUSTERED, ESTIMATORS, estimator
from registry.stats.proportions import exact_interval, wilson_interval


def test_names_and_printed_methods():
    printed = {name: each.method for name, each in ESTIMATORS.items()}
    assert printed == {
        "wilson": "Wilson",
        "exact": "Clopper-Pearson",
        "jeffreys": "Jeffreys",
        "midp": "mid-P",
    }


def test_name_leads_to_its_function():
    assert estimator("exact").interval is exact_interval
    assert estimator("wilson").interval is wilson_interval


def test_name_is_kept_with_the_function():
    assert all(name == each.name for name, each in ESTIMATORS.items())


def test_unknown_name_lists_the_known():
    with pytest.raises(ValueError, match="wilson, exact, jeffreys, midp, clustered; got 'wald'"):
        estimator("wald")


def test_clustered_is_not_a_function_of_two_counts():
    assert CLUSTERED not in ESTIMATORS


def test_table_cannot_be_changed():
    with pytest.raises(TypeError):
        ESTIMATORS["wald"] = ESTIMATORS["wilson"]  # type: ignore[index]


def test_importing_the_intervals_is_quick():
    """Neither scipy.stats nor statsmodels: the command line waits for neither."""
    import subprocess
    import sys

    code = (
        "import sys, registry.stats.estimators, registry.stats.clustering, registry.stats.vectors;"
        "print([name for name in ('scipy.stats', 'scipy.optimize', 'statsmodels', 'pandas') if name in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
