"""Write an invented registry: ``python -m synthetic_data FOLDER --procedures 3000``."""

from __future__ import annotations

import argparse
import datetime
import sys
from pathlib import Path

from synthetic_data import generate


def main(arguments: list[str] | None = None) -> int:
    """Read the command line, write the folder, say where it is."""
    parser = argparse.ArgumentParser(
        prog="synthetic_data", description="Write an invented registry as CSV files."
    )
    parser.add_argument("folder", type=Path)
    parser.add_argument("--procedures", type=int, default=generate.PROCEDURES)
    parser.add_argument("--seed", type=int, default=generate.SEED)
    parser.add_argument(
        "--until", type=datetime.date.fromisoformat, default=generate.UNTIL, metavar="YYYY-MM-DD"
    )
    parser.add_argument("--years", type=int, default=generate.YEARS)
    given = parser.parse_args(arguments)
    try:
        folder = generate.write(given.folder, given.procedures, given.seed, given.until, given.years)
    except ValueError as problem:
        parser.error(str(problem))
    sys.stdout.write(f"{given.procedures:,} invented procedures in {folder}\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
