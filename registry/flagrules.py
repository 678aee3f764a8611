"""The rules behind proposed flags, as reviewed tables and what a site changes in them.

``sql/vocabulary/flag_rules.csv`` holds the rules, ``expected_pathology.csv`` which lesion
explains which finding at which suspicion. A service switches rules off, moves a limit or
says otherwise about a lesion under ``[flags]`` of site.toml. What was in force when a flag
was made is bound by a digest.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import asdict, dataclass, field, replace
from functools import cache
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

from registry.errors import SiteProblem
from registry.vocabulary import labels, rows

if TYPE_CHECKING:
    from collections.abc import Mapping

SUSPICIONS = ("low", "middle", "high")
EXPECTATIONS = ("expected", "weak", "unexplained")
LOCAL = "local"
_KEYS = ("finding_type", "suspicion", "lesion", "expectation")


@dataclass(frozen=True)
class Rule:
    """One rule: ``sentence`` is what a flag says, with the fields of the procedure in braces.

    ``concerns`` is explanation or sampling where it speaks of the decision, else record or
    next step. ``limit`` is in ``unit`` and None where the rule has none.
    """

    name: str
    title: str
    concerns: str
    sentence: str
    limit: float | None
    unit: str
    source: str
    version: int


@dataclass(frozen=True)
class Expectation:
    """Whether one lesion explains one kind of finding at one suspicion (low, middle or high)."""

    finding_type: str
    suspicion: str
    lesion: str
    expectation: str
    source: str


@dataclass(frozen=True)
class Overlay:
    """What a site changes: rules switched off, limits by rule, expectations of its own."""

    off: tuple[str, ...] = ()
    limits: Mapping[str, float] = field(default_factory=dict)
    expected: tuple[Expectation, ...] = ()


@dataclass(frozen=True)
class RuleSet:
    """Rules and expectations in force, and the digest that binds them."""

    rules: Mapping[str, Rule]
    expected: tuple[Expectation, ...]
    digest: str


@cache
def shipped_rules() -> Mapping[str, Rule]:
    """The rules as shipped, by name, in the order of the table."""
    return MappingProxyType(
        {
            row["rule"]: Rule(
                row["rule"],
                row["title"],
                row["concerns"],
                row["sentence"],
                float(row["limit"]) if row["limit"] else None,
                row["unit"],
                row["source"],
                int(row["version"]),
            )
            for row in rows("flag_rules")
        }
    )


@cache
def shipped_expectations() -> Mapping[tuple[str, str, str], Expectation]:
    """The expectations as shipped, by finding type, suspicion and lesion."""
    found = [Expectation(**row) for row in rows("expected_pathology")]
    return MappingProxyType({(one.finding_type, one.suspicion, one.lesion): one for one in found})


def in_force(overlay: Overlay) -> RuleSet:
    """Shipped rules and expectations with what the site changed."""
    rules = {
        name: replace(one, limit=overlay.limits[name], source=LOCAL) if name in overlay.limits else one
        for name, one in shipped_rules().items()
        if name not in overlay.off
    }
    own = {(one.finding_type, one.suspicion, one.lesion): one for one in overlay.expected}
    expected = tuple({**shipped_expectations(), **own}.values())
    text = json.dumps(
        [[asdict(one) for one in rules.values()], [asdict(one) for one in expected]], sort_keys=True
    )
    return RuleSet(MappingProxyType(rules), expected, hashlib.sha256(text.encode()).hexdigest())


# -- site.toml -----------------------------------------------------------------------------


def parse(section: Mapping[str, Any]) -> Overlay:
    """Read ``[flags]`` of site.toml.

    Raises
    ------
    SiteProblem
        No such rule, a limit that is no number or that the rule has not, or an expectation
        with a code that does not exist.
    """
    if extra := sorted(section.keys() - {"off", "limits", "expected"}):
        raise _fail("[flags]", f"{', '.join(extra)} is not a setting.", "Known: expected, limits, off.")
    return Overlay(_off(section.get("off", [])), _limits(section.get("limits", {})), _expected(section))


def _fail(where: str, what: str, hint: str) -> SiteProblem:
    return SiteProblem(f"site.toml, {where}: {what} {hint}")


def _off(given: Any) -> tuple[str, ...]:
    if not isinstance(given, list) or not all(isinstance(one, str) for one in given):
        raise _fail("[flags] off", "is not a list of rules.", 'Write it as ["one", "two"].')
    for name in given:
        if name not in shipped_rules():
            raise _fail("[flags] off", f"{name!r} is no rule.", f"Known: {', '.join(shipped_rules())}.")
    return tuple(dict.fromkeys(given))


def _limits(given: Any) -> Mapping[str, float]:
    limited = [name for name, one in shipped_rules().items() if one.limit is not None]
    if not isinstance(given, dict):
        raise _fail("[flags.limits]", "is not a section.", "Write it as [flags.limits].")
    found = {}
    for name, value in given.items():
        where = f"[flags.limits] {name}"
        if name not in limited:
            raise _fail(where, "no such rule has a limit.", f"Known: {', '.join(limited)}.")
        if isinstance(value, bool) or not isinstance(value, int | float) or not 0 < value <= 1000:
            raise _fail(where, f"{value!r} is not a number above 0 and up to 1000.", "Correct it.")
        found[name] = float(value)
    return MappingProxyType(found)


def _expected(section: Mapping[str, Any]) -> tuple[Expectation, ...]:
    given = section.get("expected", [])
    if not isinstance(given, list):
        raise _fail("[[flags.expected]]", "is not a list.", "Write each row under [[flags.expected]].")
    allowed = {
        "finding_type": tuple(labels("findings", "finding_type")),
        "suspicion": SUSPICIONS,
        "lesion": tuple(labels("pathology", "lesion")),
        "expectation": EXPECTATIONS,
    }
    found = []
    for place, row in enumerate(given, start=1):
        where = f"[[flags.expected]] number {place}"
        if not isinstance(row, dict) or set(row) != set(_KEYS):
            raise _fail(where, "is not a whole row.", f"Give {', '.join(_KEYS)}.")
        for key, codes in allowed.items():
            if row[key] not in codes:
                raise _fail(f"{where}, {key}", f"{row[key]!r} is unknown.", f"Known: {', '.join(codes)}.")
        found.append(Expectation(**row, source=LOCAL))
    return tuple(found)
