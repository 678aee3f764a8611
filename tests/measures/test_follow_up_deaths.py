"""Follow-up of targets that were not sampled, and deaths."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from tests.measures.test_follow_up import AS_OF, UNRESOLVED, reported

if TYPE_CHECKING:
    from tests.measures.build import Drawn


# --- not sampled, deaths -----------------------------------------------------------------


def test_later_cancer_after_not_sampled(drawn: Drawn):
    for status in ("cancelled", "abandoned"):
        drawn.procedure(f"{status}, cancer on day 730", status=status)
        drawn.linkage(f"{status}, cancer on day 730", 730, "invasive")
    drawn.procedure("cancer on day 731", status="cancelled")
    drawn.linkage("cancer on day 731", 731, "invasive")
    drawn.procedure("clear", status="cancelled")
    drawn.imaging("clear", 669)
    drawn.procedure("clear, then cancer on day 731", status="cancelled")
    drawn.imaging("clear, then cancer on day 731", 669)
    drawn.linkage("clear, then cancer on day 731", 731, "invasive")
    drawn.procedure("nothing known", status="cancelled")
    drawn.procedure("completed")

    assert drawn.built().said("later_cancer_after_not_sampled", AS_OF) == {
        "cancelled, cancer on day 730": True,
        "abandoned, cancer on day 730": True,
        "cancer on day 731": UNRESOLVED,
        "clear": False,
        "clear, then cancer on day 731": False,
        "nothing known": UNRESOLVED,
        "completed": "sampled",
    }


@pytest.mark.parametrize("related", ["finding", "chain"])
def test_sampled_otherwise_within_60_days(drawn: Drawn, related: str):
    for when in (0, 60, 61):
        first, other = f"other on day {when}", f"other {when}"
        drawn.procedure(first, 0, "09:00", status="cancelled")
        if related == "finding":
            drawn.procedure(other, when, "08:00", finding=f"finding of {first}")
        else:
            # Another finding of the same breast, as a repeat of the first.
            drawn.procedure(other, when, "10:00", finding=f"second finding of {first}", repeat_of=first)
    drawn.procedure("other without tissue", 0, status="cancelled")
    drawn.procedure("abandoned", 30, finding="finding of other without tissue", status="abandoned")
    drawn.procedure("before", 0, finding="F")
    drawn.procedure("cancelled after", 1, finding="F", status="cancelled")
    said = drawn.built().said("later_cancer_after_not_sampled", AS_OF)

    assert {key for key, value in said.items() if value == "sampled otherwise"} == {
        "other on day 0",
        "other on day 60",
    }
    assert said["other on day 61"] == said["other without tissue"] == said["cancelled after"] == UNRESOLVED


def test_the_60_days_are_a_local_limit(drawn: Drawn):
    drawn.procedure("P", status="cancelled")
    drawn.procedure("other", 60, finding="finding of P")
    drawn.setting("sampled_otherwise_days", 59)

    assert drawn.built().said("later_cancer_after_not_sampled", AS_OF)["P"] == UNRESOLVED


def test_cancer_found_by_a_repeat_counts_for_a_target_that_was_not_sampled(drawn: Drawn):
    drawn.procedure("P", status="cancelled")
    drawn.procedure("repeat", 100, repeat_of="P")
    drawn.report("repeat", "invasive")

    assert drawn.built().said("later_cancer_after_not_sampled", AS_OF)["P"] is True


def test_deaths_come_from_either_table(drawn: Drawn):
    for when in (669, 670):
        drawn.patient(f"dies on {when}", died=when)
        drawn.finding(f"F{when}", f"dies on {when}")
        reported(drawn, f"death date {when}", finding=f"F{when}")
        drawn.event(reported(drawn, f"death event {when}"), "death", when)
    drawn.patient("W")
    drawn.finding("F1", "W")
    drawn.finding("F2", "W")
    reported(drawn, "event on the other procedure", finding="F1")
    drawn.procedure("other", 5, finding="F2", status="cancelled")
    drawn.event("other", "death", 300)
    drawn.patient("later in the patient table", died=800)
    drawn.finding("F3", "later in the patient table")
    drawn.event(reported(drawn, "earliest counts", finding="F3"), "death", 300)
    said = drawn.built().said("follow_up_complete", AS_OF)

    assert {key for key, value in said.items() if value == "died within 669 days"} == {
        "death date 669",
        "death event 669",
        "event on the other procedure",
        "earliest counts",
    }
    assert said["death date 670"] is said["death event 670"] is False


def test_a_death_exists_from_its_day_on(drawn: Drawn):
    drawn.patient("W", died=850)
    drawn.finding("F", "W")
    drawn.procedure("by table", 200, finding="F")
    drawn.procedure("by event", 200)
    for key in ("by table", "by event"):
        drawn.report(key)
    drawn.event("by event", "death", 850)
    drawn.procedure("keeps the record going", 940)
    drawn.built()
    facts = "SELECT count(died_on) FROM procedure_facts"

    assert drawn.run(facts) == [(2,)]
    assert drawn.asked(facts, 850) == [(2,)]
    assert drawn.asked(facts, 849) == [(0,)]


def test_follow_up_complete(drawn: Drawn):
    drawn.imaging(reported(drawn, "clear on day 669"), 669)
    drawn.imaging(reported(drawn, "clear on day 668"), 668)
    drawn.excision(reported(drawn, "excised"), 3, "insufficient")
    drawn.linkage(reported(drawn, "cancer"), 730, "invasive")
    drawn.event(reported(drawn, "lost"), "lost", 400)
    drawn.event(reported(drawn, "dead"), "death", 400)
    drawn.excision("dead", 10)

    assert drawn.built().said("follow_up_complete", AS_OF) == {
        "clear on day 669": True,
        "clear on day 668": False,
        "excised": True,
        "cancer": True,
        "lost": False,
        "dead": "died within 669 days",
    }
