"""The later parts of the pack: watched measures, units, the period before, completeness, the chain.

Numbers are compared with those of the services that the pages show (each tested against published
figures in its own folder): on paper, in the word file and in the files of rows.
"""

from __future__ import annotations

import csv
import io
import re
from datetime import UTC, date, datetime

import docx
import pytest

from registry import monitoring, quality, uptake
from registry.disclosure.cells import Rule
from registry.measures import evaluate, load_measures
from registry.people import Actor, Role, acting
from registry.reports.document import Figure, Paragraph, Table
from registry.reports.pack import quality_pack, write_pack
from registry.reports.pack.asked import COMMITTEE
from registry.reports.pack.before import period_before
from registry.reports.pdf import pdf
from registry.units import funnel
from tests.reports.conftest import AS_OF, END, PERIOD, START
from tests.reports.test_documents import text_of, together

LEAST = 10
SMALL = Rule(10)


@pytest.fixture(scope="module")
def files(whole, tmp_path_factory) -> dict[str, list[dict[str, str]]]:
    """Every file of rows, as text."""
    return read(whole, tmp_path_factory.mktemp("whole"))


def read(pack, folder) -> dict[str, list[dict[str, str]]]:
    write_pack(pack, folder / "out")
    return {
        path.stem: list(csv.DictReader(path.open(encoding="utf-8")))
        for path in (folder / "out" / "tables").glob("*.csv")
    }


@pytest.fixture(scope="module")
def printed(whole, tmp_path_factory) -> str:
    return together(text_of(pdf(whole.document), tmp_path_factory.mktemp("printed")))


def word_cells(pack, folder) -> list[list[tuple[str, ...]]]:
    write_pack(pack, folder / "word")
    made = docx.Document(io.BytesIO((folder / "word" / "quality.docx").read_bytes()))
    return [[tuple(cell.text for cell in row.cells) for row in one.rows] for one in made.tables]


def tables(pack) -> list[Table]:
    return [block for one in pack.document.sections for block in one.blocks if isinstance(block, Table)]


def table(pack, caption: str) -> Table:
    (one,) = [one for one in tables(pack) if one.caption == caption]
    return one


def number(text: str) -> float | None:
    return None if text == "" else float(text)


# -- the same numbers everywhere -------------------------------------------------------


def test_every_table_is_the_same_on_paper_and_in_the_word_file(whole, tmp_path):
    in_word = word_cells(whole, tmp_path)

    for one in tables(whole):
        assert [one.heads, *one.rows] in in_word, one.caption


def test_every_row_of_the_later_parts_is_printed(whole, printed):
    for caption in (
        "The period and the one before",
        "Sources in use or stored",
        *(f"{load_measures()[name].title} by operator and site" for name in COMMITTEE),
    ):
        for row in table(whole, caption).rows:
            # A long first cell is broken over lines between which the others stand.
            assert together("".join(row[1:])) in printed, (caption, row)


def test_quarters_are_those_of_the_measures(opened, files):
    found = {
        (one.measure, one.stratum): (one.numerator, one.denominator)
        for one in evaluate(opened, COMMITTEE, as_of=AS_OF, start=date(2022, 7, 1), end=END, by="quarter")
    }
    rows = files["watched_by_quarter"]

    assert [row["quarter"] for row in rows[:8]] == [
        f"{year}-Q{quarter}"
        for year, quarter in ((2022, 3), (2022, 4), *((2023, q) for q in range(1, 5)), (2024, 1), (2024, 2))
    ]  # eight quarters up to June 2024
    for row in rows:
        x, n = found.get((row["measure"], row["quarter"]), (0, 0))
        falls_short = load_measures()[row["measure"]].direction == "higher"
        assert (int(row["events"]), int(row["procedures"])) == (n - x if falls_short else x, n)


@pytest.mark.parametrize("measure", COMMITTEE)
def test_design_and_run_lengths_are_those_of_the_running_sum(opened, whole, files, printed, measure):
    made = monitoring.cumulative(opened, measure, as_of=AS_OF, end=END, watched_from=START, minimum=LEAST)
    (row,) = [one for one in files["watched_design"] if one["measure"] == measure]

    assert float(row["accepted"]) == made.accepted.rate
    assert float(row["false_signal_after_procedures"]) == made.in_control.arl
    assert float(row["signal_after_procedures"]) == made.after_rise.arl
    # Years at the pace of the period: procedures over procedures a year.
    assert float(row["signal_after_years"]) == pytest.approx(made.after_rise.arl / made.watched.per_year)
    assert int(row["signals"]) == len(made.signals)
    assert together(monitoring.words.cumulative(made)[3]) in printed
    assert [one["procedure_id"] for one in files["signals"] if one["measure"] == measure] == [
        one.procedure_id for one in made.signals
    ]


