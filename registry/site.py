"""The local protocol: site.toml, read strictly."""

from __future__ import annotations

import tomllib
import zoneinfo
from dataclasses import dataclass, field
from datetime import date
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any

from registry import flagrules, schedules
from registry.dictionary import tables
from registry.errors import SiteProblem
from registry.people import settings
from registry.targets import targets

if TYPE_CHECKING:
    from pathlib import Path

DIRECTIONS = frozenset(
    {"lateral", "medial", "cranial", "caudal", "anterior", "posterior", "left", "right", "none"}
)
_AXES = ("x_plus", "y_plus", "z_plus")
_MINIMA = ("x_min", "y_min", "z_min")
_HOUR_12 = frozenset({"x_plus", "x_minus", "y_plus", "y_minus", "z_plus", "z_minus", "none"})

#: Section -> key -> type and bounds; a key that is not here is refused.
_NUMBERS: dict[str, dict[str, tuple[float, float]]] = {
    "display": {"minimum_n": (1, 1000)},
    "intake": {
        "held_share_max": (0, 1),
        "held_share_from_rows": (1, 1_000_000),
        "targets_per_visit_max": (1, 60),
        "specimen_scan_hours_max": (0.1, 72),
        "report_days_warning": (1, 3650),
        "targeting_error_mm_max": (1, 900),
    },
    "limits": {
        "safe_margin_min_mm": (0, 200),
        "sampled_otherwise_days": (0, 730),
        "uptake_reference_ratio": (0.01, 100),
    },
    "follow_up": {
        "grace_days": (0, 730),
        "report_due_days": (0, 365),
        "review_due_days": (0, 365),
        "attempts_max": (1, 50),
        "next_call_days": (1, 365),
    },
    "sampling": {
        "tissue_reach_from_mm": (0, 20),
        "tissue_reach_mm": (0, 20),
        "tissue_reach_to_mm": (0, 20),
        "sampled_share": (0.01, 1),
        "slices_per_view": (1, 1000),
        "measurement_sd_mm": (0, 20),
    },
    "constancy": {
        "leak_test_days": (1, 3660),
        "counts_tolerance": (0.001, 1),
        "phantom_tolerance_mm": (0.1, 50),
        "clock_tolerance_s": (1, 3600),
    },
    "service": {
        "backup_hours": (1, 8760),
        "backups_kept": (1, 10_000),
        "raw_keep_days": (1, 36_500),
        "idle_minutes": (1, 480),
        "session_hours": (0.25, 24),
    },
    "pathology_request": {"half_lives_kept": (1, 100)},
    "engine": {"memory_limit_mb": (256, 1_000_000), "threads": (1, 1024)},
}
#: Settings of these sections that are no numbers; each is read apart.
_OTHERS = {
    "follow_up": frozenset({"benign_months", "linkage_complete_until", "schedule"}),
    "service": frozenset({"backup_folder", "trail_feed"}),
    "pathology_request": frozenset({"call"}),
}
#: Settings that are shipped without a default: what needs them is left out until a site states them.
#: Characters; the request must stay on one page.
_LONGEST_CALL = 120
_UNSET = frozenset(
    {
        "slices_per_view",
        "measurement_sd_mm",
        "raw_keep_days",
        *("leak_test_days", "counts_tolerance", "phantom_tolerance_mm", "clock_tolerance_s"),
    }
)
_SECTIONS = frozenset(
    {"site", "uptake_window", "frames", "codes", "targets", "flags", "timeliness", "sign_in", *_NUMBERS}
)


@dataclass(frozen=True)
class Frame:
    """A coordinate frame: anatomical direction of plus on each axis, and of hour 12."""

    code: str
    x_plus: str
    y_plus: str
    z_plus: str
    hour_12: str = "none"
    x_min: float | None = None
    y_min: float | None = None
    z_min: float | None = None

    def direction(self, axis: str) -> str:
        """Anatomical direction of plus on axis x, y or z; ``none`` where it has none."""
        return {"x": self.x_plus, "y": self.y_plus, "z": self.z_plus}[axis]


@dataclass(frozen=True)
class Site:
    """The local protocol of one service.

    ``numbers`` holds every numeric setting by its key, but those shipped without a
    default only where the site states them; ``uptake_windows`` maps a
    tracer code to (from, to) in minutes; ``added_codes`` maps ``table.field`` to
    codes that the service adds to the dictionary's list; ``targets_on`` holds the ids of
    the targets whose lines are drawn, ``schedule`` the months of follow-up by result where they
    differ from ``benign_months``, ``flags`` what the service changes in the rules of flags, ``timeliness`` its limit of
    an interval in days by the name of the interval; ``pathology_call`` says
    whom the pathologist calls.
    """

    name: str
    time_zone: str
    numbers: dict[str, float]
    uptake_windows: dict[str, tuple[float, float]]
    benign_months: tuple[int, ...]
    linkage_complete_until: date | None
    frames: dict[str, Frame]
    added_codes: dict[str, tuple[str, ...]]
    backup_folder: str | None = None
    trail_feed: str | None = None
    sign_in: settings.SignIn = field(default_factory=settings.SignIn)
    targets_on: tuple[str, ...] = ()
    schedule: dict[str, tuple[int, ...]] = field(default_factory=dict)
    flags: flagrules.Overlay = field(default_factory=flagrules.Overlay)
    timeliness: dict[str, float] = field(default_factory=dict)
    pathology_call: str | None = None

    @property
    def minimum_n(self) -> int:
        """Smallest denominator for which a percentage is shown."""
        return int(self.numbers["minimum_n"])


