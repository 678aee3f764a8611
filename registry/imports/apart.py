"""Try a file that a stranger may have made in a process of its own, before it is read here.

A workbook or text file that needs too much memory or time, or brings the parser down, then
brings down a child that holds nothing. What the child read is thrown away: only files that
it read to the end within its limits are read again by the process that keeps the registry.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
from pathlib import Path

from registry.errors import FileProblem, RegistryError
from registry.imports.faulty import NOTHING_IMPORTED

#: Address space of the child over what the program itself takes, of which threads reserve a part; processor time.
MEGABYTES, SECONDS = 1024, 30
_REFUSED = 3


def try_apart(
    path: Path, mapping: Path | None = None, *, megabytes: int = MEGABYTES, seconds: int = SECONDS
) -> None:
    """Read a file, or a folder of the native form, in a child with limits.

    Parameters
    ----------
    path
        The file or folder.
    mapping
        Mapping file; None for the native form.
    megabytes, seconds
        Memory over that of the program, and processor time.

    Raises
    ------
    FileProblem
        The reader's own sentence, or that the file took more than its limits.
    """
    with tempfile.TemporaryDirectory() as scratch:
        said = Path(scratch) / "said"
        command = [sys.executable, "-m", __name__, str(megabytes), str(seconds), str(said), str(path)]
        command += [] if mapping is None else [str(mapping)]
        # A child without memory may stand still, which the clock ends, or complain without end,
        # which nobody listens to: the one sentence comes in a file.
        silent = subprocess.DEVNULL
        try:
            done = subprocess.run(
                command, stdin=silent, stdout=silent, stderr=silent, check=False, timeout=2 * seconds
            )
        except subprocess.TimeoutExpired:
            raise FileProblem(_too_much(path, f"more than {2 * seconds} s")) from None
        if done.returncode == 0:
            return
        if done.returncode == _REFUSED:
            raise FileProblem(said.read_text(encoding="utf-8"))
    raise FileProblem(_too_much(path, f"more than {megabytes} MB or {seconds} s"))


def _too_much(path: Path, limit: str) -> str:
    return (
        f"{path.name}: reading it took {limit}. {NOTHING_IMPORTED} Split it, or remove what it holds beside "
        "the data (pictures, formatting, hidden sheets)."
    )


def _limit(megabytes: int, seconds: int) -> None:
    """Limit this process; on systems without such limits only the time outside counts."""
    try:
        import resource
    except ImportError:
        return
    with Path("/proc/self/statm").open() as statm:
        taken = int(statm.read().split()[0]) * resource.getpagesize()
    most = taken + megabytes * 1024 * 1024
    resource.setrlimit(resource.RLIMIT_AS, (most, most))
    resource.setrlimit(resource.RLIMIT_CPU, (seconds, seconds))


def main(arguments: list[str]) -> int:
    """The child: read, say why not, and hand nothing back."""
    megabytes, seconds, said, path, *rest = arguments
    from registry.imports import mapped, registry_csv
    from registry.imports.mapping import read_mapping

    try:
        mapping = read_mapping(Path(rest[0])) if rest else None
        _limit(int(megabytes), int(seconds))
        received = mapped.read(Path(path), mapping) if mapping else registry_csv.read(Path(path))
        for one in received.tables:
            _ = one.frame
    except RegistryError as problem:
        Path(said).write_text(str(problem), encoding="utf-8")
        return _REFUSED
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
