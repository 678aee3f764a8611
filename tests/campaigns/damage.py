"""Damage the files of a registry in every way that disks do, and see what it says.

    python -m tests.campaigns.damage --trials 2000

Right: it opens, verifies and holds every save. Refused: it does not open, or ``verify`` or
``recover`` names what is missing, in a sentence. Wrong (must be 0): it opens as if nothing
were missing. Crashed (must be 0): anything but a sentence.
"""

from __future__ import annotations

import argparse
import os
import random
import shutil
import tempfile
from collections import Counter
from collections.abc import Callable
from functools import partial
from pathlib import Path

from registry import audit, store
from registry.errors import RegistryError
from registry.store import Registry, utc_now
from registry.verify import verify
from tests.campaigns.apart import Died, apart

SAVES = 30
DATABASE, LOG = "registry.duckdb", "registry.duckdb.wal"


def cut(path: Path, draw: random.Random) -> None:
    """A file that ends too early."""
    os.truncate(path, draw.randrange(path.stat().st_size))


def flip(path: Path, draw: random.Random) -> None:
    """One bit that changed."""
    content = bytearray(path.read_bytes())
    content[draw.randrange(len(content))] ^= 1 << draw.randrange(8)
    path.write_bytes(bytes(content))


def zeros(path: Path, draw: random.Random) -> None:
    """An end that was allotted and never written."""
    size = path.stat().st_size
    keep = draw.randrange(size)
    content = path.read_bytes()[:keep] + bytes(size - keep)
    path.write_bytes(content)


def gone(path: Path, _: random.Random) -> None:
    """A file that was taken for rubbish."""
    path.unlink()


#: File, way of damage, share of the trials.
WAYS: list[tuple[str, Callable[[Path, random.Random], None], float]] = [
    (LOG, cut, 0.25),
    (LOG, flip, 0.3),
    (LOG, zeros, 0.14),
    (LOG, gone, 0.01),
    (DATABASE, flip, 0.2),
    (DATABASE, cut, 0.1),
]


def make(folder: Path) -> None:
    """A registry with so many saves in its log, left without closing."""
    store.create(folder)
    registry = Registry.open(folder, write=True)
    for number in range(SAVES):
        registry.record(audit.Entry("campaign", "look", "procedure", str(number), {}))
    os._exit(0)


def look(folder: Path) -> str:
    """right, refused or wrong."""
    try:
        with Registry.open(folder, write=True, clock=utc_now) as registry:
            findings = verify(registry)
            looks = registry.rows("SELECT count(*) FROM audit_event WHERE action = 'look'")[0][0]
    except RegistryError:
        return "refused"
    if findings:
        return "refused"
    return "right" if looks == SAVES else f"wrong ({looks} of {SAVES})"


def run(trials: int, seed: int = 1) -> Counter[str]:
    """How often each answer came, over all ways of damage."""
    draw, answers = random.Random(seed), Counter[str]()
    with tempfile.TemporaryDirectory(prefix="damage-") as scratch_name:
        scratch = Path(scratch_name)
        try:
            apart(partial(make, scratch / "template"))
        except Died as ended:
            if ended.code != 0:
                raise
        for file, way, share in WAYS:
            for _ in range(max(1, round(trials * share))):
                folder = shutil.copytree(scratch / "template", scratch / "registry")
                (folder / "owner.json").unlink(missing_ok=True)
                way(folder / file, draw)
                try:
                    answer = apart(partial(look, folder))
                except Died as ended:
                    answer = f"crashed ({ended})"
                answers[f"{file}, {way.__name__}: {answer}"] += 1
                shutil.rmtree(folder)
    return answers


def main() -> None:
    """Print the figures; exit code 1 where an answer was wrong or none."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--trials", type=int, default=2000)
    parser.add_argument("--seed", type=int, default=1)
    chosen = parser.parse_args()
    answers = run(chosen.trials, chosen.seed)
    for name, number in sorted(answers.items()):
        print(f"{number:5} {name}")
    bad = sum(number for name, number in answers.items() if "wrong" in name or "crashed" in name)
    print(f"{sum(answers.values())} files damaged; wrong or crashed {bad}")
    raise SystemExit(1 if bad else 0)


if __name__ == "__main__":
    main()
