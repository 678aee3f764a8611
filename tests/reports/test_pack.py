"""The pack: its numbers are those of the measures, it is the same twice, and what is shared gives no small cell away."""

from __future__ import annotations

import csv
import io
import re
import shutil
from datetime import UTC, datetime
from typing import TYPE_CHECKING

import docx
import pytest
from typer.testing import CliRunner

from registry.cli import app
from registry.disclosure.cells import HIDDEN, Rule
from registry.errors import Refused, UsageProblem
from registry.measures import evaluate, load_measures
from registry.people import Actor, Role, acting
from registry.reports.pack import SMALLEST, quality_pack, write_pack
from registry.reports.pdf import pdf
from registry.store import Registry
from tests.build import load
from tests.reports.conftest import AS_OF, END, PERIOD, START
from tests.reports.test_documents import text_of, together

if TYPE_CHECKING:
    pass


@pytest.fixture(scope="module")
def printed(whole, tmp_path_factory) -> str:
    return together(text_of(pdf(whole.document), tmp_path_factory.mktemp("printed")))


PROPORTIONS = [one.id for one in load_measures().values() if one.kind == "proportion"]


@pytest.mark.parametrize("measure", PROPORTIONS)
def test_every_proportion_is_printed_with_the_counts_of_the_measure(opened, printed, measure):
    (one,) = evaluate(opened, [measure], **PERIOD)

    # With the title before it, as the counts alone might be another measure's; a long title goes on below them.
    title = re.escape(together(load_measures()[measure].title)[:30])
    assert re.search(f"{title}.{{0,40}}?{one.numerator:,}/{one.denominator:,}", printed)


def test_the_file_of_proportions_holds_what_the_measures_say(opened, whole, tmp_path):
    write_pack(whole, tmp_path / "out")
    with (tmp_path / "out" / "tables" / "proportions.csv").open(encoding="utf-8") as handle:
        rows = {row["measure"]: row for row in csv.DictReader(handle)}
    for one in evaluate(opened, PROPORTIONS, **PERIOD):
        row = rows[one.measure]
        assert (int(row["numerator"]), int(row["denominator"])) == (one.numerator, one.denominator)
        assert row["lower"] == ("" if one.lower is None else repr(one.lower))


def test_the_word_file_holds_the_same_cells(whole, tmp_path):
    write_pack(whole, tmp_path / "out")
    made = docx.Document(io.BytesIO((tmp_path / "out" / "quality.docx").read_bytes()))
    tables = [
        block for section in whole.document.sections for block in section.blocks if hasattr(block, "rows")
    ]
    first = next(one for one in made.tables if one.rows[0].cells[0].text == "Measure")

    assert [tuple(cell.text for cell in row.cells) for row in first.rows[1:]] == list(tables[0].rows)


def test_twice_the_same_bytes(opened, whole, tmp_path):
    for name, pack in (("one", whole), ("two", quality_pack(opened, **PERIOD))):
        write_pack(pack, tmp_path / name)
    for path in sorted((tmp_path / "one").rglob("*.*")):
        assert path.read_bytes() == (tmp_path / "two" / path.relative_to(tmp_path / "one")).read_bytes(), (
            path.name
        )


def test_what_was_printed_last_quarter_can_be_printed_again(demo, tmp_path):
    own = shutil.copytree(demo, tmp_path / "demo")
    with Registry.open(own, write=True) as registry:
        before = quality_pack(registry, **PERIOD)
        moment = registry.rows("SELECT max(recorded_at) FROM main.procedures")[0][0].replace(tzinfo=UTC)
        ((key, finding),) = registry.rows(
            "SELECT procedure_id, finding_id FROM procedure_facts WHERE is_sampled AND residual IS NOT NULL "
            "AND started_on BETWEEN DATE '2023-07-01' AND DATE '2024-06-30' AND residual <> 'unchanged' AND NOT is_malignant "
            "ORDER BY 1 LIMIT 1"
        )
        report = load(
            registry, {"procedures": [{"procedure_id": key, "finding_id": finding, "residual": "unchanged"}]}
        )
        assert report.total.version == 1
        from registry.known import as_known

        with as_known(registry, moment) as known:
            again = quality_pack(known, **PERIOD)
        now = quality_pack(registry, **PERIOD)

    assert again.rows == before.rows
    assert now.rows != before.rows


# -- what is shared ------------------------------------------------------------------------


def test_what_is_shared_names_no_procedure(opened, shared, tmp_path):
    keys = [key for (key,) in opened.rows("SELECT procedure_id FROM procedures")]
    write_pack(shared, tmp_path / "out")
    text = text_of(pdf(shared.document), tmp_path) + "".join(
        path.read_text(encoding="utf-8") for path in (tmp_path / "out" / "tables").glob("*.csv")
    )

    assert not any(key in text for key in keys)


