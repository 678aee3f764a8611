"""Cells to typed values: one SQL expression a field, and the sentence when it fails.

Every value arrives as text. DuckDB's casts are quick but generous (they take slashes
in dates, underscores in numbers, hour 24, infinity), so each cast stands beside a test
of form. The engine works out every expression of a query for itself, however often it
stands there; so a cell is read in two steps beneath the query that asks for it, and what
it asks for are columns (:func:`in_steps`).
"""

from __future__ import annotations

import difflib
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from registry.intake import zone as zones
from registry.intake.problems import shown

if TYPE_CHECKING:
    from collections.abc import Iterable

    from registry.dictionary import Field
    from registry.site import Site

#: Explicit word that empties a field; an empty cell says nothing.
ERASE = "<erase>"
#: Other ways to write a code that are taken and said.
ALIASES: dict[str, dict[str, str]] = {
    "procedures.tracer": {
        "FDG": "F-18 FDG",
        "18F-FDG": "F-18 FDG",
        "F18 FDG": "F-18 FDG",
        "[18F]FDG": "F-18 FDG",
    },
    "sources.nuclide": {"F18": "F-18", "18F": "F-18", "Ge68": "Ge-68", "68Ge": "Ge-68"},
}
_EARLIEST_YEAR = 1900
#: From so many codes on a list is looked up, not gone through.
_LONG_LIST = 6
_TIMESTAMP = r"^[0-9]{4}-[0-9]{2}-[0-9]{2}[T ][0-9]{2}:[0-9]{2}(:[0-9]{2}(\.[0-9]{1,6})?)?(Z|[+-](0[0-9]|1[0-4]):?[0-5][0-9])$"


@dataclass(frozen=True)
class Cell:
    """SQL of one field over the received text column.

    ``typed`` is the value, ``fails`` a boolean that is never NULL, ``extra`` a
    companion column (offset of a timestamp) or None; all three over rows that went
    through the steps. ``looked`` and ``made`` are the columns of these, by name: the
    first look at the text, the second at the text and what was looked at.
    """

    name: str
    typed: str
    fails: str
    looked: dict[str, str]
    made: dict[str, str]
    extra: tuple[str, str] | None = None


def _beside(column: str, what: str) -> str:
    """A column that a step puts beside a text column; no field has a name with a blank."""
    return f'{column[:-1]} {what}"'


def _value(column: str) -> str:
    return _beside(column, "value")


def in_steps(rows: str, cells: Iterable[Cell]) -> str:
    """``rows`` (a relation ``r`` of text columns) with the columns that cells are asked of."""
    for step in ("looked", "made"):
        added = [
            f"{sql} AS {name.removeprefix('r.')}" for one in cells for name, sql in getattr(one, step).items()
        ]
        if added:
            rows = f"(SELECT r.*, {', '.join(added)} FROM {rows} AS r)"
    return rows


def quoted(text: str) -> str:
    """A text literal of SQL; used for codes and units of the dictionary only."""
    return "'" + text.replace("'", "''") + "'"


def codes_of(field: Field, site: Site) -> tuple[str, ...]:
    """Allowed codes: those of the dictionary and those the site added."""
    return field.codes + site.added_codes.get(f"{field.table}.{field.name}", ())


def _unless(column: str, *tests: str) -> str:
    """Condition that a cell says something and does not pass every test; never NULL.

    A test without an answer is not passed. Put as a choice: the engine asks each test only of
    the rows that passed those before it, and nothing but the first of an empty cell.
    """
    return f"CASE WHEN {' AND '.join(tests)} THEN false ELSE {column} IS NOT NULL END"


def _within(field: Field, typed: str) -> list[str]:
    tests = []
    if field.minimum is not None:
        tests.append(f"{typed} {'>' if field.above else '>='} {field.minimum!r}")
    if field.maximum is not None:
        tests.append(f"{typed} <= {field.maximum!r}")
    return tests or [f"{typed} IS NOT NULL"]


