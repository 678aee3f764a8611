"""What an import did, in numbers that add up and in sentences."""

from __future__ import annotations

from dataclasses import asdict, dataclass, field
from typing import Any

from registry.numerals import grouped

#: A report prints no more than this many problems; the rest is counted.
SHOWN_PROBLEMS = 50


@dataclass(frozen=True)
class RowCounts:
    """Reconciliation: received = new + version + unchanged + held."""

    received: int = 0
    new: int = 0
    version: int = 0
    unchanged: int = 0
    held: int = 0

    @property
    def reconciles(self) -> bool:
        """Whether every received row is accounted for."""
        return self.received == self.new + self.version + self.unchanged + self.held


@dataclass(frozen=True)
class ReportedProblem:
    """One problem with its place in the source."""

    file: str
    line: int
    table: str
    column: str
    rule: str
    severity: str
    message: str
    hint: str
    quarantine_id: str = ""

    def sentence(self) -> str:
        """File, line and column first; then what is wrong and what to do."""
        column = f", column {self.column}" if self.column else ""
        return f"{self.file}, line {self.line}{column}: {self.message} {self.hint}".strip()


@dataclass(frozen=True)
class IntakeReport:
    """Outcome of one import.

    ``total`` counts source rows, ``tables`` rows per table. ``refused`` is the sentence
    that says why nothing was written, empty otherwise. ``reopened`` names procedures
    whose concordance decision an amended report opened again.
    """

    batch_id: int | None
    dry_run: bool
    total: RowCounts
    tables: dict[str, RowCounts]
    problems: tuple[ReportedProblem, ...] = ()
    warnings: tuple[ReportedProblem, ...] = ()
    notes: tuple[str, ...] = ()
    refused: str = ""
    resubmitted: int = 0
    reopened: tuple[str, ...] = ()
    held_files: tuple[str, ...] = ()
    counted: str = field(default="row")

    @property
    def exit_code(self) -> int:
        """0 when all rows were taken, 1 when rows are held or the batch was refused."""
        return 1 if self.refused or self.total.held else 0

    def to_dict(self) -> dict[str, Any]:
        """JSON-able form."""
        return asdict(self)

    def lines(self) -> list[str]:
        """The report as plain text lines."""
        made = []
        if self.refused:
            made.append(f"Refused: {self.refused}")
        elif self.dry_run:
            made.append("Dry run: nothing was written.")
        total = self.total
        verb = "would be " if self.dry_run or self.refused else ""
        made.append(
            f"{grouped(total.received)} {self.counted}s received = {grouped(total.new)} {verb}new + {grouped(total.version)} as a new version "
            f"+ {grouped(total.unchanged)} unchanged + {grouped(total.held)} held"
        )
        for name, counts in self.tables.items():
            made.append(
                f"  {name}: {grouped(counts.received)} = {grouped(counts.new)} new + {grouped(counts.version)} version + {grouped(counts.unchanged)} unchanged + {grouped(counts.held)} held"
            )
        for title, found in (("Held", self.problems), ("Accepted, but look at", self.warnings)):
            if found:
                made.append(f"{title}:")
                made += [f"  {one.sentence()}" for one in found[:SHOWN_PROBLEMS]]
                if len(found) > SHOWN_PROBLEMS:
                    made.append(f"  ... and {grouped(len(found) - SHOWN_PROBLEMS)} more")
        if self.reopened:
            named = ", ".join(self.reopened[:SHOWN_PROBLEMS])
            more = (
                f" and {grouped(len(self.reopened) - SHOWN_PROBLEMS)} more"
                if len(self.reopened) > SHOWN_PROBLEMS
                else ""
            )
            made.append(f"Concordance decisions opened again by an amended report: {named}{more}")
        made += list(self.notes)
        if self.held_files:
            made.append(
                "Correct the held rows in these files and import them again (or drop them into the inbox):"
            )
            made += [f"  {name}" for name in self.held_files]
        return made
