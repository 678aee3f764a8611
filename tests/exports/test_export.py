"""The cohort export: what leaves, what never does, and what the manifest says of it."""

from __future__ import annotations

import csv
import errno
import hashlib
import json
import random
import shutil
from datetime import UTC, date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import polars as pl
import pytest

from registry import codebook, exports
from registry.dictionary import tables
from registry.errors import FileProblem, UsageProblem
from registry.exports import export
from registry.sqlfiles import HeaderProblem
from registry.store import Registry
from tests.build import Rows, base, load

if TYPE_CHECKING:
    from collections.abc import Iterator

AS_OF = date(2026, 6, 30)
FILES = {"procedures.csv", "procedures.parquet", "codebook.csv", "codebook.md", "MANIFEST.json"}
NOW = datetime(2026, 7, 1, 8, 30, tzinfo=UTC)


def twelve() -> Rows:
    """Twelve patients with one procedure each, a month apart; the third objects to research use."""
    one = base()
    rows: Rows = {"operators": one["operators"], "meetings": one["meetings"]}
    rows |= {name: [] for name in ("patients", "findings", "procedures", "pathology", "reviews")}
    for number in range(1, 13):
        use = {3: "objected", 4: "not_asked", 5: "permitted"}.get(number, "")
        patient, finding, key = (
            {"patient_id": f"PAT{number}"},
            {"finding_id": f"F{number}"},
            {"procedure_id": f"P{number}"},
        )
        rows["patients"].append({**one["patients"][0], **patient, "research_use": use})
        rows["findings"].append(
            {**one["findings"][0], **patient, **finding, "found_on": "2024-12-01", "biopsy_advised_on": ""}
        )
        own = {
            "started_at": f"2025-{number:02}-10T09:30",
            "accession": f"ACC{number}",
            "supervisor": "OP2" if number == 1 else "",
        }
        clocks = {"ended_at": f"2025-{number:02}-10T10:20", "injected_at": "", "first_scan_at": ""}
        rows["procedures"].append({**one["procedures"][0], **finding, **key, **own, **clocks})
    rows["pathology"].append({**one["pathology"][0], "conclusion": "Kestrel words of the pathologist."})
    rows["pathology"][0]["reported_on"] = "2025-01-14"
    rows["reviews"].append(
        {
            **one["reviews"][0],
            "reviewed_on": "2025-01-20",
            "meeting_id": "",
            "note": "Heron words of the meeting.",
        }
    )
    return rows


