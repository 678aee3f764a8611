"""The filter of a cohort file: what it takes, what it refuses, and that it says what SQL's truth tables say."""

from __future__ import annotations

import json
import random
import re

import duckdb
import polars as pl
import pytest

from registry.codebook import load_cohort
from registry.cohorts import filter_fields
from registry.cohorts.fields import OPERATORS
from registry.cohorts.filters import DEPTH, PARTS, Compiler, parse, plain
from registry.dictionary import FREE_TEXT, IDENTIFYING
from registry.errors import UsageProblem
from tests.cohorts import trees

TREES = 20_000
_TOKEN = re.compile(r"\s*(\$?\w+(?:\.\w+)?|<>|<=|>=|[=<>(),])")
_WORDS = {
    *("AND", "OR", "NOT", "IN", "IS", "NULL", "BETWEEN", "CAST", "AS"),
    *("DOUBLE", "DATE", "BOOLEAN", "VARCHAR"),
    *("<>", "<=", ">=", "=", "<", ">", "(", ")", ","),
}


def tokens(sql: str) -> list[str]:
    found, place = [], 0
    while place < len(sql):
        match = _TOKEN.match(sql, place)
        assert match, sql[place : place + 40]
        found.append(match.group(1))
        place = match.end()
    return found


def foreign(sql: str, parameters: dict) -> list[str]:
    """Tokens that are neither of the grammar nor a column of the list nor a parameter."""
    allowed = {*_WORDS, *(f"drawn.{name}" for name in filter_fields()), *(f"${name}" for name in parameters)}
    return [one for one in tokens(sql) if one not in allowed]


@pytest.fixture(scope="module")
def rows() -> pl.DataFrame:
    return trees.frame(random.Random(11), 24)


@pytest.fixture(scope="module")
def engine(rows: pl.DataFrame) -> duckdb.DuckDBPyConnection:
    made = duckdb.connect(config={"threads": 1})
    made.execute("CREATE TABLE canary AS SELECT 'kestrel' AS word")
    made.register("given", rows.with_row_index("place").to_arrow())
    made.execute("CREATE TABLE drawn AS SELECT * FROM given")
    return made


