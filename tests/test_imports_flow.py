"""Who may import whom, and what stays out of which folder; read from the syntax trees.

Nothing is imported here, so that a module with a fault is still judged. Each rule is a
function from a syntax tree to the places that break it; the last tests feed every rule a
few lines that break it, so that none of them can pass by seeing nothing.
"""

import ast
import functools
import graphlib
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
PACKAGES = ("registry", "dashboards", "synthetic_data")
MAX_LINES = 400

#: Lowest first, one line a layer, blocks parted by a bar. A module imports from lower layers
#: and from its own block; two blocks of one layer do not know each other. A name stands for
#: the module or the whole package; those without a package in front are of ``registry``.
LAYERS = """
errors
stats numerals
sqlfiles dictionary vocabulary provenance targets flagrules schedules
targeting tracer | synthetic_data
store engine audit backup doctor earlier_days facts feed frozen_cohorts holds identity keeper migrations owner people preparation received_files recover release_ledger signed_minutes site snapshot whole_file | imports
checks
intake | measures results strata b_category sampling | worklists | record
known verify trail | planning monitoring | cores | uptake | aim | units | quality | timeliness
concordance | follow_up | entry
agreement | meetings
restore upgrade | erasure
codebook
cohorts
disclosure
package | aggregate | handbook
reports
cli commands __main__ | dashboards.session dashboards.answers dashboards.components dashboards.launch dashboards.owned dashboards.gate dashboards.visitor
dashboards.app dashboards.app_pages dashboards.serve dashboards.asgi
"""
#: The engine: the store layer, and those that ask it something.
MAY_USE_DUCKDB = (
    "store engine earlier_days facts audit backup doctor preparation recover snapshot upgrade verify known "
    "intake checks measures worklists disclosure package"
)
COMMAND_LINE = ("registry.cli", "registry.commands")
MAY_READ_A_CLOCK = (*COMMAND_LINE, "dashboards.session")
#: The one function below the command line that may say what time it is.
CLOCK_FUNCTION = ("registry.store", "utc_now")
CLOCKS = {"date.today", "datetime.today", "datetime.now", "datetime.utcnow", "time.time"}
QUERIES = {"execute", "sql", "query", "frame"}
#: What arithmetic needs, and no way to a file, a clock or a network.
STATS_MAY_IMPORT = (
    "__future__ abc bisect collections dataclasses decimal enum fractions functools itertools math "
    "numbers operator statistics types typing warnings numpy scipy statsmodels"
)


def full_names(words: str) -> tuple[str, ...]:
    return tuple(word if word.split(".")[0] in PACKAGES else f"registry.{word}" for word in words.split())


BLOCKS = [[full_names(block) for block in line.split("|")] for line in LAYERS.strip().splitlines()]


def module_name(path: Path) -> str:
    parts = path.relative_to(ROOT).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def product_modules() -> dict[str, Path]:
    found = {}
    for package in PACKAGES:
        for path in sorted((ROOT / package).rglob("*.py")):
            found[module_name(path)] = path
    return found


MODULES = product_modules()
ALL_FILES = {**MODULES, **{path.stem: path for path in ROOT.glob("*.py")}}


@functools.cache
def tree_of(name: str) -> ast.Module:
    return ast.parse(ALL_FILES[name].read_text(encoding="utf-8"))


def within(name: str, places: tuple[str, ...]) -> bool:
    """Whether a module is one of the places or lies inside one."""
    return any(name == place or name.startswith(f"{place}.") for place in places)


def import_nodes(tree: ast.AST, *, types_too: bool, functions_too: bool = True) -> list[ast.stmt]:
    """Import statements in the order of the text, with or without those made for types only."""
    found: list[ast.stmt] = []
    for node in ast.iter_child_nodes(tree):
        if isinstance(node, ast.Import | ast.ImportFrom):
            found.append(node)
        elif isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef) and not functions_too:
            continue
        else:
            types_only = isinstance(node, ast.If) and "TYPE_CHECKING" in ast.unparse(node.test)
            inside = ast.Module(node.orelse, []) if types_only and not types_too else node
            found += import_nodes(inside, types_too=types_too, functions_too=functions_too)
    return found


def imported(nodes: list[ast.stmt], importer: str, *, is_package: bool = False) -> set[str]:
    """Full names; ``from registry import store`` is registry.store, not registry."""
    names = set()
    for node in nodes:
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            base = node.module or ""
            if node.level:
                parts = importer.split(".")
                kept = len(parts) - node.level + (1 if is_package else 0)
                base = ".".join([*parts[:kept], *([base] if base else [])])
            for alias in node.names:
                full = f"{base}.{alias.name}"
                names.add(full if full in MODULES else base)
    return names