def template() -> str:
    """Text of a new site.toml, with commented defaults."""
    return files("registry").joinpath("site_template.toml").read_text(encoding="utf-8")


def _fail(where: str, what: str, hint: str) -> SiteProblem:
    return SiteProblem(f"site.toml, {where}: {what} {hint}")


@cache
def _time_zones() -> frozenset[str]:
    """Names of the time zones; looking for them takes a third of the time that opening a registry takes."""
    return frozenset(zoneinfo.available_timezones())


def _section(document: dict[str, Any], name: str) -> dict[str, Any]:
    section = document.get(name, {})
    if not isinstance(section, dict):
        raise _fail(name, "is not a section.", f"Write it as [{name}].")
    return section


def _numbers(document: dict[str, Any], defaults: dict[str, float]) -> dict[str, float]:
    found = dict(defaults)
    for section, keys in _NUMBERS.items():
        for key, given in _section(document, section).items():
            if key not in keys:
                others = _OTHERS.get(section, frozenset())
                if key in others:
                    continue
                known = ", ".join(sorted({*keys, *others}))
                raise _fail(f"[{section}]", f"{key} is not a setting.", f"Known: {known}.")
            low, high = keys[key]
            if isinstance(given, bool) or not isinstance(given, int | float) or not low <= given <= high:
                raise _fail(
                    f"[{section}] {key}",
                    f"{given!r} is not a number from {low:g} to {high:g}.",
                    "Correct it.",
                )
            found[key] = float(given)
    reach = [found[f"tissue_reach_{name}"] for name in ("from_mm", "mm", "to_mm")]
    if reach != sorted(reach):
        raise _fail(
            "[sampling]",
            f"the reach of the tissue runs from {reach[0]:g} over {reach[1]:g} to {reach[2]:g} mm.",
            "Let tissue_reach_mm lie between tissue_reach_from_mm and tissue_reach_to_mm.",
        )
    return found


def _windows(document: dict[str, Any]) -> dict[str, tuple[float, float]]:
    known = tables()["procedures"]["tracer"].codes
    windows = {}
    for tracer, given in _section(document, "uptake_window").items():
        where = f'[uptake_window."{tracer}"]'
        if tracer not in known:
            raise _fail(where, "no such tracer.", f"Known: {', '.join(known)}.")
        try:
            low, high = float(given["from_minutes"]), float(given["to_minutes"])
        except (KeyError, TypeError, ValueError):
            raise _fail(where, "needs from_minutes and to_minutes as numbers.", "Add them.") from None
        if not 0 <= low < high:
            raise _fail(where, f"{low:g} to {high:g} minutes is not a window.", "Give from below to.")
        windows[tracer] = (low, high)
    return windows


def _frames(document: dict[str, Any]) -> dict[str, Frame]:
    frames = {}
    for code, given in _section(document, "frames").items():
        where = f"[frames.{code}]"
        unknown = sorted(set(given) - {*_AXES, *_MINIMA, "hour_12"})
        missing = [axis for axis in _AXES if axis not in given]
        if unknown or missing:
            raise _fail(
                where, f"lacks {missing}, has unknown {unknown}.", "Give x_plus, y_plus, z_plus and hour_12."
            )
        for axis in _AXES:
            if given[axis] not in DIRECTIONS:
                raise _fail(
                    f"{where} {axis}",
                    f"{given[axis]!r} is not a direction.",
                    f"Known: {', '.join(sorted(DIRECTIONS))}.",
                )
        hour = given.get("hour_12", "none")
        if hour not in _HOUR_12:
            raise _fail(
                f"{where} hour_12", f"{hour!r} is not an axis.", f"Known: {', '.join(sorted(_HOUR_12))}."
            )
        minima = {axis: float(given[axis]) for axis in _MINIMA if axis in given}
        frames[code] = Frame(code, given["x_plus"], given["y_plus"], given["z_plus"], hour, **minima)
    return frames


