"""A cohort file: who belongs to a study, in which order they were chosen, and at which day.

The file is JSON. Its canonical bytes follow RFC 8785 as far as it goes for what a file can
hold: UTF-8 without escapes beyond those that JSON demands (not ASCII-escaped), keys in order,
no white space, numbers as ECMAScript writes them. Every key stands in it, null where nothing
is stated, so that two files that say the same have the same SHA-256.
"""

from __future__ import annotations

import hashlib
import json
import re
import unicodedata
from dataclasses import dataclass
from datetime import date
from functools import cached_property
from typing import TYPE_CHECKING, Any

from registry.cohorts.filters import Filter, parse, plain, shown
from registry.errors import FileProblem, UsageProblem

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

FORM = 1
UNITS = ("procedure", "finding", "patient")
INDEX_DATES = ("started_on", "found_on", "biopsy_advised_on", "first_report_on")
NONE, EXCISION, FOLLOW_UP, EITHER = "none", "excision", "follow_up", "excision_or_follow_up"
REFERENCE_STANDARDS = (NONE, EXCISION, FOLLOW_UP, EITHER)
STEP_KINDS = ("include", "exclude")
MOST_STEPS, MOST_BYTES, MOST_DAYS = 20, 65_536, 36_525
_NAME = re.compile(r"[a-z0-9][a-z0-9-]{0,63}")
_SHA256 = re.compile(r"[0-9a-f]{64}")
_REQUIRED = (
    "cohort_file",
    "name",
    "version",
    "title",
    "unit",
    "project",
    "index_date",
    "as_of",
    "reference_standard",
)
_OPTIONAL = ("previous", "plan", "start", "end", "minimum_follow_up_days", "population", "steps")


@dataclass(frozen=True)
class Step:
    """One step of the choice: ``include`` keeps the rows that match, ``exclude`` leaves them out."""

    kind: str
    label: str
    filter: Filter


@dataclass(frozen=True)
class CohortFile:
    """A cohort as its file defines it.

    ``previous`` is the SHA-256 of the version before, None for the first. ``start`` and
    ``end`` bound the day named by ``index_date``, both included. ``minimum_follow_up_days``
    run from the start of the procedure. That patients who object to research use are left
    out is no step of the file: it always is one.
    """

    name: str
    version: int
    previous: str | None
    title: str
    unit: str
    project: str
    plan: str | None
    index_date: str
    as_of: date
    start: date | None
    end: date | None
    minimum_follow_up_days: int | None
    reference_standard: str
    population: Filter | None
    steps: tuple[Step, ...]

    @classmethod
    def read(cls, path: Path, added: Mapping[str, Sequence[str]] | None = None) -> CohortFile:
        """A cohort file from disk.

        Parameters
        ----------
        added
            ``table.field`` -> codes that the service added (``registry.site.added_codes``).

        Raises
        ------
        FileProblem
            The file cannot be read.
        UsageProblem
            What in it is not understood, and what is allowed.
        """
        try:
            with path.open("rb") as handle:
                content = handle.read(MOST_BYTES + 1)
        except OSError as problem:
            raise FileProblem(f"{path}: cannot be read: {problem.strerror}.") from None
        return cls.parse(content, path.name, added)

    @classmethod
    def parse(
        cls, content: bytes, where: str = "cohort file", added: Mapping[str, Sequence[str]] | None = None
    ) -> CohortFile:
        """As :meth:`read`, from bytes."""
        return _Fields(_document(content, where), where, added or {}).cohort()

    def plain(self) -> dict[str, Any]:
        """The file as JSON holds it, every key in it."""
        return {
            "cohort_file": FORM,
            "name": self.name,
            "version": self.version,
            "previous": self.previous,
            "title": self.title,
            "unit": self.unit,
            "project": self.project,
            "plan": self.plan,
            "index_date": self.index_date,
            "as_of": self.as_of.isoformat(),
            "start": self.start.isoformat() if self.start else None,
            "end": self.end.isoformat() if self.end else None,
            "minimum_follow_up_days": self.minimum_follow_up_days,
            "reference_standard": self.reference_standard,
            "population": plain(self.population) if self.population else None,
            "steps": [
                {"kind": one.kind, "label": one.label, "filter": plain(one.filter)} for one in self.steps
            ],
        }

    def canonical(self) -> bytes:
        """Canonical JSON after RFC 8785: UTF-8, not ASCII-escaped, keys sorted, no white space."""
        return _canonical(self.plain()).encode()

    @cached_property
    def sha256(self) -> str:
        """SHA-256 of the canonical bytes, as hexadecimal digits."""
        return hashlib.sha256(self.canonical()).hexdigest()