def imports_of(name: str, *, types_too: bool, functions_too: bool = True) -> set[str]:
    nodes = import_nodes(tree_of(name), types_too=types_too, functions_too=functions_too)
    return imported(nodes, name, is_package=ALL_FILES[name].name == "__init__.py")


def ours(names: set[str]) -> set[str]:
    return {name for name in names if name.split(".")[0] in PACKAGES}


def position(name: str) -> tuple[int, int] | None:
    for layer, blocks in enumerate(BLOCKS):
        for block, members in enumerate(blocks):
            if within(name, members):
                return layer, block
    return None


def calls_named(tree: ast.AST, names: set[str]) -> list[int]:
    return [
        node.lineno
        for node in ast.walk(tree)
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr in names
    ]


def clock_reads(tree: ast.AST, allowed_function: str = "") -> list[int]:
    found = []
    for node in ast.iter_child_nodes(tree):
        if isinstance(node, ast.FunctionDef) and node.name == allowed_function:
            continue
        if isinstance(node, ast.Attribute) and ".".join(ast.unparse(node).split(".")[-2:]) in CLOCKS:
            found.append(node.lineno)
        found += clock_reads(node, allowed_function)
    return found


def bare_excepts(tree: ast.AST) -> list[int]:
    return [
        node.lineno for node in ast.walk(tree) if isinstance(node, ast.ExceptHandler) and node.type is None
    ]


def raw_html(tree: ast.AST) -> list[int]:
    return [
        node.lineno
        for node in ast.walk(tree)
        if (isinstance(node, ast.keyword) and node.arg == "unsafe_allow_html")
        or (isinstance(node, ast.Constant) and node.value == "unsafe_allow_html")
    ]


# --- the tree as it is -------------------------------------------------------------------


@pytest.mark.parametrize("name", [name for name in MODULES if name not in PACKAGES])
def test_every_module_has_a_layer(name):
    is_empty_package = ALL_FILES[name].name == "__init__.py" and not ours(imports_of(name, types_too=True))

    assert is_empty_package or position(name), f"{name} stands in no layer: place it in LAYERS"


@pytest.mark.parametrize("name", [name for name in MODULES if position(name)])
def test_imports_point_downwards(name):
    layer, block = position(name)
    wrong = []
    for other in sorted(ours(imports_of(name, types_too=True)) - {"registry"}):
        if within(name, COMMAND_LINE) and other.split(".")[0] != "registry":
            continue  # judged by test_only_the_command_line_reaches_the_other_packages
        place = position(other)
        if place is None or place[0] > layer or (place[0] == layer and place[1] != block):
            wrong.append(other)

    assert wrong == []


@pytest.mark.parametrize("name", PACKAGES)
def test_a_package_itself_imports_nothing_of_ours(name):
    """``from registry import __version__`` is open to all, so the package must stay at the bottom."""
    if name not in MODULES:
        pytest.skip(f"{name} has no __init__.py yet")

    assert ours(imports_of(name, types_too=True)) == set()


def test_no_module_waits_for_itself():
    graph = {name: ours(imports_of(name, types_too=False, functions_too=False)) - {name} for name in MODULES}

    list(graphlib.TopologicalSorter(graph).static_order())  # raises CycleError and names the ring


@pytest.mark.parametrize("name", [name for name in MODULES if name.split(".")[0] == "registry"])
def test_only_the_command_line_reaches_the_other_packages(name):
    """And only inside functions, so that ``--help`` and a registry without pages stay quick."""
    reached = {other for other in imports_of(name, types_too=True) if other.split(".")[0] in PACKAGES[1:]}
    at_the_top = reached & imports_of(name, types_too=True, functions_too=False)

    assert at_the_top == set()
    assert not reached or within(name, COMMAND_LINE)


@pytest.mark.parametrize("name", [name for name in MODULES if within(name, ("synthetic_data",))])
def test_synthetic_data_knows_only_the_dictionary(name):
    others = {
        other for other in ours(imports_of(name, types_too=True)) if not within(other, ("synthetic_data",))
    }

    assert others <= {"registry.sqlfiles", "registry.dictionary", "registry.vocabulary"}


@pytest.mark.parametrize("name", [name for name in ALL_FILES if not within(name, ("dashboards",))])
def test_streamlit_stays_under_dashboards(name):
    assert "streamlit" not in {other.split(".")[0] for other in imports_of(name, types_too=True)}


@pytest.mark.parametrize("name", [name for name in ALL_FILES if not within(name, full_names(MAY_USE_DUCKDB))])
def test_the_engine_is_used_only_where_it_may(name):
    assert "duckdb" not in {other.split(".")[0] for other in imports_of(name, types_too=False)}


