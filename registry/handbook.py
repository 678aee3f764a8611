"""Three pages that are generated, never typed: measures, data dictionary, commands."""

from __future__ import annotations

import enum
import inspect
import typing
from pathlib import Path
from typing import TYPE_CHECKING, Any

from typer.models import ArgumentInfo, OptionInfo, ParameterInfo

from registry import vocabulary
from registry.dictionary import FREE_TEXT, IDENTIFYING, Field, tables
from registry.errors import FileProblem
from registry.measures import load_measures
from registry.measures.definition import GROUPS

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

    import typer

    from registry.measures import Measure

PROGRAM = "biopsy-outcomes"
PAGES = ("measure-handbook.md", "data-dictionary.md", "commands.md")

#: Parts of a definition in the order of reading, and what they are called.
_PARTS = {
    "question": "Question",
    "unit": "Unit",
    "numerator": "Numerator",
    "value": "Value",
    "value_unit": "Unit of the value",
    "denominator": "Denominator",
    "exclusions": "Left out, in this order",
    "window": "Window",
    "interval": "Interval",
    "bounds": "Bounds",
    "direction": "Better",
    "source": "Source",
    "note": "Note",
    "caution": "Caution",
}
_DIRECTIONS = {"higher": "higher", "lower": "lower", "context": "neither: read in context"}
_KINDS = {
    "proportion": "Proportion",
    "quantity": "Quantity",
    "table": "Table with ratios",
    "time_to_event": "Time to event",
    "sampling": "Probability from geometry",
}
_BOUNDS = {
    "missing": (
        "x/(n + u) and (x + u)/(n + u), where u are the procedures left out because their outcome is not known"
    ),
    "cancers": (
        "x/n and (x + u)/(n + u), where u are the procedures without cancer whose follow-up is not resolved"
    ),
    "benign": (
        "x/(n + v) and (x + u)/(n + u), where u are the unresolved procedures with a benign result and v the "
        "other unresolved ones"
    ),
}
_READING = (
    "Each measure is one SQL file under `sql/measures`; its header is the definition printed here, and the only one.",
    "Every figure stands with its count x/n, what was left out and why, its interval and the as-of day. "
    "An empty denominator reads *no procedures*, never 0 %.",
    "What is dated after the as-of day does not count; what is dated on it does. A window of N days includes day N.",
    "The exclusions are applied in the order given, and a procedure is counted under the first that applies.",
    "Published figures are context from other populations and equipment, not marks to pass. Operators are never ranked.",
    "An audit of the record: it does not decide concordance, biopsy or treatment.",
)


def _generated(source: str) -> list[str]:
    return [f"*Generated from {source} by `{PROGRAM} handbook`: change that, not this page.*", ""]


def _row(cells: Iterable[object]) -> str:
    """One line of a table: no bar and no line break inside a cell."""
    return f"| {' | '.join(str(cell).replace('|', '&#124;').replace(chr(10), ' ') for cell in cells)} |"


def _table(heads: Sequence[str], rows: Iterable[Iterable[object]]) -> list[str]:
    return [_row(heads), f"|{' --- |' * len(heads)}", *(_row(row) for row in rows), ""]


def _title(name: str) -> str:
    return name.replace("follow_up", "follow-up").replace("_", " ").capitalize()


# -- measures ----------------------------------------------------------------------


def measure_handbook() -> str:
    """The definition of every measure, as its file states it."""
    place = {name: number for number, name in enumerate(GROUPS)}
    known = sorted(load_measures().values(), key=lambda one: (place.get(one.group, len(place)), one.id))
    lines = ["# Measure handbook", "", *_generated("the headers of `sql/measures`")]
    lines += [f"- {sentence}" for sentence in _READING]
    listed = ((f"[`{one.id}`](#{one.id})", one.title, _KINDS[one.kind], _title(one.group)) for one in known)
    lines += ["", *_table(("Measure", "Title", "Kind", "Group"), listed)]
    group = None
    for one in known:
        if one.group != group:
            group = one.group
            lines += [f"## {_title(group) or 'Other'}", ""]
        lines += _measure(one)
    return "\n".join(lines).rstrip() + "\n"


