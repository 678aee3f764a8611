"""What is shared, against an attacker who knows which counts lie within which and subtracts.

Who is counted comes from the lists behind the measures; the numbers from the CSV files alone.
"""

from __future__ import annotations

import csv
import itertools
from datetime import date

import pytest
from typer.testing import CliRunner

from registry.cli import app
from registry.disclosure.cells import Rule
from registry.measures import load_measures, procedures
from registry.quality import behind, yearly, yearly_rows
from registry.reports.pack import SMALLEST, write_pack
from registry.reports.pack.told import told as decided
from registry.store import Registry
from tests.reports.conftest import AS_OF, END, START

FIRST = date(2022, 7, 1)
"""The twelve months before the period begin, and so do its eight quarters."""
#: Files of other things than procedures of a measure, or of all that were: their counts.
BY_NUMBER = {
    "timeliness": ("n",),
    "completeness": (
        "filled",
        "expected",
        "recent_filled",
        "recent_expected",
        "before_filled",
        "before_expected",
    ),
    "doses": ("visits", "shared", "without_dose"),
    "complications": ("complications",),
}


@pytest.fixture(scope="module")
def files(shared, tmp_path_factory):
    target = tmp_path_factory.mktemp("nested") / "out"
    write_pack(shared, target)
    found = {}
    for path in (target / "tables").glob("*.csv"):
        with path.open(encoding="utf-8") as handle:
            found[path.stem] = list(csv.DictReader(handle))
    return found


@pytest.fixture(scope="module")
def counted(opened):
    """(measure, first day, last day, only events) -> keys of the procedures."""
    lists = {
        one.id: procedures(opened, one.id, as_of=AS_OF).to_dicts()
        for one in load_measures().values()
        if one.kind in ("proportion", "quantity")
    }

    def find(measure, first, last, *, events=False):
        return frozenset(
            row["procedure_id"]
            for row in lists[measure]
            if row["excluded_because"] is None
            and first <= row["index_date"] <= last
            and (not events or row["in_numerator"])
        )

    return find


@pytest.fixture(scope="module")
def of_the_year(opened):
    """(table, row, column) -> keys of the procedures."""
    rows = yearly_rows(opened, until=END, as_of=AS_OF)

    def find(part, row, column):
        return frozenset(behind(rows, part, row, column).get_column("procedure_id"))

    return find


@pytest.fixture(scope="module")
def told(files, counted, of_the_year):
    """Every count of procedures that the files show: (words, who, number)."""
    found = []
    for row in [*files["proportions"], *files["discordance"]]:
        for column, events in (("denominator", False), ("numerator", True)):
            if row[column]:
                who = counted(row["measure"], START, END, events=events)
                found.append((f"{row['measure']} {column}", who, int(row[column])))
        if row["numerator"] and row["denominator"]:
            rest = counted(row["measure"], START, END) - counted(row["measure"], START, END, events=True)
            number = int(row["denominator"]) - int(row["numerator"])
            found.append((f"{row['measure']} rest", rest, number))
    for row in files["quantities"]:
        if row["n"]:
            found.append((row["measure"], counted(row["measure"], START, END), int(row["n"])))
    for row in files["period_before"]:
        for column, events in (("before_denominator", False), ("before_numerator", True)):
            if row[column]:
                who = counted(row["measure"], FIRST, date(2023, 6, 30), events=events)
                found.append((f"{row['measure']} {column}", who, int(row[column])))
    for row in files["yearly"]:
        if row["procedures"]:
            cell = row["part"], row["row"], row["column"]
            found.append((" ".join(cell), of_the_year(*cell), int(row["procedures"])))
    return found


def test_the_numbers_of_the_files_are_those_of_the_lists(told):
    """Else the subtractions below would be of something else."""
    assert len(told) > 20
    assert not [(words, number) for words, who, number in told if len(who) != number]


def test_no_two_counts_subtracted_leave_a_small_one(told):
    nested = [(a, b) for a, b in itertools.permutations(told, 2) if b[1] <= a[1]]

    assert len(nested) > 50
    assert not [(a[0], b[0], a[2] - b[2]) for a, b in nested if 1 <= a[2] - b[2] <= SMALLEST]


def test_no_two_parts_subtracted_from_a_whole_leave_a_small_count(told):
    every = list({who: (words, who, number) for words, who, number in told if number}.values())
    leaks = [
        (whole[0], a[0], b[0])
        for whole in every
        for a, b in itertools.combinations([one for one in every if one[1] < whole[1]], 2)
        if not a[1] & b[1] and 1 <= whole[2] - a[2] - b[2] <= SMALLEST
    ]

    assert leaks == []


def test_counts_of_other_things_are_not_close_to_those_of_procedures(files, told):
    """Which lies within which is not known here: any two that are close might be nested."""
    numbers = {number for _, _, number in told if number}
    others = [
        (name, int(row[column]))
        for name, columns in BY_NUMBER.items()
        for row in files[name]
        for column in columns
        if row[column] and int(row[column])
    ]

    assert others
    assert not [(name, one) for name, one in others if any(1 <= abs(one - n) <= SMALLEST for n in numbers)]


def test_patients_are_not_close_to_their_procedures(files):
    """31 patients of 32 procedures: one of them had two."""
    rows = [row for row in files["proportions"] if row["patients"] and row["denominator"]]

    assert rows
    assert not [row for row in rows if 1 <= int(row["denominator"]) - int(row["patients"]) <= SMALLEST]


def test_a_larger_service_shares_most_large_cells_of_its_yearly_table(tmp_path):
    """Hiding everything would pass every other test here."""
    made = CliRunner().invoke(app, ["demo", str(tmp_path / "demo"), "--procedures", "2000"])
    assert made.exit_code == 0, made.output
    with Registry.open(tmp_path / "demo") as registry:
        found = decided(registry, Rule(SMALLEST), START, END, AS_OF)
        table = yearly(registry, until=END, as_of=AS_OF)
    large = {
        (one.name, row, column)
        for one in table.tables
        for row, _ in one.rows
        for column, _ in one.columns
        if one.count(row, column) > SMALLEST
    }

    shown = {cell for cell in large if not found.hides("yearly", *cell)}
    assert ("procedures", "all", "all") in shown
    assert len(shown) > len(large) / 2


def test_nothing_measured_on_few_is_shared(files, counted):
    """A median of few is nearly one of them; of many it stands also where their number is withheld."""
    rows = [row for row in files["quantities"] if row["median"]]

    assert rows
    assert not [row for row in rows if 0 < len(counted(row["measure"], START, END)) <= SMALLEST]
