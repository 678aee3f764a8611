"""Rows held because another row is: they say which, and all are released together."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from registry.imports import mapped, registry_csv
from registry.imports.mapping import read_mapping
from registry.intake import IntakeReport, Options, accept, quarantine
from tests.build import TODAY, Rows, base, load

if TYPE_CHECKING:
    from registry.imports.received import Received
    from registry.store import Registry


def take(registry: Registry, received: Received) -> IntakeReport:
    return accept(registry, received, author="coordinator", today=TODAY, options=Options(held_share_max=1.0))


def corrected(report: IntakeReport, to: Path, wrong: str, right: str) -> Path:
    """The file of held rows with one cell corrected, under the name that its reader wants."""
    text = Path(report.held_files[0]).read_text(encoding="utf-8")
    assert text.count(wrong) == 1
    to.parent.mkdir(exist_ok=True)
    to.write_text(text.replace(wrong, right), encoding="utf-8")
    return to


# -- attempts and versions ---------------------------------------------------------


def attempts(*numbers: str, **first: str) -> Rows:
    rows = [base()["targeting"][0] | {"attempt": number} for number in numbers]
    rows[0] |= first
    return {"targeting": rows}


def without_targeting() -> Rows:
    return {name: rows for name, rows in base().items() if name != "targeting"}


def test_later_attempts_say_that_the_first_is_held(registry: Registry):
    load(registry, without_targeting())
    report = load(registry, attempts("1", "2", "3", needle_axis="sideways"), held_share_max=1.0)
    said = {p.line: (p.rule, p.message.split(" (")[0]) for p in report.problems}
    assert said == {
        2: ("code", "'sideways' is not an allowed code."),
        3: ("targeting_attempts_not_consecutive", "Attempt 1 of the same series is held"),
        4: ("targeting_attempts_not_consecutive", "Attempt 1 of the same series is held"),
    }
    assert all("(line 2)" in p.message for p in report.problems if p.line > 2)
    assert report.problems[1].hint.startswith("Correct that row first")


def test_an_attempt_held_for_review_is_the_reason_too(registry: Registry):
    """Of 21 attempts in two procedures one looks like cm: it is held until confirmed."""
    from tests.intake.changed import rows_of
    from tests.intake.offending import one_in_cm

    rows = rows_of(one_in_cm(), "")
    load(registry, without_targeting() | {"procedures": rows["procedures"]})
    report = load(registry, {"targeting": rows["targeting"]}, held_share_max=1.0)
    by_rule = {p.rule: [q.line for q in report.problems if q.rule == p.rule] for p in report.problems}
    assert by_rule == {
        "targeting_looks_like_cm": [2],
        "targeting_attempts_not_consecutive": list(range(3, 11)),
    }
    assert {p.message.split(" (")[0] for p in report.problems if p.line > 2} == {
        "Attempt 1 of the same series is held"
    }


def test_a_gap_that_is_in_the_file_is_still_called_one(registry: Registry):
    load(registry, without_targeting())
    report = load(registry, attempts("1", "3"), held_share_max=1.0)
    assert {p.message for p in report.problems} == {
        "The attempts of this procedure do not run 1, 2, 3 without a gap."
    }


def test_a_held_attempt_of_another_procedure_is_no_reason(registry: Registry):
    from tests.intake.changed import rows_of
    from tests.intake.offending import LATER

    load(registry, without_targeting())
    load(registry, rows_of({"procedures": [LATER]}, ""))
    rows = attempts("1", needle_axis="sideways")
    rows["targeting"].append(base()["targeting"][0] | {"procedure_id": "P2", "attempt": "2"})
    report = load(registry, rows, held_share_max=1.0)
    assert {p.line: "held" in p.message for p in report.problems} == {2: False, 3: False}


def test_all_attempts_come_in_when_the_first_is_corrected(registry: Registry, tmp_path: Path):
    load(registry, without_targeting())
    report = load(registry, attempts("1", "2", "3", needle_axis="sideways"), held_share_max=1.0)
    again = take(
        registry,
        registry_csv.read(corrected(report, tmp_path / "back" / "targeting.csv", ",sideways,", ",x,")),
    )
    assert (again.total.new, again.total.held, again.resubmitted) == (3, 0, 3)
    assert registry.rows("SELECT count(*) FROM quarantine WHERE state = 'open'") == [(0,)]


def test_an_attempt_held_by_an_earlier_import_is_named_with_its_batch(registry: Registry):
    load(registry, without_targeting())
    load(registry, attempts("1", needle_axis="sideways"), held_share_max=1.0)
    report = load(registry, attempts("2"), held_share_max=1.0)
    assert [p.message for p in report.problems] == [
        "Attempt 1 of the same series is held (line 2 of batch 2); the rows of a series are taken together."
    ]


def test_an_attempt_that_was_held_and_dismissed_is_a_gap(registry: Registry):
    load(registry, without_targeting())
    load(registry, attempts("1", needle_axis="sideways"), held_share_max=1.0)
    quarantine.dismiss(registry, "2-1", "coordinator", "entered twice")
    report = load(registry, attempts("2"), held_share_max=1.0)
    assert "without a gap" in report.problems[0].message


def test_later_versions_say_that_the_first_is_held(registry: Registry):
    load(registry, {name: rows for name, rows in base().items() if name not in ("pathology", "reviews")})
    first = base()["pathology"][0] | {"diagnosis": "good"}
    second = base()["pathology"][0] | {"version": "2", "status": "amended"}
    report = load(registry, {"pathology": [first, second]}, held_share_max=1.0)
    (said,) = [p.message for p in report.problems if p.line == 3]
    assert said.startswith("Version 1 of the same series is held (line 2)")


# -- one patient on several lines --------------------------------------------------

MAPPING = """
name = "flat"
version = "1"
format = "csv"
encoding = "utf-8"
[tables.patients.fields]
patient_id = { column = "Patient" }
sex = { constant = "female" }
[tables.findings.fields]
finding_id = { column = "Finding" }
patient_id = { column = "Patient" }
found_on = { column = "Found" }
laterality = { column = "Side" }
modality = { constant = "pet_tracer" }
correlate = { constant = "none" }
finding_type = { constant = "mass" }
assessment = { column = "Category" }
"""
LINES = ["Patient,Finding,Found,Side,Category"] + [
    f"{patient},F{n},2025-02-20,L,{category}"
    for n, (patient, category) in enumerate(
        [("PAT1", "55"), ("PAT1", "4A"), ("PAT2", "4B"), ("PAT1", "4C")], start=1
    )
]


@pytest.fixture
def mapping(tmp_path: Path) -> Path:
    path = tmp_path / "flat.toml"
    path.write_text(MAPPING, encoding="utf-8")
    return path


@pytest.fixture
def flat(registry: Registry, tmp_path: Path, mapping: Path) -> IntakeReport:
    path = tmp_path / "flat.csv"
    path.write_text("\n".join(LINES) + "\n", encoding="utf-8")
    return take(registry, mapped.read(path, read_mapping(mapping)))


def test_other_lines_of_a_held_patient_say_which_line_to_correct(flat: IntakeReport):
    said = {p.line: (p.column, p.rule, p.message) for p in flat.problems}
    assert {line: rule for line, (_, rule, _) in said.items()} == {2: "code", 3: "reference", 5: "reference"}
    assert {said[line][2] for line in (3, 5)} == {"The row of patients it refers to is held (line 2)."}
    assert len(flat.problems) == 3
    assert (flat.total.received, flat.total.new, flat.total.held) == (4, 1, 3)


def test_no_other_line_names_the_patient(flat: IntakeReport):
    assert "PAT" not in " ".join(f"{p.message} {p.hint}" for p in flat.problems)


def test_correcting_the_one_line_releases_all(
    registry: Registry, tmp_path: Path, flat: IntakeReport, mapping: Path
):
    back = corrected(flat, tmp_path / "back" / "flat.csv", ",55,", ",5,")
    again = take(registry, mapped.read(back, read_mapping(mapping)))
    assert (again.problems, again.total.new, again.total.held, again.resubmitted) == ((), 3, 0, 3)
    assert registry.rows("SELECT count(*) FROM findings") == [(4,)]
    assert registry.rows("SELECT count(*) FROM patients") == [(2,)]
    assert registry.rows("SELECT count(*) FROM quarantine WHERE state = 'open'") == [(0,)]
