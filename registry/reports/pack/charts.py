"""Drawings over time and against volume, from the frames that the pages draw as well.

What tells marks apart is their shape, so that a print without colours can be read.
"""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, Any

from registry.monitoring.frames import EXACT
from registry.reports.document import Figure
from registry.reports.svg import (
    ACCENT,
    ATTENTION,
    CONTRADICTION,
    INK,
    MUTED,
    SIZE,
    Panel,
    drawing,
    shares,
    text,
    ticks,
)
from registry.units.frames import axis

if TYPE_CHECKING:
    from collections.abc import Sequence

    import polars as pl

WIDTH, HEIGHT = 480.0, 132.0
_TOP, _PANEL = 20.0, 96.0
_LEFT, _WIDE, _SECOND = 34.0, 190.0, 280.0
_SHAPES = ("circle", "square", "triangle", "diamond")
LEAST_TOP = 0.05
"""The axis of shares reaches at least so far."""


def watched(
    periods: pl.DataFrame, accepted: float, path: pl.DataFrame | None, limit: float | None, words: str
) -> Figure:
    """Rates by quarter with limits of chance at the left, the running sum at the right.

    Parameters
    ----------
    periods
        From :func:`registry.monitoring.frames.period_frame`, exact limits.
    accepted
        Rate around which the limits lie.
    path, limit
        From :func:`registry.monitoring.frames.path_frame`, and the height at which it
        signals; None where there is no sum to show.
    words
        What the figure shows, for whoever cannot see it.
    """
    parts = _by_quarter(periods, accepted)
    if path is not None and path.height and limit is not None:
        parts += _sum(path, limit)
    return Figure(drawing(WIDTH, HEIGHT, parts), "", words)


def _by_quarter(periods: pl.DataFrame, accepted: float) -> list[str]:
    rows = periods.to_dicts()
    names = ("high", *EXACT[0])
    ends = [value for name in names for value in periods.get_column(name).drop_nulls()]
    top = min(1.0, max([LEAST_TOP, accepted, *ends]))
    panel = Panel((_LEFT, _TOP, _WIDE, _PANEL), (-0.5, len(rows) - 0.5), (0.0, top))
    panel.head("Share by quarter, limits of chance")
    panel.upright(shares(0.0, top))
    labels = [
        (float(i), row["period"][2:].replace("-", " "))
        for i, row in enumerate(rows)
        if i % 2 == len(rows) % 2
    ]
    panel.below(labels)
    for names_of, dash in zip(EXACT, ("", "3 2"), strict=True):
        for name in names_of:
            for stretch in _stretches([row[name] for row in rows]):
                panel.line(stretch, MUTED, width=0.7, dash=dash, steps=False)
    panel.level(accepted, INK, dash="1 2")
    for i, row in enumerate(rows):
        if row["rate"] is None:
            continue
        panel.bar(float(i), row["low"], row["high"])
        shape, fill = ("diamond", CONTRADICTION) if row["outside"] else ("circle", ACCENT)
        panel.mark(float(i), row["rate"], shape, fill=fill)
    return panel.parts


def _stretches(values: Sequence[float | None]) -> list[list[tuple[float, float]]]:
    """Steps half a period to either side, broken where there is nothing."""
    made: list[list[tuple[float, float]]] = [[]]
    for i, value in enumerate(values):
        if value is None:
            made.append([])
        else:
            made[-1] += [(i - 0.5, value), (i + 0.5, value)]
    return [one for one in made if one]


def _sum(path: pl.DataFrame, limit: float) -> list[str]:
    days: list[date] = path.get_column("day").to_list()
    heights: list[float] = path.get_column("height").to_list()
    first, last = days[0].toordinal(), max(days[-1].toordinal(), days[0].toordinal() + 1)
    top = max(limit * 1.12, *heights)
    panel = Panel((_SECOND, _TOP, _WIDE, _PANEL), (float(first), float(last)), (0.0, top))
    panel.head("Running sum, and the height at which it signals")
    panel.upright([(one, f"{one:g}") for one in ticks(0.0, top)])
    panel.below(_months(days[0], days[-1]))
    panel.level(limit, INK, dash="4 3")
    points = [(float(day.toordinal()), height) for day, height in zip(days, heights, strict=True)]
    panel.line([(float(first), 0.0), *points], ACCENT, width=1.1, steps=True)
    for row in path.filter("signal").to_dicts():
        panel.mark(float(row["day"].toordinal()), row["height"], "diamond", fill=CONTRADICTION)
    return panel.parts


