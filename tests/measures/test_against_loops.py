"""Every measure on random small registries, against plain loops over the rows.

The loops of ``oracle`` share nothing with the SQL; the rows of ``random_rows`` fall on and
beside the last day of every window.
"""

from __future__ import annotations

import math
from random import Random
from typing import TYPE_CHECKING

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from registry import facts
from registry.measures import evaluate, load_measures
from tests.measures import oracle, random_rows
from tests.measures.build import TABLES, Drawn, day

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import date

MEASURES = load_measures()
LINKAGE = (None, random_rows.AS_OF - 100, random_rows.AS_OF + 500)
several = settings(
    max_examples=12, suppress_health_check=[HealthCheck.too_slow, HealthCheck.function_scoped_fixture]
)
a_seed = st.integers(min_value=0, max_value=10**9)


def random_registry(scene: Drawn, seed: int) -> int | None:
    """A registry drawn with that seed; returns the day up to which linkage is complete."""
    random = Random(seed)
    scene.rows = {table: [] for table in TABLES}
    random_rows.draw(scene, random)
    until = random.choice(LINKAGE)
    scene.setting("linkage_complete_until", on=until)
    scene.built()
    return until


TOLD = {
    "proportion": "in_numerator, {unknown}",
    "quantity": "measured",
    "table": "b_category, outcome",
    "time_to_event": "lost_days, lost_status, free_days, free_status",
    "sampling": "error_x_mm, error_y_mm, error_z_mm, slice_mm, measurement_sd_mm",
}


def everything_said(scene: Drawn, as_of: date) -> dict[str, dict[str, tuple]]:
    """Measure -> procedure -> what its statement says."""
    found: dict[str, dict[str, tuple]] = {measure: {} for measure in MEASURES}
    with facts.at(scene, as_of) as cursor:
        for kind, columns in TOLD.items():
            parts = []
            for one in (one for one in MEASURES.values() if one.kind == kind):
                asked = columns.format(unknown="unknown" if one.bounds else "NULL")
                parts.append(f"SELECT '{one.id}', procedure_id, excluded_because, {asked} FROM ({one.body})")
            for measure, key, *rest in cursor.execute(" UNION ALL ".join(parts), {"as_of": as_of}).fetchall():
                found[measure][key] = tuple(rest)
    return found


@several
@given(seed=a_seed, as_of=st.sampled_from(random_rows.days_worth_asking()))
def test_every_measure_says_what_the_loops_say(scene: Drawn, seed: int, as_of: date):
    until = random_registry(scene, seed)
    record = oracle.Record(scene.rows, as_of, None if until is None else day(until))
    for measure, told in everything_said(scene, as_of).items():
        assert set(told) == {one["procedure_id"] for one in record.procedures}
        for procedure in record.procedures:
            _same(measure, told[procedure["procedure_id"]], record, procedure)


def _same(measure: str, told: tuple, record: oracle.Record, procedure: oracle.Row) -> None:
    where = (measure, procedure["procedure_id"])
    if measure in oracle.PROPORTIONS:
        reason, counts, unknown = oracle.PROPORTIONS[measure](record, procedure)
        assert (*where, told[0], told[2]) == (*where, reason, unknown)
        assert reason is not None or told[1] == counts, where
    elif measure in oracle.QUANTITIES:
        reason, value = oracle.QUANTITIES[measure](record, procedure)
        assert (*where, told[0]) == (*where, reason)
        assert reason is not None or math.isclose(told[1], value, rel_tol=1e-9, abs_tol=1e-12), where
    elif measure == "b_category_accuracy":
        reason, *cell = oracle.b_category_accuracy(record, procedure)
        assert (*where, told[0]) == (*where, reason)
        assert reason is not None or list(told[1:]) == cell, where
    elif measure == "sampling_probability":
        reason, cells = oracle.sampling_probability(record, procedure)
        assert (*where, told[0]) == (*where, reason)
        assert reason is not None or list(told[1:]) == pytest.approx(cells), where
    else:
        reason, lost, free = oracle.cancer_after_benign(record, procedure)
        assert (*where, told[0]) == (*where, reason)
        assert reason is not None or told[1:] == (*lost, *free), where


