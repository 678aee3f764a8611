"""Specimen uptake page: the readers' judgement against what the counts show."""

from __future__ import annotations

from dashboards.answers import uptake
from dashboards.components import words
from dashboards.components.markup import element, show
from dashboards.components.record_uptake import NOT_THE_TARGET
from dashboards.components.tables import table
from registry.uptake import DECISIONS
from registry.uptake.readers import JUDGEMENTS

_MEANING = (
    "Below the decision threshold the words depend on what the scan could have shown: “not above background” only where the "
    "detection limit, as a concentration, lies at or below the reference that the site states; else “too few counts to tell”."
)


def judgement_table() -> None:
    """Cross table of scans; containers scanned together are one scan."""
    found = uptake.judged_against_counts()
    total = sum(found.values())
    if not total:
        show(element("p", "No specimen was scanned or read in the period.", class_="beside"))
        return
    rows: list[list[object]] = []
    for key in DECISIONS:
        counts = [found.get((judgement, key), 0) for judgement in JUDGEMENTS]
        rows.append([key.capitalize(), *map(words.count, counts), words.count(sum(counts))])
    columns = [sum(found.get((judgement, key), 0) for key in DECISIONS) for judgement in JUDGEMENTS]
    rows.append(["All", *map(words.count, columns), words.count(total)])
    heads = ["The counts show", "Read yes", "Equivocal", "Read no", "Not read", "All"]
    table("Scans by the counts and by the reader's judgement", heads, rows, frozenset(range(1, 6)))
    high = uptake.high_backgrounds()
    remark = (
        f" In {words.plural(high, 'scan')} the background counted more than the specimens, beyond chance."
        if high
        else ""
    )
    show(element("p", f"{words.plural(total, 'scan')}.{remark} {NOT_THE_TARGET} {_MEANING}", class_="beside"))