@pytest.fixture(scope="module")
def template(empty_folder: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = shutil.copytree(empty_folder, tmp_path_factory.mktemp("cohort") / "registry")
    with Registry.open(place, write=True, clock=lambda: NOW) as opened:
        report = load(opened, twelve())
    assert report.total.held == 0
    return place


@pytest.fixture
def registry(template: Path, tmp_path: Path) -> Iterator[Registry]:
    with Registry.open(
        shutil.copytree(template, tmp_path / "registry"), write=True, clock=lambda: NOW
    ) as opened:
        yield opened


def run(registry: Registry, target: Path, **given: Any) -> exports.ExportReport:
    asked = {"as_of": AS_OF, "author": "researcher", "reason": "study of targeting", "seed": 7, **given}
    return export(registry, target, **asked)


def rows_of(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as handle:
        return list(csv.DictReader(handle))


def manifest_of(folder: Path) -> dict[str, Any]:
    made: dict[str, Any] = json.loads((folder / "MANIFEST.json").read_text(encoding="utf-8"))
    return made


# -- what is written ---------------------------------------------------------------


def test_five_files_are_written_and_the_manifest_holds_their_hashes(registry: Registry, tmp_path: Path):
    run(registry, tmp_path / "out")
    names = {path.name for path in (tmp_path / "out").iterdir()}
    stated = {name: one["sha256"] for name, one in manifest_of(tmp_path / "out")["files"].items()}
    real = {
        name: hashlib.sha256((tmp_path / "out" / name).read_bytes()).hexdigest()
        for name in FILES - {"MANIFEST.json"}
    }
    assert (names, stated) == (FILES, real)


def test_one_row_per_procedure_with_own_and_derived_columns(registry: Registry, tmp_path: Path):
    run(registry, tmp_path / "out")
    row = next(one for one in rows_of(tmp_path / "out" / "procedures.csv") if one["procedure_id"] == "P1")
    # 9:30 to 10:20 are 50 minutes; found on 1 December 2024, 40 days before 10 January 2025;
    # born on 17 May 1960, 64 years old that day.
    got = [
        row[name]
        for name in (
            "duration_minutes",
            "finding_to_biopsy_days",
            "age_years",
            "diagnosis",
            "is_sampled",
            "assessment",
        )
    ]
    assert got == ["50.0", "40", "64", "benign", "true", "4B"]


def test_csv_and_parquet_hold_the_same_rows(registry: Registry, tmp_path: Path):
    run(registry, tmp_path / "out")
    parquet = pl.read_parquet(tmp_path / "out" / "procedures.parquet")
    text = pl.read_csv(tmp_path / "out" / "procedures.csv", schema=parquet.schema)
    assert text.equals(parquet)


def test_the_same_registry_and_seed_give_the_same_bytes(registry: Registry, tmp_path: Path):
    run(registry, tmp_path / "first")
    run(registry, tmp_path / "second")
    assert (tmp_path / "first" / "procedures.csv").read_bytes() == (
        tmp_path / "second" / "procedures.csv"
    ).read_bytes()


def test_what_is_dated_after_as_of_is_not_in_it(registry: Registry, tmp_path: Path):
    report = run(registry, tmp_path / "out", as_of=date(2025, 1, 13))
    row = rows_of(tmp_path / "out" / "procedures.csv")[0]
    assert (report.rows, row["procedure_id"], row["is_reported"], row["diagnosis"]) == (1, "P1", "false", "")


def test_the_period_takes_both_its_days(registry: Registry, tmp_path: Path):
    run(registry, tmp_path / "out", start=date(2025, 4, 10), end=date(2025, 6, 10))
    keys = {row["procedure_id"] for row in rows_of(tmp_path / "out" / "procedures.csv")}
    assert keys == {"P4", "P5", "P6"}


def test_an_export_without_rows_is_still_an_export(registry: Registry, tmp_path: Path):
    report = run(registry, tmp_path / "out", start=date(2030, 1, 1))
    assert (report.rows, report.patients, rows_of(tmp_path / "out" / "procedures.csv")) == (0, 0, [])


# -- what never leaves -------------------------------------------------------------


def test_no_identifier_no_pseudonym_and_no_free_text_is_in_any_file(registry: Registry, tmp_path: Path):
    run(registry, tmp_path / "out")
    pl.read_parquet(tmp_path / "out" / "procedures.parquet").write_csv(tmp_path / "parquet.csv")
    text = "".join(
        path.read_text(encoding="utf-8") for path in (tmp_path / "out").iterdir() if path.suffix != ".parquet"
    )
    text += (tmp_path / "parquet.csv").read_text(encoding="utf-8")
    secrets = ["PAT1", "ACC1", "1960-05-17", "OP1", "OP2", "Kestrel", "Heron"]
    secrets += [row[0] for row in registry.rows("SELECT patient FROM patients")]
    assert [secret for secret in secrets if secret in text] == []


def test_a_patient_who_objects_is_left_out_and_counted(registry: Registry, tmp_path: Path):
    report = run(registry, tmp_path / "out", start=date(2025, 2, 1))
    keys = [row["procedure_id"] for row in rows_of(tmp_path / "out" / "procedures.csv")]
    # Twelve in all, one in January, one objects.
    flow = [(12, 0), (11, 1), (10, 1)]
    assert ("P3" in keys, [(remaining, left) for _, left, remaining in report.flow]) == (False, flow)


def test_who_objects_later_is_left_out_from_then_on_and_back_when_it_is_taken_back(
    registry: Registry, tmp_path: Path
):
    """The last answer counts: the second patient objects, and the third no longer does."""
    rows = twelve()["patients"]
    changed = [{**rows[1], "research_use": "objected"}, {**rows[2], "research_use": "permitted"}]
    assert load(registry, {"patients": changed}).total.version == 2

    report = run(registry, tmp_path / "out")

    keys = {row["procedure_id"] for row in rows_of(tmp_path / "out" / "procedures.csv")}
    assert ({"P2", "P3"} & keys, report.flow[-1][1:]) == ({"P3"}, (1, 11))


def test_the_other_answers_on_research_use_are_kept_and_shown(registry: Registry, tmp_path: Path):
    run(registry, tmp_path / "out")
    found = {row["procedure_id"]: row["research_use"] for row in rows_of(tmp_path / "out" / "procedures.csv")}
    assert [found[key] for key in ("P1", "P4", "P5")] == ["", "not_asked", "permitted"]


def test_patient_numbers_are_drawn_anew_for_each_export(registry: Registry, tmp_path: Path):
    """Two draws of twelve numbers agree once in 479,001,600 times."""
    orders = []
    for name in ("first", "second"):
        run(registry, tmp_path / name, seed=None)
        rows = sorted(rows_of(tmp_path / name / "procedures.csv"), key=lambda row: row["procedure_id"])
        orders.append([row["patient_no"] for row in rows])
    assert orders[0] != orders[1]


def test_procedures_of_one_patient_share_a_number(registry: Registry, tmp_path: Path):
    second = {
        **twelve()["procedures"][0],
        "procedure_id": "P13",
        "started_at": "2025-05-10T09:30",
        "ended_at": "",
        "accession": "",
        "marker_shape": "ring",
    }
    load(registry, {"procedures": [second]})
    run(registry, tmp_path / "out")
    numbers = {row["procedure_id"]: row["patient_no"] for row in rows_of(tmp_path / "out" / "procedures.csv")}
    assert (numbers["P1"] == numbers["P13"], len(set(numbers.values()))) == (True, 11)


def test_rows_stand_in_the_order_of_their_numbers_not_of_their_keys(registry: Registry, tmp_path: Path):
    run(registry, tmp_path / "out")
    rows = rows_of(tmp_path / "out" / "procedures.csv")
    numbers = [int(row["patient_no"]) for row in rows]
    assert numbers == sorted(numbers) and [row["procedure_id"] for row in rows] != sorted(
        row["procedure_id"] for row in rows
    )


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("    p.cores,\n", "    p.cores,\n    p.author AS entered_by,\n", "gives entered_by, not declared"),
        ("    p.cores,\n", "", "lacks cores"),
        ("    f.finding_id,\n    f.root_id,\n", "    f.root_id,\n    f.finding_id,\n", "has another order"),
    ],
    ids=["one more", "one less", "another order"],
)
def test_sql_that_does_not_give_what_it_declares_stops_the_export(
    registry: Registry, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, old: str, new: str, said: str
):
    cohort = codebook.load_cohort()
    assert old in cohort.sql
    changed = codebook.Cohort(**{**cohort.__dict__, "sql": cohort.sql.replace(old, new)})
    monkeypatch.setattr(exports, "load_cohort", lambda: changed)
    with pytest.raises(UsageProblem, match=said):
        run(registry, tmp_path / "out")
    assert not (tmp_path / "out").exists()


