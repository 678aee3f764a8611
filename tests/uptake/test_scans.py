"""Scans from drawn rows: pooled once, dated, decided, referred to injection; arithmetic by hand."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING

import pytest

from registry.uptake import scans
from registry.uptake.decision import MEASURED, NO_DECISION, NOT_COMPARED
from tests.measures.build import at, day
from tests.measures.test_specimens import AS_OF, GIVEN, RATIO, SCAN, scanned

if TYPE_CHECKING:
    from tests.measures.build import Drawn


def found(drawn: Drawn, **asked: object):
    return scans(drawn.built(), as_of=asked.pop("as_of", day(AS_OF)), **asked)


def test_a_scan_by_hand(drawn: Drawn):
    """(5400 - 300)/120 = 42.5 per s; u = sqrt(5700)/120 = 0.62915; 2^(-130/109.77) = 0.44004 is left."""
    scanned(drawn, "P")
    (one,) = found(drawn)

    assert one.net.net_rate == pytest.approx(42.5)
    assert one.net.standard_uncertainty == pytest.approx(0.629153, abs=1e-6)
    assert one.uptake.ratio == pytest.approx(RATIO, rel=1e-6)
    assert one.decay == pytest.approx(1 / 2.272522272, rel=1e-8)
    assert one.scan_average == pytest.approx(1.006327832, rel=1e-8)
    assert one.decision.key == MEASURED
    assert one.missing == ()


def test_containers_scanned_together_are_one_scan(drawn: Drawn):
    """The 1.7 g of the example in two containers; a third was never scanned."""
    scanned(drawn, "P", 1.2)
    drawn.specimen("P", "P S2", mass_g=0.5, scanned_with="P S1", scan_at=at(0, "10:30"))
    drawn.specimen("P", "P S3", mass_g=9.0)
    (one,) = found(drawn)

    assert one.containers == ("P S1", "P S2")
    assert one.mass_g == pytest.approx(1.7)
    assert one.counts == 5400
    assert one.uptake.ratio == pytest.approx(RATIO, rel=1e-6)


def test_a_container_with_counts_of_its_own_is_a_scan_of_its_own(drawn: Drawn):
    scanned(drawn, "P")
    drawn.specimen("P", "P S2", mass_g=1.7, scanned_with="P S1", scan_at=at(0, "10:40"), **SCAN)

    assert [one.containers for one in found(drawn)] == [("P S1",), ("P S2",)]


def test_the_ratio_of_a_single_scan_is_that_of_the_measure(drawn: Drawn):
    scanned(drawn, "P")
    (one,) = found(drawn)

    assert drawn.said("specimen_concentration_ratio", AS_OF)["P"] == pytest.approx(one.uptake.ratio)


def test_the_ratio_over_the_lesions_own_uptake(drawn: Drawn):
    """RATIO over a maximum of 4; gamma imaging has no such figure to compare with."""
    drawn.finding("hot", suv_max=4.0)
    drawn.procedure("P", finding="hot", injected_at=at(0, "08:20"), injected_at_offset_min=0, **GIVEN)
    drawn.specimen("P", mass_g=1.7, scan_at=at(0, "10:30"), scan_at_offset_min=0, **SCAN)
    drawn.procedure("gamma", finding="hot", guidance="gamma_tracer", injected_at=at(0, "08:20"), **GIVEN)
    drawn.specimen("gamma", mass_g=1.7, scan_at=at(0, "10:30"), **SCAN)
    one = {scan.procedure_id: scan for scan in found(drawn)}

    assert one["P"].over_lesion == pytest.approx(RATIO / 4, rel=1e-6)
    assert one["P"].over_lesion_ci == pytest.approx([limit / 4 for limit in one["P"].uptake.ci])
    assert one["gamma"].over_lesion is None


@pytest.mark.parametrize(
    ("missing", "named"),
    [
        ({"activity_mbq": None}, "injected activity"),
        ({"weight_kg": None}, "body weight"),
        ({"calibration_cps_per_kbq": None}, "calibration of the scanner"),
        ({"tracer": "other"}, "tracer with a known half-life"),
        ({"injected": None}, "time from injection to scan"),
        ({"mass": None}, "mass of the tissue"),
        ({"injected": "10:31"}, "time from injection to scan (the scan lies before the injection)"),
    ],
)
def test_what_the_concentration_needs_is_named(drawn: Drawn, missing: dict[str, object], named: str):
    scanned(drawn, "P", **{"mass": 1.7, **missing})
    (one,) = found(drawn)

    assert one.missing == (named,)
    assert one.uptake is None
    assert one.decision.key == MEASURED


@pytest.mark.parametrize(
    ("cells", "named"),
    [
        ({"background_counts": None}, "background counts"),
        ({"scan_seconds": None}, "duration of the scan"),
        ({"counts": 5400.5}, "raw specimen counts (a number with decimals stands there)"),
    ],
)
def test_without_raw_counts_and_background_there_is_no_decision(
    drawn: Drawn, cells: dict[str, object], named: str
):
    scanned(drawn, "P", **cells)
    (one,) = found(drawn)

    assert one.missing == (named,)
    assert one.net is None
    assert one.decision.key == NO_DECISION


def test_a_reading_without_counts_is_kept_as_one(drawn: Drawn):
    drawn.procedure("P")
    drawn.specimen("P", uptake_seen="no", scan_at=at(0, "11:00"))
    (one,) = found(drawn)

    assert (one.uptake_seen, one.decision.key) == ("no", NO_DECISION)


def test_the_site_states_the_reference(drawn: Drawn):
    """No net counts: the limit is 2 * 1.6449 sqrt(600)/120 + 2.7055/120 = 0.694 per s.

    RATIO is 42.5 per s, so the limit is 0.694 * RATIO / 42.5 = 0.0361.
    """
    scanned(drawn, "P", counts=300.0)
    assert "a concentration of 0.036 times" in found(drawn)[0].decision.sentence

    drawn.setting("uptake_reference_ratio", 0.03)
    assert "up to 0.036 times" in found(drawn)[0].decision.sentence
    assert found(drawn)[0].decision.sentence.endswith("0.03 must be found.")


def test_below_the_threshold_without_a_mass_the_sensitivity_is_unknown(drawn: Drawn):
    scanned(drawn, "P", None, counts=300.0)

    assert found(drawn)[0].decision.key == NOT_COMPARED


def test_a_background_that_counts_more_is_remarked(drawn: Drawn):
    """300 against 400: 100 counts, sqrt(800) = 28.3 by chance, 3.5 times; 380 is 3.0 times and not remarked."""
    scanned(drawn, "high", counts=300.0, background_counts=400.0)
    scanned(drawn, "chance", counts=300.0, background_counts=370.0)

    assert {one.procedure_id: one.high_background for one in found(drawn)} == {"high": True, "chance": False}


def test_any_container_read_as_uptake_makes_the_scan_so(drawn: Drawn):
    scanned(drawn, "P")
    drawn.specimen("P", "P S2", scanned_with="P S1", uptake_seen="no", mass_g=1.0)
    drawn.specimen("P", "P S3", scanned_with="P S1", uptake_seen="equivocal", mass_g=1.0)

    assert found(drawn)[0].uptake_seen == "equivocal"


def test_what_is_dated_later_does_not_count(drawn: Drawn):
    drawn.procedure("P")
    drawn.specimen("P", uptake_seen="yes", scan_at=at(1, "11:00"), read_at=at(3, "08:00"), **SCAN)

    assert found(drawn, as_of=day(0)) == []
    assert found(drawn, as_of=day(2))[0].uptake_seen is None
    assert found(drawn, as_of=day(3))[0].uptake_seen == "yes"
    assert found(drawn, as_of=date.max)[0].uptake_seen == "yes"


def test_the_period_and_the_procedure_narrow_what_is_read(drawn: Drawn):
    for key, on in (("A", 0), ("B", 5)):
        drawn.procedure(key, on)
        drawn.specimen(key, uptake_seen="no")

    assert [one.procedure_id for one in found(drawn, start=day(5))] == ["B"]
    assert [one.procedure_id for one in found(drawn, end=day(4))] == ["A"]
    assert [one.procedure_id for one in found(drawn, procedure_id="A")] == ["A"]