@pytest.mark.parametrize("by", ["operator", "site"])
@pytest.mark.parametrize("measure", COMMITTEE)
def test_units_are_those_of_the_funnel(opened, whole, files, measure, by):
    found = funnel(opened, measure, by=by, minimum=LEAST, **PERIOD)
    rows = {row["unit"]: row for row in files["units"] if (row["measure"], row["by"]) == (measure, by)}

    assert set(rows) == {one.code for one in found.units}
    cells = table(whole, f"{load_measures()[measure].title} by operator and site").rows
    for one in found.units:
        row = rows[one.code]
        assert (int(row["x"]), int(row["n"])) == (one.x, one.n)
        for name, value in (("expected", one.expected), ("p_adjusted", one.adjusted), ("lower", one.lower)):
            assert number(row[name]) == value
        if one.n:
            (line,) = [cell for cell in cells if cell[0] == f"{by.capitalize()} {one.code}"]
            assert line[1] == f"{one.x} / {one.n}"
            assert line[3] == ("" if one.expected is None else f"{one.expected:.1f}")


@pytest.mark.parametrize("measure", COMMITTEE)
def test_the_period_before_is_compared_as_on_the_page(opened, whole, files, measure):
    # Twelve whole months before 2023-07-01.
    made = monitoring.compare_periods(
        opened, measure, (date(2022, 7, 1), date(2023, 6, 30)), (START, END), as_of=AS_OF, minimum=LEAST
    )
    (row,) = [one for one in files["period_before"] if one["measure"] == measure]
    then, now = made.groups

    assert [
        int(row[name]) for name in ("before_numerator", "before_denominator", "numerator", "denominator")
    ] == [
        then.numerator,
        then.denominator,
        now.numerator,
        now.denominator,
    ]
    assert number(row["difference_lower"]) == made.pair.difference.ci[0]
    assert number(row["p"]) == made.pair.p
    (line,) = [
        one for one in table(whole, "The period and the one before").rows if one[0] == made.measure.title
    ]
    # A difference in points with one decimal and a true minus sign.
    assert line[3] == f"{100 * made.pair.difference.diff:+.1f}".replace("-", "\u2212")


@pytest.mark.parametrize(
    ("start", "end", "before"),
    [
        (date(2024, 4, 1), date(2024, 6, 30), (date(2024, 1, 1), date(2024, 3, 31))),
        (date(2024, 1, 1), date(2024, 12, 31), (date(2023, 1, 1), date(2023, 12, 31))),
        (date(2024, 3, 1), date(2024, 3, 31), (date(2024, 2, 1), date(2024, 2, 29))),  # a leap year
        # Ten days, the 6th to the 15th: the ten before.
        (date(2024, 3, 6), date(2024, 3, 15), (date(2024, 2, 25), date(2024, 3, 5))),
    ],
)
def test_the_period_before_is_as_long(start, end, before):
    assert period_before(start, end) == before


def test_completeness_and_its_trend_are_those_of_the_page(opened, files):
    counted = quality.completeness(opened, as_of=AS_OF, start=date(2022, 7, 1), end=END)
    expected = {one.words: one for one in quality.by_field(counted, as_of=END, minimum=LEAST)}
    rows = {row["field"]: row for row in files["completeness"]}

    assert len(rows) > 20
    for name, row in rows.items():
        one = expected[name]
        assert (int(row["recent_filled"]), int(row["recent_expected"])) == one.recent
        assert (int(row["before_filled"]), int(row["before_expected"])) == one.before
        assert number(row["change_lower"]) == one.difference_lower
    by_month = files["completeness_by_month"]
    assert sum(int(row["expected"]) for row in by_month) == counted.get_column("expected").sum()


def test_the_chain_is_that_of_the_page(opened, whole, files):
    assert [row["source_id"] for row in files["leak_tests"]] == [
        one.source_id for one in uptake.leak_tests(opened, on=AS_OF)
    ]
    assert [float(row["ratio"]) for row in files["constancy"]] == [
        one.ratio for one in uptake.constancy(opened, as_of=AS_OF)
    ]
    assert [float(row["length_mm"]) for row in files["phantom"]] == [
        one.length_mm for one in uptake.phantom_checks(opened, as_of=AS_OF)
    ]
    for row, one in zip(
        table(whole, "Sources in use or stored").rows,
        [one for one in uptake.sources(opened, on=AS_OF) if one.state != "disposed"],
        strict=True,
    ):
        assert row[4] == f"{one.activity_mbq:.3g}"


def test_every_figure_says_what_it_shows(whole):
    drawn = [
        (one.title, block)
        for one in whole.document.sections
        for block in one.blocks
        if isinstance(block, Figure)
    ]

    assert len(drawn) >= 2 * len(COMMITTEE) + 5
    assert all(len(block.alt) > 40 for _, block in drawn)


# -- whose names -----------------------------------------------------------------------