def test_a_pseudonym_under_a_permitted_name_stops_the_export(
    registry: Registry, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    cohort = codebook.load_cohort()
    changed = codebook.Cohort(
        **{**cohort.__dict__, "sql": cohort.sql.replace("    f.site,\n", "    f.patient AS site,\n")}
    )
    monkeypatch.setattr(exports, "load_cohort", lambda: changed)
    with pytest.raises(
        UsageProblem, match="Column site of the export holds what looks like a stored pseudonym"
    ):
        run(registry, tmp_path / "out")


@pytest.mark.parametrize(
    "declared",
    [
        "who patients.patient_id key",
        "who findings.patient_id key",
        "born patients.birth_date date",
        "number procedures.accession key",
        "who procedure_facts.patient key",
        "words pathology.conclusion clinical",
        "words reviews.note clinical",
    ],
)
def test_an_identifier_or_free_text_cannot_be_declared(declared: str):
    with pytest.raises(HeaderProblem, match="never exported"):
        codebook.parse_column(declared)


@pytest.mark.parametrize(
    "declared",
    ["cores procedures.cores", "cores procedures.cores harmless", "cores procedures.cores clinical a.b c"],
)
def test_a_column_without_a_known_sensitivity_is_refused(declared: str):
    with pytest.raises(HeaderProblem, match="Known sensitivities: key, person, age, body, date, horizon, "):
        codebook.parse_column(declared)


def test_every_field_of_a_procedure_is_either_declared_or_withheld(registry: Registry):
    """A column added to the record is not exported until somebody classifies it."""
    cohort = codebook.load_cohort()
    declared = {column.source for column in cohort.columns}
    names = {column.name for column in cohort.columns}
    fields = {
        f"{name}.{field}" for name in ("patients", "findings", "procedures") for field in tables()[name].names
    }
    facts = {
        f"procedure_facts.{name}"
        for (name,) in registry.rows(
            "SELECT column_name FROM duckdb_columns() WHERE table_name = 'procedure_facts'"
        )
        if name not in names
    }
    # The finding of a procedure stands in both tables.
    classified = declared | cohort.withheld.keys() | {"procedures.finding_id"}
    assert ((fields | facts) - classified, declared & cohort.withheld.keys()) == (set(), set())


# -- spreadsheets ------------------------------------------------------------------


@pytest.mark.parametrize(
    "text", ["=cmd|' /C calc'!A0", "+1", "-1", "@x", "\tx", "\rx", "＝x", "＋x", "－x", "＠x"]
)
def test_text_that_a_spreadsheet_would_run_gets_an_apostrophe(text: str):
    frame, cells = exports.guard(pl.DataFrame({"words": [text, "a=b", "", None]}))
    assert (frame["words"].to_list(), cells) == (["'" + text, "a=b", "", None], {"words": 1})


def test_numbers_and_dates_stay_what_they_are():
    frame = pl.DataFrame({"shift_mm": [-1.5, None], "year": [-1, 2], "day": [date(2025, 1, 1), None]})
    guarded, cells = exports.guard(frame)
    assert (guarded.equals(frame), cells) == (True, {})


def test_the_csv_is_guarded_and_says_so_and_the_parquet_is_as_recorded(registry: Registry, tmp_path: Path):
    load(
        registry,
        {"procedures": [{"procedure_id": "P1", "marker_shape": "=1+1", "marker_shift_x_mm": "-3.5"}]},
    )
    run(registry, tmp_path / "out")
    row = next(one for one in rows_of(tmp_path / "out" / "procedures.csv") if one["procedure_id"] == "P1")
    recorded = pl.read_parquet(tmp_path / "out" / "procedures.parquet").filter(
        pl.col("procedure_id") == "P1"
    )["marker_shape"][0]
    cells = manifest_of(tmp_path / "out")["guarded"]["cells"]
    assert (row["marker_shape"], row["marker_shift_x_mm"], recorded, cells) == (
        "'=1+1",
        "-3.5",
        "=1+1",
        {"marker_shape": 1},
    )


# -- codebook and manifest ---------------------------------------------------------


def test_the_codebook_describes_every_column_in_order(registry: Registry, tmp_path: Path):
    run(registry, tmp_path / "out")
    book = rows_of(tmp_path / "out" / "codebook.csv")
    header = (tmp_path / "out" / "procedures.csv").read_text(encoding="utf-8").splitlines()[0]
    assert [row["column"] for row in book] == header.split(",") and all(row["definition"] for row in book)


def test_the_codebook_takes_type_unit_codes_and_range_from_their_source(registry: Registry, tmp_path: Path):
    run(registry, tmp_path / "out")
    book = {row["column"]: row for row in rows_of(tmp_path / "out" / "codebook.csv")}
    got = [
        (book["activity_mbq"]["type"], book["activity_mbq"]["unit"], book["activity_mbq"]["allowed"]),
        (book["tissue_mass_g"]["type"], book["tissue_mass_g"]["unit"], book["tissue_mass_g"]["source"]),
        (book["started_on"]["type"], book["started_on"]["sensitivity"]),
        (book["is_sampled"]["type"], book["cores"]["type"], book["cores"]["unit"]),
    ]
    assert got == [
        ("decimal", "MBq", "1 to 2000"),
        ("decimal", "g", "procedure_facts.tissue_mass_g"),
        ("date", "date"),
        ("yes/no", "integer", ""),
    ]


def test_derived_codes_carry_the_labels_of_their_list(registry: Registry, tmp_path: Path):
    run(registry, tmp_path / "out")
    book = {row["column"]: row["allowed"] for row in rows_of(tmp_path / "out" / "codebook.csv")}
    stated = {part.split(" = ")[0] for part in book["diagnosis"].split("; ")}
    assert stated == set(tables()["pathology"]["diagnosis"].codes)


def test_the_codebook_counts_empty_cells(registry: Registry, tmp_path: Path):
    run(registry, tmp_path / "out")
    missing = {row["column"]: row["missing"] for row in rows_of(tmp_path / "out" / "codebook.csv")}
    # Eleven rows: all have a site, one has a report and a supervisor.
    assert [missing[name] for name in ("site", "diagnosis", "supervisor_no")] == ["0", "10", "10"]


def test_the_manifest_states_record_question_and_reason(registry: Registry, tmp_path: Path):
    head = registry.rows("SELECT seq, mac FROM audit_event ORDER BY seq DESC LIMIT 1")[0]
    run(registry, tmp_path / "out", start=date(2025, 1, 1))
    made = manifest_of(tmp_path / "out")
    stated = [
        made[key]
        for key in ("as_of", "from", "to", "author", "reason", "written_at", "invented", "schema", "trail")
    ]
    expected = [
        "2026-06-30",
        "2025-01-01",
        None,
        "researcher",
        "study of targeting",
        "2026-07-01T08:30:00+00:00",
        False,
        max(int(one.name[:4]) for one in (Path(__file__).parents[2] / "sql/migrations").glob("*.sql")),
    ]
    assert stated == [*expected, {"seq": head[0], "mac": head[1]}]


def test_a_demonstration_is_marked_as_invented(registry: Registry, tmp_path: Path):
    (registry.folder / "DEMO").write_text("invented", encoding="utf-8")
    run(registry, tmp_path / "out")
    assert manifest_of(tmp_path / "out")["invented"] is True


def test_small_classes_are_measured_and_stated():
    frame = pl.DataFrame(
        {
            "patient_no": [*range(1, 12), 12, 12],
            "age_years": [60] * 11 + [71, 79],
            "started_on": [date(2025, 3, 1)] * 13,
            "laterality": ["L"] * 13,
            "site": ["A"] * 13,
        }
    )
    # Eleven patients in their sixties, and one in the seventies with two procedures.
    made = exports.small_classes(frame)
    assert (made["classes"], made["patients_in_smallest"], made["classes_below"]) == (2, 1, 1)


# -- refusals ----------------------------------------------------------------------


def entries(registry: Registry) -> list[tuple[Any, ...]]:
    return registry.rows(
        "SELECT action, actor, object_key, outcome, details FROM audit_event WHERE action = 'export' ORDER BY seq"
    )


def test_the_export_is_an_entry_of_the_trail_with_the_hashes(registry: Registry, tmp_path: Path):
    report = run(registry, tmp_path / "out")
    action, actor, key, outcome, details = entries(registry)[0]
    stated = json.loads(details)
    assert (action, actor, key, outcome) == ("export", "researcher", "procedures", "done")
    assert (stated["files"], stated["rows"], stated["reason"]) == (report.files, 11, "study of targeting")


def test_the_entry_is_written_before_the_files_get_their_name(
    registry: Registry, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    def refuse(self: Path, target: Path) -> Path:
        raise OSError(errno.EACCES, "Permission denied")

    monkeypatch.setattr(Path, "rename", refuse)
    with pytest.raises(FileProblem, match="Permission denied"):
        run(registry, tmp_path / "out")
    assert (len(entries(registry)), (tmp_path / "out").exists()) == (1, False)


@pytest.mark.parametrize("reason", ["", "  \n"])
def test_an_export_without_a_reason_is_refused(registry: Registry, tmp_path: Path, reason: str):
    with pytest.raises(UsageProblem, match="An export needs a reason"):
        run(registry, tmp_path / "out", reason=reason)
    assert (entries(registry), (tmp_path / "out").exists()) == ([], False)


def test_a_period_that_ends_before_it_begins_is_refused(registry: Registry, tmp_path: Path):
    with pytest.raises(UsageProblem, match="the first day is after the last"):
        run(registry, tmp_path / "out", start=date(2025, 2, 1), end=date(2025, 1, 1))


def test_a_folder_inside_the_registry_is_refused_by_any_path(registry: Registry, tmp_path: Path):
    (tmp_path / "link").symlink_to(registry.folder)
    for place in (
        registry.folder / "out",
        tmp_path / "x" / ".." / "registry" / "out",
        tmp_path / "link" / "out",
        registry.folder,
    ):
        with pytest.raises(UsageProblem, match="lies in the registry folder"):
            run(registry, place)


def test_a_folder_inside_the_program_is_refused(registry: Registry):
    with pytest.raises(UsageProblem, match="the program's own folder"):
        run(registry, Path(exports.__file__).parent / "out")


def test_a_folder_that_holds_something_is_refused(registry: Registry, tmp_path: Path):
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "notes.txt").write_text("mine", encoding="utf-8")
    with pytest.raises(UsageProblem, match="exists and is not empty"):
        run(registry, tmp_path / "out")
    assert (tmp_path / "out" / "notes.txt").read_text(encoding="utf-8") == "mine"


def test_an_empty_folder_is_used(registry: Registry, tmp_path: Path):
    (tmp_path / "out").mkdir()
    run(registry, tmp_path / "out")
    assert {path.name for path in (tmp_path / "out").iterdir()} == FILES


def test_a_place_that_does_not_exist_is_named(registry: Registry, tmp_path: Path):
    with pytest.raises(UsageProblem, match="there is no such folder"):
        run(registry, tmp_path / "nowhere" / "out")


def test_a_registry_open_for_reading_cannot_export(template: Path, tmp_path: Path):
    place = shutil.copytree(template, tmp_path / "registry")
    with Registry.open(place) as registry, pytest.raises(UsageProblem, match="open for reading only"):
        run(registry, tmp_path / "out")


def test_a_full_disk_leaves_nothing_under_the_name_and_no_entry(
    registry: Registry, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    def full(self: pl.DataFrame, path: Path) -> None:
        path.write_bytes(b"half")
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(pl.DataFrame, "write_parquet", full)
    place = tmp_path / "place"
    place.mkdir()
    with pytest.raises(
        FileProblem, match=r"The export was not written: No space left on device\. Nothing is left under"
    ):
        run(registry, place / "out")
    assert (list(place.iterdir()), entries(registry)) == ([], [])


def test_numbers_are_drawn_from_the_seed_given(registry: Registry, tmp_path: Path):
    """The draw is Python's own shuffle of 1..12 over the sorted pseudonyms."""
    pseudonyms = sorted(row[0] for row in registry.rows("SELECT patient FROM patients"))
    numbers = list(range(1, 13))
    random.Random(7).shuffle(numbers)
    drawn = dict(zip(pseudonyms, numbers, strict=True))
    run(registry, tmp_path / "out")
    found = {
        row["procedure_id"]: int(row["patient_no"]) for row in rows_of(tmp_path / "out" / "procedures.csv")
    }
    owner = dict(
        registry.rows(
            "SELECT p.procedure_id, f.patient FROM procedures AS p JOIN findings AS f ON f.finding_id = p.finding_id"
        )
    )
    assert found == {key: drawn[owner[key]] for key in found}
