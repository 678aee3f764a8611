"""The rows of a batch by table, over all its files, read when they are first asked for."""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING

import polars as pl

if TYPE_CHECKING:
    from registry.imports.received import CleanCsv, Received, SourceTable


class Sources:
    """The rows of each table over all files, read when they are first asked for."""

    def __init__(self, received: Received) -> None:
        self._parts: dict[str, list[SourceTable]] = defaultdict(list)
        for source in received.tables:
            self._parts[source.table].append(source)
        self._frames: dict[str, pl.DataFrame] = {}

    @property
    def names(self) -> set[str]:
        """Tables for which rows were received."""
        return set(self._parts)

    def csv(self, name: str) -> CleanCsv | None:
        """The one sound file of a table, where it has just that."""
        parts = self._parts[name]
        return parts[0].csv if len(parts) == 1 else None

    def frame(self, name: str) -> pl.DataFrame:
        """Rows with ``_row`` (number within the batch), ``_line`` and ``_file``."""
        if name not in self._frames:
            parts = [one.frame.with_columns(pl.lit(one.file).alias("_file")) for one in self._parts[name]]
            whole = parts[0] if len(parts) == 1 else pl.concat(parts, how="diagonal")
            self._frames[name] = whole.with_row_index("_row")
        return self._frames[name]

    def height(self, name: str) -> int:
        """Rows received for a table."""
        sound = self.csv(name)
        return sound.records if sound else self.frame(name).height

    def confirmed(self, name: str) -> set[int]:
        """Rows that the sender confirms, in a file of held rows sent back."""
        if self.csv(name):
            return set()
        frame = self.frame(name)
        if "_confirm" not in frame.columns:
            return set()
        return set(frame.filter(pl.col("_confirm").str.to_lowercase() == "yes")["_row"].to_list())

    def marks(self, name: str) -> list[str]:
        """quarantine_id values that the rows of a table answer."""
        if self.csv(name):
            return []
        frame = self.frame(name)
        return (
            [mark for mark in frame["_quarantine_id"].to_list() if mark]
            if "_quarantine_id" in frame.columns
            else []
        )
