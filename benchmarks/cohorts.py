"""What drawing and describing a cohort costs, as ratios against fetching the same rows.

    python benchmarks/cohorts.py --procedures 20000

The floor is the statement of ``sql/cohorts/procedures.sql`` alone, fetched into a frame in the
same run. Figures are the median of five rounds, CPU (user and system, all threads) and wall.
"""

from __future__ import annotations

import argparse
import os
import random
import statistics
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from typer.testing import CliRunner

from registry import facts, store
from registry.cli import app
from registry.codebook import load_cohort
from registry.cohorts import CohortFile, cohort_measures, draw, outcomes, table_one
from registry.cohorts.numbering import number_people
from registry.store import Registry

FILE = Path(__file__).resolve().parent.parent / "synthetic_data" / "cohort_tracer_guided.json"
ROUNDS = 5


def timed(work: Callable[[], object]) -> tuple[float, float]:
    """Median CPU and wall seconds of some rounds, after one that is not counted."""
    work()
    cpu, wall = [], []
    for _ in range(ROUNDS):
        before, begin = os.times(), time.perf_counter()
        work()
        after = os.times()
        cpu.append(after.user + after.system - before.user - before.system)
        wall.append(time.perf_counter() - begin)
    return statistics.median(cpu), statistics.median(wall)


def floor(registry: Registry, file: CohortFile) -> None:
    with facts.at(registry, file.as_of) as cursor:
        number_people(cursor, random.Random(1))
        store.frame(cursor, load_cohort().sql, {"start": None, "end": None})


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--procedures", type=int, default=20_000)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place) / "registry"
        made = CliRunner().invoke(app, ["demo", str(folder), "--procedures", str(asked.procedures)])
        assert made.exit_code == 0, made.output
        with Registry.open(folder) as registry:
            file = CohortFile.read(FILE)
            drawn = draw(registry, file, seed=1)
            print(f"{asked.procedures:,} procedures; {drawn.frame.height:,} {file.unit}s in the cohort")
            base = timed(lambda: floor(registry, file))
            print(f"{'rows of the export (floor)':32} {base[0]:7.2f} s CPU {base[1]:7.2f} s wall")
            for name, work in {
                "draw": lambda: draw(registry, file, seed=1),
                "first table by guidance": lambda: table_one(drawn, by="guidance", minimum=10),
                "all measures": lambda: cohort_measures(registry, drawn),
                "outcomes": lambda: outcomes(registry, drawn),
            }.items():
                cpu, wall = timed(work)
                print(
                    f"{name:32} {cpu:7.2f} s CPU {wall:7.2f} s wall; {cpu / base[0]:5.2f} and {wall / base[1]:5.2f} times the floor"
                )


if __name__ == "__main__":
    main()