# -- canonical form ----------------------------------------------------------------


def _canonical(value: Any) -> str:
    if isinstance(value, dict):
        # All keys are ASCII, so that the order of code units is that of Python.
        return "{" + ",".join(f"{_canonical(key)}:{_canonical(value[key])}" for key in sorted(value)) + "}"
    if isinstance(value, list):
        return "[" + ",".join(map(_canonical, value)) + "]"
    if isinstance(value, float):
        return _ecmascript(value)
    return json.dumps(value, ensure_ascii=False)


def _ecmascript(number: float) -> str:
    """A number as ECMAScript writes it (ECMA-262, Number::toString): the shortest digits that read back the same."""
    if number == 0:
        return "0"
    sign = "-" if number < 0 else ""
    mantissa, _, exponent = f"{abs(number)!r}".partition("e")
    whole, _, rest = mantissa.partition(".")
    digits = (whole + ("" if rest == "0" else rest)).lstrip("0")
    point = len(whole.lstrip("0")) or -(len(rest) - len(rest.lstrip("0")))
    point += int(exponent or 0)
    digits = digits.rstrip("0")
    if len(digits) <= point <= 21:
        return sign + digits + "0" * (point - len(digits))
    if 0 < point <= 21:
        return f"{sign}{digits[:point]}.{digits[point:]}"
    if -6 < point <= 0:
        return f"{sign}0.{'0' * -point}{digits}"
    power = f"{point - 1:+d}"
    return f"{sign}{digits[0]}{'.' + digits[1:] if len(digits) > 1 else ''}e{power}"


# -- reading -----------------------------------------------------------------------


def _document(content: bytes, where: str) -> dict[str, Any]:
    if len(content) > MOST_BYTES:
        raise UsageProblem(f"{where}: is larger than {MOST_BYTES:,} bytes, which no cohort file needs to be.")
    try:
        text = content.decode("utf-8-sig")
        found = json.loads(text, object_pairs_hook=_once, parse_constant=_no_constant)
    except UnicodeDecodeError:
        raise UsageProblem(f"{where}: is not UTF-8 text. Save it as UTF-8.") from None
    except json.JSONDecodeError as problem:
        raise UsageProblem(
            f"{where}: is no JSON: {problem.msg} at line {problem.lineno}, column {problem.colno}."
        ) from None
    except RecursionError:
        raise UsageProblem(f"{where}: is nested too deeply. Write the filter flatter.") from None
    except ValueError as problem:
        # Of our own below, or a whole number of thousands of digits.
        said = str(problem) if isinstance(problem, _Twice) else "holds a number that cannot be used"
        raise UsageProblem(f"{where}: {said}.") from None
    if not isinstance(found, dict):
        raise UsageProblem(f"{where}: is no cohort file, which is one JSON object. See docs/cohorts.md.")
    return found


class _Twice(ValueError):
    pass


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) < len(pairs):
        keys = [key for key, _ in pairs]
        twice = next(key for key in keys if keys.count(key) > 1)
        raise _Twice(f"gives {shown(twice)} twice in one object; keep one")
    return found


def _no_constant(name: str) -> None:
    raise _Twice(f"holds {name}, which is no number of JSON")


