"""Let the disk be full at many points of a series of saves, and look at what is there.

    python -m tests.campaigns.full_disk --points 50

The limit is one on the size of each file (RLIMIT_FSIZE), which the engine meets as a write
that fails. Every save is told done or not saved; done means there after reopening.
"""

from __future__ import annotations

import argparse
import resource
import shutil
import signal
import tempfile
from functools import partial
from pathlib import Path

from registry import audit, store
from registry.errors import RegistryError
from registry.store import Registry
from registry.verify import verify
from tests.campaigns.apart import Died, apart

MOST = 400


def save_until_full(folder: Path, room: int) -> tuple[int, str]:
    """Save until a save fails; how many were told done, and what the failure said."""
    signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    with Registry.open(folder, write=True) as registry:
        database, log = folder / "registry.duckdb", folder / "registry.duckdb.wal"
        largest = max(path.stat().st_size for path in (database, log) if path.exists())
        resource.setrlimit(resource.RLIMIT_FSIZE, (largest + room, resource.RLIM_INFINITY))
        done = 0
        try:
            for number in range(MOST):
                filling = {"note": "x" * 4000}
                registry.record(audit.Entry("campaign", "look", "procedure", str(number), filling))
                done += 1
                if number % 10 == 9:
                    registry.checkpoint()
        except RegistryError as problem:
            return done, str(problem)
        except OSError as problem:
            return done, f"unplanned: {problem}"
        finally:
            resource.setrlimit(resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY, resource.RLIM_INFINITY))
    return done, ""


def look(folder: Path) -> tuple[int, list[str]]:
    """How many saves are there, and what does not agree."""
    with Registry.open(folder, write=True) as registry:
        looks = registry.rows("SELECT count(*) FROM audit_event WHERE action = 'look'")[0][0]
        registry.record(audit.Entry("campaign", "after", "registry", "", {}))
        return int(looks), [str(one) for one in verify(registry)]


def run(points: int) -> list[str]:
    """One line per point at which something was lost or went unsaid."""
    wrong = []
    with tempfile.TemporaryDirectory(prefix="full-") as scratch_name:
        scratch = Path(scratch_name)
        apart(partial(store.create, scratch / "template"))
        for point in range(points):
            room = 20_000 * point * point // points + 1
            folder = shutil.copytree(scratch / "template", scratch / "registry")
            try:
                done, said = apart(partial(save_until_full, folder, room))
                there, findings = apart(partial(look, folder))
            except Died as ended:
                wrong.append(f"room {room}: {ended}")
            else:
                if there not in (done, done + 1) or findings or said.startswith("unplanned"):
                    wrong.append(f"room {room}: {done} told, {there} there; {said}; {findings}")
            shutil.rmtree(folder)
    return wrong


def main() -> None:
    """Print the figures; exit code 1 where something was lost."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--points", type=int, default=50)
    chosen = parser.parse_args()
    wrong = run(chosen.points)
    print(
        "\n".join([*wrong, f"{chosen.points} points at which the disk was full; lost or unsaid {len(wrong)}"])
    )
    raise SystemExit(1 if wrong else 0)


if __name__ == "__main__":
    main()
