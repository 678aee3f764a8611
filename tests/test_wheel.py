"""The wheel carries everything it needs and works away from the checkout."""

import os
import re
import shutil
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

pytestmark = [pytest.mark.slow, pytest.mark.xdist_group("wheel")]

ROOT = Path(__file__).resolve().parent.parent
LEFT_BEHIND = shutil.ignore_patterns(
    ".venv", ".git", ".ci-data", "__pycache__", ".*_cache", ".hypothesis", "demo-registry", "dist", "mutants"
)


def run(command: list[str], place: Path, **environment: str) -> str:
    done = subprocess.run(
        command,
        cwd=place,
        env={**{key: text for key, text in os.environ.items() if key != "PYTHONPATH"}, **environment},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


@pytest.fixture(scope="module")
def wheel(tmp_path_factory) -> Path:
    """Built from a copy of the tree, so that nothing of the checkout can leak in later."""
    place = tmp_path_factory.mktemp("wheel")
    shutil.copytree(ROOT, place / "copy", ignore=LEFT_BEHIND)
    build = [sys.executable, "-m", "build", "--wheel", "--no-isolation", "--outdir", str(place / "dist")]
    run(build, place / "copy")
    shutil.rmtree(place / "copy")
    [built] = (place / "dist").glob("*.whl")
    return built


@pytest.fixture(scope="module")
def names(wheel) -> set[str]:
    with zipfile.ZipFile(wheel) as archive:
        return {name for name in archive.namelist() if not name.endswith("/")}


@pytest.fixture(scope="module")
def unpacked(wheel, tmp_path_factory) -> Path:
    place = tmp_path_factory.mktemp("unpacked")
    with zipfile.ZipFile(wheel) as archive:
        archive.extractall(place)
    return place


def files_below(*folders: str) -> set[str]:
    """Data files of the checkout, as git would see them: no caches, no compiled modules."""
    return {
        path.relative_to(ROOT).as_posix()
        for folder in folders
        for path in (ROOT / folder).rglob("*")
        if path.is_file() and "__pycache__" not in path.parts
    }


def test_three_packages_and_no_other_name_reach_the_environment(names):
    top = {name.split("/")[0] for name in names}

    assert {name for name in top if not re.fullmatch(r"biopsy_outcomes-[\d.]+\.dist-info", name)} == {
        "registry",
        "dashboards",
        "synthetic_data",
    }


@pytest.mark.parametrize("folder", ["sql", "mappings"])
def test_data_folders_travel_whole_inside_the_package(names, folder):
    wanted = {f"registry/{name}" for name in files_below(folder)}

    assert wanted
    assert wanted - names == set()


@pytest.mark.parametrize("folder", ["registry", "dashboards", "synthetic_data"])
def test_packages_travel_whole(names, folder):
    assert files_below(folder) - names == set()


def test_the_example_and_its_parameters_travelled(names):
    assert "synthetic_data/parameters.toml" in names
    assert {"synthetic_data/example/patients.csv", "synthetic_data/example/procedures.csv"} <= names


def test_the_licence_travelled(names):
    assert [name for name in names if name.endswith(".dist-info/licenses/LICENSE")]


def test_tests_and_documents_stay_at_home(names):
    assert [name for name in names if name.split("/")[0] in {"tests", "docs", "requirements", "sql"}] == []


def test_sql_is_found_from_another_folder(unpacked, tmp_path):
    script = (
        "import registry, registry.sqlfiles as files\n"
        "print(registry.__file__)\n"
        "print(*sorted(entry.name for entry in files.folder('migrations').iterdir()))\n"
        "print(files.read_text('vocabulary', 'laterality.csv').splitlines()[1])\n"
    )

    place, migrations, laterality = run(
        [sys.executable, "-c", script], tmp_path, PYTHONPATH=str(unpacked)
    ).splitlines()

    assert Path(place).is_relative_to(unpacked)
    assert migrations.split() == sorted(path.name for path in (ROOT / "sql" / "migrations").iterdir())
    assert laterality.startswith("L,Left breast,")


def test_mappings_are_found_from_another_folder(unpacked, tmp_path):
    script = (
        "from registry.sqlfiles import packaged\n"
        "print(*sorted(entry.name for entry in packaged('mappings').iterdir()))\n"
    )

    found = run([sys.executable, "-c", script], tmp_path, PYTHONPATH=str(unpacked)).split()

    assert found == sorted(path.name for path in (ROOT / "mappings").iterdir())


def test_the_command_answers_from_another_folder(unpacked, tmp_path):
    answer = run([sys.executable, "-m", "registry", "--version"], tmp_path, PYTHONPATH=str(unpacked))

    assert re.fullmatch(r"biopsy-outcomes \d+\.\d+\.\d+\s*", answer)
