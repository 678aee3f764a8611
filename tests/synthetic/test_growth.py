"""The generator grows without a loop over procedures."""

from __future__ import annotations

import time

from synthetic_data import generate

#: 100,000 procedures took about 3.5 s of processor time on two shared cores.
_LIMIT_SECONDS = 10.0


def test_twenty_thousand_procedures_are_written_in_seconds(tmp_path):
    began = time.process_time()
    generate.write(tmp_path, procedures=20_000)
    assert time.process_time() - began < _LIMIT_SECONDS


def test_all_tables_grow_with_the_procedures(demo, large):
    for table in (
        "patients",
        "findings",
        "targeting",
        "specimens",
        "pathology",
        "reviews",
        "followup",
        "complications",
    ):
        ratio = large.table(table).height / demo.table(table).height
        assert 5.5 < ratio < 8.0, table
