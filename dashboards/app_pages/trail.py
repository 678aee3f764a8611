"""Page: who did what, when, and how it ended."""

from __future__ import annotations

import re

import polars as pl
import streamlit as st

from dashboards import session
from dashboards.answers import trail as answers
from dashboards.components.choice import one_or_all
from dashboards.components.markup import element, show
from dashboards.components.tables import download, table, two_lines
from dashboards.components.words import plural

SHOWN = 100
#: Digests are shown by their beginning; the file holds them whole.
_DIGEST = re.compile(r"\b([0-9a-f]{12})[0-9a-f]{20,}\b")

lead = (
    "Every sign-in, refusal, record that was opened, export and change, each bound to the one before it. Nothing here can be "
    "changed: the command verify shows whether anything was. Times are in UTC."
)
show(element("p", lead, class_="lead"))
known = answers.choices()
columns = st.columns(4)
since = columns[0].date_input("From", session.months_before(session.today(), 1), format="YYYY-MM-DD")
chosen = {
    name: one_or_all(column, name.capitalize(), known[name], whole="Any", key=f"trail {name}")
    for name, column in zip(("actor", "action", "outcome"), columns[1:], strict=True)
}
found = answers.events(since, chosen["actor"], chosen["action"], chosen["outcome"])
if not found:
    show(element("p", "No entries. Choose an earlier day, or Any.", class_="beside"))
else:
    more = f", the newest {SHOWN} shown" if len(found) > SHOWN else ""
    if len(found) == answers.MOST:
        more = f", the newest {answers.MOST} read, {SHOWN} shown"
    rows = [
        [
            one["entry"],
            two_lines(*str(one["time"]).split(" ", 1)),
            one["actor"],
            one["action"],
            f"{one['kind'].replace('_', ' ')} {one['key']}".strip(),
            one["outcome"],
            _DIGEST.sub("\\1\u2026", one["details"]),
        ]
        for one in found[:SHOWN]
    ]
    heads = ["Entry", "Time", "Actor", "Action", "Done to", "Outcome", "Details"]
    table(f"{plural(len(found), 'entry', 'entries')}{more}", heads, rows, frozenset({0}), caption_seen=True)
    frame = pl.DataFrame([{key: str(value) for key, value in one.items()} for one in found])
    download("Download these entries as CSV", frame, "trail.csv", key="csv trail")
