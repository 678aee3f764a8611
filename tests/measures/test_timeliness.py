"""Days between finding, biopsy, report and review, and the uptake time of the tracer."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from tests.measures.build import at

if TYPE_CHECKING:
    from tests.measures.build import Drawn

AS_OF = 1000


def test_finding_to_biopsy(drawn: Drawn):
    drawn.finding("F", found=3)
    drawn.procedure("first", 45, "23:59", finding="F")
    drawn.procedure("another at the finding", 50, finding="F")
    drawn.procedure("repeat", 60, repeat_of="first")

    assert drawn.built().said("finding_to_biopsy_days", AS_OF) == {
        "first": 42,
        "another at the finding": 47,
        "repeat": "repeat procedure",
    }


def test_biopsy_to_report(drawn: Drawn):
    drawn.procedure("the same day")
    drawn.report("the same day", on=0)
    drawn.procedure("four days", 10)
    drawn.report("four days", on=14)
    drawn.procedure("repeat", 20, repeat_of="four days")
    drawn.report("repeat", on=27)

    assert drawn.built().said("biopsy_to_report_days", AS_OF) == {
        "the same day": 0,
        "four days": 4,
        "repeat": 7,
    }


def test_report_to_review(drawn: Drawn):
    for days in (0, 6, -2):
        drawn.procedure(f"{days} days")
        drawn.report(f"{days} days", on=4)
        drawn.review(f"{days} days", "indeterminate", 4 + days)
        drawn.review(f"{days} days", "concordant", 90)
    drawn.procedure("provisional only")
    drawn.report("provisional only")
    drawn.review("provisional only", "concordant", 5, stage="provisional")

    assert drawn.built().said("report_to_review_days", AS_OF) == {
        "0 days": 0,
        "6 days": 6,
        "-2 days": -2,
        "provisional only": "not reviewed",
    }


def test_uptake_time_kept(drawn: Drawn):
    """The window for F-18 FDG is shipped as 45 to 90 minutes, both ends included; injected at 08:00."""
    given = {"tracer": "F-18 FDG", "injected_at": at(0, "08:00"), "injected_at_offset_min": 0}
    for clock in ("08:44", "08:45", "09:30", "09:31"):
        drawn.procedure(
            f"scan at {clock}", 0, "12:00", first_scan_at=at(0, clock), first_scan_at_offset_min=0, **given
        )
        drawn.procedure(f"start at {clock}", 0, clock, **given)
    drawn.procedure("no tracer", **{**given, "tracer": None})
    drawn.procedure("no window", **{**given, "tracer": "Tc-99m sestamibi"})
    drawn.procedure("no injection time", **{**given, "injected_at": None})

    assert drawn.built().said("uptake_time_kept", AS_OF) == {
        **dict.fromkeys(("scan at 08:44", "start at 08:44", "scan at 09:31", "start at 09:31"), False),
        **dict.fromkeys(("scan at 08:45", "start at 08:45", "scan at 09:30", "start at 09:30"), True),
        "no tracer": "no tracer given",
        "no window": "no window for this tracer",
        "no injection time": "injection time not recorded",
    }


@pytest.mark.parametrize(
    ("first_scan", "offset", "kept"), [("10:00", 60, True), ("10:00", 0, False), ("09:00", 0, True)]
)
def test_uptake_is_elapsed_time_across_a_change_of_clocks(
    drawn: Drawn, first_scan: str, offset: int, kept: bool
):
    """Injected at 08:00 UTC; 10:00 one hour ahead is 09:00 UTC, 60 minutes later."""
    drawn.procedure(
        "P",
        0,
        "12:00",
        tracer="F-18 FDG",
        injected_at=at(0, "08:00"),
        injected_at_offset_min=0,
        first_scan_at=at(0, first_scan),
        first_scan_at_offset_min=offset,
    )

    assert drawn.built().said("uptake_time_kept", AS_OF) == {"P": kept}


def test_the_window_belongs_to_the_tracer(drawn: Drawn):
    drawn.procedure(
        "P", 0, "08:10", tracer="Tc-99m sestamibi", injected_at=at(0, "08:00"), injected_at_offset_min=0
    )
    drawn.run("INSERT INTO uptake_window VALUES ('Tc-99m sestamibi', 5, 15)")
    try:
        assert drawn.built().said("uptake_time_kept", AS_OF) == {"P": True}
    finally:
        drawn.run("DELETE FROM uptake_window WHERE tracer = 'Tc-99m sestamibi'")
