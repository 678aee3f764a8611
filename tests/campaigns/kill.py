"""Kill the owner at a random moment and look at what it leaves behind.

    python -m tests.campaigns.kill --trials 1000
    python -m tests.campaigns.kill --trials 300 --only backup

A child works on a registry folder and notes each thing it was told is done; it is killed
with SIGKILL, and the folder is opened again. Lost: told done and not there. Half: a part
of one save or batch is there. Double: there twice after it was sent again. Each must be 0.
A kill is no power cut: what the system had taken over from the process is still written.
"""

from __future__ import annotations

import argparse
import contextlib
import multiprocessing
import os
import random
import shutil
import signal
import sys
import tempfile
import time
from collections import Counter
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from registry import audit, backup, migrations, store, upgrade
from registry.errors import RegistryError
from registry.imports import registry_csv
from registry.intake import accept
from registry.store import Registry
from registry.verify import verify
from synthetic_data.generate import write as generate
from tests.build import TODAY, base, received

if TYPE_CHECKING:
    from collections.abc import Callable

#: Share of trials per kind of work.
SHARES = {"save": 0.3, "import": 0.3, "checkpoint": 0.2, "migration": 0.1, "backup": 0.1}
AS_OF = date(2026, 6, 30)
#: A batch of the import trials; its tables are whole or not there.
BATCH = 40


@dataclass
class Tally:
    """What was found over all trials."""

    trials: Counter[str] = field(default_factory=Counter)
    killed_at_work: int = 0
    lost: list[str] = field(default_factory=list)
    half: list[str] = field(default_factory=list)
    double: list[str] = field(default_factory=list)
    damaged: list[str] = field(default_factory=list)
    reopening: list[float] = field(default_factory=list)

    @property
    def sound(self) -> bool:
        """Nothing was lost, half there, there twice, or damaged."""
        return not (self.lost or self.half or self.double or self.damaged)

    def lines(self) -> list[str]:
        """For docs/reliability.md."""
        worst = max(self.reopening, default=0.0)
        return [
            f"{sum(self.trials.values())} kills ({', '.join(f'{n} {k}' for k, n in sorted(self.trials.items()))}), "
            f"{self.killed_at_work} of them before the work was done",
            f"lost {len(self.lost)}, half {len(self.half)}, double {len(self.double)}, damaged {len(self.damaged)}; "
            f"longest reopening {worst:.2f} s",
            *self.lost,
            *self.half,
            *self.double,
            *self.damaged,
        ]


class Work:
    """What the child does, and what must hold afterwards. ``files`` is a small synthetic batch."""

    def __init__(self, place: Path, files: Path) -> None:
        self.folder = place / "registry"
        self.acks = place / "acks"
        self.files = files

    def told(self) -> list[str]:
        return self.acks.read_text().split() if self.acks.exists() else []

    def tell(self, what: str) -> None:
        with self.acks.open("a") as handle:
            handle.write(f"{what}\n")

    def save(self) -> None:
        """One complication after another, each with its entry in the trail."""
        with Registry.open(self.folder, write=True) as registry:
            for number in range(1000):
                rows = {"complications": [complication(number)]}
                accept(registry, received(rows), author="campaign", today=TODAY)
                self.tell(f"2026-{number}")

    def checkpoint(self) -> None:
        """Saves of the trail with a checkpoint after every third."""
        with Registry.open(self.folder, write=True) as registry:
            for number in range(1000):
                registry.record(audit.Entry("campaign", "look", "procedure", str(number), {}))
                self.tell(str(number))
                if number % 3 == 2:
                    registry.checkpoint()

    def bring(self) -> None:
        """A batch of several tables."""
        with Registry.open(self.folder, write=True) as registry:
            accept(registry, registry_csv.read(self.files), author="campaign", today=TODAY)
            self.tell("batch")

    def migration(self) -> None:
        """An upgrade by one migration."""
        one_more_migration()
        upgrade.upgrade(
            self.folder, self.folder.parent / "backups", as_of=AS_OF, author="campaign", clock=store.utc_now
        )
        self.tell("migrated")

    def backup(self) -> None:
        """Backups, each after a save."""
        with Registry.open(self.folder, write=True) as registry:
            for number in range(1000):
                registry.record(audit.Entry("campaign", "look", "procedure", str(number), {}))
                self.tell(str(number))
                backup.backup(registry, self.folder.parent / "backups", author="campaign")