class _Fields:
    """The fields of a document, each read by what it may hold."""

    def __init__(self, document: dict[str, Any], where: str, added: Mapping[str, Sequence[str]]) -> None:
        self._document, self._where, self._added = document, where, added

    def cohort(self) -> CohortFile:
        known = (*_REQUIRED, *_OPTIONAL)
        if unknown := [shown(key) for key in self._document if key not in known]:
            raise self._problem(f"{', '.join(sorted(unknown))} is not known. Allowed: {', '.join(known)}")
        if lacking := [key for key in _REQUIRED if key not in self._document]:
            raise self._problem(f"lacks {', '.join(lacking)}. See docs/cohorts.md")
        self._is_form()
        made = CohortFile(
            name=self._name(),
            version=self._whole("version", 1, 9_999) or 1,
            previous=self._previous(),
            title=self._text("title", 200) or "",
            unit=self._one_of("unit", UNITS),
            project=self._text("project", 100) or "",
            plan=self._text("plan", 500, optional=True),
            index_date=self._one_of("index_date", INDEX_DATES),
            as_of=self._day("as_of") or date.min,
            start=self._day("start", optional=True),
            end=self._day("end", optional=True),
            minimum_follow_up_days=self._whole("minimum_follow_up_days", 1, MOST_DAYS, optional=True),
            reference_standard=self._one_of("reference_standard", REFERENCE_STANDARDS),
            population=self._population(),
            steps=self._steps(),
        )
        self._agree(made)
        return made

    def _problem(self, said: str) -> UsageProblem:
        return UsageProblem(f"{self._where}: {said}.")

    def _is_form(self) -> None:
        form = self._document["cohort_file"]
        if form != FORM or isinstance(form, bool):
            raise self._problem(f"cohort_file is {shown(form)}. This program reads form {FORM}")

    def _agree(self, made: CohortFile) -> None:
        if made.version == 1 and made.previous is not None:
            raise self._problem("version 1 has no version before it. Leave previous out, or raise version")
        if made.version > 1 and made.previous is None:
            raise self._problem(
                f"version {made.version} must name the SHA-256 of version {made.version - 1} in previous"
            )
        if made.start and made.end and made.start > made.end:
            raise self._problem(
                f"the period runs from {made.start} to {made.end}: the first day is after the last. Swap them"
            )
        if made.reference_standard in (FOLLOW_UP, EITHER) and made.minimum_follow_up_days is None:
            raise self._problem(
                f"reference_standard {made.reference_standard} needs minimum_follow_up_days, for example 730"
            )

    def _name(self) -> str:
        given = self._document["name"]
        if not isinstance(given, str) or not _NAME.fullmatch(given):
            raise self._problem(
                f"name {shown(given)} has other than 1 to 64 small letters, digits and hyphens, or begins with a hyphen"
            )
        return given

    def _previous(self) -> str | None:
        given = self._document.get("previous")
        if given is None or (isinstance(given, str) and _SHA256.fullmatch(given)):
            return given
        raise self._problem("previous is no SHA-256, which has 64 digits 0 to 9 and a to f")

    def _text(self, key: str, most: int, *, optional: bool = False) -> str | None:
        given = self._document.get(key)
        if given is None and optional:
            return None
        return _line(given, most, f"{self._where}: {key}")

    def _one_of(self, key: str, allowed: tuple[str, ...]) -> str:
        given = self._document[key]
        if given not in allowed:
            raise self._problem(f"{key} is {shown(given)}. Allowed: {', '.join(allowed)}")
        return str(given)

    def _whole(self, key: str, least: int, most: int, *, optional: bool = False) -> int | None:
        given = self._document.get(key)
        if given is None and optional:
            return None
        if isinstance(given, bool) or not isinstance(given, int) or not least <= given <= most:
            or_null = ", nor null for none" if optional else ""
            raise self._problem(
                f"{key} is {shown(given)}, not a whole number from {least} to {most:,}{or_null}"
            )
        return given

    def _day(self, key: str, *, optional: bool = False) -> date | None:
        given = self._document.get(key)
        if given is None and optional:
            return None
        try:
            found = date.fromisoformat(given) if isinstance(given, str) else None
        except ValueError:
            found = None
        if found is None or found.isoformat() != given:
            raise self._problem(f"{key} is {shown(given)}, not a day. Write it as 2026-06-30")
        return found

    def _population(self) -> Filter | None:
        given = self._document.get("population")
        return None if given is None else parse(given, f"{self._where}: population", self._added)

    def _steps(self) -> tuple[Step, ...]:
        given = self._document.get("steps")
        if given is None:
            return ()
        if not isinstance(given, list) or len(given) > MOST_STEPS:
            raise self._problem(f"steps is no list of at most {MOST_STEPS} steps")
        return tuple(
            self._step(one, f"{self._where}: step {place}") for place, one in enumerate(given, start=1)
        )

    def _step(self, given: object, where: str) -> Step:
        if not isinstance(given, dict) or set(given) != {"kind", "label", "filter"}:
            raise UsageProblem(f"{where}: a step has exactly kind, label and filter.")
        if given["kind"] not in STEP_KINDS:
            raise UsageProblem(f"{where}: kind is {shown(given['kind'])}. Allowed: {', '.join(STEP_KINDS)}.")
        label = _line(given["label"], 100, f"{where}: label")
        return Step(given["kind"], label, parse(given["filter"], where, self._added))


def _line(given: object, most: int, where: str) -> str:
    """One line of text."""
    if not isinstance(given, str) or not 1 <= len(given) <= most or not given.strip():
        raise UsageProblem(f"{where} is no text of 1 to {most} characters.")
    if any(unicodedata.category(one)[0] == "C" for one in given):
        raise UsageProblem(f"{where} holds control characters. Write it on one line.")
    return given
