"""A cohort drawn from a registry: the rows analysed, and how they were reached."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Mapping

    import polars as pl

    from registry.codebook import Column
    from registry.cohorts.definition import CohortFile
    from registry.store import Registry


@dataclass(frozen=True)
class FlowStep:
    """One line of the flow.

    ``kind`` is start (all there are), step (``left_out`` of those before, ``remaining``
    after it), box (part of what the step above left out, and why; ``remaining`` is that
    of its step), beside (``left_out`` of those who stay have this, and nobody is left out)
    or end (those analysed).
    """

    key: str
    label: str
    left_out: int
    remaining: int
    kind: str


@dataclass(frozen=True)
class Drawn:
    """A cohort as drawn.

    ``frame`` has exactly the declared ``columns``, one row per unit analysed;
    ``reaching`` are the procedures that came as far as the reference standard.
    """

    cohort_file: CohortFile
    frame: pl.DataFrame
    columns: tuple[Column, ...]
    flow: tuple[FlowStep, ...]
    stamp: Mapping[str, Any]
    comments: Mapping[str, str]
    reaching: tuple[str, ...] = ()


def draw(registry: Registry, cohort_file: CohortFile, *, seed: int | None = None) -> Drawn:
    """Draw a cohort; not written yet."""
    raise NotImplementedError
