"""The generated pages are what the program says now, and nothing is missing from them."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest
from typer.testing import CliRunner

from registry import handbook
from registry.cli import app
from registry.dictionary import tables
from registry.measures import load_measures
from registry.vocabulary import labels

ROOT = Path(__file__).resolve().parent.parent
DOCS = ROOT / "docs"
STALE = "docs/{name} is stale. Run: python -m registry handbook"


def page(name: str) -> str:
    return (DOCS / name).read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("name", "made"),
    [
        ("measure-handbook.md", handbook.measure_handbook),
        ("data-dictionary.md", handbook.data_dictionary),
        ("commands.md", lambda: handbook.command_page(app)),
    ],
)
def test_a_generated_page_is_current(name: str, made):
    assert page(name) == made(), STALE.format(name=name)


def test_every_measure_stands_in_the_handbook_with_its_definition():
    text = page("measure-handbook.md")
    missing = [
        one.id
        for one in load_measures().values()
        if f"### {one.title}\n\n`{one.id}`" not in text
        or one.denominator not in text
        or one.question not in text
    ]
    assert missing == []


def test_every_reason_for_leaving_out_stands_in_the_handbook_in_its_order():
    sections = page("measure-handbook.md").split('<a id="')
    found = {
        section.split('"', 1)[0]: re.findall(r"^    \d+\. \*(.+?)\*:", section, re.MULTILINE)
        for section in sections[1:]
    }
    assert found == {one.id: list(one.reasons) for one in load_measures().values()}


def test_every_field_stands_under_its_table():
    sections = dict(part.split("\n", 1) for part in page("data-dictionary.md").split("\n## ")[1:])
    missing = [
        f"{name}.{field}"
        for name, table in tables().items()
        for field in table.names
        if f"| `{field}` |" not in sections[name]
    ]
    assert missing == []


def test_codes_stand_with_their_labels():
    text = page("data-dictionary.md")
    assert [
        code for code, label in labels("pathology", "diagnosis").items() if f"`{code}` {label}" not in text
    ] == []


def test_every_command_and_option_stands_on_its_page():
    """Asked of the program's own help, not of what made the page."""
    text = page("commands.md")
    listed = r"^  ([a-z][a-z-]*)  "
    names = [[one] for one in re.findall(listed, CliRunner().invoke(app, ["--help"]).output, re.MULTILINE)]
    groups = {one.name for one in app.registered_groups}
    for group in sorted(groups):
        helped = CliRunner().invoke(app, [group, "--help"]).output
        names += [[group, one] for one in re.findall(listed, helped, re.MULTILINE)]
        names.remove([group])
    missing = []
    for name in names:
        section = text.split(f"\n## {' '.join(name)}\n", 1)[1].split("\n## ", 1)[0]
        options = re.findall(
            r"^\s+(--[a-z-]+)", CliRunner().invoke(app, [*name, "--help"]).output, re.MULTILINE
        )
        missing += [f"{name} {option}" for option in set(options) - {"--help"} if f"`{option}" not in section]
    in_groups = sum(len(one.typer_instance.registered_commands) for one in app.registered_groups)
    assert len(names) == len(app.registered_commands) + in_groups
    assert missing == []


def test_the_command_writes_the_three_pages(tmp_path: Path):
    result = CliRunner().invoke(app, ["handbook", str(tmp_path / "docs")])
    assert (result.exit_code, {path.name for path in tmp_path.rglob("*.md")}) == (0, set(handbook.PAGES))


def test_every_page_of_the_dashboard_is_in_its_list():
    """A page that is not listed in app.py cannot be reached."""
    tree = ast.parse((ROOT / "dashboards" / "app.py").read_text(encoding="utf-8"))
    listed = {
        node.value
        for node in ast.walk(tree)
        if isinstance(node, ast.Constant) and isinstance(node.value, str)
    }
    files = {path.stem for path in (ROOT / "dashboards" / "app_pages").glob("*.py")} - {"__init__"}
    assert files and files - listed == set()


def test_documents_name_no_file_that_is_not_there():
    broken = []
    for document in [ROOT / "README.md", ROOT / "DEVELOPERS.md", *DOCS.glob("*.md")]:
        for target in re.findall(r"\]\(([^)#:]+?)(?:#[^)]*)?\)", document.read_text(encoding="utf-8")):
            if not (document.parent / target).exists():
                broken.append(f"{document.name}: {target}")
    assert broken == []
