"""A package against its manifest: every change is found and named."""

from __future__ import annotations

import json
import shutil

import polars as pl
import pytest
from typer.testing import CliRunner

from registry.cli import app
from registry.disclosure.profiles import RESTRICTED
from registry.errors import UsageProblem
from registry.package.verify import verify_package
from tests.package.made import package


@pytest.fixture(scope="module")
def whole(template, tmp_path_factory):
    from registry.store import Registry

    place = tmp_path_factory.mktemp("verify")
    with Registry.open(shutil.copytree(template, place / "registry"), write=True) as registry:
        package(registry, place / "out", profile=RESTRICTED, packed=True)
    return place / "out"


@pytest.fixture
def folder(whole, tmp_path):
    return shutil.copytree(whole, tmp_path / "out")


def said(folder):
    return [str(one) for one in verify_package(folder)]


def test_a_package_as_written_is_clean(folder):
    assert said(folder) == []


@pytest.mark.parametrize(
    "name",
    [
        "data/procedures.sav",
        "data/procedures.xlsx",
        "codebook.csv",
        "PRIVACY.md",
        "datapackage.json",
        "flow.csv",
    ],
)
def test_a_changed_byte_is_named_by_its_file(folder, name):
    data = bytearray((folder / name).read_bytes())
    data[len(data) // 2] ^= 1
    (folder / name).write_bytes(data)

    assert said(folder) == [f"{name}: is not the file that was written: its SHA-256 differs."]


def test_a_changed_row_is_named_by_its_column_even_where_the_hash_of_the_file_was_changed_too(folder):
    path = folder / "data" / "procedures.parquet"
    pl.read_parquet(path).with_columns(pl.col("cores") + 1).write_parquet(path)
    manifest = json.loads((folder / "MANIFEST.json").read_text(encoding="utf-8"))
    import hashlib

    manifest["files"]["data/procedures.parquet"]["sha256"] = hashlib.sha256(path.read_bytes()).hexdigest()
    (folder / "MANIFEST.json").write_text(json.dumps(manifest), encoding="utf-8")

    assert said(folder) == ["data/procedures.parquet: its rows differ from those written, in cores."]


def test_a_row_that_is_gone_is_counted(folder):
    path = folder / "data" / "procedures.csv"
    path.write_text(
        "".join(path.read_text(encoding="utf-8").splitlines(keepends=True)[:-1]), encoding="utf-8"
    )

    assert "data/procedures.csv: holds 10 rows, and 11 were written." in said(folder)


def test_rows_that_cannot_be_read_are_said_to_be(folder):
    (folder / "data" / "procedures.csv").write_bytes(b"patient_no\nx\n")

    assert any("its rows cannot be read as the manifest states them" in one for one in said(folder))


def test_a_file_that_is_missing_or_was_added_is_named(folder):
    (folder / "README.md").unlink()
    (folder / "notes.txt").write_text("mine", encoding="utf-8")

    assert said(folder) == ["README.md: is missing.", "notes.txt: is not in the manifest: it was added."]


def test_a_manifest_that_is_none_is_refused(folder):
    (folder / "MANIFEST.json").write_text("{}", encoding="utf-8")

    with pytest.raises(UsageProblem, match="is not the manifest of a package"):
        verify_package(folder)


def test_the_command_takes_a_package_for_one_and_ends_as_for_a_registry(folder):
    clean = CliRunner().invoke(app, ["verify", str(folder)])
    (folder / "README.md").unlink()
    broken = CliRunner().invoke(app, ["verify", str(folder)])

    assert (clean.exit_code, broken.exit_code) == (0, 3)
    assert "README.md: is missing." in broken.output


def test_nothing_in_a_package_names_a_path_or_a_machine(folder):
    import socket

    text = "".join(
        path.read_bytes().decode("utf-8", "replace") for path in folder.rglob("*") if path.is_file()
    )

    # Names of machines are short; one that is part of an ordinary word would be found by chance.
    assert str(folder.parent) not in text and "/tmp/" not in text and "/home/" not in text
    assert len(socket.gethostname()) < 6 or socket.gethostname() not in text
