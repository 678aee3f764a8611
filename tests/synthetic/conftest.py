"""Generated registries, made once, and the tables read back from the files."""

from __future__ import annotations

import csv
import json
from dataclasses import dataclass
from datetime import date
from functools import cached_property
from pathlib import Path
from typing import Any

import polars as pl
import pytest

from synthetic_data import generate

ROOT = Path(__file__).resolve().parents[2]
UNTIL = date(2026, 6, 30)
DECLARED = list(csv.DictReader((ROOT / "sql" / "dictionary.csv").open(encoding="utf-8")))
TABLES = list(dict.fromkeys(row["table"] for row in DECLARED))
_KINDS = {"integer": pl.Int64, "decimal": pl.Float64, "date": pl.Date, "timestamp": pl.Datetime("us")}


def declared(table: str) -> list[dict[str, str]]:
    """Rows of the data dictionary for one table."""
    return [row for row in DECLARED if row["table"] == table]


@dataclass(frozen=True)
class Generated:
    """A generated folder: each table as text, and typed by the data dictionary."""

    folder: Path

    def text(self, table: str) -> pl.DataFrame:
        """The table as it stands in the file; fields without any value are added as null."""
        frame = pl.read_csv(self.folder / f"{table}.csv", infer_schema=False)
        absent = [row["field"] for row in declared(table) if row["field"] not in frame.columns]
        return frame.with_columns(pl.lit(None, dtype=pl.String).alias(name) for name in absent)

    def table(self, name: str) -> pl.DataFrame:
        """The table with the types of the dictionary; a cell that does not fit raises."""
        return self._typed[name]

    @cached_property
    def _typed(self) -> dict[str, pl.DataFrame]:
        return {name: typed(name, self.text(name)) for name in TABLES}

    @cached_property
    def truth(self) -> dict[str, Any]:
        """truth.json."""
        return json.loads((self.folder / "truth.json").read_text(encoding="utf-8"))

    @cached_property
    def procedures(self) -> pl.DataFrame:
        """Procedures with patient, laterality and day."""
        found = self.table("findings").select(
            "finding_id", "patient_id", "laterality", "finding_type", "assessment"
        )
        joined = self.table("procedures").join(found, on="finding_id", how="left", maintain_order="left")
        return joined.with_columns(day=pl.col("started_at").dt.date())

    @cached_property
    def diagnoses(self) -> pl.DataFrame:
        """Worst current diagnosis per reported procedure, as measures define it."""
        order = next(row for row in declared("pathology") if row["field"] == "diagnosis")["allowed"].split(
            "|"
        )
        group = ["report_id", "procedure_id", "specimen_id"]
        current = (
            self.table("pathology")
            .filter(pl.col("status") != "preliminary")
            .sort("version")
            .group_by(group, maintain_order=True)
            .last()
            .filter(pl.col("status") != "retracted")
        )
        rank = pl.col("diagnosis").replace_strict(order, range(len(order)), return_dtype=pl.Int64)
        worst = current.group_by("procedure_id").agg(rank.max().alias("rank"))
        back = pl.col("rank").replace_strict(range(len(order)), order, return_dtype=pl.String)
        return worst.select("procedure_id", diagnosis=back)

    @cached_property
    def first_conclusive(self) -> pl.DataFrame:
        """First conclusive joint review per procedure: ``determination`` and ``decided_on``."""
        joint = self.table("reviews").filter(
            (pl.col("stage") == "joint") & pl.col("determination").is_in(["concordant", "discordant"])
        )
        first = joint.sort("reviewed_on", "review_id").group_by("procedure_id", maintain_order=True).first()
        return first.select("procedure_id", "determination", decided_on="reviewed_on", reviewer="radiologist")


def typed(table: str, text: pl.DataFrame) -> pl.DataFrame:
    """Cast the text columns as the dictionary says, strictly."""
    columns = []
    for row in declared(table):
        column = pl.col(row["field"])
        if row["type"] == "timestamp":
            column = column.str.to_datetime("%Y-%m-%dT%H:%M", strict=True)
        elif row["type"] == "date":
            column = column.str.to_date("%Y-%m-%d", strict=True)
        elif row["type"] in _KINDS and "|" not in row["allowed"]:
            column = column.cast(_KINDS[row["type"]], strict=True)
        columns.append(column)
    return text.select(columns)


def assert_none(frame: pl.DataFrame, wrong: pl.Expr) -> None:
    """No row of the frame is wrong, and there are rows; a comparison with an empty field is not wrong."""
    assert frame.height > 0
    assert frame.filter(wrong).height == 0, frame.filter(wrong).head(3)


@pytest.fixture(scope="session")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Generated:
    """The demo as shipped: 3,000 procedures over six years."""
    return Generated(generate.write(tmp_path_factory.mktemp("demo") / "files"))


@pytest.fixture(scope="session")
def large(tmp_path_factory: pytest.TempPathFactory) -> Generated:
    """20,000 procedures, for questions that need numbers."""
    return Generated(generate.write(tmp_path_factory.mktemp("large") / "files", procedures=20_000))
