"""How long the registry takes, as ratios against floors measured in the same run.

    python benchmarks/run.py                    the table for 100,000 procedures
    python benchmarks/run.py --growth           growth from 10,000 to 1,000,000 as well: long

Every figure is the median of five rounds, CPU (user and system, all threads) and wall.
Floors: a plain COPY of the same files into typed tables of a new DuckDB database, and a
scan that reads every column the facts need (its plan is checked: an aggregate that the
engine answers from column statistics would be no floor). Both run on as many threads as the
registry does: the engine's caller spins while it waits for another thread, so that a floor
with more threads would look dearer than its work is.
"""

from __future__ import annotations

import argparse
import json
import math
import os
import platform
import re
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import date
from pathlib import Path

import duckdb

from registry import audit, facts, site, store
from registry.commands.output import DEMO_FRAME, DEMO_MEASUREMENT
from registry.dictionary import tables
from registry.engine import STORAGE_VERSION
from registry.imports import registry_csv
from registry.intake import accept
from registry.intake.staging import sql_type
from registry.measures import b_category_table, curve, evaluate, load_measures
from registry.store import Registry
from synthetic_data.generate import write as generate

ROOT = Path(__file__).resolve().parent.parent
CLINICAL = (
    "patients",
    "findings",
    "procedures",
    "targeting",
    "specimens",
    "pathology",
    "reviews",
    "followup",
    "complications",
)
#: memory_limit_mb at a size at which a first import asks for more than the shipped one.
MEMORY_MB = {1_000_000: 2048}
AS_OF = date(2026, 6, 30)
TODAY = date(2026, 7, 1)

Timing = tuple[float, float]


def timed(work: Callable[[], object]) -> Timing:
    """CPU and wall seconds of one call."""
    cpu, wall = time.process_time(), time.perf_counter()
    work()
    return time.process_time() - cpu, time.perf_counter() - wall


def medians(rounds: list[Timing]) -> Timing:
    return statistics.median(cpu for cpu, _ in rounds), statistics.median(wall for _, wall in rounds)


def make_files(place: Path, procedures: int) -> Path:
    """Nine clinical tables of one synthetic registry, and the three that they refer to."""
    made = generate(place, procedures=procedures)
    for path in made.glob("*.csv"):
        if path.stem not in (*CLINICAL, "meetings", "sources"):
            path.unlink()
    return made


def copy_floor(files: Path, database: Path) -> None:
    """The same files into typed tables, nothing checked, nothing kept beside."""
    threads = int(site.parse(site.template()).numbers["threads"])
    settings = {"storage_compatibility_version": STORAGE_VERSION, "threads": threads}
    connection = duckdb.connect(str(database), config=settings)
    for path in sorted(files.glob("*.csv")):
        table = tables()[path.stem]
        header = path.open(encoding="utf-8").readline().strip().split(",")
        columns = ", ".join(f'"{name}" {sql_type(table[name])}' for name in header)
        connection.execute(f"CREATE TABLE {path.stem} ({columns})")
        connection.execute(
            f"COPY {path.stem} FROM '{path}' (FORMAT csv, HEADER true, DELIMITER ',', QUOTE '\"')"
        )
    connection.execute("CHECKPOINT")
    connection.close()


def new_registry(place: Path, procedures: int = 0) -> Path:
    """An empty registry, with the memory that the import of so many procedures needs."""
    shutil.rmtree(place, ignore_errors=True)
    store.create(place, time_zone="UTC")
    # As the demo states them, so that every hour has its place and no uncertainty is missing.
    local = (
        (place / "site.toml")
        .read_text(encoding="utf-8")
        .replace("# measurement_sd_mm = ...", DEMO_MEASUREMENT)
    )
    if memory := MEMORY_MB.get(procedures):
        local = re.sub(r"(?m)^memory_limit_mb = .*$", f"memory_limit_mb = {memory}", local)
    (place / "site.toml").write_text(local + DEMO_FRAME, encoding="utf-8")
    return place


def import_into(place: Path, files: Path) -> None:
    with Registry.open(place, write=True) as registry:
        report = accept(registry, registry_csv.read(files), author="benchmark", today=TODAY)
        if report.refused or report.total.held:
            raise SystemExit("\n".join(report.lines()))
        registry.checkpoint()