@pytest.mark.parametrize("name", [name for name in MODULES if within(name, ("registry.stats",))])
def test_statistics_are_numbers_in_numbers_out(name):
    others = {other for other in imports_of(name, types_too=True) if not within(other, ("registry.stats",))}
    allowed = STATS_MAY_IMPORT.split()

    assert {other for other in others if other.split(".")[0] not in allowed} <= {"registry.errors"}


@pytest.mark.parametrize(
    "name", [name for name in MODULES if within(name, ("dashboards",)) and name != "dashboards.session"]
)
def test_pages_and_components_do_not_query(name):
    assert calls_named(tree_of(name), QUERIES) == []


@pytest.mark.parametrize("name", [name for name in MODULES if within(name, ("dashboards",))])
def test_no_text_reaches_a_page_as_html(name):
    assert raw_html(tree_of(name)) == []


@pytest.mark.parametrize("name", [name for name in MODULES if not within(name, MAY_READ_A_CLOCK)])
def test_no_clock_below_the_command_line(name):
    allowed = CLOCK_FUNCTION[1] if name == CLOCK_FUNCTION[0] else ""

    assert clock_reads(tree_of(name), allowed) == []


@pytest.mark.parametrize("name", ALL_FILES)
def test_every_except_names_what_it_catches(name):
    assert bare_excepts(tree_of(name)) == []


@pytest.mark.parametrize("name", ALL_FILES)
def test_no_module_is_longer_than_a_sitting(name):
    lines = len(ALL_FILES[name].read_text(encoding="utf-8").splitlines())

    assert lines <= MAX_LINES


# --- the rules see what they should ------------------------------------------------------


def test_the_tree_was_found():
    assert {"registry", "registry.errors", "registry.sqlfiles"} <= set(MODULES)


def test_an_import_inside_a_function_is_seen():
    tree = ast.parse("def run():\n    if True:\n        import streamlit.web\n")

    assert imported(import_nodes(tree, types_too=True), "registry.cli") == {"streamlit.web"}
    assert import_nodes(tree, types_too=True, functions_too=False) == []


def test_a_name_taken_from_a_package_is_the_module_it_names():
    tree = ast.parse("from registry import sqlfiles, __version__\nfrom . import errors\n")

    assert imported(import_nodes(tree, types_too=True), "registry.store") == {
        "registry.sqlfiles",
        "registry.errors",
        "registry",
    }


def test_an_import_for_types_counts_only_where_asked():
    tree = ast.parse("if TYPE_CHECKING:\n    import duckdb\nelse:\n    import polars\n")

    assert imported(import_nodes(tree, types_too=True), "registry.site") == {"duckdb", "polars"}
    assert imported(import_nodes(tree, types_too=False), "registry.site") == {"polars"}


@pytest.mark.parametrize(
    ("lower", "upper"),
    [
        ("registry.stats.proportions", "registry.store"),
        ("registry.store", "registry.intake.batch"),
        ("registry.checks", "registry.intake"),
        ("registry.measures", "registry.reports"),
        ("registry.handbook", "registry.cli"),
        ("dashboards.components.strip", "dashboards.app_pages.overview"),
    ],
)
def test_the_layers_are_in_the_agreed_order(lower, upper):
    assert position(lower)[0] < position(upper)[0]


def test_intake_and_measures_do_not_know_each_other():
    intake, measures = position("registry.intake"), position("registry.measures")

    assert intake[0] == measures[0]
    assert intake[1] != measures[1]


@pytest.mark.parametrize(
    ("rule", "source"),
    [
        (bare_excepts, "try:\n    pass\nexcept:\n    pass\n"),
        (raw_html, "st.markdown(text, unsafe_allow_html=True)\n"),
        (raw_html, "st.markdown(text, **{'unsafe_allow_html': True})\n"),
        (clock_reads, "def f():\n    return datetime.date.today()\n"),
        (clock_reads, "def f(now=datetime.now):\n    return now()\n"),
        (lambda tree: calls_named(tree, QUERIES), "rows = registry().cursor().sql(text)\n"),
    ],
    ids=["except", "html keyword", "html mapping", "today", "now as a default", "sql"],
)
def test_a_rule_sees_its_own_breach(rule, source):
    assert len(rule(ast.parse(source))) == 1


def test_the_clock_function_is_the_only_place_in_its_module():
    tree = ast.parse(
        "def utc_now():\n    return datetime.now(UTC)\n\ndef other():\n    return datetime.now(UTC)\n"
    )

    assert clock_reads(tree, "utc_now") == [5]