def test_whoever_may_not_see_every_operator_finds_no_name_in_the_pack(opened):
    coordinator = Actor("cora", frozenset({Role.COORDINATOR}), confirmed_at=datetime.now(UTC))
    with acting(coordinator):
        made = quality_pack(opened, **PERIOD)
    codes = [
        code
        for (code,) in opened.rows("SELECT DISTINCT operator FROM procedure_facts WHERE operator IS NOT NULL")
    ]

    text = str(made.document.plain()) + str(made.rows["units"])
    assert len(codes) > 5
    assert not [code for code in codes if re.search(rf"\b{re.escape(code)}\b", text)]


def test_what_is_shared_names_no_operator(opened, shared):
    codes = [
        code
        for (code,) in opened.rows("SELECT DISTINCT operator FROM procedure_facts WHERE operator IS NOT NULL")
    ]
    text = str(shared.document.plain()) + str(shared.rows)

    assert not [code for code in codes if re.search(rf"\b{re.escape(code)}\b", text)]


# -- small cells -----------------------------------------------------------------------


def pairs(text: str) -> set[tuple[int, int]]:
    """Every "x / n" and "x of n" of a text; without the numbers of pages, and checks of scanners, which are no patients."""
    pages = max((int(n) for n in re.findall(r"\b1 / (\d+)\s*\f", text)), default=0)
    text = re.sub(rf"\b\d+ / {pages}\s*\f", "", text) if pages else text
    text = re.sub(r"\d+ of \d+ checks", "", text)
    return {
        (int(x.replace(",", "")), int(n.replace(",", "")))
        for x, n in re.findall(r"(?<![\d.,-])([\d,]*\d) ?(?:/|of) ?([\d,]*\d)(?![\d.,-]*\d)", text)
    }


@pytest.fixture(scope="module")
def planted(whole, files) -> set[tuple[int, int]]:
    """Small counts that stand in the later parts of the whole pack."""
    found = {
        (int(row[x]), int(row[n]))
        for name, x, n in (
            ("units", "x", "n"),
            ("watched_by_quarter", "events", "procedures"),
            ("period_before", "numerator", "denominator"),
            ("completeness", "recent_filled", "recent_expected"),
        )
        for row in files[name]
    }
    small = {(x, n) for x, n in found if SMALL.hides(x, n) and n > 10}
    assert len(small) > 30
    return small


def test_a_small_count_stands_in_the_whole_pack_on_paper(whole, planted, tmp_path):
    """The tests below would pass on nothing."""
    assert len(planted & pairs(text_of(pdf(whole.document), tmp_path))) > 20


def test_no_small_count_stands_on_paper_to_be_shared(shared, planted, tmp_path):
    found = pairs(text_of(pdf(shared.document), tmp_path))

    assert found
    assert not {one for one in found if one in planted or SMALL.hides(*one)}


def test_no_small_count_stands_in_the_word_file_to_be_shared(shared, planted, tmp_path):
    write_pack(shared, tmp_path / "out")
    made = docx.Document(io.BytesIO((tmp_path / "out" / "quality.docx").read_bytes()))
    text = "\n".join(
        [one.text for one in made.paragraphs]
        + [cell.text for one in made.tables for row in one.rows for cell in row.cells]
        + [shape._inline.docPr.get("descr") for shape in made.inline_shapes]
    )

    assert not {one for one in pairs(text) if SMALL.hides(*one)}


def test_no_small_count_stands_in_the_files_to_be_shared(opened, tmp_path):
    """Over all years: of a single year of so small a service hardly a count is shown."""
    found = read(
        quality_pack(opened, start=date(2020, 7, 1), end=AS_OF, as_of=AS_OF, shareable=True), tmp_path
    )
    checked = 0
    for name, x, n in (
        ("units", "x", "n"),
        ("watched_by_quarter", "events", "procedures"),
        ("period_before", "numerator", "denominator"),
        ("period_before", "before_numerator", "before_denominator"),
        ("completeness", "filled", "expected"),
        ("completeness", "recent_filled", "recent_expected"),
        ("completeness", "before_filled", "before_expected"),
    ):
        for row in found.get(name, []):
            if row[n] != "":
                checked += 1
                assert not SMALL.hides(int(row[x]), int(row[n])), (name, row)
    assert checked > 20


def test_where_counts_are_hidden_what_follows_from_them_is(shared):
    hidden = [row for row in shared.rows["period_before"] if row["hidden"]]

    assert hidden
    assert all(
        value is None
        for row in hidden
        for name, value in row.items()
        if name not in ("measure", "title", "before_from", "before_to", "hidden")
    )


def test_what_is_shared_holds_no_running_sum_and_no_signal(shared):
    """Each of its steps is one procedure."""
    assert not {"signals", "answers", "watched_design", "completeness_by_month"} & set(shared.rows)


def test_what_is_shared_still_says_how_many_units_were_looked_at(shared):
    text = " ".join(
        block.text for one in shared.document.sections for block in one.blocks if isinstance(block, Paragraph)
    )

    # Two-sided 95 % limits and three units with one true rate: 1 - 0.95 ** 3 = 14.3 %.
    assert "By site: 3 were looked at; if all had one true rate" in text
    assert "up to 14\u202f%" in text
