"""How long a package takes, against the plain writing of its rows measured in the same run.

    python benchmarks/package.py                    200,000 procedures in all formats
    python benchmarks/package.py --procedures 20000

The export is the whole command: drawing the cohort, study keys, the restricted profile, k and
l, every format, the codebook, every hash and the trail. The floor is what polars takes to write
the same rows as CSV and Parquet, nothing else. CPU counts all threads and child processes; wall
time says little on a machine that others use.
"""

from __future__ import annotations

import argparse
import os
import platform
import re
import statistics
import subprocess
import sys
import tempfile
import time
from datetime import date
from pathlib import Path

import duckdb
import polars as pl

from benchmarks.run import import_into, make_files, new_registry

ROOT = Path(__file__).resolve().parent.parent
SECONDS, MEGABYTES = 60.0, 1500.0
COHORT = """{"cohort_file": 1, "name": "everybody", "version": 1, "title": "Everybody", "unit": "procedure",
"project": "benchmark", "index_date": "started_on", "as_of": "2026-06-30", "reference_standard": "none"}"""


def floor(rows: pl.DataFrame, place: Path) -> tuple[float, float]:
    """CPU and wall seconds of writing the rows as CSV and Parquet."""
    cpu, wall = time.process_time(), time.perf_counter()
    rows.write_csv(place / "floor.csv")
    rows.write_parquet(place / "floor.parquet")
    return time.process_time() - cpu, time.perf_counter() - wall


def export(registry: Path, target: Path, formats: str) -> tuple[float, float, float]:
    """CPU seconds, wall seconds and peak resident MB of one export command."""
    cohort = target.with_suffix(".json")
    cohort.write_text(COHORT, encoding="utf-8")
    command = [
        sys.executable,
        "-m",
        "registry",
        "export",
        str(registry),
        str(target),
        "--reason",
        "benchmark",
    ]
    command += ["--cohort", str(cohort), "--profile", "restricted", "--formats", formats]
    code = (
        "import resource, subprocess, sys\n"
        "done = subprocess.run(sys.argv[1:], stdout=subprocess.DEVNULL)\n"
        "if done.returncode: sys.exit(done.returncode)\n"
        "used = resource.getrusage(resource.RUSAGE_CHILDREN)\n"
        "print(used.ru_utime + used.ru_stime, used.ru_maxrss / 1024)"
    )
    wall = time.perf_counter()
    done = subprocess.run(
        [sys.executable, "-c", code, *command],
        capture_output=True,
        text=True,
        check=False,
        cwd=ROOT,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )
    wall = time.perf_counter() - wall
    if done.returncode:
        raise SystemExit(done.stderr)
    cpu, peak = map(float, done.stdout.split())
    return cpu, wall, peak


def _with_memory(text: str) -> str:
    changed = re.sub(r"(?m)^#? ?memory_limit_mb = .*$", "memory_limit_mb = 700", text)
    if changed == text:
        raise SystemExit("site.toml names no memory_limit_mb")
    return changed


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--procedures", type=int, default=200_000)
    parser.add_argument("--rounds", type=int, default=1)
    chosen = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch_name:
        scratch = Path(scratch_name)
        registry = new_registry(scratch / "registry")
        site = registry / "site.toml"
        usual = site.read_text(encoding="utf-8")
        # What the engine asks for on importing so many rows at once; the export has the usual memory.
        site.write_text(_with_memory(usual), encoding="utf-8")
        import_into(registry, make_files(scratch / "files", chosen.procedures))
        site.write_text(usual, encoding="utf-8")
        text = [export(registry, scratch / f"text{n}", "csv,parquet") for n in range(chosen.rounds)]
        full = [
            export(registry, scratch / f"all{n}", "csv,parquet,dta,sav,xpt,xlsx")
            for n in range(chosen.rounds)
        ]
        rows = pl.read_parquet(scratch / "all0" / "data" / "procedures.parquet")
        floors = [floor(rows, scratch) for _ in range(max(3, chosen.rounds))]
    base = statistics.median(cpu for cpu, _ in floors)
    print(
        f"{rows.height:,} procedures, {rows.width} columns; {date.today()}; {os.cpu_count()} cores, Python "
        f"{platform.python_version()}, DuckDB {duckdb.__version__}, polars {pl.__version__}, load {os.getloadavg()[0]:.1f}\n"
    )
    print(
        "| what | CPU s | wall s | peak MB | CPU / floor | goal | met |\n| --- | ---: | ---: | ---: | ---: | --- | --- |"
    )
    print(
        f"| plain CSV and Parquet (floor) | {base:.1f} | {statistics.median(w for _, w in floors):.1f} | | 1 | | |"
    )
    for name, found in (("package, CSV and Parquet", text), ("package, all formats", full)):
        cpu, wall, peak = (statistics.median(one[place] for one in found) for place in range(3))
        is_whole = found is full
        met = "" if not is_whole else "yes" if cpu <= SECONDS and peak <= MEGABYTES else "NO"
        goal = f"{SECONDS:.0f} s, {MEGABYTES:,.0f} MB" if is_whole else ""
        print(f"| {name} | {cpu:.1f} | {wall:.1f} | {peak:.0f} | {cpu / base:.0f} | {goal} | {met} |")


if __name__ == "__main__":
    main()
