"""Run a piece of work in a forked child, and get its answer or how it died.

The campaigns fork, so nothing that starts threads (engine, frames) may run in the parent.
"""

from __future__ import annotations

import multiprocessing
from collections.abc import Callable
from typing import Any

_fork = multiprocessing.get_context("fork")


class Died(Exception):
    """The child ended without an answer; ``code`` is its exit code."""

    def __init__(self, code: int | None) -> None:
        super().__init__(f"ended with {code}")
        self.code = code


def apart(work: Callable[[], Any], seconds: float = 120.0) -> Any:
    """What ``work`` returns when it runs in a child.

    Raises
    ------
    Died
        It crashed, or took longer than ``seconds``.
    """
    reading, writing = _fork.Pipe(duplex=False)

    def run() -> None:
        writing.send(work())

    child = _fork.Process(target=run)
    child.start()
    writing.close()
    try:
        if not reading.poll(seconds):
            raise Died(None)
        return reading.recv()
    except EOFError:
        child.join(10)
        raise Died(child.exitcode) from None
    finally:
        child.kill()
        child.join()
        reading.close()