def complication(number: int) -> dict[str, str]:
    """A complication of the one procedure; its day tells it from the others."""
    day = date.fromordinal(date(2025, 3, 10).toordinal() + number)
    row = dict(base()["complications"][0])
    return {**row, "complication_id": f"C{number}", "onset_on": day.isoformat()}


def one_more_migration() -> None:
    """Make this process the program of a later version."""
    known = migrations.available
    migrations.available = lambda place: (  # type: ignore[assignment]
        [*known(place), (99, "0099_later.sql", "ALTER TABLE findings ADD COLUMN later INTEGER")]
        if place == "migrations"
        else known(place)
    )


def look(kind: str, work: Work, tally: Tally, where: str) -> None:
    """Open what is left and compare it with what the child was told."""
    if kind == "migration":
        one_more_migration()
    began = time.monotonic()
    try:
        with Registry.open(work.folder, write=True, upgrade=kind == "migration") as registry:
            tally.reopening.append(time.monotonic() - began)
            findings = verify(registry)
            tally.damaged += [f"{where}: {one}" for one in findings]
            CHECKS[kind](registry, work, tally, where)
    except RegistryError as problem:
        tally.damaged.append(f"{where}: {problem}")


def _saves(registry: Registry, work: Work, tally: Tally, where: str) -> None:
    told = len(work.told())
    days = [row[0] for row in registry.rows("SELECT onset_on FROM complications ORDER BY onset_on")]
    batches = registry.rows("SELECT count(*) FROM import_batch WHERE author = 'campaign'")[0][0]
    expected = [date.fromisoformat(complication(number)["onset_on"]) for number in range(told)]
    present = [one for one in days if one in set(expected)]
    if len(set(present)) < told:
        tally.lost.append(f"{where}: {told} saves told, {len(set(present))} there")
    if batches not in (told, told + 1):
        tally.half.append(f"{where}: {told} saves told, {batches} batches")
    again = {"complications": [complication(max(told - 1, 0))]}
    if told:
        accept(registry, received(again), author="again", today=TODAY)
    counted = registry.rows("SELECT count(*) - count(DISTINCT complication_id) FROM complications")
    if counted[0][0]:
        tally.double.append(f"{where}: {counted[0][0]} complications are there twice")


def _looks(registry: Registry, work: Work, tally: Tally, where: str) -> None:
    told = work.told()
    there = registry.rows("SELECT object_key FROM audit_event WHERE action = 'look' ORDER BY seq")
    if [key for (key,) in there][: len(told)] != told:
        tally.lost.append(f"{where}: {len(told)} entries told, {len(there)} there")
    if len(there) > len(told) + 1:
        tally.half.append(f"{where}: more entries than were begun")
    for one in (work.folder.parent / "backups").glob(f"*/{backup.MANIFEST}"):
        with contextlib.suppress(OSError):
            backup.check(one.parent)


def _batch(registry: Registry, work: Work, tally: Tally, where: str) -> None:
    counts = dict(registry.rows("SELECT table_name, sum(accepted_new) FROM batch_rows GROUP BY table_name"))
    stored = {
        name: registry.rows(f"SELECT count(*) FROM {name}")[0][0] for name in ("procedures", "specimens")
    }
    one_procedure = {"procedures": 1, "specimens": len(base()["specimens"])}
    for name, number in stored.items():
        if number != counts.get(name, 0):
            tally.half.append(f"{where}: {number} rows of {name}, {counts.get(name, 0)} by the batches")
    if work.told() and stored["procedures"] <= one_procedure["procedures"]:
        tally.lost.append(f"{where}: the batch was told and is not there")
    accept(registry, registry_csv.read(work.files), author="again", today=TODAY)
    after = registry.rows("SELECT count(*), count(DISTINCT procedure_id) FROM procedures")[0]
    if after[0] != after[1] or after[0] != one_procedure["procedures"] + BATCH:
        tally.double.append(f"{where}: {after[0]} procedures after the batch was sent again")


