"""Days between the steps; every date and every count is drawn by hand."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from registry.errors import SiteProblem, UsageProblem
from registry.site import parse
from registry.timeliness import INTERVALS, faults, timeliness
from tests.measures.build import day

if TYPE_CHECKING:
    from registry.timeliness import Interval
    from tests.measures.build import Drawn

AS_OF = day(400)


def way(drawn: Drawn, key: str, *, found: int = -20, advised: int | None = -15, **cells: object) -> None:
    """A procedure on day 0 (or ``on``) whose finding was seen and advised before."""
    finding = drawn.key("F")
    drawn.finding(finding, found=found, biopsy_advised_on=None if advised is None else day(advised))
    on = cells.pop("on", 0)
    drawn.procedure(key, on, finding=finding, **cells)  # type: ignore[arg-type]


def read(drawn: Drawn, name: str, **asked: object) -> Interval:
    (one,) = [one for one in timeliness(drawn.built(), as_of=AS_OF, **asked) if one.interval == name]  # type: ignore[arg-type]
    return one


def test_each_interval_runs_from_its_step_to_the_next(drawn: Drawn):
    way(drawn, "P")
    drawn.report("P", on=4)
    drawn.review("P", "discordant", 11, management="excision", informed_on=day(13))
    drawn.excision("P", 40)
    found = {one.interval: one.median for one in timeliness(drawn.built(), as_of=AS_OF)}

    # Seen on day -20, advised on -15, biopsy on 0, report on 4, review on 11, told on 13, excision on 40.
    assert found == {
        "finding_to_advice": 5,
        "advice_to_biopsy": 15,
        "biopsy_to_report": 4,
        "report_to_review": 7,
        "report_to_told": 9,
        "review_to_action": 29,
    }
    assert list(found) == list(INTERVALS)


def test_a_step_without_its_date_is_missing(drawn: Drawn):
    way(drawn, "P", advised=None)
    way(drawn, "Q")
    one = read(drawn, "finding_to_advice")

    assert (one.n, one.missing, one.negative) == (1, 1, 0)


def test_a_step_before_the_one_that_it_follows_is_a_fault_and_counts_nowhere(drawn: Drawn):
    way(drawn, "P")
    drawn.report("P", on=10)
    drawn.review("P", "concordant", 8)
    one = read(drawn, "report_to_review")

    assert (one.n, one.missing, one.negative, one.median) == (0, 0, 1, None)
    assert faults(drawn, as_of=AS_OF).select("interval", "procedure_id", "days").rows() == [
        ("report_to_review", "P", -2)
    ]


@pytest.mark.parametrize(
    ("management", "n"), [("repeat_biopsy", 1), ("excision", 1), ("short_interval_imaging", 0)]
)
def test_action_is_asked_where_the_decision_asks_for_tissue(drawn: Drawn, management, n):
    way(drawn, "P")
    drawn.report("P", on=4)
    drawn.review("P", "discordant", 10, management=management)
    drawn.excision("P", 30)

    assert read(drawn, "review_to_action").n == n


def test_tissue_before_the_decision_is_no_answer_to_it(drawn: Drawn):
    way(drawn, "P")
    drawn.report("P", on=4)
    drawn.excision("P", 9)
    drawn.review("P", "discordant", 10, management="excision")
    one = read(drawn, "review_to_action")

    assert (one.n, one.missing) == (0, 1)


def test_a_repeat_has_no_way_from_the_finding_of_its_own(drawn: Drawn):
    way(drawn, "P")
    drawn.procedure("Q", 20, repeat_of="P", repeat_reason="discordant")

    assert read(drawn, "finding_to_advice").n == 1
    assert read(drawn, "biopsy_to_report").missing == 2


def test_what_is_dated_after_the_day_is_missing(drawn: Drawn):
    way(drawn, "P")
    drawn.report("P", on=4)
    drawn.review("P", "concordant", 10, informed_on=day(401))

    assert read(drawn, "report_to_told").missing == 1


def test_quantiles_and_share_of_eleven(drawn: Drawn, monkeypatch):
    for number in range(11):
        way(drawn, f"P{number}")
        drawn.report(f"P{number}", on=number)
    drawn.built()
    monkeypatch.setattr(drawn, "site", parse('[site]\nname = "x"\n[timeliness]\nbiopsy_to_report = 7\n'))
    one = read(drawn, "biopsy_to_report")

    # 0 to 10 days: median 5, quartiles 2.5 and 7.5, nine tenths 9; 8 of 11 within 7 days, Wilson 43.4 to 90.3 %
    # (statsmodels proportion_confint(8, 11, method="wilson")).
    assert (one.median, one.q1, one.q3, one.p90) == (5, 2.5, 7.5, 9)
    assert (one.within, one.n) == (8, 11)
    assert one.share_lower == pytest.approx(0.4344, abs=1e-4)
    assert one.share_upper == pytest.approx(0.9025, abs=1e-4)


def test_without_a_limit_no_share_is_said(drawn: Drawn):
    way(drawn, "P")
    drawn.report("P", on=4)
    one = read(drawn, "biopsy_to_report")

    assert (one.limit, one.within, one.share) == (None, None, None)


def test_strata_are_those_of_the_procedure(drawn: Drawn):
    way(drawn, "P", site="B")
    way(drawn, "Q", site="A", on=100)
    for key, on in (("P", 3), ("Q", 104)):
        drawn.report(key, on=on)
    found = [
        one for one in timeliness(drawn.built(), as_of=AS_OF, by="site") if one.interval == "biopsy_to_report"
    ]

    assert [(one.stratum, one.median) for one in found] == [("A", 4), ("B", 3)]


def test_a_period_leaves_out_what_started_outside_it(drawn: Drawn):
    for key, on in (("P", 0), ("Q", 10)):
        way(drawn, key, on=on)
        drawn.report(key, on=on + 2)

    assert read(drawn, "biopsy_to_report", start=day(0), end=day(9)).n == 1
    assert read(drawn, "biopsy_to_report", start=day(0), end=day(10)).n == 2


def test_an_unknown_split_is_refused(drawn: Drawn):
    with pytest.raises(UsageProblem, match="not split by it"):
        timeliness(drawn.built(), as_of=AS_OF, by="operator")


@pytest.mark.parametrize("line", ["biopsy_to_moon = 3", "biopsy_to_report = -1", 'biopsy_to_report = "week"'])
def test_a_limit_that_cannot_be_read_is_named(line):
    with pytest.raises(SiteProblem, match="timeliness"):
        parse(f"[timeliness]\n{line}\n")
