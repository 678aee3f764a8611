"""Writing and merging files of counts from the command line."""

from __future__ import annotations

import csv
import io
import json
import stat
from typing import TYPE_CHECKING

import pytest
from typer.testing import CliRunner

from registry.cli import app
from registry.errors import UsageProblem
from registry.store import Registry
from registry.trail import events

if TYPE_CHECKING:
    from pathlib import Path

AS_OF = ("--as-of", "2026-06-30")


def run(*arguments: object):
    return CliRunner().invoke(app, [str(one) for one in arguments])


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("aggregate") / "demo"
    made = run("demo", folder, "--procedures", 150)
    assert made.exit_code == 0, made.output
    return folder


@pytest.fixture(scope="module")
def written(demo: Path) -> Path:
    out = demo.parent / "counts.json"
    made = run("aggregate", "export", demo, "--out", out, *AS_OF, "--by", "site", "--internal")
    assert made.exit_code == 0, made.output
    return out


def test_the_file_is_for_its_owner_only(written: Path):
    assert stat.S_IMODE(written.stat().st_mode) == 0o600


def test_what_left_is_in_the_trail_with_its_hash(demo: Path, written: Path):
    with Registry.open(demo) as opened:
        (entry,) = [one for one in events(opened) if one["kind"] == "aggregate"]

    assert entry["details"]["sha256"] == json.loads(written.read_text("utf-8"))["sha256"]
    assert entry["details"]["internal"] is True


def test_a_file_is_not_written_over(demo: Path, written: Path):
    refused = run("aggregate", "export", demo, "--out", written, *AS_OF).exception

    assert isinstance(refused, UsageProblem)
    assert "exists" in str(refused)


def test_no_file_is_written_into_the_registry_folder(demo: Path):
    refused = run("aggregate", "export", demo, "--out", demo / "counts.json", *AS_OF).exception

    assert isinstance(refused, UsageProblem)
    assert not (demo / "counts.json").exists()


def split(written: Path, site: str) -> Path:
    """The file as the service of one site would have written it."""
    import hashlib

    given = json.loads(written.read_text("utf-8"))
    given.pop("sha256")
    given |= {"service": f"Service {site}", "sites": [site]}
    for measure in given["measures"].values():
        measure["strata"] = {name: cell for name, cell in measure["strata"].items() if name == site}
    form = json.dumps(given, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    given["sha256"] = hashlib.sha256(form.encode()).hexdigest()
    place = written.with_name(f"{site}.json")
    place.write_text(json.dumps(given), encoding="utf-8")
    return place


def test_merged_counts_are_those_of_the_registry(demo: Path, written: Path):
    sites = json.loads(written.read_text("utf-8"))["sites"]
    places = [split(written, site) for site in sites]
    merged = json.loads(run("aggregate", "merge", *places, "--internal", "--format", "json").stdout)
    measured = json.loads(run("measure", demo, "discordance", *AS_OF, "--format", "json").stdout)
    (whole,) = [
        one for one in merged["proportions"] if (one["measure"], one["stratum"]) == ("discordance", "all")
    ]

    assert merged["sites"] == sorted(sites)
    for name in ("numerator", "denominator", "lower", "upper", "excluded"):
        assert whole[name] == measured[0][name]


def test_the_table_keeps_to_100_columns_and_names_what_is_not_in_it(written: Path):
    places = [split(written, site) for site in json.loads(written.read_text("utf-8"))["sites"]]
    printed = run("aggregate", "merge", *places, "--internal").stdout

    assert max(map(len, printed.splitlines())) <= 100
    assert "Not merged: sampling_probability" in printed
    assert "B categories, all:" in printed
    assert "one who was seen at two places counts twice" in " ".join(printed.split())


def test_the_rows_as_csv(written: Path):
    places = [split(written, site) for site in json.loads(written.read_text("utf-8"))["sites"]]
    printed = run("aggregate", "merge", *places, "--internal", "--format", "csv").stdout
    rows = list(csv.DictReader(io.StringIO(printed)))

    assert {"measure", "stratum", "numerator", "denominator", "pool_middle", "parts"} <= set(rows[0])
    assert {row["stratum"] for row in rows} >= {"all", *json.loads(written.read_text("utf-8"))["sites"]}
