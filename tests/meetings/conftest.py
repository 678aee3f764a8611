"""A registry with one meeting ahead: a result that waits, and a step that an earlier meeting left open."""

from __future__ import annotations

from datetime import date

import pytest

from tests.build import base, load

HELD = date(2025, 4, 3)
TODAY = date(2026, 6, 30)


def rows():
    """P1 was discordant at M1 and is not booked; P2 waits for its first joint review; both at site A."""
    made = base()
    made["findings"].append({**made["findings"][0], "finding_id": "F2", "laterality": "R", "assessment": "5"})
    made["procedures"].append(
        {
            **made["procedures"][0],
            "procedure_id": "P2",
            "finding_id": "F2",
            "accession": "ACC2",
            "started_at": "2025-03-24T09:30",
            "ended_at": "2025-03-24T10:20",
            "injected_at": "2025-03-24T08:20",
            "first_scan_at": "2025-03-24T09:20",
            "cores": "9",
        }
    )
    made["targeting"].append({**made["targeting"][0], "procedure_id": "P2"})
    made["pathology"].append(
        {
            **made["pathology"][0],
            "report_id": "R2",
            "procedure_id": "P2",
            "reported_on": "2025-03-28",
            "conclusion": "Words of the pathologist.",
        }
    )
    made["reviews"][0] |= {
        "determination": "discordant",
        "reason": "imaging_more_suspicious",
        "management": "repeat_biopsy",
        "responsible": "coordinator",
        "due_on": "2025-04-01",
    }
    made["followup"] = []
    return made


def review(**changes):
    """The joint review of P2 at the meeting."""
    return {
        "review_id": "V2",
        "procedure_id": "P2",
        "meeting_id": "A-2025-04-03",
        "reviewed_on": "2025-04-03",
        "stage": "joint",
        "radiologist": "RA1",
        "pathologist": "PA1",
        "determination": "discordant",
        "reason": "target_not_sampled",
        "management": "excision",
        "responsible": "surgeon",
        "due_on": "2025-04-20",
        "note": "The pathologist would have waited for levels.",
        **changes,
    }


@pytest.fixture
def meeting(registry):
    """Key of a meeting that was opened, with nothing decided yet."""
    from registry.meetings.writing import open_meeting

    load(registry, rows())
    return open_meeting(
        registry,
        held_on=HELD,
        site="A",
        chair="CHAIR-A",
        attendees=["pathology", "radiology"],
        author="coordinator",
        today=TODAY,
    )


@pytest.fixture
def decided(registry, meeting):
    """The same meeting after its one decision."""
    load(registry, {"reviews": [review()]})
    return meeting