def import_rounds(files: Path, scratch: Path, rounds: int, procedures: int) -> tuple[Timing, Timing]:
    """Floor and validated import in turn, so that a drift of the machine meets both."""
    floor, own = [], []
    for number in range(rounds):
        database = scratch / f"floor{number}.duckdb"
        floor.append(timed(lambda database=database: copy_floor(files, database)))
        database.unlink()
        place = new_registry(scratch / "registry", procedures)
        with Registry.open(place, write=True):
            pass  # applies the changed site.toml: not part of an import
        own.append(timed(lambda place=place: import_into(place, files)))
    return medians(floor), medians(own)


def peak_memory_mb(files: Path, scratch: Path, procedures: int) -> tuple[float, float]:
    """Peak resident memory of the whole import command, and of one that only loads the program."""
    place = new_registry(scratch / "memory", procedures)
    code = (
        "import resource, subprocess, sys\n"
        "subprocess.run(sys.argv[1:], check=True, stdout=subprocess.DEVNULL)\n"
        "print(resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024)"
    )
    peaks = []
    for arguments in (["import", str(place), str(files)], ["worklist", str(place)]):
        command = [sys.executable, "-c", code, sys.executable, "-m", "registry", *arguments]
        done = subprocess.run(command, capture_output=True, text=True, check=True, cwd=ROOT)
        peaks.append(float(done.stdout))
    return peaks[0], peaks[1]


def scan_floor(registry: Registry) -> Callable[[], None]:
    statements = [
        f"SELECT bit_xor(hash({', '.join(columns)})) FROM {name}"
        for name, columns in facts.columns_read().items()
    ]
    for statement in statements:
        plan = registry.rows(f"EXPLAIN {statement}")[0][1]
        if "SEQ_SCAN" not in plan:
            raise SystemExit(f"The scan floor does not read the table: {plan}")

    def scan() -> None:
        for statement in statements:
            registry.rows(statement)

    return scan


def rebuild(registry: Registry) -> None:
    with registry.cursor() as cursor:
        cursor.execute("BEGIN")
        facts.rebuild(cursor)
        cursor.execute("ROLLBACK")


def all_measures(registry: Registry) -> None:
    counted = [one.id for one in load_measures().values() if one.kind in ("proportion", "quantity")]
    evaluate(registry, counted, as_of=AS_OF)
    b_category_table(registry, as_of=AS_OF)
    curve(registry, as_of=AS_OF)


def sampling(registry: Registry) -> None:
    evaluate(registry, ["sampling_probability"], as_of=AS_OF)


def sampling_floor(registry: Registry) -> Callable[[], None]:
    """The rows of the measure read into memory, nothing worked out."""
    body = load_measures()["sampling_probability"].body

    def read() -> None:
        with registry.cursor() as cursor:
            store.frame(cursor, f"SELECT * FROM ({body}) AS unit", {"as_of": AS_OF})

    return read


def save_one(registry: Registry, procedure_id: str) -> None:
    """What a save adds to the row itself: its facts again, and its entry in the trail."""
    with registry.writing() as cursor:
        cursor.execute("UPDATE procedures SET cores = cores WHERE procedure_id = ?", [procedure_id])
        facts.refresh(cursor, [procedure_id])
        audit.append(
            cursor,
            registry.key,
            registry.clock(),
            audit.Entry("benchmark", "change", "procedure", procedure_id, {}),
        )


def in_place(registry: Registry, rounds: int) -> dict[str, Timing]:
    scan, read = scan_floor(registry), sampling_floor(registry)
    ids = [
        row[0]
        for row in registry.rows(
            "SELECT procedure_id FROM procedures ORDER BY procedure_id LIMIT ?", [rounds]
        )
    ]
    work: dict[str, Callable[[int], object]] = {
        "scan": lambda _: scan(),
        "facts": lambda _: rebuild(registry),
        "measures": lambda _: all_measures(registry),
        "sampling_floor": lambda _: read(),
        "sampling": lambda _: sampling(registry),
        "save": lambda number: save_one(registry, ids[number]),
    }
    return {
        name: medians([timed(lambda number=number, one=one: one(number)) for number in range(rounds)])
        for name, one in work.items()
    }


def measure_size(procedures: int, rounds: int, scratch: Path) -> dict[str, Timing]:
    files = make_files(scratch / f"files{procedures}", procedures)
    found: dict[str, Timing] = {}
    found["floor"], found["import"] = import_rounds(files, scratch, rounds, procedures)
    with Registry.open(scratch / "registry", write=True) as registry:
        found |= in_place(registry, rounds)
    shutil.rmtree(scratch / "registry")
    return found


