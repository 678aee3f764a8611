"""Which expected fields are filled: by field with its trend, by site, and by month."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from dashboards import session
from dashboards.answers import quality
from dashboards.components import words
from dashboards.components.chart import chart
from dashboards.components.choice import one_or_all
from dashboards.components.completeness_plot import completeness_plot
from dashboards.components.markup import element, show
from dashboards.components.tables import capital, download, table, two_lines
from registry.numerals import signed
from registry.quality import by_month, files

if TYPE_CHECKING:
    from registry.quality import FieldFilled

#: Months drawn.
_MONTHS = 24


def filled_fields() -> None:
    """Choose a site; draw the months, then each field with its interval and its change."""
    counted = quality.completeness()
    if not counted.height:
        show(element("p", "No procedures.", class_="result"))
        return
    sites = counted.get_column("site").unique().sort().to_list()
    site = one_or_all(st, "Site", sites, whole="All sites", key="completeness site")
    months = by_month(counted, site=site, months=_MONTHS)
    chart(
        completeness_plot(months),
        title=f"Fields not filled, by month of the procedure, {site or 'all sites'}, the last {_MONTHS} months",
        description="One row a field, one square a month; darker where more of the expected fields are empty. The table holds every number.",
        frame=months,
        file_name="completeness by month.csv",
    )
    found = quality.by_field(site)
    minimum = session.minimum_n()
    table(
        f"Fields filled where they are expected, {site or 'all sites'}",
        ["Field", "Filled", "Last 12 months", "12 months before", "Change in points"],
        [_row(one) for one in found],
        frozenset({1, 2, 3}),
    )
    text = (
        "95 % Wilson intervals; change with Newcombe's interval, whole months up to the as-of date. A change whose interval "
        f"holds 0 may be chance, and with so many fields a few will not by chance alone. No percentage below {minimum} procedures."
    )
    show(element("p", text.replace(" %", f"{words.NARROW}%"), class_="beside"))
    if len(sites) > 1:
        _sites(sites)
    download("Download by site and month as CSV", counted, "completeness.csv", key="csv completeness")
    show(element("p", files()["completeness"].note, class_="beside"))
    filters = session.filters()
    show(element("p", f"As of {filters.as_of}; {session.registry().stamp()}.", class_="provenance"))


def _row(one: FieldFilled) -> list[object]:
    return [
        capital(one.words),
        two_lines(_counts(one.x, one.n), _figure(one)),
        _counts(*one.recent),
        _counts(*one.before),
        _change(one),
    ]


def _counts(x: int, n: int) -> str:
    return f"{words.count(x)} of {words.count(n)}" if n else words.NO_PROCEDURES


def _figure(one: FieldFilled) -> str:
    if one.proportion is None or one.lower is None or one.upper is None:
        return "counts only" if one.n else ""
    return words.with_interval(one.proportion, one.lower, one.upper)


def _change(one: FieldFilled) -> str:
    if one.difference is None or one.difference_lower is None or one.difference_upper is None:
        return ""
    low, high = 100 * one.difference_lower, 100 * one.difference_upper
    return f"{signed(100 * one.difference)} ({signed(low)} to {signed(high)})".replace(" ", "\u00a0")


def _sites(sites: list[str]) -> None:
    """Filled of expected, one column a site, in the order of their codes."""
    by_site = {site: quality.by_field(site) for site in sites}
    rows = []
    for place, one in enumerate(by_site[sites[0]]):
        cells = [by_site[site][place] for site in sites]
        rows.append([capital(one.words), *(two_lines(_counts(c.x, c.n), _figure(c)) for c in cells)])
    table(
        "Filled of expected by site, in the order of their codes, with Wilson intervals",
        ["Field", *sites],
        rows,
        frozenset(range(1, len(sites) + 1)),
        caption_seen=True,
    )