def test_the_loops_know_every_measure():
    others = {"b_category_accuracy", "cancer_after_benign", "sampling_probability"}
    assert {*oracle.PROPORTIONS, *oracle.QUANTITIES, *others} == set(MEASURES)


@several
@given(seed=a_seed, by=st.sampled_from([None, "site", "gauge"]))
def test_counts_add_up(scene: Drawn, seed: int, by: str | None):
    """Numerator <= denominator, and denominator + excluded = all procedures, in every stratum."""
    random_registry(scene, seed)
    as_of = day(random_rows.AS_OF)
    record = oracle.Record(scene.rows, as_of)
    started: dict[str, int] = {}
    for one in record.procedures:
        name = "all" if by is None else str(one.get(by) or "not recorded")
        started[name] = started.get(name, 0) + 1
    for result in evaluate(scene, list(oracle.PROPORTIONS), as_of=as_of, by=by):
        assert 0 <= result.numerator <= result.denominator
        assert result.denominator + sum(result.excluded.values()) == started[result.stratum]
        assert (result.denominator == 0) == (result.patients == 0)
        assert result.patients <= min(result.denominator, len(scene.rows["patients"]))


@several
@given(seed=a_seed)
def test_counted_results_are_the_sums_of_the_loops(scene: Drawn, seed: int):
    random_registry(scene, seed)
    as_of = day(random_rows.AS_OF)
    record = oracle.Record(scene.rows, as_of)
    results = {one.measure: one for one in evaluate(scene, list(oracle.PROPORTIONS), as_of=as_of)}
    for measure, function in oracle.PROPORTIONS.items():
        verdicts = [(one, function(record, one)) for one in record.procedures]
        kept = [(one, verdict) for one, verdict in verdicts if verdict[0] is None]
        people = {record.findings[one["finding_id"]]["patient"] for one, _ in kept}
        found = results[measure]

        assert (measure, found.denominator) == (measure, len(kept))
        assert (measure, found.numerator) == (measure, sum(verdict[1] for _, verdict in kept))
        assert (measure, found.patients) == (measure, len(people))


@pytest.fixture(scope="module")
def second() -> Iterator[Drawn]:
    made = Drawn()
    yield made
    made.close()


DATED = {
    "procedures": "started_at",
    "pathology": "reported_on",
    "reviews": "reviewed_on",
    "followup": "happened_on",
    "complications": "onset_on",
}


def known_by(rows: dict[str, list[oracle.Row]], as_of: date) -> dict[str, list[oracle.Row]]:
    """The rows that were dated up to a day, as if nothing had been recorded since."""
    kept = {table: [dict(row) for row in rows[table]] for table in TABLES}
    for table, name in DATED.items():
        kept[table] = [row for row in kept[table] if _day(row[name]) <= as_of]
    there = {row["procedure_id"] for row in kept["procedures"]}
    for table in ("targeting", "specimens"):
        kept[table] = [row for row in kept[table] if row["procedure_id"] in there]
    for row in kept["patients"]:
        if row["death_date"] is not None and row["death_date"] > as_of:
            row["death_date"] = None
    for row in kept["specimens"]:
        read = row.get("read_at") or row.get("scan_at")
        if read is not None and read.date() > as_of:
            row["uptake_seen"] = None
        if row.get("scan_at") is not None and row["scan_at"].date() > as_of:
            row.update(counts=None, scan_at=None, scanned_with=None)
    return kept


def _day(moment: object) -> date:
    return moment.date() if hasattr(moment, "date") else moment  # type: ignore[return-value]


@several
@given(seed=a_seed, back=st.sampled_from([0, 1, 30, 300, 700]))
def test_an_earlier_as_of_date_is_a_registry_that_ends_there(
    scene: Drawn, second: Drawn, seed: int, back: int
):
    random_registry(scene, seed)
    as_of = day(random_rows.AS_OF - back)
    second.rows = known_by(scene.rows, as_of)
    second.built()
    columns = [name for name, *_ in scene.run("DESCRIBE procedure_facts") if name != "patient_no"]
    query = f"SELECT {', '.join(columns)} FROM procedure_facts ORDER BY procedure_id"

    with facts.at(scene, as_of) as cursor:
        earlier = cursor.execute(query).fetchall()
    assert earlier == second.run(query)
