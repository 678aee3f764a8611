"""Exact intervals for many groups at once, against the library in a loop and on arrays.

    python benchmarks/intervals.py

100,000 groups of 1 to 399 procedures. The loop is timed on 2,000 groups and scaled; its
values and ours are compared before anything is timed.
"""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable

import numpy as np
from statsmodels.stats.proportion import proportion_confint

from registry.stats.proportions import exact_interval, wilson_interval

GROUPS, LOOPED, ROUNDS = 100_000, 2_000, 5
METHODS = {"exact": (exact_interval, "beta"), "wilson": (wilson_interval, "wilson")}
GOAL_LOOP, GOAL_ARRAYS = 50.0, 1.2


def cpu(work: Callable[[], object]) -> float:
    """Median CPU seconds of a few rounds."""
    spent = []
    for _ in range(ROUNDS):
        began = time.process_time()
        work()
        spent.append(time.process_time() - began)
    return statistics.median(spent)


def main() -> None:
    """Print the table."""
    draw = np.random.default_rng(1)
    trials = draw.integers(1, 400, GROUPS)
    events = draw.binomial(trials, draw.beta(1, 8, GROUPS))
    print(
        "| interval | ours, s | library on arrays, s | library in a loop, s | loop / ours | ours / arrays | met |"
    )
    print("| --- | ---: | ---: | ---: | ---: | ---: | --- |")
    for name, (own, method) in METHODS.items():

        def loop(method: str = method) -> None:
            for x, n in zip(events[:LOOPED].tolist(), trials[:LOOPED].tolist(), strict=True):
                proportion_confint(x, n, method=method)

        lower, upper = own(events, trials)
        other = proportion_confint(events, trials, method=method)
        assert np.allclose(lower, other[0], atol=1e-12)
        assert np.allclose(upper, other[1], atol=1e-12)
        ours = cpu(lambda own=own: own(events, trials))
        arrays = cpu(lambda method=method: proportion_confint(events, trials, method=method))
        looped = cpu(loop) * GROUPS / LOOPED
        met = "yes" if looped / ours >= GOAL_LOOP and ours / arrays <= GOAL_ARRAYS else "NO"
        print(
            f"| {name} | {ours:.3g} | {arrays:.3g} | {looped:.3g} | {looped / ours:.0f} | {ours / arrays:.2f} | {met if name == 'exact' else 'no goal'} |"
        )


if __name__ == "__main__":
    main()
