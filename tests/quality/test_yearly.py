"""The yearly table on drawn procedures: every row, every column, the window, and the list behind a cell."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING

import pytest

from registry.errors import UsageProblem
from registry.quality import behind, first_day, yearly, yearly_rows
from tests.measures.build import day

if TYPE_CHECKING:
    from registry.quality import Yearly
    from tests.measures.build import Drawn

UNTIL, AS_OF = day(365), day(500)
VACUUM = {"device": "vacuum_assisted"}


def table(drawn: Drawn, as_of: date = AS_OF, **asked: str) -> Yearly:
    return yearly(drawn.built(), until=UNTIL, as_of=as_of, **asked)


def biopsy(drawn: Drawn, key: str, diagnosis: str | None = "benign", on: int = 10, **cells: object) -> str:
    drawn.procedure(key, on, **{**VACUUM, **cells})
    if diagnosis:
        drawn.report(key, diagnosis, on=on)
    return key


# -- the window ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("last", "first"),
    [
        (date(2026, 6, 30), date(2025, 7, 1)),
        (date(2025, 12, 31), date(2025, 1, 1)),
        (date(2024, 2, 29), date(2023, 3, 1)),
        (date(2025, 2, 28), date(2024, 2, 29)),
        (date(2026, 3, 15), date(2025, 3, 16)),
    ],
)
def test_twelve_months_begin_the_day_after_the_same_day_of_the_year_before(last: date, first: date):
    assert first_day(last) == first


def test_both_ends_of_the_window_belong_to_it(drawn: Drawn):
    """Day 365 is 2020-12-31; the twelve months begin on 2020-01-01, which is day 0."""
    for key, on in (("A", 0), ("B", 365), ("C", 366)):
        biopsy(drawn, key, on=on)

    assert yearly_rows(drawn.built(), until=UNTIL, as_of=AS_OF).get_column("procedure_id").to_list() == [
        "A",
        "B",
    ]


def test_a_window_that_is_not_over_is_refused(drawn: Drawn):
    with pytest.raises(UsageProblem, match="after the as-of date"):
        table(drawn, day(364))


def test_another_split_is_refused(drawn: Drawn):
    with pytest.raises(UsageProblem, match="device, guidance, site"):
        table(drawn, by="operator")


# -- procedures and results -------------------------------------------------------------------


def test_every_procedure_stands_in_one_row_of_status_and_result(drawn: Drawn):
    for key, diagnosis in (
        ("A", "invasive"),
        ("B", "in_situ"),
        ("C", "high_risk"),
        ("D", "benign"),
        ("E", "normal"),
        ("F", "suspicious"),
        ("G", "insufficient"),
        ("H", None),
    ):
        biopsy(drawn, key, diagnosis)
    biopsy(drawn, "I", None, status="cancelled", device=None)
    biopsy(drawn, "J", None, status="abandoned")
    found = table(drawn).procedures

    assert dict(zip([key for key, _ in found.rows], [counts[0] for counts in found.counts], strict=True)) == {
        "all": 10,
        "cancelled": 1,
        "abandoned": 1,
        "completed": 8,
        "cancer": 2,
        "high_risk": 1,
        "suspicious": 1,
        "benign": 2,
        "insufficient": 1,
        "no report yet": 1,
    }


def test_columns_are_the_devices_that_occurred_and_those_not_recorded(drawn: Drawn):
    biopsy(drawn, "A")
    biopsy(drawn, "B", device="core_needle")
    biopsy(drawn, "C", device=None)
    found = table(drawn).procedures

    assert [key for key, _ in found.columns] == ["all", "vacuum_assisted", "core_needle", "not recorded"]
    assert found.counts[0] == (3, 1, 1, 1)


def test_the_split_can_be_by_site(drawn: Drawn):
    biopsy(drawn, "A", site="X")
    biopsy(drawn, "B", site="Y")

    assert table(drawn, by="site").procedures.count("benign", "Y") == 1


# -- repeats ------------------------------------------------------------------------------------


def repeat(
    drawn: Drawn, key: str, of: str, reason: str, diagnosis: str | None, on: int = 400, **cells
) -> None:
    biopsy(drawn, key, diagnosis, on, repeat_of=of, repeat_reason=reason, **cells)


def only_repeat(drawn: Drawn) -> tuple[str | None, str | None, str | None]:
    """Reason, how and what was found of procedure A."""
    rows = yearly_rows(drawn.built(), until=UNTIL, as_of=AS_OF).to_dicts()
    row = next(one for one in rows if one["procedure_id"] == "A")
    return row["repeat_reason"], row["repeated_by"], row["repeat_found"]


def test_a_needle_repeat_has_the_reason_recorded_with_it(drawn: Drawn):
    biopsy(drawn, "A", "insufficient")
    repeat(drawn, "R", "A", "discordant", "invasive", device="core_needle")

    assert only_repeat(drawn) == ("discordant", "core_needle", "cancer")


def test_a_cancer_repeated_as_planned_is_a_repeat_too(drawn: Drawn):
    biopsy(drawn, "A", "in_situ")
    repeat(drawn, "R", "A", "planned_second_step", "benign", device="excision_device")

    assert only_repeat(drawn) == ("planned_second_step", "excision_device", "benign")


@pytest.mark.parametrize(
    ("diagnosis", "determination", "reason"),
    [
        ("benign", "discordant", "discordant"),
        ("high_risk", "discordant", "discordant"),
        ("high_risk", "concordant", "high_risk"),
        ("insufficient", None, "insufficient"),
        ("benign", None, "other"),
    ],
)
def test_an_excision_without_a_needle_repeat(drawn: Drawn, diagnosis, determination, reason):
    biopsy(drawn, "A", diagnosis)
    if determination:
        drawn.review("A", determination, 20)
    drawn.excision("A", 60, "high_risk")

    assert only_repeat(drawn) == (reason, "excision", "high_risk")


def test_an_excision_of_a_cancer_is_its_treatment(drawn: Drawn):
    biopsy(drawn, "A", "invasive")
    drawn.excision("A", 60, "invasive")

    assert only_repeat(drawn) == (None, None, None)


def test_whichever_came_first_is_how_it_was_repeated_and_the_worst_is_what_was_found(drawn: Drawn):
    biopsy(drawn, "A", "benign")
    drawn.excision("A", 60, "invasive")
    repeat(drawn, "R", "A", "other", "benign")

    assert only_repeat(drawn) == ("other", "excision", "cancer")


@pytest.mark.parametrize("management", ["repeat_biopsy", "excision", "vacuum_excision"])
def test_what_was_advised_and_not_done(drawn: Drawn, management: str):
    biopsy(drawn, "A", "benign")
    drawn.review("A", "discordant", 20, management=management)

    assert only_repeat(drawn) == ("discordant", "not done", "not known")


def test_imaging_that_was_advised_is_no_repeat(drawn: Drawn):
    biopsy(drawn, "A", "benign")
    drawn.review("A", "discordant", 20, management="short_interval_imaging")

    assert only_repeat(drawn) == (None, None, None)


def test_the_latest_review_advises(drawn: Drawn):
    biopsy(drawn, "A", "benign")
    drawn.review("A", "discordant", 20, management="repeat_biopsy")
    drawn.review("A", "concordant", 30, management="routine_screening")

    assert only_repeat(drawn) == (None, None, None)


def test_repeats_by_reason_how_and_what_was_found(drawn: Drawn):
    biopsy(drawn, "A", "insufficient")
    repeat(drawn, "R", "A", "insufficient", None)
    biopsy(drawn, "B", "high_risk")
    drawn.excision("B", 60, "benign")
    found = table(drawn).repeats

    assert found.count("all") == 2
    assert [found.count("insufficient", one) for one in ("vacuum_assisted", "found other or not known")] == [
        1,
        1,
    ]
    assert [found.count("high_risk", one) for one in ("excision", "found benign", "found cancer")] == [
        1,
        1,
        0,
    ]


# -- complications ------------------------------------------------------------------------------


def hurt(drawn: Drawn, key: str, kind: str, grade: int, on: int) -> None:
    drawn.complication(key, on, grade)
    drawn.rows["complications"][-1]["kind"] = kind


def test_complications_that_needed_treatment_by_kind(drawn: Drawn):
    """A twice of one kind and once of another; B below the grade; C on the last day, D a day late."""
    for key in "ABCDE":
        biopsy(drawn, key, on=10)
    drawn.rows["procedures"][-1]["status"] = "cancelled"
    for key, kind, grade, on in (
        ("A", "haematoma", 2, 10),
        ("A", "haematoma", 3, 12),
        ("A", "infection", 2, 15),
        ("B", "haematoma", 1, 10),
        ("C", "haematoma", 2, 40),
        ("D", "haematoma", 2, 41),
        ("E", "haematoma", 2, 10),
    ):
        hurt(drawn, key, kind, grade, on)
    found = table(drawn).complications

    assert [(key, counts[0]) for (key, _), counts in zip(found.rows, found.counts, strict=True)] == [
        ("all", 2),
        ("haematoma", 2),
        ("infection", 1),
    ]


# -- lists, waiting, identities -------------------------------------------------------------------


def test_the_list_behind_every_cell_has_as_many_rows_as_the_cell_says(drawn: Drawn):
    biopsy(drawn, "A", "insufficient")
    repeat(drawn, "R", "A", "insufficient", "invasive", on=100, device="core_needle")
    biopsy(drawn, "B", "benign", device=None)
    hurt(drawn, "B", "infection", 2, 12)
    found = table(drawn)
    rows = yearly_rows(drawn, until=UNTIL, as_of=AS_OF)

    for one in found.tables:
        for (row, _), counts in zip(one.rows, one.counts, strict=True):
            listed = [behind(rows, one.name, row, column).height for column, _ in one.columns]
            assert listed == list(counts), (one.name, row)


def test_what_is_too_early_is_counted(drawn: Drawn):
    """As of the last day: B began 29 days before it without a report, A 355 days before."""
    biopsy(drawn, "A", "benign", on=10)
    biopsy(drawn, "B", None, on=336)
    biopsy(drawn, "C", None, on=335)
    found = table(drawn, UNTIL)

    assert (found.waiting_report, found.waiting_complication, found.waiting_repeat) == (1, 1, 3)


def test_the_identities_hold_and_are_said(drawn: Drawn):
    biopsy(drawn, "A", "insufficient")
    repeat(drawn, "R", "A", "insufficient", "invasive", on=100)

    assert [holds for _, holds in table(drawn).identities] == [True] * 5


def test_an_empty_year_has_noughts(drawn: Drawn):
    found = table(drawn)

    assert (found.procedures.count("all"), found.repeats.count("all")) == (0, 0)