def _with_unit(field: Field, column: str, kind: str) -> str:
    """The number of a cell, also where its own unit stands behind it ("8 G")."""
    plain = f"TRY_CAST({column} AS {kind})"
    if not field.unit or field.unit == "1":
        return plain
    unit = re.escape(field.unit) + ("|gauge" if field.unit == "G" else "")
    pattern = quoted(rf"^([+-]?[0-9.]+)\s*-?\s*(?:{unit})$")
    return f"coalesce({plain}, TRY_CAST(regexp_extract({column}, {pattern}, 1) AS {kind}))"


def _number(field: Field, column: str) -> Cell:
    whole = field.type == "integer"
    typed = _value(column)
    tests = [*_within(field, typed), f"NOT contains({column}, '_')", f"NOT starts_with({column}, '+-')"]
    if whole:
        # The engine's cast also takes 0b11, 0x1F and 15e-1, and rounds the last to 2. Written as
        # the engine writes it, a number is none of these: that is quicker to see.
        plain = f"NOT contains({column}, '.') AND (TRY_CAST({column} AS INTEGER) IS NULL OR NOT regexp_matches({column}, '[^0-9 +-]'))"
        tests.append(f"CASE WHEN {column} = CAST({typed} AS VARCHAR) THEN true ELSE {plain} END")
    elif field.maximum is None or field.minimum is None:
        tests.append(f"isfinite({typed})")
    fails = _unless(column, *tests)
    made = {typed: _with_unit(field, column, "INTEGER" if whole else "DOUBLE")}
    return Cell(field.name, typed, fails, {}, made)


def _code(field: Field, column: str, site: Site) -> Cell:
    text, looked = column, {}
    if aliases := ALIASES.get(f"{field.table}.{field.name}"):
        branches = " ".join(f"WHEN {quoted(alias)} THEN {quoted(code)}" for alias, code in aliases.items())
        text = _beside(column, "code")
        looked = {text: f"CASE {column} {branches} ELSE {column} END"}
    codes = list(dict.fromkeys(codes_of(field, site)))
    listed = ", ".join(quoted(code) for code in codes)
    if len(codes) < _LONG_LIST:
        fails = f"coalesce({text} NOT IN ({listed}), false)"
    else:
        fails = f"({text} IS NOT NULL AND TRY_CAST({text} AS ENUM({listed})) IS NULL)"
    if field.type != "integer":
        return Cell(field.name, text, fails, looked, {})
    return Cell(field.name, _value(column), fails, looked, {_value(column): f"TRY_CAST({text} AS INTEGER)"})


def _date(field: Field, column: str) -> Cell:
    typed = _value(column)
    form = f"strlen({column}) = 10 AND {column} LIKE '____-%'"
    fails = _unless(column, f"{typed} >= DATE '{_EARLIEST_YEAR}-01-01'", form)
    return Cell(field.name, typed, fails, {}, {typed: f"TRY_CAST({column} AS DATE)"})


def without_offset(column: str) -> str:
    """Condition that a text is a local time: only such a one can occur twice or never.

    Seconds may carry one to six decimals (decision 0013). No blank may stand after the
    hours: DuckDB 2 casts ``09:3 :15`` to 09:03:00, and drops what follows a blank.
    """
    fraction = (
        f"strlen({column}) BETWEEN 21 AND 26 AND substr({column}, 20, 1) = '.' "
        f"AND TRY_CAST(substr({column}, 21) AS UINTEGER) IS NOT NULL"
    )
    length = f"strlen({column}) IN (10, 16) OR (strlen({column}) = 19 AND substr({column}, 17, 1) = ':') OR ({fraction})"
    return f"(({length}) AND NOT contains(substr({column}, 14), ' '))"


def moment_of(column: str) -> str:
    """The column with the moment that a text states, taken as a local time."""
    return _beside(column, "moment")


def day_offset(column: str) -> str:
    """Offset in minutes of the day of a local time; NULL on days when clocks change."""
    return f"zone_offset({_beside(column, 'day')})"


