"""Answers to signals in the pack: beside their signal, on paper only, and not before they were given."""

from __future__ import annotations

import shutil
from datetime import UTC, timedelta

import pytest

from registry import monitoring
from registry.known import as_known
from registry.reports.pack import quality_pack
from registry.store import Registry
from tests.reports.conftest import AS_OF, END, PERIOD, START
from tests.reports.test_pack_parts import LEAST, tables

# -- answers to signals ----------------------------------------------------------------


@pytest.fixture(scope="module")
def answered(demo, tmp_path_factory):
    """A copy in which the first signal of the period has an answer, and the moment before it."""
    own = shutil.copytree(demo, tmp_path_factory.mktemp("answered") / "demo")
    with Registry.open(own, write=True) as registry:
        made = monitoring.cumulative(
            registry, "insufficient_sample", as_of=AS_OF, end=END, watched_from=START, minimum=LEAST
        )
        note = monitoring.answer(
            registry,
            "insufficient_sample",
            made.signals[0].procedure_id,
            chart="cusum",
            stratum="all",
            design=made.design,
            answer="practice",
            note="New needle from autumn on",
            author="quality",
        )
        moment = note.recorded_at.replace(tzinfo=UTC) - timedelta(seconds=1)
        yield registry, moment


def test_an_answer_stands_beside_its_signal(answered):
    registry, _ = answered
    made = quality_pack(registry, **PERIOD)
    (first, *others) = [row for row in made.rows["signals"] if row["measure"] == "insufficient_sample"]
    cells = "".join(cell for one in tables(made) for row in one.rows for cell in row)

    assert first["answers"] == "Looked at: a change of practice, named in the note"
    assert all(one["answers"] == "" for one in others)
    assert "New needle from autumn on (quality" in cells


def test_the_words_of_an_answer_stand_in_no_file_of_rows(answered):
    registry, _ = answered

    assert "New needle" not in str(quality_pack(registry, **PERIOD).rows)


def test_an_answer_of_later_is_not_known_before(answered):
    registry, moment = answered
    with as_known(registry, moment) as known:
        assert quality_pack(known, **PERIOD).rows["answers"] == []
    with as_known(registry, moment + timedelta(days=1)) as known:
        assert len(quality_pack(known, **PERIOD).rows["answers"]) == 1
