"""Received = new + version + unchanged + held, for every batch and over all of them."""

from __future__ import annotations

import shutil
from typing import TYPE_CHECKING

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from registry.intake import quarantine
from registry.store import Registry
from tests.build import load

if TYPE_CHECKING:
    from pathlib import Path

keys = st.sampled_from(["A", "B", "C", "D", "E", ""])
operators = st.fixed_dictionaries(
    {
        "operator": keys,
        "role": st.sampled_from(["", "radiologist", "<erase>"]),
        "experience_before": st.sampled_from(["", "3", "40", "-1", "many"]),
    }
)
sources = st.fixed_dictionaries(
    {
        "source_id": keys,
        "site": st.sampled_from(["N", "S"]),
        "nuclide": st.sampled_from(["Ge-68", "F18", "lead"]),
        "activity_mbq": st.sampled_from(["3.7", "0", "nan"]),
        "reference_on": st.sampled_from(["2025-01-01", "2025-02-30", "01/02/2025"]),
    }
)
constancy = st.fixed_dictionaries(
    {
        "check_id": keys,
        "site": st.just("N"),
        "done_at": st.just("2025-05-01T08:00"),
        "kind": st.sampled_from(["counts", "clock"]),
        "source_id": keys,
        "counts": st.sampled_from(["", "100"]),
        "seconds": st.sampled_from(["", "60"]),
        "clock_offset_s": st.sampled_from(["", "1"]),
    }
)
batches = st.lists(
    st.fixed_dictionaries(
        {
            "operators": st.lists(operators, max_size=4),
            "sources": st.lists(sources, max_size=4),
            "constancy": st.lists(constancy, max_size=4),
        }
    ),
    min_size=1,
    max_size=3,
)


@given(batches, st.booleans())
@settings(max_examples=25, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_no_row_is_lost(empty_folder: Path, tmp_path: Path, given_batches: list, dismiss_one: bool):
    folder = tmp_path / "registry"
    shutil.rmtree(folder, ignore_errors=True)
    shutil.copytree(empty_folder, folder)
    with Registry.open(folder, write=True) as registry:
        sent = 0
        for batch in given_batches:
            rows = {name: given for name, given in batch.items() if given}
            report = load(registry, rows)
            sent += sum(len(given) for given in rows.values())
            assert report.total.reconciles
            assert report.total.received == sum(len(given) for given in rows.values())
        open_marks = [
            row[0]
            for row in registry.rows("SELECT quarantine_id FROM quarantine WHERE state = 'open' ORDER BY 1")
        ]
        if dismiss_one and open_marks:
            quarantine.dismiss(registry, open_marks[0], "coordinator", "seen")
        received, resubmitted, taken = registry.rows(
            "SELECT sum(received), sum(resubmitted), sum(accepted_new + accepted_version + unchanged) FROM import_batch"
        )[0]
        waiting = registry.rows("SELECT count(*) FROM quarantine WHERE state IN ('open', 'dismissed')")[0][0]
        stored = registry.rows(
            "SELECT (SELECT count(*) FROM operators) + (SELECT count(*) FROM sources) + (SELECT count(*) FROM constancy)"
        )[0][0]
        new = registry.rows("SELECT sum(accepted_new) FROM import_batch")[0][0]
    assert (received, received - resubmitted, stored) == (sent, taken + waiting, new)
