"""Files that went wrong on their way: every one is read or refused in a sentence.

    python -m tests.campaigns.mutated_files --files 200000

Each file is a table of the committed example with a few bytes changed, cut, doubled or
thrown in. All go through the reader; every ``--whole``-th through the whole of intake as a
dry run. Traceback, longer than 5 s, more than 512 MB: each must be 0.
"""

from __future__ import annotations

import argparse
import hashlib
import random
import resource
import tempfile
import time
from collections import Counter
from functools import partial
from pathlib import Path

from registry import store
from registry.errors import RegistryError
from registry.imports import registry_csv
from registry.intake import Options, accept
from registry.store import Registry
from tests.build import TODAY
from tests.campaigns.apart import Died, apart

EXAMPLE = Path(__file__).resolve().parents[2] / "synthetic_data" / "example"
TABLES = ("patients", "findings", "procedures", "targeting", "specimens", "pathology", "reviews", "followup")
ODD = [b'"', b"\x00", b"\xff", b"\r", b"\n", b",", b";", b"\t", "\ufeff".encode(), "é".encode("latin-1"), b"=cmd|' /C x'!A0",
       b"9" * 400, b'""', b"\xed\xa0\x80", b"1e999", b"NaN", b"2025-02-30", "\u202e".encode(), b" " * 3000]  # fmt: skip
LINES, SECONDS, MEGABYTES, BATCH = 12, 5.0, 512, 500


def mutated(content: bytes, draw: random.Random) -> bytes:
    """A few changes, as transport, editors and people make them."""
    for _ in range(draw.randint(1, 4)):
        place = draw.randrange(len(content) + 1)
        match draw.randrange(6):
            case 0:
                content = content[:place] + draw.choice(ODD) + content[place:]
            case 1:
                content = content[:place]
            case 2:
                content = content[:place] + content[place + draw.randint(1, 40) :]
            case 3:
                content = content[:place] + content[max(0, place - draw.randint(1, 200)) :]
            case 4 if place < len(content):
                content = content[:place] + bytes([draw.randrange(256)]) + content[place + 1 :]
            case _:
                lines = content.split(b"\n")
                draw.shuffle(lines)
                content = b"\n".join(lines)
        if not content:
            content = draw.choice(ODD)
    return content


def run_batch(folder: Path, seed: int, files: int, whole: int) -> tuple[Counter[str], float, float]:
    """Answers, longest time and peak memory of one batch of files."""
    answers, slowest = Counter[str](), 0.0
    place = folder.parent / "mutated"
    place.mkdir(exist_ok=True)
    with Registry.open(folder, write=True) as registry:
        for number in range(files):
            draw = random.Random(seed * BATCH + number)
            name = draw.choice(TABLES)
            lines = (EXAMPLE / f"{name}.csv").read_bytes().splitlines(keepends=True)
            path = place / f"{name}.csv"
            path.write_bytes(mutated(b"".join(lines[:1] + draw.sample(lines[1:], LINES)), draw))
            began = time.monotonic()
            try:
                received = registry_csv.read_files([path])
                if (seed * BATCH + number) % whole == 0:
                    accept(registry, received, author="campaign", today=TODAY, options=Options(dry_run=True))
                answers["read"] += 1
            except RegistryError:
                answers["refused in a sentence"] += 1
            except Exception as problem:
                digest = hashlib.sha256(path.read_bytes()).hexdigest()[:12]
                answers[
                    f"TRACEBACK {type(problem).__name__} {problem} (file {seed * BATCH + number}, {digest})"
                ] += 1
            slowest = max(slowest, time.monotonic() - began)
            path.unlink()
    return answers, slowest, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def run(files: int, whole: int) -> tuple[Counter[str], float, float]:
    """Over all batches, each in a process of its own."""
    answers, slowest, peak = Counter[str](), 0.0, 0.0
    with tempfile.TemporaryDirectory(prefix="mutated-") as scratch:
        folder = Path(scratch) / "registry"
        apart(partial(store.create, folder))
        for seed in range(-(-files // BATCH)):
            number = min(BATCH, files - seed * BATCH)
            try:
                told, longest, most = apart(partial(run_batch, folder, seed, number, whole), seconds=600)
            except Died as ended:
                answers[f"CRASH in batch {seed}: {ended}"] += 1
                continue
            answers += told
            slowest, peak = max(slowest, longest), max(peak, most)
    return answers, slowest, peak


def main() -> None:
    """Print the figures; exit code 1 where a file ended otherwise."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--files", type=int, default=200_000)
    parser.add_argument("--whole", type=int, default=100)
    chosen = parser.parse_args()
    answers, slowest, peak = run(chosen.files, chosen.whole)
    for name, number in answers.most_common(20):
        print(f"{number:7} {name}")
    bad = sum(
        number for name, number in answers.items() if name.isupper() or name.startswith(("TRACE", "CRASH"))
    )
    print(f"{sum(answers.values())} files; tracebacks {bad}; slowest {slowest:.2f} s; peak {peak:.0f} MB")
    raise SystemExit(1 if bad or slowest > SECONDS or peak > MEGABYTES else 0)


if __name__ == "__main__":
    main()
