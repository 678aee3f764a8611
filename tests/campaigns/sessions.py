"""Fifteen people with a page open each, at 20,000 procedures: how long a click takes.

    python -m tests.campaigns.sessions --people 15 --seconds 120
    python -m tests.campaigns.sessions --folder FOLDER      a registry that is there, made with the command demo

A real page server on loopback. Each person is a websocket client in a process of its own, which opens
pages one after the other as a person would, with up to ``--pause`` seconds in between. Every page is
opened once by somebody before the clock runs, as it is on a working day. Told: the seconds from asking to
the end of the run, for all runs, and runs that ended in an error.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from benchmarks.visit import Unfinished, Visit, demo
from tests.browser.server import serving

ROOT = Path(__file__).resolve().parents[2]
#: What is open on a working day: the meeting, the lists, records, entry, and now and then the figures.
PAGES = [
    "overview",
    "concordance-review",
    "meetings",
    "follow-up-due",
    "procedure-record",
    "entry",
    "in-the-room",
    "intake",
    "sampling-yield",
    "concordance",
    "complications",
    "monitoring",
    "timeliness",
    "completeness",
    "trail",
]
GOAL = 2.0


def address_of(page: str) -> str:
    """The first page stands at the root."""
    return "" if page == "overview" else page


def visit(address: str, person: int, seconds: float, pause: float) -> dict[str, list[float]]:
    """What one person does: seconds of each run by page; runs that failed under ``failed``."""
    draw = random.Random(person)
    told: dict[str, list[float]] = {"failed": []}
    end = time.monotonic() + seconds
    with Visit(address) as open_page:
        open_page.open("")
        while time.monotonic() < end:
            time.sleep(draw.uniform(0.0, pause))
            page = draw.choice(PAGES)
            try:
                told.setdefault(page, []).append(open_page.open(address_of(page)).seconds)
            except Unfinished:
                told["failed"].append(0.0)
    return told


def run(folder: Path, people: int, seconds: float, pause: float) -> dict[str, list[float]]:
    """All people at once; seconds of all runs by page."""
    every: dict[str, list[float]] = {"failed": []}
    with serving(folder) as address:
        with Visit(address) as first:
            for page in PAGES:
                first.open(address_of(page))
        command = [sys.executable, "-m", "tests.campaigns.sessions", "--seconds", str(seconds)]
        command += ["--pause", str(pause), "--address", address]
        others = [
            subprocess.Popen(
                [*command, "--person", str(person)],
                cwd=ROOT,
                env={**os.environ, "PYTHONPATH": str(ROOT)},
                stdout=subprocess.PIPE,
                text=True,
            )
            for person in range(people)
        ]
        for one in others:
            told, _ = one.communicate(timeout=seconds + 300)
            if one.returncode:
                every["failed"].append(0.0)
                continue
            for page, found in json.loads(told).items():
                every.setdefault(page, []).extend(found)
    return every


def main() -> None:
    """Print the figures; exit code 1 where a run failed or the goal is missed."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--people", type=int, default=15)
    parser.add_argument("--seconds", type=float, default=120.0)
    parser.add_argument("--pause", type=float, default=10.0)
    parser.add_argument("--procedures", type=int, default=20_000)
    parser.add_argument("--folder", type=Path)
    parser.add_argument("--no-goal", action="store_true", help="Tell the figures, and fail on errors only.")
    parser.add_argument("--address", help=argparse.SUPPRESS)
    parser.add_argument("--person", type=int, help=argparse.SUPPRESS)
    chosen = parser.parse_args()
    if chosen.address:
        print(json.dumps(visit(chosen.address, chosen.person, chosen.seconds, chosen.pause)))
        return
    with tempfile.TemporaryDirectory(prefix="sessions-") as scratch:
        folder = chosen.folder or demo(Path(scratch) / "demo", chosen.procedures)
        every = run(folder, chosen.people, chosen.seconds, chosen.pause)
    failed = len(every.pop("failed"))
    for page, found in sorted(every.items(), key=lambda pair: -max(pair[1])):
        print(
            f"{page:22} {len(found):5} runs, median {statistics.median(found):.2f} s, longest {max(found):.2f} s"
        )
    seconds = [one for found in every.values() for one in found]
    late = statistics.quantiles(seconds, n=20)[-1]
    print(
        f"{chosen.people} people, {len(seconds)} runs, failed {failed}; median {statistics.median(seconds):.2f} s, "
        f"95th percentile {late:.2f} s; load of the machine {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores"
    )
    raise SystemExit(1 if failed or (late >= GOAL and not chosen.no_goal) else 0)


if __name__ == "__main__":
    main()