def _months(first: date, last: date, about: int = 5) -> list[tuple[float, str]]:
    """Firsts of months within two days, roughly so many."""
    number, to = first.year * 12 + first.month, last.year * 12 + last.month - 1
    step = next(one for one in (1, 2, 3, 6, 12, 24, 48, 96) if (to - number) / one <= about)
    number = -(-number // step) * step
    found = [date(one // 12, one % 12 + 1, 1) for one in range(number, to + 1, step)]
    return [(float(one.toordinal()), f"{one:%Y-%m}") for one in found if first <= one <= last]


def funnels(panels: Sequence[tuple[str, pl.DataFrame, pl.DataFrame, float]], words: str) -> Figure | None:
    """Units against their volume with exact limits of chance; None without anything to draw.

    Parameters
    ----------
    panels
        Up to two of (head, marks, lines, rate of all), the frames from
        :mod:`registry.units.frames`.
    words
        What the figure shows, for whoever cannot see it.
    """
    parts: list[str] = []
    drawn = [one for one in panels if one[1].height and one[2].height]
    for place, (head, marks, lines, rate) in enumerate(drawn):
        parts += _funnel(_LEFT if place == 0 else _SECOND, head, marks, lines, rate)
    return Figure(drawing(WIDTH, HEIGHT + 10, parts), "", words) if parts else None


def _funnel(left: float, head: str, marks: pl.DataFrame, lines: pl.DataFrame, rate: float) -> list[str]:
    most = 1.08 * float(max(marks.get_column("n").to_list()))
    low, high = axis(marks, lines)
    panel = Panel((left, _TOP, _WIDE, _PANEL), (0.0, most), (low, high))
    panel.head(head)
    panel.upright(shares(low, high))
    panel.below([(one, f"{one:g}") for one in ticks(0.0, most)], "procedures in the denominator")
    inside = lines.filter(lines.get_column("n") <= most)
    for name, dash in (("low_95", ""), ("high_95", ""), ("low_998", "4 3"), ("high_998", "4 3")):
        points = [(float(n), float(value)) for n, value in inside.select("n", name).rows()]
        panel.line(points, MUTED, width=0.7, dash=dash)
    panel.level(rate)
    rows = marks.sort("n", "rate").to_dicts()
    for row in rows:
        panel.bar(row["n"], row["lower"], row["upper"])
        shape, fill, edge = {
            "own": ("square", "#FFFFFF", ACCENT),
            "flagged": ("diamond", ATTENTION, INK),
        }.get(row["kind"], ("circle", ACCENT, "#FFFFFF"))
        panel.mark(row["n"], row["rate"], shape, fill=fill, edge=edge)
    taken = [(panel.x(row["n"]) - 3, panel.x(row["n"]) + 3, panel.y(row["rate"]) + 3) for row in rows]
    for row in sorted(rows, key=lambda row: row["kind"] == "other"):
        _name(panel, row, taken)
    return panel.parts


def _name(panel: Panel, row: dict[str, Any], taken: list[tuple[float, float, float]]) -> None:
    """The code beside its mark, where neither a mark nor another code stands; left to the table where there is no room.

    ``taken`` holds left, right and foot of what stands already.
    """
    if not row["name"]:
        return
    wide = 4.4 * len(row["name"])
    left, top, width, height = panel.place
    x, y = panel.x(row["n"]), panel.y(row["rate"])
    for dy in (3.0, -5.0, 10.0, -12.0):
        for start in (x + 5, x - 5 - wide):
            foot = y + dy
            if start < left or start + wide > left + width + 10 or not top < foot < top + height - 1:
                continue
            if all(
                start > right or start + wide < other or abs(foot - at) > SIZE - 0.5
                for other, right, at in taken
            ):
                taken.append((start, start + wide, foot))
                panel.parts.append(text(start, foot, row["name"], fill=INK))
                return


def differences(
    rows: Sequence[tuple[str, float, float, float, str]], caption: str, words: str
) -> Figure | None:
    """Differences of shares with their intervals around none; None without a row.

    Parameters
    ----------
    rows
        (title, difference, lower, upper, figure in words), shares.
    """
    if not rows:
        return None
    row_height, left = 15.0, 190.0
    most = max(0.05, 1.1 * max(abs(end) for _, *ends, _ in rows for end in ends))
    height = _TOP + row_height * len(rows) + 24
    panel = Panel((left, _TOP - 6, 170.0, row_height * len(rows)), (-most, most), (0.0, 1.0))
    foot = panel.place[1] + panel.place[3]
    panel.below(
        [(one, f"{100 * one:+.0f}".replace("-", "\u2212").replace("+0", "0")) for one in ticks(-most, most)],
        "percentage points, the period less the one before",
    )
    panel.parts.append(
        f'<line x1="{panel.x(0):.1f}" y1="{panel.place[1]:.1f}" x2="{panel.x(0):.1f}" y2="{foot:.1f}" '
        f'stroke="{INK}" stroke-width="0.7"/>'
    )
    for place, (title, middle, low, high, said) in enumerate(rows):
        y = panel.place[1] + row_height * (place + 0.5)
        panel.parts.append(text(0, y + 3, title, fill=INK, size=SIZE + 0.5))
        panel.parts.append(
            f'<line x1="{panel.x(low):.1f}" y1="{y:.1f}" x2="{panel.x(high):.1f}" y2="{y:.1f}" '
            f'stroke="{ACCENT}" stroke-width="2"/>'
        )
        panel.parts.append(
            f'<circle cx="{panel.x(middle):.1f}" cy="{y:.1f}" r="3.2" fill="{ACCENT}" stroke="white" stroke-width="0.8"/>'
        )
        panel.parts.append(text(WIDTH, y + 3, said, anchor="end"))
    return Figure(drawing(WIDTH, height, panel.parts), caption, words)


def steps(curves: Sequence[tuple[str, pl.DataFrame]], last: int, words: str) -> Figure | None:
    """Cumulative incidence as steps, one panel an estimate; None without a step to draw.

    Parameters
    ----------
    curves
        Up to two of (head, frame of days, incidence, lower, upper, at_risk in the order of days).
    last
        Day at which the axis ends.
    """
    frames = [one for _, one in curves]
    ends = [value for one in frames for value in one.select("incidence", "upper").to_series(1).drop_nulls()]
    ends += [value for one in frames for value in one.get_column("incidence").drop_nulls()]
    if not ends:
        return None
    top = min(1.0, max(0.01, *ends))
    parts: list[str] = []
    for place, (head, frame) in enumerate(curves):
        panel = Panel((_LEFT if place == 0 else _SECOND, _TOP, _WIDE, _PANEL), (0.0, float(last)), (0.0, top))
        panel.head(head)
        panel.upright(shares(0.0, top))
        panel.below([(float(day), f"{day}") for day in range(0, last + 1, 365)], "days since the biopsy")
        rows = frame.sort("days").to_dicts()
        for name, colour, dash in (
            ("lower", MUTED, "3 2"),
            ("upper", MUTED, "3 2"),
            ("incidence", ACCENT, ""),
        ):
            points = [(float(row["days"]), row[name]) for row in rows if row[name] is not None]
            if points:
                panel.line(
                    points,
                    colour,
                    dash=dash,
                    steps=True,
                    width=1.4 if name == "incidence" else 0.7,
                )
        parts += panel.parts
    return Figure(drawing(WIDTH, HEIGHT + 10, parts), "", words)


def missing_by_month(months: pl.DataFrame, caption: str, words: str) -> Figure | None:
    """One row a field, one square a month, darker where more is missing; None without months.

    Parameters
    ----------
    months
        From :func:`registry.quality.by_month`.
    """
    seen = months.filter(months.get_column("missing").is_not_null())
    if not seen.height:
        return None
    fields = months.get_column("words").unique(maintain_order=True).to_list()
    names = sorted(months.get_column("month").unique().to_list())
    row_height, left = 10.5, 150.0
    step = (WIDTH - left) / len(names)
    parts = []
    for i, name in enumerate(names):
        if name.endswith(("-01", "-04", "-07", "-10")) or len(names) < 6:
            parts.append(text(left + i * step, 9, name))
    for i, one in enumerate(fields):
        parts.append(text(0, 22 + row_height * i, one, fill=INK, size=SIZE - 0.5))
    for row in seen.to_dicts():
        x, y = left + step * names.index(row["month"]), 14 + row_height * fields.index(row["words"])
        share = min(1.0, row["missing"] / 0.5)
        # From the paper of the page to the accent, as on the page.
        red, green, blue = (
            round(pale + (full - pale) * share) for pale, full in ((0xF1, 0x0B), (0xEE, 0x5D), (0xE6, 0x66))
        )
        parts.append(
            f'<rect x="{x:.1f}" y="{y:.1f}" width="{step - 0.8:.1f}" height="{row_height - 0.8:.1f}" fill="#{red:02X}{green:02X}{blue:02X}"/>'
        )
    return Figure(drawing(WIDTH, 16 + row_height * len(fields), parts), caption, words)


def checks(
    panels: Sequence[tuple[str, Sequence[tuple[str, date, float, bool]], Sequence[float], float | None]],
    words: str,
) -> Figure | None:
    """Checks of scanners over time, a shape a scanner; None without a check.

    Parameters
    ----------
    panels
        Up to two of (head, (scanner, day, value, outside) of each check, local tolerances,
        line where nothing is amiss).
    """
    parts: list[str] = []
    names = list(dict.fromkeys(scanner for _, rows, _, _ in panels for scanner, *_ in rows))
    for place, (head, rows, limits, centre) in enumerate(one for one in panels if one[1]):
        values = [value for *_, value, _ in rows] + [*limits, *([] if centre is None else [centre])]
        low, high = min(values), max(values)
        room = 0.06 * (high - low or 1.0)
        days = [day for _, day, _, _ in rows]
        panel = Panel(
            (_LEFT if place == 0 else _SECOND, _TOP, _WIDE, _PANEL),
            (float(min(days).toordinal()), float(max(days).toordinal() + 1)),
            (0.0 if centre is None else low - room, high + room),
        )
        panel.head(head)
        panel.upright([(one, f"{one:.4g}") for one in ticks(*panel.up)])
        panel.below(_months(min(days), max(days)))
        if centre is not None:
            panel.level(centre)
        for one in limits:
            panel.level(one, MUTED, dash="4 3")
        for scanner, day, value, outside in rows:
            at = float(day.toordinal()), value
            shape = _SHAPES[names.index(scanner) % len(_SHAPES)]
            panel.mark(
                *at,
                shape,
                fill=CONTRADICTION if outside else "#FFFFFF",
                edge=INK if outside else ACCENT,
                size=2.2,
            )
        parts += panel.parts
    if not parts:
        return None
    legend = Panel((_LEFT, HEIGHT + 6, WIDTH - _LEFT, 1.0), (0.0, float(max(1, len(names)))), (0.0, 1.0))
    for i, name in enumerate(names):
        legend.mark(i, 0.0, _SHAPES[i % len(_SHAPES)], fill="#FFFFFF", edge=ACCENT, size=2.6)
        legend.say(i, 0.0, name, dx=7, dy=2.6)
    return Figure(drawing(WIDTH, HEIGHT + 14, [*parts, *legend.parts]), "", words)