def _measure(one: Measure) -> list[str]:
    lines = [
        f'<a id="{one.id}"></a>',
        "",
        f"### {one.title}",
        "",
        f"`{one.id}`, {_KINDS[one.kind].lower()}.",
        "",
    ]
    for key, called in _PARTS.items():
        if key == "exclusions":
            lines.append(f"- **{called}:**" + ("" if one.exclusions else " none"))
            lines += [
                f"    {number}. *{left_out.reason}*: {left_out.meaning}"
                for number, left_out in enumerate(one.exclusions, start=1)
            ]
        elif text := getattr(one, key):
            said = {"bounds": _BOUNDS, "direction": _DIRECTIONS}.get(key, {}).get(text, text)
            lines.append(f"- **{called}:** {said}")
    return [*lines, ""]


# -- data dictionary ---------------------------------------------------------------


def data_dictionary() -> str:
    """Every table and field of the record, with codes in words."""
    lines = ["# Data dictionary", "", *_generated("`sql/dictionary.csv` and `sql/vocabulary`")]
    lines += [
        "The native form is a folder of CSV files, one per table, named after it, with the fields as columns. "
        "A missing file or an optional column is fine; an unknown column is named and refused. "
        "Dates are written 2026-06-30, times 2026-06-30T14:05, with an offset or in the time zone of the site. "
        "An empty cell says nothing; it does not erase.",
        "",
        "*Kept apart* marks what is stored with the identifiers, *never exported* free text.",
        "",
    ]
    for name, table in tables().items():
        lines += [f"## {name}", "", f"Key: {', '.join(f'`{part}`' for part in table.key)}", ""]
        heads = ("Field", "Type", "Unit", "Required", "Allowed", "Meaning")
        lines += _table(heads, (_field(field) for field in table.fields))
    return "\n".join(lines).rstrip() + "\n"


def _field(field: Field) -> tuple[str, ...]:
    place = (field.table, field.name)
    marks = (
        ["(*kept apart*)"] if place in IDENTIFYING else ["(*never exported*)"] if place in FREE_TEXT else []
    )
    allowed = field.allowed
    if place in vocabulary.fields():
        allowed = "; ".join(f"`{code}` {label}" for code, label in vocabulary.labels(*place).items())
    unit = "" if field.unit == "1" else field.unit
    return (
        f"`{field.name}`",
        field.type,
        unit,
        field.required,
        allowed,
        " ".join([field.definition, *marks]).strip(),
    )


# -- commands ----------------------------------------------------------------------


def command_page(app: typer.Typer) -> str:
    """Every command with its arguments and options.

    Parameters
    ----------
    app
        The command line; it is asked, not run.
    """
    lines = ["# Commands", "", *_generated("the program's own help")]
    lines += [
        f"`{PROGRAM} COMMAND --help` prints the same. Exit codes: 0 done; 1 rows held or checks failed; "
        "2 usage or file; 3 integrity; 75 registry in use; 130 interrupted.",
        "",
    ]
    commands = _commands(app)
    for group in app.registered_groups:
        if group.typer_instance is not None:
            commands += [(f"{group.name} {name}", run) for name, run in _commands(group.typer_instance)]
    lines += _table(
        ("Command", "Does"),
        ((f"[`{name}`](#{name.replace(' ', '-')})", _first_sentence(run)) for name, run in commands),
    )
    for name, run in commands:
        lines += _command(name, run)
    return "\n".join(lines).rstrip() + "\n"


def _commands(app: typer.Typer) -> list[tuple[str, Callable[..., Any] | None]]:
    return [
        (info.name or str(info.callback and info.callback.__name__), info.callback)
        for info in app.registered_commands
    ]


