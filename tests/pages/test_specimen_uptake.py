"""The page Specimen uptake, its part of the record, and its commands."""

import json
import re

import pytest
from typer.testing import CliRunner

from dashboards.components import cautions, uptake_curve
from dashboards.components.record_uptake import NOT_THE_TARGET
from registry.cli import app as command_line
from registry.stats.roc import best_threshold, roc_auc
from registry.uptake.diagnosis import OUTCOME, Discrimination
from tests.build import base, load
from tests.pages.test_pages import text_of

NAME = "specimen_uptake"


def visible(page):
    """Text of a page without its markup, narrow spaces as plain ones."""
    return re.sub(r"<[^>]+>", " ", text_of(page)).replace("\u202f", " ")


class TestPage:
    def test_it_names_the_outcome_of_the_curve(self, demo_page):
        assert OUTCOME in visible(demo_page(NAME))

    def test_it_says_what_radioactivity_does_not_mean(self, demo_page):
        assert NOT_THE_TARGET in visible(demo_page(NAME))

    def test_it_never_says_that_a_target_was_sampled(self, demo_page):
        """But in the sentence that denies it, and in the exclusion flow of the measures."""
        shown = visible(demo_page(NAME)).replace(NOT_THE_TARGET, "")
        assert "target was sampled" not in shown
        assert "target sampled" not in shown

    @pytest.mark.parametrize(
        "text", [cautions.TRACER, cautions.PHYSICS, cautions.RADIATION, cautions.CLUSTER]
    )
    def test_its_cautions_stand(self, demo_page, text):
        assert text in visible(demo_page(NAME))

    def test_it_names_the_coefficients_of_the_dose(self, demo_page):
        shown = visible(demo_page(NAME))
        assert "0.019 mSv/MBq (ICRP coefficient for adults)" in shown
        assert "not the dose of a person" in shown

    def test_it_reports_the_corrected_index(self, demo_page):
        shown = visible(demo_page(NAME))
        assert "Youden index, corrected: the one to report" in shown
        assert "1 000 resamples of patients, seed 1" in shown

    def test_it_says_how_many_patients_have_several_procedures(self, demo_page):
        assert re.search(r"\d+ patients? of \d+ with several procedures", visible(demo_page(NAME)))

    def test_an_empty_registry_says_so(self, served_empty, open_page):
        shown = visible(open_page(NAME))
        for said in (
            "No specimen was scanned or read in the period.",
            "No procedures with a concentration ratio.",
        ):
            assert said in shown

    def test_a_registry_of_one_shows_counts_only(self, served_empty, open_page):
        load(served_empty, base())
        shown = visible(open_page(NAME))

        assert "0 malignant, 1 not: too few for a curve." in shown
        assert "Area under the curve" not in shown
        assert re.search(r"1 of 1\s+0 left out\s+too few", shown)


class TestArea:
    """Only the wording; the figures are tested with the functions that give them."""

    def found(self, outcome, marker):
        return Discrimination(
            roc_auc(outcome, marker), best_threshold(outcome, marker, 10), 20, 0, {}, 0, 0, (0, 1), (0, 1), ()
        )

    @pytest.fixture(autouse=True)
    def minimum(self, monkeypatch):
        monkeypatch.setattr(uptake_curve.session, "minimum_n", lambda: 10)

    def test_an_area_of_one_has_no_interval_but_a_bound(self):
        """Ten pairs that all agree: exact lower limit 0.025^(1/10) = 0.6915."""
        said = uptake_curve._area(self.found([1] * 10 + [0] * 10, range(20, 0, -1)))
        assert "Area under the curve 1.000; no interval: the variance is 0" in said
        assert "at least 0.692" in said

    def test_too_few_of_one_outcome_are_counted_only(self):
        assert uptake_curve._area(self.found([1] * 9 + [0] * 11, range(20))) == (
            "9 malignant, 11 not: too few for a curve."
        )


