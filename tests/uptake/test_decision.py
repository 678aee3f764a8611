"""What counts may be called; the arithmetic stands beside each expected value."""

import pytest

from registry.tracer import net_rate
from registry.uptake.decision import MEASURED, NO_DECISION, NOT_ABOVE, NOT_COMPARED, TOO_FEW, decide


def said(counts, background, *, seconds=100.0, kind="empty_tray", reference=1.0, per_rate=1.0, missing=()):
    net = net_rate(counts, seconds, background)
    return decide(net, background_kind=kind, reference=reference, ratio_per_rate=per_rate, missing=missing)


class TestRule:
    """Background 400 in 100 s: threshold 1.6449 sqrt(800)/100 = 0.4652, limit 2 * 0.4652 + 2.7055/100 = 0.9575 per s."""

    @pytest.mark.parametrize(("counts", "key"), [(446, NOT_ABOVE), (447, MEASURED)])
    def test_the_decision_threshold_parts_measured_from_not(self, counts, key):
        """Net 46 and 47 counts against 46.52."""
        assert said(counts, 400).key == key

    @pytest.mark.parametrize(("reference", "key"), [(0.957, TOO_FEW), (0.958, NOT_ABOVE)])
    def test_the_detection_limit_parts_no_uptake_from_too_few_counts(self, reference, key):
        """One net count per second is a ratio of 1, so the limit is 0.9575."""
        assert said(400, 400, reference=reference).key == key

    def test_the_limit_is_compared_as_a_concentration(self):
        """Half the tissue: a count per second is twice the ratio, the limit 1.92 lies above 1."""
        assert said(400, 400, per_rate=2.0).key == TOO_FEW
        assert said(400, 400, per_rate=1.0).key == NOT_ABOVE

    def test_few_counts_are_decided_exactly(self):
        """No background: 4 counts happen by chance (0.5^4 = 0.0625), 5 do not (0.031)."""
        assert said(4, 0, per_rate=1.0).key == NOT_ABOVE
        assert said(5, 0, per_rate=1.0).key == MEASURED

    def test_a_short_scan_with_few_counts_cannot_tell(self):
        """No counts in 5 s: 5 counts are needed, found with 95 % at a mean of 9.15, that is 1.83 per s."""
        assert said(0, 0, seconds=5.0).key == TOO_FEW
        assert "up to 1.8 times" in said(0, 0, seconds=5.0).sentence

    def test_without_a_calibration_the_sensitivity_is_not_known(self):
        found = said(400, 400, per_rate=None, missing=("calibration of the scanner",))
        assert found.key == NOT_COMPARED
        assert "0.96 net counts per second" in found.sentence
        assert found.sentence.endswith("calibration of the scanner missing.")

    def test_without_a_calibration_radioactivity_is_still_measured(self):
        assert said(900, 400, per_rate=None, missing=("calibration of the scanner",)).key == MEASURED

    def test_without_a_background_there_is_no_decision(self):
        found = decide(
            None, background_kind=None, reference=1.0, ratio_per_rate=None, missing=("background counts",)
        )
        assert (found.key, found.sentence) == (NO_DECISION, "No decision: background counts missing.")


class TestWords:
    def test_over_an_empty_tray_radioactivity_was_measured_and_no_target_sampled(self):
        sentence = said(900, 400).sentence
        assert "radioactivity measured (background: empty tray)" in sentence
        assert "target" not in sentence
        assert "sampled" not in sentence

    def test_over_normal_tissue_it_is_more_than_there(self):
        assert (
            "more radioactivity measured than over normal tissue"
            in said(900, 400, kind="normal_tissue").sentence
        )

    def test_a_background_of_unknown_content_is_said_to_be_one(self):
        assert "what the background held is not recorded" in said(900, 400, kind=None).sentence

    def test_the_limit_stands_in_the_sentence(self):
        assert said(400, 400).sentence == (
            "Not above background; a concentration of 0.96 times an even spread through the body would have been found."
        )

    def test_over_normal_tissue_it_is_a_surplus_that_is_not_there(self):
        assert said(400, 400, kind="normal_tissue").sentence.startswith(
            "No more than normal tissue; a surplus of 0.96"
        )
