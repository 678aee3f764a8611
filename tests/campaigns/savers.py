"""Twenty people save at once, each through intake; nothing is lost and nothing overwritten unseen.

    python -m tests.campaigns.savers --people 20 --saves 20

Between two saves a person takes up to ``--pause`` seconds; with 0 all save without end, which
measures how long a queue of so many is and not how a working day goes. Every save is a complication of the person's own, and now and then a correction of the one
procedure that all share. Afterwards each complication is there once, and the shared row has
as many versions in its history as corrections were told done.
"""

from __future__ import annotations

import argparse
import random
import statistics
import tempfile
import threading
import time
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path

from registry import store
from registry.errors import RegistryError
from registry.intake import accept
from registry.store import Registry
from registry.verify import verify
from tests.build import TODAY, base, received


@dataclass
class Told:
    """What the savers were told."""

    done: list[str] = field(default_factory=list)
    corrected: int = 0
    failed: list[str] = field(default_factory=list)
    seconds: list[float] = field(default_factory=list)


def save(registry: Registry, person: int, saves: int, pause: float, told: Told) -> None:
    """What one person does."""
    draw = random.Random(person)
    for number in range(saves):
        time.sleep(draw.uniform(0.0, pause))
        began = time.monotonic()
        day = date.fromordinal(date(2025, 3, 10).toordinal() + person * saves + number)
        key = f"C{person}-{number}"
        row = {**base()["complications"][0], "complication_id": key, "onset_on": day.isoformat()}
        rows = {"complications": [row]}
        shared = number % 5 == 4
        if shared:
            rows["procedures"] = [
                {**base()["procedures"][0], "cores": str(1 + (person * saves + number) % 59)}
            ]
        try:
            report = accept(registry, received(rows), author=f"person {person}", today=TODAY)
        except RegistryError as problem:
            told.failed.append(str(problem))
            continue
        told.seconds.append(time.monotonic() - began)
        told.done.append(day.isoformat())
        told.corrected += shared and report.total.version > 0


def run(people: int, saves: int, pause: float) -> tuple[Told, list[str]]:
    """What was told, and what does not agree with it."""
    told = Told()
    with tempfile.TemporaryDirectory(prefix="savers-") as scratch:
        folder = Path(scratch) / "registry"
        store.create(folder)
        with (folder / "site.toml").open("a") as handle:
            handle.write('\n[frames.SUITE]\nx_plus = "medial"\ny_plus = "cranial"\nz_plus = "posterior"\n')
        with Registry.open(folder, write=True) as registry:
            rows = base()
            rows["complications"] = []
            accept(registry, received(rows), author="first", today=TODAY)
            threads = [
                threading.Thread(target=save, args=(registry, person, saves, pause, told))
                for person in range(people)
            ]
            for one in threads:
                one.start()
            for one in threads:
                one.join()
            there = [
                str(day) for (day,) in registry.rows("SELECT onset_on FROM complications ORDER BY onset_on")
            ]
            versions = registry.rows("SELECT count(*) FROM history.procedures")[0][0]
            wrong = [str(one) for one in verify(registry)]
    if there != sorted(told.done):
        wrong.append(f"{len(told.done)} saves told done, {len(there)} there")
    if versions != told.corrected:
        wrong.append(f"{told.corrected} corrections told done, {versions} versions in the history")
    return told, wrong


def main() -> None:
    """Print the figures; exit code 1 where something was lost."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--people", type=int, default=20)
    parser.add_argument("--saves", type=int, default=20)
    parser.add_argument("--pause", type=float, default=10.0)
    chosen = parser.parse_args()
    told, wrong = run(chosen.people, chosen.saves, chosen.pause)
    late = statistics.quantiles(told.seconds, n=20)[-1]
    print("\n".join(wrong + told.failed))
    print(
        f"{chosen.people} people, {len(told.done)} saves, {told.corrected} of them corrections of one row; "
        f"not saved {len(told.failed)}, lost or unseen {len(wrong)}; "
        f"median {statistics.median(told.seconds):.2f} s, 95th percentile {late:.2f} s"
    )
    raise SystemExit(1 if wrong or told.failed else 0)


if __name__ == "__main__":
    main()
