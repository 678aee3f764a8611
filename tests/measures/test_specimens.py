"""Specimens: who read them, what was seen, how much there was, how hot it was."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import pytest

from tests.measures.build import at

if TYPE_CHECKING:
    from tests.measures.build import Drawn

AS_OF = 1000


def test_specimen_scan_done(drawn: Drawn):
    for seen in ("yes", "no", "equivocal", "not_scanned", None):
        drawn.procedure(f"read {seen}")
        drawn.specimen(f"read {seen}", uptake_seen=seen)
    drawn.procedure("one of two read", guidance="gamma_tracer")
    drawn.specimen("one of two read", uptake_seen="not_scanned")
    drawn.specimen("one of two read", uptake_seen="no")
    drawn.procedure("no specimen")
    drawn.procedure("stereotactic", guidance="stereotactic")
    drawn.specimen("stereotactic", uptake_seen="yes")

    assert drawn.built().said("specimen_scan_done", AS_OF) == {
        "read yes": True,
        "read no": True,
        "read equivocal": True,
        "read not_scanned": False,
        "read None": False,
        "one of two read": True,
        "no specimen": False,
        "stereotactic": "not tracer guided",
    }


def test_specimen_uptake(drawn: Drawn):
    for seen in ("yes", "no", "equivocal", "not_scanned", None):
        drawn.procedure(f"read {seen}")
        drawn.specimen(f"read {seen}", uptake_seen=seen)
    drawn.procedure("one of two yes")
    drawn.specimen("one of two yes", uptake_seen="no")
    drawn.specimen("one of two yes", uptake_seen="yes")
    drawn.procedure("mri", guidance="mri")
    drawn.specimen("mri", uptake_seen="yes")

    assert drawn.built().said("specimen_uptake", AS_OF) == {
        "read yes": True,
        "read no": False,
        "read equivocal": False,
        "read not_scanned": "specimens not read",
        "read None": "specimens not read",
        "one of two yes": True,
        "mri": "not tracer guided",
    }


def test_calcification_retrieval(drawn: Drawn):
    for seen in ("yes", "no", "not_applicable", "not_imaged", None):
        drawn.finding(f"finding {seen}", finding_type="calcifications")
        drawn.procedure(f"read {seen}", finding=f"finding {seen}", guidance="stereotactic")
        drawn.specimen(f"read {seen}", calcifications_seen=seen)
    drawn.procedure("mass")
    drawn.specimen("mass", calcifications_seen="yes")
    for first, second in (("not_imaged", "no"), ("no", "yes")):
        key = f"{first} and {second}"
        drawn.finding(f"finding {key}", finding_type="calcifications")
        drawn.procedure(key, finding=f"finding {key}")
        drawn.specimen(key, calcifications_seen=first)
        drawn.specimen(key, calcifications_seen=second)

    assert drawn.built().said("calcification_retrieval", AS_OF) == {
        "read yes": True,
        "read no": False,
        "read not_applicable": "specimens not imaged",
        "read not_imaged": "specimens not imaged",
        "read None": "specimens not imaged",
        "mass": "not calcifications",
        "not_imaged and no": False,
        "no and yes": True,
    }


def test_a_reading_counts_from_its_day_on(drawn: Drawn):
    drawn.procedure("P", 0)
    drawn.specimen("P", uptake_seen="yes", scan_at=at(0, "11:00"), read_at=at(1, "08:00"))
    drawn.built()

    assert drawn.said("specimen_uptake", 0) == {"P": "specimens not read"}
    assert drawn.said("specimen_uptake", 1) == {"P": True}


def test_tissue_mass(drawn: Drawn):
    drawn.procedure("two containers")
    drawn.specimen("two containers", mass_g=1.25)
    drawn.specimen("two containers", mass_g=0.5)
    drawn.procedure("one without a mass")
    drawn.specimen("one without a mass", mass_g=1.0)
    drawn.specimen("one without a mass", mass_g=None)
    drawn.procedure("no specimen")

    assert drawn.built().said("tissue_mass_g", AS_OF) == {
        "two containers": 1.75,
        "one without a mass": "any specimen without a mass",
        "no specimen": "no specimen",
    }


# --- the concentration ratio -------------------------------------------------------------
#
# By hand, with the half-life of F-18, 109.77 min (European Pharmacopoeia, table 5.7):
# (5400 - 300) counts in 120 s at 9.5 counts/s per kBq are 5100 / 120 / 9.5 = 4.473684 kBq on
# average over the scan. The scan begins 130 min after injection; lambda = ln 2 / 109.77 min.
# Start of the scan: times l / (1 - exp(-l)) with l = lambda * 2 min = 0.012629082: 1.006327832.
# Injection: times exp(lambda * 130 min) = exp(0.820890348) = 2.272522272. Worked out with bc:
# 10.230879211 kBq over 1.7 g are 6.018164242 kBq/g; 185 MBq over 68 kg are 2.720588235 kBq/g.

RATIO = 6.018164242 / 2.720588235
GIVEN = {"tracer": "F-18 FDG", "activity_mbq": 185.0, "weight_kg": 68.0}
SCAN = {"counts": 5400.0, "background_counts": 300.0, "scan_seconds": 120.0, "calibration_cps_per_kbq": 9.5}


def scanned(
    drawn: Drawn, key: str, mass: float | None = 1.7, *, injected: str | None = "08:20", **cells: object
) -> None:
    """A procedure with one scan at 10:30; ``cells`` replace what the scan or the procedure holds."""
    own = {name: cells.get(name, value) for name, value in GIVEN.items()}
    time = None if injected is None else at(0, injected)
    drawn.procedure(key, injected_at=time, injected_at_offset_min=0, **own)
    scan = {name: cells.get(name, value) for name, value in SCAN.items()}
    when = cells.get("scan_at", at(0, "10:30"))
    drawn.specimen(key, f"{key} S1", mass_g=mass, scan_at=when, scan_at_offset_min=0, **scan)


def test_concentration_ratio_by_hand(drawn: Drawn):
    scanned(drawn, "P")

    assert drawn.built().said("specimen_concentration_ratio", AS_OF)["P"] == pytest.approx(RATIO, rel=1e-6)


def test_the_concentration_ratio_pools_the_containers_of_a_scan(drawn: Drawn):
    """1.2 g with the counts and 0.5 g scanned with it are the 1.7 g of the example; the rest was not scanned."""
    scanned(drawn, "P", 1.2)
    drawn.specimen("P", mass_g=0.5, scanned_with="P S1")
    drawn.specimen("P", mass_g=9.0)

    assert drawn.built().said("specimen_concentration_ratio", AS_OF)["P"] == pytest.approx(RATIO, rel=1e-6)


def test_the_concentration_ratio_sums_several_scans(drawn: Drawn):
    """The same scan of the same mass twice over is the same concentration."""
    scanned(drawn, "P")
    drawn.specimen("P", "P S2", mass_g=1.7, scan_at=at(0, "10:30"), scan_at_offset_min=0, **SCAN)

    assert drawn.built().said("specimen_concentration_ratio", AS_OF)["P"] == pytest.approx(RATIO, rel=1e-6)


def test_the_concentration_ratio_of_two_unequal_scans_is_weighted_by_mass(drawn: Drawn):
    """Half the net counts in twice the mass: (1 + 1/2) times the activity in 3 times the mass."""
    scanned(drawn, "P")
    half = {**SCAN, "counts": 2850.0}
    drawn.specimen("P", "P S2", mass_g=3.4, scan_at=at(0, "10:30"), scan_at_offset_min=0, **half)

    assert drawn.built().said("specimen_concentration_ratio", AS_OF)["P"] == pytest.approx(
        RATIO / 2, rel=1e-6
    )


def test_the_concentration_ratio_may_be_negative(drawn: Drawn):
    """As many counts below the background as the example has above."""
    scanned(drawn, "P", counts=300.0, background_counts=5400.0)

    assert drawn.built().said("specimen_concentration_ratio", AS_OF)["P"] == pytest.approx(-RATIO, rel=1e-6)


def test_the_concentration_ratio_counts_elapsed_time_across_a_change_of_clocks(drawn: Drawn):
    """Injected at 07:20 one hour behind UTC is 08:20 UTC, as in the example."""
    scanned(drawn, "P", injected="07:20")
    drawn.rows["procedures"][0]["injected_at_offset_min"] = -60

    assert drawn.built().said("specimen_concentration_ratio", AS_OF)["P"] == pytest.approx(RATIO, rel=1e-6)


def test_the_concentration_ratio_uses_the_half_life_of_the_tracer(drawn: Drawn):
    """Tc-99m: 360.42 min in the vocabulary; the correction is 2^(130/360.42) * l/(1-exp(-l))."""
    scanned(drawn, "P", tracer="Tc-99m sestamibi")
    during = math.log(2) * 2 / 360.42
    at_injection = 5100 / 120 / 9.5 * during / (1 - math.exp(-during)) * 2 ** (130 / 360.42)

    assert drawn.built().said("specimen_concentration_ratio", AS_OF)["P"] == pytest.approx(
        at_injection / 1.7 / (185000 / 68000), rel=1e-9
    )


@pytest.mark.parametrize("missing", [*GIVEN, *SCAN, "scan_at"])
def test_the_concentration_ratio_needs_everything(drawn: Drawn, missing: str):
    scanned(drawn, "P", **{missing: None})

    assert drawn.built().said("specimen_concentration_ratio", AS_OF) == {"P": "anything of it missing"}


def test_the_concentration_ratio_needs_masses_and_the_injection_time(drawn: Drawn):
    scanned(drawn, "no injection time", injected=None)
    scanned(drawn, "no mass", None)
    scanned(drawn, "no mass beside it")
    drawn.specimen("no mass beside it", mass_g=None, scanned_with="no mass beside it S1")
    scanned(drawn, "second scan incomplete")
    drawn.specimen(
        "second scan incomplete", mass_g=1.0, **{**SCAN, "scan_seconds": None}, scan_at=at(0, "10:30")
    )
    scanned(drawn, "tracer without a half-life", tracer="other")
    drawn.procedure("no specimen", **GIVEN)

    assert set(drawn.built().said("specimen_concentration_ratio", AS_OF).values()) == {
        "anything of it missing"
    }