def _added_codes(document: dict[str, Any]) -> dict[str, tuple[str, ...]]:
    added = {}
    for place, codes in _section(document, "codes").items():
        table, _, name = place.partition(".")
        if table not in tables() or name not in tables()[table].names or not tables()[table][name].codes:
            raise _fail(
                f'[codes] "{place}"', "is not a field with a code list.", 'Write it as "table.field".'
            )
        if not isinstance(codes, list) or not all(isinstance(code, str) and code.strip() for code in codes):
            raise _fail(f'[codes] "{place}"', "is not a list of codes.", 'Write it as ["one", "two"].')
        added[place] = tuple(codes)
    return added


def _targets_on(document: dict[str, Any]) -> tuple[str, ...]:
    section = _section(document, "targets")
    if extra := sorted(section.keys() - {"on"}):
        raise _fail("[targets]", f"{', '.join(extra)} is not a setting.", "Known: on.")
    given = section.get("on", [])
    if not isinstance(given, list) or not all(isinstance(one, str) for one in given):
        raise _fail("[targets] on", "is not a list of targets.", 'Write it as ["one", "two"].')
    for name in given:
        one = targets().get(name)
        if one is None:
            usable = ", ".join(key for key, target in targets().items() if not target.refusal)
            raise _fail("[targets] on", f"{name!r} is no target.", f"Those that can be drawn: {usable}.")
        if one.refusal:
            raise _fail("[targets] on", f"{name} cannot be drawn: {one.refusal}.", "Take it out of the list.")
    return tuple(dict.fromkeys(given))


def parse(text: str) -> Site:
    """Read the text of a site.toml; what it leaves out keeps the template's default.

    Raises
    ------
    SiteProblem
        Not TOML, an unknown section or key, or a value outside its range.
    """
    try:
        document = tomllib.loads(text)
    except tomllib.TOMLDecodeError as problem:
        raise SiteProblem(f"site.toml is not valid TOML: {problem}. Correct that line.") from None
    unknown = sorted(document.keys() - _SECTIONS)
    if unknown:
        raise _fail(", ".join(unknown), "no such section.", f"Known: {', '.join(sorted(_SECTIONS))}.")
    defaults = tomllib.loads(template())
    base = {
        key: float(defaults[section][key])
        for section, keys in _NUMBERS.items()
        for key in keys
        if key not in _UNSET
    }
    site = _section(document, "site")
    if extra := sorted(site.keys() - {"name", "time_zone"}):
        raise _fail("[site]", f"{', '.join(extra)} is not a setting.", "Known: name, time_zone.")
    zone = str(site.get("time_zone", "UTC"))
    if zone not in _time_zones():
        raise _fail(
            "[site] time_zone", f"{zone!r} is not a time zone.", "Use an IANA name such as Europe/Lisbon."
        )
    follow_up = _section(document, "follow_up")
    until = follow_up.get("linkage_complete_until")
    if until is not None and type(until) is not date:
        raise _fail(
            "[follow_up] linkage_complete_until",
            f"{until!r} is not a date.",
            "Write it as 2026-06-30, without quotes.",
        )
    places = _section(document, "service")
    for key in ("backup_folder", "trail_feed"):
        if (path := places.get(key)) is not None and not (isinstance(path, str) and path.strip()):
            raise _fail(f"[service] {key}", f"{path!r} is not a path.", 'Write it as "/srv/backups".')
    call = _section(document, "pathology_request").get("call")
    if call is not None and not (isinstance(call, str) and 0 < len(call.strip()) <= _LONGEST_CALL):
        raise _fail(
            "[pathology_request] call",
            f"is not a text of 1 to {_LONGEST_CALL} characters.",
            "Name a place and how to reach it.",
        )
    months = schedules.months(
        "[follow_up] benign_months", follow_up.get("benign_months", defaults["follow_up"]["benign_months"])
    )
    return Site(
        name=str(site.get("name", "Unnamed service")),
        time_zone=zone,
        numbers=_numbers(document, base),
        uptake_windows=_windows(document if "uptake_window" in document else defaults),
        benign_months=months,
        schedule=schedules.schedule(follow_up.get("schedule", defaults["follow_up"]["schedule"])),
        linkage_complete_until=until,
        frames=_frames(document),
        added_codes=_added_codes(document),
        backup_folder=places.get("backup_folder"),
        trail_feed=places.get("trail_feed"),
        sign_in=settings.parse(_section(document, "sign_in")),
        targets_on=_targets_on(document),
        flags=flagrules.parse(_section(document, "flags")),
        timeliness=schedules.limits_of_time(_section(document, "timeliness")),
        pathology_call=call,
    )


def read(path: Path) -> Site:
    """Read site.toml of a registry folder.

    Raises
    ------
    SiteProblem
        The file is missing or cannot be used.
    """
    try:
        text = path.read_text(encoding="utf-8")
    except FileNotFoundError:
        raise SiteProblem(
            f"{path.name} is missing in the registry folder. Put it back, or start from a new one made by create."
        ) from None
    except UnicodeDecodeError:
        raise SiteProblem(f"{path.name} is not UTF-8 text. Save it as UTF-8.") from None
    return parse(text)