@pytest.mark.slow
def test_20_000_random_filters_say_what_the_truth_tables_say(rows, engine):
    """Each compiled to parameters only, and put to rows of which a quarter of the cells is missing."""
    draw, wanted = random.Random(20_000), rows.to_dicts()
    matched = 0
    for _ in range(TREES // 50):
        made = [trees.tree(draw) for _ in range(50)]
        compiler = Compiler("drawn")
        conditions = [compiler.condition(parse(json.loads(json.dumps(one)), "population")) for one in made]
        assert foreign(" ".join(conditions), compiler.parameters) == []
        found = engine.execute(
            f"SELECT {', '.join(conditions)} FROM drawn ORDER BY place", compiler.parameters
        ).fetchall()
        expected = [tuple(trees.truth(one, row) for one in made) for row in wanted]
        assert found == expected
        matched += sum(said is True for row in found for said in row)
    # Neither everything nor nothing was matched, or the comparison would be of little.
    assert 0.2 < matched / (TREES * len(wanted)) < 0.8
    assert engine.execute("SELECT count(*) FROM canary").fetchall() == [(1,)]


@pytest.mark.slow
def test_20_000_broken_filters_are_taken_or_refused_in_a_sentence(engine):
    draw = random.Random(7)
    refused = 0
    for _ in range(TREES):
        made = trees.tree(draw)
        for _ in range(draw.randint(1, 2)):
            made = trees.broken(draw, made)
        compiler = Compiler("drawn")
        try:
            sql = compiler.condition(parse(made, "population"))
        except UsageProblem as problem:
            refused += 1
            said = str(problem)
            assert said.startswith("population") and said.endswith("."), said
            assert said.isprintable(), said
            said.encode()
            continue
        assert foreign(sql, compiler.parameters) == []
        engine.execute(f"SELECT count(*) FROM (SELECT 1 FROM drawn WHERE {sql})", compiler.parameters)
    assert refused > TREES / 2


def test_a_token_that_is_not_of_the_grammar_is_seen():
    assert foreign("(drawn.site = CAST($filter_0 AS VARCHAR) OR TRUE)", {"filter_0": "A"}) == ["TRUE"]
    assert foreign("(drawn.patient_no = CAST($filter_0 AS DOUBLE))", {"filter_0": 1.0}) == [
        "drawn.patient_no"
    ]


@pytest.mark.parametrize("negated", [False, True])
def test_a_missing_cell_is_matched_neither_by_a_comparison_nor_by_its_negation(engine, rows, negated):
    tree = {"field": "age_years", "operator": "lt", "value": 45}
    compiler = Compiler("drawn")
    sql = compiler.condition(parse({"not": tree} if negated else tree, "population"))
    found = engine.execute(f"SELECT count(*) FROM drawn WHERE {sql}", compiler.parameters).fetchall()[0][0]
    known = rows["age_years"].drop_nulls()

    assert found == ((known >= 45) if negated else (known < 45)).sum()
    assert rows["age_years"].null_count() > 0


def test_a_filter_is_written_as_it_was_read():
    draw = random.Random(3)
    for _ in range(500):
        made = trees.tree(draw)
        assert plain(parse(made, "population")) == made


# -- what may be asked about -------------------------------------------------------


def test_fields_are_the_declared_columns_less_keys_and_staff():
    declared = {one.name: one for one in load_cohort().columns}
    closed = {name for name, one in declared.items() if one.sensitivity in ("key", "staff")}

    assert set(filter_fields()) == set(declared) - closed
    assert {"patient_no", "procedure_id", "operator_no", "supervisor_no"} <= closed


def test_no_field_is_an_identifier_or_free_text():
    sources = {tuple(one.source.split(".")) for one in load_cohort().columns if one.name in filter_fields()}

    assert sources & (IDENTIFYING | FREE_TEXT) == set()


def test_kinds_are_those_of_the_engine(registry):
    """Read from the dictionary and the migrations, and compared with the types of a real answer."""
    from registry.cohorts import draw
    from tests.cohorts.conftest import cohort

    kinds = {
        pl.String: {"code", "text"},
        pl.Boolean: {"flag"},
        pl.Date: {"date"},
    }
    schema = draw(registry, cohort()).frame.schema
    wrong = {
        name: (one.kind, str(schema[name]))
        for name, one in filter_fields().items()
        if one.kind not in kinds.get(type(schema[name]), kinds.get(schema[name], {"number"}))
    }

    assert wrong == {}


@pytest.mark.parametrize(
    ("tree", "says"),
    [
        (
            {"field": "patient_no", "operator": "eq", "value": 1},
            "patient_no is no field .* Allowed: repeat_reason",
        ),
        ({"field": "age_years", "operator": "like", "value": 1}, "like is no operator for age_years"),
        ({"field": "density", "operator": "lt", "value": "c"}, "Allowed: eq, ne, in, not_in"),
        (
            {"field": "density", "operator": "eq", "value": "e"},
            "e is no code of density. Allowed: a, b, c, d",
        ),
        ({"field": "age_years", "operator": "eq", "value": "61"}, "61 is no number"),
        ({"field": "age_years", "operator": "eq", "value": True}, "True is no number"),
        ({"field": "is_sampled", "operator": "eq", "value": 1}, "1 is not true or false"),
        ({"field": "started_on", "operator": "ge", "value": "1/2/2025"}, "is no day. Write it as 2026-06-30"),
        ({"field": "started_on", "operator": "ge", "value": "20250102"}, "is no day"),
        ({"field": "age_years", "operator": "between", "value": [60, 40]}, "first value is above the last"),
        ({"field": "age_years", "operator": "in", "value": [40, 40.0]}, "twice"),
        ({"field": "age_years", "operator": "in", "value": []}, "1 to 50 values"),
        ({"field": "age_years", "operator": "is_missing", "value": 1}, "takes no value"),
        ({"field": "age_years", "operator": "eq"}, "value is missing"),
        ({"field": "age_years", "operator": "eq", "value": 1, "sql": "x"}, "sql is not known here"),
        ({"and": [], "or": []}, "is not known here"),
        ({"and": []}, "at least one filter"),
        ([], "is no filter"),
    ],
)
def test_what_is_not_understood_is_named_with_what_is_allowed(tree, says):
    with pytest.raises(UsageProblem, match=says):
        parse(tree, "step 2")


def test_a_message_says_where():
    tree = {"or": [{"field": "is_sampled", "operator": "eq", "value": True}, {"not": {"field": "x"}}]}
    with pytest.raises(UsageProblem, match="^step 2, part 2 of or, in not: operator is missing"):
        parse(tree, "step 2")


def test_codes_of_the_service_are_taken_where_it_has_added_them():
    tree = {"field": "density", "operator": "eq", "value": "e"}
    assert parse(tree, "population", {"findings.density": ("e",)}).values == ("e",)


def test_depth_and_size_are_bounded():
    leaf = {"field": "is_sampled", "operator": "eq", "value": True}
    deep = leaf
    for _ in range(DEPTH - 1):
        deep = {"not": deep}
    parse(deep, "population")
    with pytest.raises(UsageProblem, match="nested more than"):
        parse({"not": deep}, "population")
    parse({"and": [leaf] * (PARTS - 1)}, "population")
    with pytest.raises(UsageProblem, match="more than 100 parts"):
        parse({"and": [leaf] * PARTS}, "population")


def test_every_kind_has_its_operators_and_no_other():
    assert OPERATORS == trees.TAKES