def _migrated(registry: Registry, work: Work, tally: Tally, where: str) -> None:
    if registry.rows("SELECT count(*) FROM procedures") != [(1,)]:
        tally.lost.append(f"{where}: the procedure is gone")
    columns = registry.rows(
        "SELECT count(*) FROM information_schema.columns WHERE table_name = 'findings' AND column_name = 'later'"
    )
    if columns != [(1,)]:
        tally.half.append(f"{where}: the column of the migration is not there")


CHECKS = {"save": _saves, "import": _batch, "checkpoint": _looks, "migration": _migrated, "backup": _looks}
_METHOD = {
    "save": "save",
    "import": "bring",
    "checkpoint": "checkpoint",
    "migration": "migration",
    "backup": "backup",
}
#: Longest time that a child is left alone, s: about as long as its work takes.
_SECONDS = {"save": 1.5, "import": 1.5, "checkpoint": 0.4, "migration": 4.0, "backup": 1.5}


def trial(kind: str, template: Path, files: Path, scratch: Path, seed: int, tally: Tally) -> None:
    """One kill."""
    place = Path(tempfile.mkdtemp(dir=scratch))
    shutil.copytree(template, place / "registry")
    work = Work(place, files)
    context = multiprocessing.get_context("fork")
    child = context.Process(target=getattr(work, _METHOD[kind]), daemon=True)
    child.start()
    child.join(random.Random(seed).uniform(0.0, _SECONDS[kind]))
    if child.is_alive():
        tally.killed_at_work += 1
        os.kill(child.pid or 0, signal.SIGKILL)
    child.join()
    tally.trials[kind] += 1
    # In a child too: it may become a later version of the program.
    outcome = context.SimpleQueue()

    def judge() -> None:
        mine = Tally()
        look(kind, work, mine, f"{kind} trial {seed}")
        outcome.put(mine)

    judged = context.Process(target=judge)
    judged.start()
    mine = outcome.get()
    judged.join()
    for name in ("lost", "half", "double", "damaged", "reopening"):
        getattr(tally, name).extend(getattr(mine, name))
    shutil.rmtree(place)


def run(
    trials: int, seed: int = 1, tell: Callable[[Tally], None] | None = None, only: str | None = None
) -> Tally:
    """A campaign of so many kills over all kinds of work, or one; ``tell`` gets the tally after each."""
    tally = Tally()
    with tempfile.TemporaryDirectory(prefix="kill-") as scratch_name:
        scratch = Path(scratch_name)
        template = scratch / "template"
        files = scratch / "files"
        # Apart: neither engine nor frames may run in the process that forks, their threads do not come along.
        first = multiprocessing.get_context("fork").Process(target=_fill, args=(template, files, seed))
        first.start()
        first.join()
        number = 0
        for kind, share in (SHARES if only is None else {only: 1.0}).items():
            for _ in range(max(1, round(share * trials))):
                number += 1
                trial(kind, template, files, scratch, seed * 100_000 + number, tally)
                if tell is not None:
                    tell(tally)
    return tally


def _fill(folder: Path, files: Path, seed: int) -> None:
    store.create(folder)
    with (folder / "site.toml").open("a") as handle:
        handle.write('\n[frames.SUITE]\nx_plus = "medial"\ny_plus = "cranial"\nz_plus = "posterior"\n')
    generate(files, procedures=BATCH, seed=seed)
    with Registry.open(folder, write=True) as registry:
        rows = base()
        rows["complications"] = []
        accept(registry, received(rows), author="first", today=TODAY)


def _tell_each_fifty(tally: Tally) -> None:
    """A campaign of a thousand takes an hour: what was found so far must not wait for its end."""
    if sum(tally.trials.values()) % 50 == 0:
        print(*tally.lines(), sep="\n", file=sys.stderr, flush=True)


def main() -> None:
    """Print the figures; exit code 1 where one of them is not 0."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--trials", type=int, default=1000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", choices=list(SHARES))
    chosen = parser.parse_args()
    tally = run(chosen.trials, chosen.seed, _tell_each_fifty, chosen.only)
    print(f"{datetime.now(UTC):%Y-%m-%d}")
    print("\n".join(tally.lines()))
    raise SystemExit(0 if tally.sound else 1)


if __name__ == "__main__":
    main()