def _timestamp(field: Field, column: str, site: Site, moments: bool) -> Cell:
    """Local time of the site and its offset; text with an offset is converted.

    Days on which clocks change, and only they, are looked up moment by moment in
    ``zone_moment``, or left open; all other days have one offset, ``zone_offset`` of the day.
    """
    # Nearly all times are written like 2026-06-30T09:30. That is seen at once, and asks for no
    # other test of form; whether such a day and such an hour exist the cast says. An empty cell
    # counts as one of them, so that it is asked nothing more either.
    usual, moment, typed = _beside(column, "usual"), moment_of(column), _value(column)
    looked = {
        usual: f"coalesce({column} LIKE '____-__-__T__:__' AND {column} NOT LIKE '%T24%' AND NOT contains({column}, ' '), true)",
        moment: f"TRY_CAST({column} AS TIMESTAMP)",
    }
    plain = without_offset(column)
    seconds = f"CASE WHEN substr({column}, 17, 1) = ':' THEN {column} ELSE substr({column}, 1, 16) || ':00' || substr({column}, 17) END"
    instant = f"TRY_CAST(replace({seconds}, 'Z', '+00:00') AS TIMESTAMPTZ)"
    zone = quoted(site.time_zone)
    made = {
        typed: f"CASE WHEN {usual} THEN {moment} WHEN {plain} THEN {moment} "
        f"WHEN regexp_matches({column}, {quoted(_TIMESTAMP)}) THEN timezone({zone}, {instant}) END",
        _beside(column, "day"): f"CAST({moment} AS DATE)",
    }
    looked_up = day_offset(column)
    if moments:
        looked_up = f"coalesce({looked_up}, moment_{field.name}.offset_min)"
    offset = (
        f"CASE WHEN CASE WHEN {usual} THEN true ELSE {plain} END THEN {looked_up} "
        f"ELSE date_diff('minute', timezone('UTC', {instant}), timezone({zone}, {instant})) END"
    )
    form = (
        f"CASE WHEN {usual} THEN true ELSE substr({column}, 5, 1) = '-' AND substr({column}, 8, 1) = '-' "
        f"AND substr({column}, 12, 2) <> '24' AND substr({column}, 11, 1) IN ('T', ' ', '') END"
    )
    exists = [f"moment_{field.name}.problem IS NULL"] if moments else []
    fails = _unless(column, f"{typed} >= TIMESTAMP '{_EARLIEST_YEAR}-01-01'", form, *exists)
    return Cell(field.name, typed, fails, looked, made, (f"{field.name}_offset_min", offset))


def cell(field: Field, column: str, site: Site, *, moments: bool = True) -> Cell:
    """SQL of one field whose text stands in ``column``, of the form ``r."name"``.

    With ``moments`` a time on a day when clocks change is looked up in a relation
    ``moment_<field>`` beside it; without, its offset is left open.
    """
    if field.codes:
        return _code(field, column, site)
    if field.type in ("integer", "decimal"):
        return _number(field, column)
    if field.type == "date":
        return _date(field, column)
    if field.type == "timestamp":
        return _timestamp(field, column, site, moments)
    # Where the word may stand it was taken out before; a key is never that word.
    return Cell(
        field.name,
        f"nullif({column}, {quoted(ERASE)})",
        f"coalesce(length({column}) > {field.max_length}, false)",
        {},
        {},
    )


def sql_type(field: Field) -> str:
    """Column type in the staging tables."""
    return {"integer": "INTEGER", "decimal": "DOUBLE", "date": "DATE", "timestamp": "TIMESTAMP"}.get(
        field.type, "VARCHAR"
    )


# -- sentences ---------------------------------------------------------------------


def _range_words(field: Field) -> str:
    unit = f" {field.unit}" if field.unit and field.unit != "1" else ""
    if field.minimum is not None and field.maximum is not None:
        return f"{field.minimum:g} to {field.maximum:g}{unit}"
    if field.minimum is not None:
        return f"{'above' if field.above else 'at least'} {field.minimum:g}{unit}"
    return f"a number{unit}"


