"""How long a page takes to run again, at 20,000 procedures, against an empty page of the same run.

    python benchmarks/pages.py                       makes the registry first (some minutes)
    python benchmarks/pages.py --folder FOLDER       a registry that is there, made with the command demo

A real page server on loopback, with its gate, and a websocket client (``benchmarks/visit.py``): what a
person waits for is the run of the page and the messages it sends, and the test harness of the
page library sends none. Nothing is drawn, so the browser's own time is not in it.

Two figures a page: *again*, when what it asks is kept (a click that changes nothing that was asked),
median and 95th percentile; and *anew*, when nothing is kept because the as-of date is another one, median.
The floor is a page of one line of text, served by the same library with the same flags.
"""

from __future__ import annotations

import argparse
import os
import statistics
import subprocess
import sys
import tempfile
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT))

from benchmarks.visit import Visit, demo  # noqa: E402
from dashboards.app import PAGES  # noqa: E402
from dashboards.launch import GATED, command  # noqa: E402
from tests.browser.server import free_port, serving, wait_for  # noqa: E402

if TYPE_CHECKING:
    from collections.abc import Iterator

GOAL = 1.0
LAST = date(2026, 6, 30)


@dataclass(frozen=True)
class Timed:
    """Seconds of one page: again (median and 95th percentile) and anew (median)."""

    again: float
    late: float
    anew: float


@contextmanager
def empty_page(place: Path) -> Iterator[str]:
    """Address of a server with one page of one line."""
    script = place / "empty.py"
    script.write_text('import streamlit as st\n\nst.html("<p>Nothing.</p>")\n', encoding="utf-8")
    port = free_port()
    arguments = [str(script) if one == str(GATED) else one for one in command(place, port)]
    arguments[2] = "streamlit"
    server = subprocess.Popen(
        arguments, cwd=place, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, env={**os.environ}
    )
    try:
        wait_for(f"http://127.0.0.1:{port}/_stcore/health", server)
        yield f"http://127.0.0.1:{port}"
    finally:
        server.terminate()
        server.wait(timeout=20)


def again(visit: Visit, page: str, rounds: int) -> list[float]:
    """Seconds of so many runs of a page that asks what it asked before."""
    visit.open(page)
    return [visit.open(page).seconds for _ in range(rounds)]


def anew(visit: Visit, page: str, rounds: int) -> list[float]:
    """Seconds of runs as of another day each; none where the day has no effect on the page."""
    found_day = [one for one in visit.open(page).widgets("date_input") if one.label == "As of"]
    # A page that a demo does not have says so, without filters.
    if not found_day or found_day[0].disabled:
        return []
    found = []
    for number in range(1, rounds + 1):
        day = LAST - timedelta(days=number)
        visit.ask(page, **{found_day[0].id: (day.strftime("%Y/%m/%d"),)})
        run = visit.read()
        assert str(day) in run.text() or page in _WITHOUT_DAY, f"{page}: the date was not taken"
        found.append(run.seconds)
    return found


#: Pages whose text does not spell the as-of date.
_WITHOUT_DAY = frozenset(
    {"concordance-review", "follow-up-due", "procedure-record", "yearly-table", "completeness"}
)


def timed(again_: list[float], anew_: list[float]) -> Timed:
    late = statistics.quantiles(again_, n=20)[-1]
    return Timed(statistics.median(again_), late, statistics.median(anew_) if anew_ else float("nan"))


def measure(folder: Path, rounds: int, names: list[str]) -> tuple[Timed, dict[str, Timed]]:
    """The floor, and every page."""
    with tempfile.TemporaryDirectory() as scratch, empty_page(Path(scratch)) as at, Visit(at) as visit:
        floor = timed(again(visit, "", rounds * 2), [])
    found = {}
    with serving(folder) as at, Visit(at) as visit:
        visit.open("")
        for name in names:
            path = "" if name == "overview" else name.replace("_", "-")
            new = anew(visit, path, 3)
            found[name] = timed(again(visit, path, rounds), new)
    return floor, found


def table(floor: Timed, found: dict[str, Timed], procedures: str) -> list[str]:
    lines = [
        f"{procedures} procedures, {os.cpu_count()} cores; seconds, and times the empty page ({floor.again:.3f} s)",
        "",
        "| page | again, median | 95th percentile | times the floor | anew, median | under 1 s |",
        "| --- | ---: | ---: | ---: | ---: | --- |",
    ]
    for name, one in sorted(found.items(), key=lambda pair: -pair[1].late):
        new = "" if one.anew != one.anew else f"{one.anew:.2f}"
        kept = "yes" if one.late < GOAL else "NO"
        lines.append(
            f"| {name.replace('_', ' ')} | {one.again:.2f} | {one.late:.2f} | {one.again / floor.again:.0f} | {new} | {kept} |"
        )
    return lines


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--folder", type=Path)
    parser.add_argument("--procedures", type=int, default=20_000)
    parser.add_argument("--rounds", type=int, default=20)
    parser.add_argument("--page", action="append", help="Only this page; may be given several times.")
    chosen = parser.parse_args()
    known = [name for pages in PAGES.values() for name in pages]
    names = chosen.page or known
    if unknown := sorted(set(names) - set(known)):
        parser.error(f"no such page: {', '.join(unknown)}. Known: {', '.join(known)}")
    with tempfile.TemporaryDirectory() as scratch:
        folder = chosen.folder or demo(Path(scratch) / "demo", chosen.procedures)
        floor, found = measure(folder, chosen.rounds, names)
    print("\n".join(table(floor, found, f"{chosen.procedures:,}")))
    raise SystemExit(0 if all(one.late < GOAL for one in found.values()) else 1)


if __name__ == "__main__":
    main()