class TestRecord:
    def shown(self, registry, open_page):
        load(registry, base())
        return visible(open_page("procedure_record", procedure="P1"))

    def test_the_scan_stands_with_its_rate_and_decision(self, served_empty, open_page):
        """5100 net counts in 120 s: 42.5, u = sqrt(5700)/120 = 0.63, threshold 1.645 sqrt(600)/120 = 0.34."""
        shown = self.shown(served_empty, open_page)

        assert re.search(r"S1, S2 \(together\)\s+5 400 in 120 s\s+300\s+42.5 ± 0.63\s+0.34", shown)
        assert "Above the decision threshold: radioactivity measured" in shown
        assert NOT_THE_TARGET in shown

    def test_decay_and_dose_stand_with_their_constants(self, served_empty, open_page):
        """08:20 to 10:30 are 130 min, 2^(-130/109.77) = 0.4400; 185 x 0.019 = 3.5 mSv; first scan 09:20."""
        shown = self.shown(served_empty, open_page)

        assert "0.4400 left after 130 min" in shown
        assert "109.77 min (European Pharmacopoeia table 5.7)" in shown
        assert "60 min from injection to the first scan" in shown
        assert "3.5 mSv" in shown
        assert "0.019 mSv/MBq (ICRP coefficient for adults)" in shown

    def test_too_few_counts_are_told_from_no_uptake(self, served_empty, open_page):
        """2 counts in 1 s beside 2: 9 are needed (P 0.033), found with 95 % at a mean of 14.4, less 2: 12.4 per s.

        The example of 42.5 per s in 1.7 g is a ratio of 2.212; in 0.05 g a count per second is 1.77.
        """
        rows = base()
        scan = {"counts": "2", "background_counts": "2", "scan_seconds": "1", "mass_g": "0.05"}
        rows["specimens"] = [{**rows["specimens"][0], **scan}]
        load(served_empty, rows)

        shown = visible(open_page("procedure_record", procedure="P1"))
        assert "Too few counts to tell: a concentration of up to 22 times an even spread" in shown

    def test_without_tracer_nothing_is_said_of_it(self, served_empty, open_page):
        rows = base()
        for name in ("tracer", "activity_mbq", "injected_at", "first_scan_at"):
            del rows["procedures"][0][name]
        rows["specimens"] = [{"specimen_id": "S1", "procedure_id": "P1", "mass_g": "1.2"}]
        rows["procedures"][0]["guidance"] = "mri"
        load(served_empty, rows)

        assert "Tracer in the specimens" not in visible(open_page("procedure_record", procedure="P1"))


class TestCommands:
    def run(self, *words):
        done = CliRunner().invoke(command_line, [str(word) for word in words])
        assert done.exit_code == 0, done.output
        return done.output

    def test_the_summary_names_method_and_counts(self, registry):
        load(registry, base())
        registry.close()
        rows = json.loads(self.run("uptake", registry.folder, "--as-of", "2026-06-30", "--format", "json"))
        dose = next(row for row in rows if row["part"] == "effective dose per visit")

        assert {"part": "scans", "what": "read yes, radioactivity measured"}.items() <= rows[0].items()
        assert (rows[0]["x"], rows[0]["n"]) == (1, 1)
        assert (dose["n"], dose["value"], dose["method"]) == (
            1,
            None,
            "fewer than 10; 0.019 mSv/MBq (ICRP coefficient for adults)",
        )

    def test_the_table_says_what_it_is_not(self, registry):
        registry.close()
        said = self.run("uptake", registry.folder)

        assert "Tracer uptake is not cancer, and its absence is not benign" in said

    def test_sources_on_a_day(self, registry):
        """3.7 MBq of Ge-68 on 2024-01-15, 30 days later 0.92612 of it."""
        load(registry, base())
        registry.close()
        (row,) = json.loads(self.run("sources", registry.folder, "--as-of", "2024-02-14", "--format", "json"))

        assert row["left"] == pytest.approx(0.92612, abs=5e-6)
        assert row["activity_mbq"] == pytest.approx(3.7 * 0.92612, abs=2e-5)

    def test_a_wrong_day_ends_in_a_sentence(self, registry):
        registry.close()
        done = CliRunner().invoke(command_line, ["uptake", str(registry.folder), "--from", "yesterday"])

        assert "is not a calendar date" in str(done.exception)