def _explain_number(field: Field, text: str, said: str) -> tuple[str, str, str]:
    whole = field.type == "integer"
    if re.fullmatch(r"[+-]?[0-9]+" if whole else r"[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)", text):
        unit = " Is the unit right?" if field.unit and field.unit != "1" else ""
        return (
            "out_of_range",
            f"{said} is outside {_range_words(field)}.",
            f"Correct it, or leave the cell empty if it was not measured.{unit}",
        )
    if "," in text:
        return (
            "not_a_number",
            f"{said} is not a number with a decimal point.",
            "Write 4.2, not 4,2; no thousands sign.",
        )
    kind = "whole number" if whole else "finite decimal number"
    return "not_a_number", f"{said} is not a {kind}.", f"Allowed: {_range_words(field)}."


def _explain_code(field: Field, text: str, said: str, codes: tuple[str, ...]) -> tuple[str, str, str]:
    folded = {code.casefold(): code for code in codes}
    near = difflib.get_close_matches(text.casefold(), folded, n=1, cutoff=0.5)
    guess = f" Did you mean {folded[near[0]]}?" if near else ""
    extra = ""
    if field.name == "laterality" and text.casefold() in ("b", "both", "bilateral"):
        extra = " One row per breast and target."
    return "code", f"{said} is not an allowed code.{guess}{extra}", f"Allowed: {', '.join(codes)}."


def _explain_time(field: Field, text: str, said: str, site: Site) -> tuple[str, str, str]:
    is_date = field.type == "date"
    form = (
        "YYYY-MM-DD"
        if is_date
        else "YYYY-MM-DDTHH:MM, with an offset such as +02:00 where it is not the site's own"
    )
    if re.match(r"^\d{1,2}[/.]\d{1,2}[/.]\d{2,4}", text):
        return (
            "ambiguous_date",
            f"{said} can be read in two ways.",
            f"Write {form}, or state the date format in a mapping.",
        )
    if not is_date and re.match(r"^\d{4}-\d{2}-\d{2}[T ]24:", text):
        return "hour_24", f"{said} has hour 24.", "Write 00:00 of the next day."
    if not is_date and re.match(r"^\d{4}-\d{2}-\d{2}[T ]\d{2}:\d{2}:\d{2}([.,]\d{7,}|,\d+|[.,]$)", text):
        return (
            "fraction",
            f"{said} does not give the seconds with one to six decimals after a point.",
            "Write such as 09:30:15.25, or leave the decimals out.",
        )
    if not is_date and re.match(r"^\d{4}-\d{2}-\d{2}[T ]\d{2}:\d{2}", text):
        from datetime import datetime

        try:
            problem = zones.moment_offset(site.time_zone, datetime.fromisoformat(text[:19]))[1]
        except ValueError:
            problem = None
        if problem == zones.TWICE:
            return (
                "time_twice",
                f"{said} occurs twice on the night clocks go back.",
                "Give the offset, such as +02:00.",
            )
        if problem == zones.NEVER:
            return (
                "time_never",
                f"{said} does not exist: clocks go forward over it.",
                "Correct the time, or give the offset.",
            )
    if re.fullmatch(r"\d{4}-\d{2}-\d{2}.*", text):
        return (
            "not_a_date",
            f"{said} is not a calendar date{'' if is_date else ' and time'} after {_EARLIEST_YEAR}.",
            f"Write {form}.",
        )
    return "not_a_date", f"{said} is not a date{'' if is_date else ' and time'}.", f"Write {form}."


def explain(field: Field, text: str, site: Site) -> tuple[str, str, str]:
    """Rule, sentence and hint for a cell that failed."""
    said = shown(text, field.sensitive)
    if field.codes:
        return _explain_code(field, text, said, codes_of(field, site))
    if field.type in ("integer", "decimal"):
        return _explain_number(field, text, said)
    if field.type in ("date", "timestamp"):
        return _explain_time(field, text, said, site)
    return (
        "too_long",
        f"The text has {len(text):,} characters, more than {field.max_length:,}.",
        "Shorten it.",
    )