def line(name: str, cpu: float, wall: float, goal: str, met: bool | None) -> str:
    mark = "" if met is None else ("yes" if met else "NO")
    return f"| {name} | {cpu:.3g} | {wall:.3g} | {goal} | {mark} |"


def table(found: dict[str, Timing], peak: tuple[float, float], procedures: int) -> list[str]:
    ratio = [own / floor for own, floor in zip(found["import"], found["floor"], strict=True)]
    sampling_ratio = [
        own / floor for own, floor in zip(found["sampling"], found["sampling_floor"], strict=True)
    ]
    facts_ratio = [own / floor for own, floor in zip(found["facts"], found["scan"], strict=True)]
    return [
        f"{procedures:,} procedures, nine clinical tables; {date.today()}; {os.cpu_count()} cores, "
        f"Python {platform.python_version()}, DuckDB {duckdb.__version__}, load {os.getloadavg()[0]:.1f}",
        "",
        "| what | CPU | wall | goal (CPU) | met |",
        "| --- | ---: | ---: | --- | --- |",
        line("plain COPY, s (floor)", *found["floor"], "", None),
        line("validated import with history and trail, s", *found["import"], "", None),
        line("import / floor", *ratio, "at most 3.0", ratio[0] <= 3.0),
        f"| peak memory of the import, MB (the program alone: {peak[1]:.0f}) | {peak[0]:.0f} | | under 600 | {'yes' if peak[0] < 600 else 'NO'} |",
        line("scan of the columns the facts need, s (floor)", *found["scan"], "", None),
        line("facts rebuilt / scan", *facts_ratio, "under 25", facts_ratio[0] < 25),
        line("all measures on kept facts, s", *found["measures"], "under 0.3", found["measures"][1] < 0.3),
        line("rows of sampling_probability read, s (floor)", *found["sampling_floor"], "", None),
        line("sampling_probability, s", *found["sampling"], "wall under 2", found["sampling"][1] < 2.0),
        line("sampling_probability / floor", *sampling_ratio, "at most 5", sampling_ratio[0] <= 5),
        line(
            "one procedure refreshed, with its trail entry, s",
            *found["save"],
            "under 0.05",
            found["save"][0] < 0.05,
        ),
    ]


def growth(sizes: dict[int, dict[str, Timing]], peaks: dict[int, tuple[float, float]]) -> list[str]:
    small, large = min(sizes), max(sizes)
    lines = [
        "",
        f"Growth exponent of CPU from {small:,} to {large:,} procedures (goal: at most 1.1)",
        "",
        "| what | exponent |",
        "| --- | ---: |",
    ]
    for name in ("floor", "import", "facts", "measures", "sampling"):
        exponent = math.log(sizes[large][name][0] / sizes[small][name][0]) / math.log(large / small)
        lines.append(f"| {name} | {exponent:.2f} |")
    shipped = int(site.parse(site.template()).numbers["memory_limit_mb"])
    lines += ["", "| procedures | memory_limit_mb | peak of the import, MB |", "| ---: | ---: | ---: |"]
    lines += [
        f"| {size:,} | {MEMORY_MB.get(size, shipped)} | {peaks[size][0]:.0f} |" for size in sorted(peaks)
    ]
    return lines


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--procedures", type=int, default=100_000)
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument("--growth", action="store_true")
    parser.add_argument("--json", type=Path)
    chosen = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch_name:
        scratch = Path(scratch_name)

        def files(size: int) -> Path:
            return scratch / f"files{size}"

        sizes = {chosen.procedures: measure_size(chosen.procedures, chosen.rounds, scratch)}
        peaks = {chosen.procedures: peak_memory_mb(files(chosen.procedures), scratch, chosen.procedures)}
        print("\n".join(table(sizes[chosen.procedures], peaks[chosen.procedures], chosen.procedures)))
        if chosen.growth:
            for size in sorted({10_000, 1_000_000} - sizes.keys()):
                sizes[size] = measure_size(size, min(chosen.rounds, 3), scratch)
                peaks[size] = peak_memory_mb(files(size), scratch, size)
                shutil.rmtree(files(size))
            print("\n".join(growth(sizes, peaks)))
        if chosen.json:
            chosen.json.write_text(json.dumps({str(size): found for size, found in sizes.items()}, indent=2))


if __name__ == "__main__":
    main()