def _first_sentence(run: Callable[..., Any] | None) -> str:
    return (inspect.getdoc(run) or "").split("\n", 1)[0]


def _command(name: str, run: Callable[..., Any] | None) -> list[str]:
    given = _parameters(run) if run else []
    arguments = [one for one in given if isinstance(one.info, ArgumentInfo)]
    options = [one for one in given if isinstance(one.info, OptionInfo)]
    usage = " ".join([PROGRAM, name, *(one.shown for one in arguments), *(["[OPTIONS]"] if options else [])])
    lines = [f"## {name}", "", inspect.getdoc(run) or "", "", f"    {usage}", ""]
    for title, found in (("Argument", arguments), ("Option", options)):
        if found:
            lines += _table(
                (title, "Meaning", "Default"), ((f"`{one.shown}`", one.help, one.default) for one in found)
            )
    return lines


class _Parameter:
    """One parameter of a command, as its annotation declares it."""

    def __init__(self, name: str, kind: Any, info: ParameterInfo, default: Any) -> None:
        self.info = info
        required = default is inspect.Parameter.empty
        self.default = "required" if required else _value(default)
        self.help = " ".join(part for part in (info.help or "", _allowed(kind, info)) if part)
        if isinstance(info, ArgumentInfo):
            word = name.strip("_").upper() + ("..." if typing.get_origin(kind) is list else "")
            self.shown = word if required else f"[{word}]"
        else:
            # In an annotation the first flag takes the place of the default.
            given = [info.default, *(info.param_decls or ())]
            flags = [one for one in given if isinstance(one, str) and one.startswith("-")]
            flag = ", ".join(flags) or f"--{name.strip('_').replace('_', '-')}"
            self.shown = flag if kind is bool else f"{flag} {_word(kind)}"


def _parameters(run: Callable[..., Any]) -> list[_Parameter]:
    hints = typing.get_type_hints(run, include_extras=True)
    found = []
    for name, parameter in inspect.signature(run).parameters.items():
        kind, *extras = typing.get_args(hints[name])
        info = next(extra for extra in extras if isinstance(extra, ParameterInfo))
        found.append(_Parameter(name, kind, info, parameter.default))
    return found


def _plain(kind: Any) -> Any:
    """The type behind ``X | None``."""
    return next((part for part in typing.get_args(kind) if part is not type(None)), kind)


def _allowed(kind: Any, info: ParameterInfo) -> str:
    """Choices or range of a parameter, as a sentence."""
    plain = _plain(kind)
    if isinstance(plain, type) and issubclass(plain, enum.Enum):
        return f"One of {', '.join(str(member.value) for member in plain)}."
    if info.min is not None and info.max is not None:
        return f"From {info.min} to {info.max}."
    return ""


def _word(kind: Any) -> str:
    plain = _plain(kind)
    if isinstance(plain, type) and issubclass(plain, enum.Enum):
        return "WORD"
    return {int: "NUMBER", float: "NUMBER", Path: "PATH"}.get(plain, "TEXT")


def _value(default: Any) -> str:
    if default is None or default is False or default == "":
        return ""
    return str(default.value if isinstance(default, enum.Enum) else default)


# -- files -------------------------------------------------------------------------


def write_all(target: Path, app: typer.Typer) -> list[Path]:
    """Write the three pages; returns their paths.

    Parameters
    ----------
    target
        Folder, made where it is missing.
    app
        The command line, for the page of commands.

    Raises
    ------
    FileProblem
        The folder or a page cannot be written.
    """
    texts = (measure_handbook(), data_dictionary(), command_page(app))
    try:
        target.mkdir(parents=True, exist_ok=True)
        for name, text in zip(PAGES, texts, strict=True):
            (target / name).write_text(text, encoding="utf-8", newline="\n")
    except OSError as problem:
        raise FileProblem(
            f"{target}: cannot be written ({problem.strerror}). Name a folder you may write to."
        ) from None
    return [target / name for name in PAGES]
