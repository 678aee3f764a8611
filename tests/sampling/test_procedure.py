"""One procedure: evidence in words, budget, scan with its counts, what remains after a benign result."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import pytest

from registry.errors import UsageProblem
from registry.sampling import procedure_estimate
from tests.measures.build import at, day
from tests.sampling.conftest import whole

if TYPE_CHECKING:
    from registry.sampling import Estimate
    from tests.measures.build import Drawn

AS_OF = 1000


def estimate(drawn: Drawn, key: str = "P", on: int = AS_OF) -> Estimate:
    return procedure_estimate(drawn.built(), key, day(on))


def scanned(drawn: Drawn, key: str, *readings: str, **cells: Any) -> str:
    whole(drawn, key, **cells)
    for reading in readings:
        drawn.specimen(key, uptake_seen=reading)
    return key


# -- evidence ------------------------------------------------------------------------------


def test_the_evidence_comes_in_words(drawn: Drawn):
    scanned(drawn, "P", "yes", aperture_judgement="edge", residual="reduced", marker="placed")
    found = estimate(drawn)
    assert found.evidence == (
        "Reader's judgement at the last needle placement: target at the edge of the aperture.",
        "Tracer was seen in the specimens.",
        "Target on the guiding modality after sampling: target reduced.",
        "Tissue marker: placed.",
    )
    assert found.contradictions == ()


def test_nothing_recorded_is_said(drawn: Drawn):
    whole(drawn, "P")
    assert [text.rpartition(": ")[2] for text in estimate(drawn).evidence if ":" in text] == [
        "not recorded."
    ] * 3


def test_an_unchanged_target_contradicts_and_changes_no_figure(drawn: Drawn):
    whole(drawn, "unchanged", residual="unchanged")
    whole(drawn, "reduced", residual="reduced")
    against, plain = estimate(drawn, "unchanged"), estimate(drawn, "reduced")
    assert "contradicts" in against.contradictions[0]
    assert [one.probability for one in against.bands] == [one.probability for one in plain.bands]


def test_without_geometry_the_reason_is_said_and_the_evidence_stays(drawn: Drawn):
    scanned(drawn, "P", "no", gauge=None)
    found = estimate(drawn)
    assert (found.left_out, found.bands, found.scan) == ("needle diameter not known", (), None)
    assert found.meaning.startswith("gauge empty")
    assert "No tracer was seen in the specimens." in found.evidence


def test_an_unknown_procedure_ends_in_a_sentence(drawn: Drawn):
    whole(drawn, "P", on=AS_OF + 1)
    for key in ("P", "nobody"):
        with pytest.raises(UsageProblem, match="no procedure with this key that had started by"):
            estimate(drawn, key)


def test_everything_can_be_written_as_json(drawn: Drawn):
    scanned(drawn, "P", "yes")
    drawn.report("P", "benign")
    assert json.loads(json.dumps(estimate(drawn).to_dict(), default=str))["procedure_id"] == "P"


# -- geometry ------------------------------------------------------------------------------


def test_budget_adds_up_as_squares(drawn: Drawn):
    """Compression along y: 5 / sqrt(12) = 1.443 twice, 2.041 together; 1 twice across, 1.414."""
    whole(drawn, "P")
    *parts, total = estimate(drawn).budget
    assert [round(one.y_mm, 3) for one in parts] == [1.443, 1.443, 0.0]
    assert (total.x_mm, total.y_mm, total.z_mm) == pytest.approx((2**0.5, 5 / 6**0.5, 2**0.5))


def test_motion_comes_from_this_registry_when_there_is_enough(drawn: Drawn):
    """Ten targets re-seen, each moved by (1, 1, 1): one mm on each axis; nine are too few."""
    whole(drawn, "P", seen_x_mm=None, seen_y_mm=None, seen_z_mm=None)
    moved = {f"seen_{axis}_mm": 1.0 for axis in "xyz"}
    for number in range(9):
        whole(drawn, f"M{number}", **moved)
    assert estimate(drawn).budget[2].x_mm == 0.0
    assert any("too few" in text for text in estimate(drawn).assumptions)
    whole(drawn, "M9", **moved)
    assert estimate(drawn).budget[2].x_mm == pytest.approx(1.0)


def test_the_two_ways_agree(drawn: Drawn):
    """Error alike across the needle: by quadrature; 0.001 mm apart: by the lattice rule."""
    whole(drawn, "quadrature", compression_axis="x", achieved_z_mm=2.0)
    # Compression across the needle, slices as fine as the measurement but for a hair.
    whole(drawn, "lattice", slice_mm=1.001 * 12**0.5, achieved_z_mm=2.0)
    whole(drawn, "alike", compression_axis="x", slice_mm=12**0.5, achieved_z_mm=2.0)
    first, second = estimate(drawn, "alike").bands, estimate(drawn, "lattice").bands
    assert {one.method for one in first} == {"quadrature"}
    assert {one.method for one in second} == {"randomly shifted lattice"}
    for one, other in zip(first, second, strict=True):
        assert other.expected_share == pytest.approx(one.expected_share, abs=0.002)
        assert other.probability == pytest.approx(one.probability, abs=0.005 + 6 * other.error)


def test_unknown_hours_show_both_extremes(drawn: Drawn):
    whole(drawn, "P", sampled_hours=None)
    found = estimate(drawn).bands
    assert [one.hours for one in found] == ["all around"] * 3 + ["one hour"] * 3
    assert found[3].expected_share < found[0].expected_share / 6


# -- the scan ------------------------------------------------------------------------------


def test_what_is_known_without_the_scan(drawn: Drawn):
    """Two ways to have sampled, two not to have; contradictions, the unknown and the unread are left out."""
    drawn.report(scanned(drawn, "malignant, seen", "yes"), "invasive")
    drawn.report(scanned(drawn, "malignant, not seen", "no", "no"), "in_situ")
    scanned(drawn, "reduced, seen in one of two", "no", "yes", residual="reduced")
    scanned(drawn, "unchanged, seen", "yes", residual="unchanged")
    late = scanned(drawn, "later cancer, not seen", "no")
    drawn.report(late, "benign")
    drawn.linkage(late, 730, "invasive")
    too_late = scanned(drawn, "cancer after the window", "no")
    drawn.report(too_late, "benign")
    drawn.linkage(too_late, 731, "invasive")
    drawn.report(scanned(drawn, "contradictory", "yes", residual="unchanged"), "invasive")
    scanned(drawn, "equivocal", "no", "equivocal", residual="none")
    scanned(drawn, "not read", "not_scanned", residual="none")
    scanned(drawn, "mri", "yes", residual="none", guidance="mri")
    scanned(drawn, "cancelled", status="cancelled", residual="none")
    scanned(drawn, "P", "yes", residual="none")
    known = estimate(drawn).known
    assert (known.sensitivity.events, known.sensitivity.trials) == (2, 3)
    assert (known.false_positive.events, known.false_positive.trials) == (1, 2)
    assert known.left_out == {
        "contradictory evidence": 1,
        "not known whether sampled": 1,
        "specimens not read": 1,
        "specimens read as equivocal": 1,
    }


def test_a_reading_after_the_day_does_not_count(drawn: Drawn):
    whole(drawn, "P")
    drawn.specimen("P", uptake_seen="yes", read_at=at(AS_OF + 1))
    drawn.built()
    assert procedure_estimate(drawn, "P", day(AS_OF)).scan is None
    assert procedure_estimate(drawn, "P", day(AS_OF + 1)).scan is not None


def test_uptake_raises_the_probability_where_the_registry_shows_that_it_tells(drawn: Drawn):
    """Ten sampled with uptake, ten not sampled without: 11/12 against 1/12."""
    for number in range(10):
        scanned(drawn, f"S{number}", "yes", residual="reduced")
        scanned(drawn, f"N{number}", "no", residual="unchanged")
    there = {"achieved_z_mm": 4.5}
    scanned(drawn, "seen", "yes", **there)
    scanned(drawn, "not seen", "no", **there)
    scanned(drawn, "equivocal", "equivocal", **there)
    seen, not_seen = estimate(drawn, "seen"), estimate(drawn, "not seen")
    before = seen.bands[1].probability
    assert 0.1 < before < 0.9
    assert seen.scan is not None
    assert not_seen.scan is not None
    assert not_seen.scan.after[1].mean < before < seen.scan.after[1].mean
    assert seen.scan.after[1].lower < seen.scan.after[1].mean < seen.scan.after[1].upper
    assert estimate(drawn, "equivocal").scan is None


# -- after a benign result -----------------------------------------------------------------


def category(drawn: Drawn, cancers: int, others: int) -> None:
    for number in range(cancers + others):
        drawn.finding(f"F{number}", assessment="4B")
        drawn.procedure(f"C{number}", finding=f"F{number}")
        drawn.report(f"C{number}", "invasive" if number < cancers else "benign")


def test_what_remains_stands_on_the_yield_of_the_category(drawn: Drawn):
    category(drawn, 4, 6)
    drawn.report(whole(drawn, "P", assessment="4B"), "benign")
    found = estimate(drawn).residual
    assert found is not None
    assert (found.pretest.events, found.pretest.trials, found.assessment) == (4, 10, "4B")
    # Less than the yield, and the more so the more was sampled.
    assert [one.mean for one in found.after] == sorted((one.mean for one in found.after), reverse=True)
    assert found.after[0].mean < found.pretest.mean


def test_later_cancer_is_part_of_the_yield(drawn: Drawn):
    category(drawn, 4, 6)
    drawn.linkage("C9", 730, "invasive")
    drawn.linkage("C8", 731, "invasive")
    drawn.report(whole(drawn, "P", assessment="4B"), "benign")
    found = estimate(drawn).residual
    assert found is not None
    assert found.pretest.events == 5


def test_below_the_minimum_only_the_counts_are_given(drawn: Drawn):
    category(drawn, 4, 5)
    drawn.report(whole(drawn, "P", assessment="4B"), "benign")
    found = estimate(drawn).residual
    assert found is not None
    assert (found.pretest.trials, found.minimum_n, found.after) == (9, 10, ())


@pytest.mark.parametrize("diagnosis", ["invasive", "high_risk", "insufficient", None])
def test_nothing_remains_to_be_said_without_a_benign_result(drawn: Drawn, diagnosis: str | None):
    category(drawn, 4, 6)
    whole(drawn, "P", assessment="4B")
    if diagnosis:
        drawn.report("P", diagnosis)
    assert estimate(drawn).residual is None
