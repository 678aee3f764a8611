"""Dose per visit: one injection for several targets counts once."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from registry.uptake import visit_doses, visits
from tests.measures.build import at, day

if TYPE_CHECKING:
    from tests.measures.build import Drawn

AS_OF = day(1000)
FDG = {"tracer": "F-18 FDG", "activity_mbq": 185.0}


def injected(drawn: Drawn, key: str, patient: str, on: int = 0, clock: str | None = "08:00", **cells: object):
    drawn.finding(f"finding of {key}", patient)
    time = None if clock is None else at(on, clock)
    drawn.procedure(key, on, finding=f"finding of {key}", injected_at=time, **{**FDG, **cells})


def test_two_targets_with_one_injection_are_one_dose(drawn: Drawn):
    """185 MBq x 0.019 = 3.515 mSv, once."""
    injected(drawn, "A", "one patient")
    injected(drawn, "B", "one patient")
    (visit,) = visits(drawn.built(), as_of=AS_OF)

    assert visit.procedures == ("A", "B")
    assert visit.msv == pytest.approx(3.515)


def test_two_injections_of_one_day_add_up(drawn: Drawn):
    """3.515 mSv and 740 MBq x 0.009 = 6.66 mSv of another tracer."""
    injected(drawn, "A", "one patient")
    injected(drawn, "B", "one patient", tracer="Tc-99m sestamibi", activity_mbq=740.0)
    (visit,) = visits(drawn.built(), as_of=AS_OF)

    assert visit.msv == pytest.approx(3.515 + 6.66)
    assert visit.tracers == ("F-18 FDG", "Tc-99m sestamibi")


def test_a_second_injection_of_the_same_tracer_is_a_second_dose(drawn: Drawn):
    injected(drawn, "A", "one patient", clock="08:00")
    injected(drawn, "B", "one patient", clock="12:00")
    (visit,) = visits(drawn.built(), as_of=AS_OF)

    assert visit.msv == pytest.approx(7.03)


def test_an_empty_time_of_injection_adds_no_dose(drawn: Drawn):
    injected(drawn, "A", "one patient")
    injected(drawn, "B", "one patient", clock=None)
    (visit,) = visits(drawn.built(), as_of=AS_OF)

    assert visit.msv == pytest.approx(3.515)


def test_other_patients_and_other_days_are_other_visits(drawn: Drawn):
    injected(drawn, "A", "one patient")
    injected(drawn, "B", "another patient")
    injected(drawn, "C", "one patient", 1)

    assert [visit.procedures for visit in visits(drawn.built(), as_of=AS_OF)] == [("A",), ("B",), ("C",)]


def test_a_cancelled_procedure_was_injected_all_the_same(drawn: Drawn):
    injected(drawn, "A", "one patient", status="cancelled")

    assert visits(drawn.built(), as_of=AS_OF)[0].msv == pytest.approx(3.515)


@pytest.mark.parametrize(
    ("cells", "reason"),
    [
        ({"activity_mbq": None}, "injected activity missing"),
        ({"tracer": "other"}, "no dose coefficient for this tracer"),
    ],
)
def test_why_there_is_no_dose(drawn: Drawn, cells: dict[str, object], reason: str):
    injected(drawn, "A", "one patient", **cells)
    (visit,) = visits(drawn.built(), as_of=AS_OF)

    assert (visit.msv, visit.injections[0].reason) == (None, reason)


def test_one_injection_with_two_activities_has_no_dose(drawn: Drawn):
    injected(drawn, "A", "one patient")
    injected(drawn, "B", "one patient", activity_mbq=150.0)
    (visit,) = visits(drawn.built(), as_of=AS_OF)

    assert visit.injections[0].reason == "the procedures of one injection state different activities"


def test_the_coefficient_is_named(drawn: Drawn):
    injected(drawn, "A", "one patient")
    (group,) = visit_doses(visits(drawn.built(), as_of=AS_OF))

    assert group.coefficients == (("F-18 FDG", 0.019, "ICRP coefficient for adults"),)
    assert (group.visits, group.shared, group.dose.median) == (1, 0, pytest.approx(3.515))


def test_the_uptake_time_ends_at_the_first_scan(drawn: Drawn):
    """08:00 to 09:05; the other procedure of the visit has no scan time and started at 10:00."""
    injected(drawn, "A", "one patient", first_scan_at=at(0, "09:05"))
    drawn.finding("second", "one patient")
    drawn.procedure("B", 0, "10:00", "second", injected_at=at(0, "08:00"), **FDG)
    (visit,) = visits(drawn.built(), as_of=AS_OF)

    assert visit.injections[0].uptake_minutes == 65
