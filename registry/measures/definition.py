"""What a measure is: the header of its file, read strictly, and its SQL."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from types import MappingProxyType
from typing import TYPE_CHECKING

from registry.errors import UsageProblem
from registry.sqlfiles import HeaderProblem, SqlFile, check_keys, load_folder

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

PROPORTION = "proportion"
QUANTITY = "quantity"
TABLE = "table"
TIME_TO_EVENT = "time_to_event"
SAMPLING = "sampling"
#: Kind -> what the header says of the thing that is counted or measured.
_KINDS = {
    PROPORTION: frozenset({"numerator"}),
    QUANTITY: frozenset({"value", "value_unit"}),
    TABLE: frozenset({"numerator"}),
    TIME_TO_EVENT: frozenset({"numerator"}),
    SAMPLING: frozenset({"value", "value_unit"}),
}
_SHARED = frozenset(
    {
        "measure",
        "kind",
        "title",
        "question",
        "unit",
        "denominator",
        "exclusions",
        "window",
        "interval",
        "source",
    }
)
_OPTIONAL = frozenset({"bounds", "group", "note", "caution", "direction"})
_ANY = frozenset().union(*_KINDS.values())
BOUNDS = frozenset({"missing", "cancers", "benign"})
DIRECTIONS = frozenset({"higher", "lower", "context"})
#: In the order in which pages and the handbook show them.
GROUPS = (
    "yield",
    "specimens",
    "targeting",
    "marker",
    "concordance",
    "repeat_and_excision",
    "follow_up",
    "complications",
    "timeliness",
    "pathology",
)


@dataclass(frozen=True)
class Exclusion:
    """Why a procedure is left out: the reason as results name it, and what it means."""

    reason: str
    meaning: str


@dataclass(frozen=True)
class Measure:
    """One measure, as its file states it.

    ``kind`` is proportion, quantity, table, time_to_event or sampling. ``numerator`` is
    empty for a quantity and for sampling, ``value`` and ``value_unit`` for the others. ``exclusions`` stand in the
    order in which they apply. ``bounds`` names the form of the bounds for unknown
    outcomes, empty where the measure has none. ``direction`` says which way is better:
    higher, lower, or context where neither is.
    """

    id: str
    kind: str
    title: str
    question: str
    group: str
    unit: str
    numerator: str
    value: str
    value_unit: str
    denominator: str
    exclusions: tuple[Exclusion, ...]
    window: str
    interval: str
    bounds: str
    direction: str
    source: str
    note: str
    caution: str
    sql: str

    @property
    def body(self) -> str:
        """The statement without its header."""
        return "\n".join(line for line in self.sql.splitlines() if not line.startswith("--")).strip()

    @property
    def reasons(self) -> tuple[str, ...]:
        """Reasons for leaving a procedure out, in order."""
        return tuple(one.reason for one in self.exclusions)


@cache
def load_measures() -> Mapping[str, Measure]:
    """All measures by id, in alphabetical order.

    Raises
    ------
    HeaderProblem
        A header lacks a key, has an unknown one, names another measure than its file, or
        states a kind, group, direction or form of bounds that does not exist.
    """
    found = load_folder("measures", _SHARED, _OPTIONAL | _ANY)
    return MappingProxyType({one.name: _measure(one) for one in found})


def chosen(ids: Sequence[str]) -> list[Measure]:
    """Measures of those ids.

    Raises
    ------
    UsageProblem
        There is no such measure.
    """
    known = load_measures()
    if unknown := [one for one in ids if one not in known]:
        raise UsageProblem(f"{unknown[0]}: there is no such measure. See: biopsy-outcomes measures")
    return [known[one] for one in ids]


def _measure(file: SqlFile) -> Measure:
    where, head = f"sql/measures/{file.name}.sql", file.header
    if head["measure"] != file.name:
        raise HeaderProblem(f"{where}: its header says {head['measure']}. Let both say the same.")
    _known(where, "kind", head["kind"], _KINDS)
    own = _KINDS[head["kind"]]
    check_keys(head, _SHARED | own, _OPTIONAL, where)
    _known(where, "group", head.get("group", GROUPS[0]), GROUPS)
    _known(where, "direction", head.get("direction", "context"), DIRECTIONS)
    if "bounds" in head:
        _known(where, "bounds", head["bounds"], BOUNDS)
    if empty := sorted(key for key, text in head.items() if not text):
        raise HeaderProblem(f"{where}: {', '.join(empty)} is empty. Say it, or leave an optional line out.")
    return Measure(
        id=file.name,
        kind=head["kind"],
        title=head["title"],
        question=head["question"],
        group=head.get("group", ""),
        unit=head["unit"],
        numerator=head.get("numerator", ""),
        value=head.get("value", ""),
        value_unit=head.get("value_unit", ""),
        denominator=head["denominator"],
        exclusions=_exclusions(head["exclusions"], where),
        window=head["window"],
        interval=head["interval"],
        bounds=head.get("bounds", ""),
        direction=head.get("direction", "context"),
        source=head["source"],
        note=head.get("note", ""),
        caution=head.get("caution", ""),
        sql=file.sql,
    )


def _known(where: str, key: str, given: str, known: object) -> None:
    listed = sorted(known)  # type: ignore[call-overload]
    if given not in listed:
        raise HeaderProblem(f"{where}: {key} {given!r} is not known. Known: {', '.join(listed)}.")


def _exclusions(text: str, where: str) -> tuple[Exclusion, ...]:
    """``reason (meaning); reason (meaning)``, or ``none``."""
    if text == "none":
        return ()
    found = []
    for part in text.split(";"):
        reason, bracket, meaning = part.strip().partition(" (")
        if not reason or not bracket or not meaning.endswith(")"):
            raise HeaderProblem(
                f"{where}: exclusion {part.strip()!r} is not 'reason (meaning)'. Part them by semicolons."
            )
        found.append(Exclusion(reason, meaning.removesuffix(")")))
    return tuple(found)