def test_no_small_count_stands_in_the_files(shared):
    counts = (
        "numerator",
        "denominator",
        "patients",
        "n",
        "x",
        "filled",
        "expected",
        "procedures",
        "complications",
        "at_risk",
    )
    small = [
        (name, row)
        for name, rows in shared.rows.items()
        for row in rows
        for column in counts
        if isinstance(row.get(column), int) and 0 < row[column] <= SMALLEST
    ]

    assert small == []


def test_the_rest_of_a_denominator_is_not_small_either(shared):
    rest = [
        row["denominator"] - row["numerator"]
        for row in shared.rows["proportions"]
        if row["numerator"] is not None and row["denominator"] is not None
    ]

    assert rest
    assert not any(0 < one <= SMALLEST for one in rest)


def test_where_a_count_is_hidden_its_rate_and_interval_are(shared):
    hidden = [row for row in shared.rows["proportions"] if row["hidden"]]

    assert hidden
    assert all(
        row[name] is None
        for row in hidden
        for name in ("numerator", "proportion", "lower", "upper", "patients")
    )


def test_the_yearly_table_shows_what_it_would_show_alone_or_nothing(shared, whole):
    true = {(one["part"], one["row"], one["column"]): one["procedures"] for one in whole.rows["yearly"]}
    told = {(one["part"], one["row"], one["column"]): one["procedures"] for one in shared.rows["yearly"]}
    small = {cell for cell, number in true.items() if 0 < number <= SMALLEST}

    assert small
    assert {told[cell] for cell in small} == {None}
    assert all(told[cell] in (None, number) for cell, number in true.items())


def test_what_the_yearly_table_hides_in_its_file_it_hides_on_its_page(shared):
    (section,) = [one for one in shared.document.sections if one.title == "Twelve months in counts"]
    cells = [cell for one in section.blocks if hasattr(one, "rows") for row in one.rows for cell in row[1:]]

    hidden = [one for one in shared.rows["yearly"] if one["procedures"] is None]
    # How repeats were done and what they found are two tables, and both begin with all of them.
    twice = [one for one in hidden if (one["part"], one["column"]) == ("repeats", "all")]
    assert cells.count(HIDDEN) == len(hidden) + len(twice) > 0


@pytest.mark.parametrize(
    ("x", "n", "hides"),
    [
        (0, 50, False),
        (1, 50, True),
        (10, 50, True),
        (11, 50, False),
        (40, 50, True),
        (39, 50, False),
        (0, 8, True),
        (0, 0, False),
        (50, 50, False),
    ],
)
def test_which_counts_give_a_small_cell_away(x, n, hides):
    assert Rule(10).hides(x, n) == hides
    assert not Rule(0).hides(x, n)


def test_fewer_than_the_least_cannot_be_asked_for(opened):
    with pytest.raises(UsageProblem, match="hides fewer"):
        quality_pack(opened, **PERIOD, shareable=True, smallest=5)


def test_more_can_be_asked_for(opened):
    made = quality_pack(opened, **PERIOD, shareable=True, smallest=30)

    assert not any(0 < (row["denominator"] or 0) <= 30 for row in made.rows["proportions"])


# -- who, when, where ----------------------------------------------------------------------


def test_single_procedures_are_for_those_who_may_see_them(opened):
    viewer = Actor("vera", frozenset({Role.VIEWER}), confirmed_at=datetime(2026, 7, 1, tzinfo=UTC))
    with acting(viewer):
        with pytest.raises(Refused):
            quality_pack(opened, **PERIOD)
        assert quality_pack(opened, **PERIOD, shareable=True).rows


@pytest.mark.parametrize(("start", "end", "as_of"), [(END, START, AS_OF), (START, END, START)])
def test_a_period_out_of_order_is_refused(opened, start, end, as_of):
    with pytest.raises(UsageProblem, match="in this order"):
        quality_pack(opened, start=start, end=end, as_of=as_of)


def test_invented_data_are_called_invented(printed):
    assert together("Invented data") in printed


def test_the_command_writes_a_new_folder_only(demo, tmp_path):
    arguments = [
        "report",
        "quality",
        str(demo),
        "--from",
        "2023-07-01",
        "--to",
        "2024-06-30",
        "--as-of",
        "2026-06-30",
        "--out",
        str(tmp_path),
    ]
    done = CliRunner().invoke(app, arguments)

    assert "is there already" in str(done.exception)
