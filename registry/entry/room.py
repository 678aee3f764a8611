"""In the room: what is entered while a procedure is done, and saved as one.

The rows of one procedure come in together, all of them or none (0036). Nothing here compares
positions: what the record page says of them is said after the procedure is saved.
"""

from __future__ import annotations

from types import MappingProxyType
from typing import TYPE_CHECKING, Any

from registry.entry import saving
from registry.entry.drafts import discard, drafts
from registry.entry.forms import FORMS
from registry.errors import UsageProblem
from registry.imports import form
from registry.intake import Options, accept, enter_together
from registry.people import Action, require

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from datetime import date

    import polars as pl

    from registry.entry.drafts import Draft
    from registry.intake import ReportedProblem
    from registry.store import Registry


def _names(text: str) -> tuple[str, ...]:
    return tuple(text.split())


Rows = dict[str, "Sequence[Mapping[str, str]]"]

INJECTED, FIRST_SCAN, NEEDLE, SCANNED, ENDED = (
    ("procedures", "injected_at"),
    ("procedures", "first_scan_at"),
    ("procedures", "started_at"),
    ("specimens", "scan_at"),
    ("procedures", "ended_at"),
)
#: Moments that are stamped, in the order of the work, as table and field.
STAMPS = (INJECTED, FIRST_SCAN, NEEDLE, SCANNED, ENDED)
#: Fields that the page asks; everything else is for page *Entry*.
FIELDS: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "procedures": _names(
            "procedure_id finding_id site operator guidance age_years tracer activity_mbq pregnancy_check injected_at "
            "first_scan_at started_at ended_at status status_reason cores residual marker marker_shape"
        ),
        "targeting": _names(
            "procedure_id attempt frame needle_axis needle_direction compression_axis planned_x_mm planned_y_mm planned_z_mm "
            "verification aperture_judgement action"
        ),
        "specimens": _names("specimen_id procedure_id scan_at uptake_seen calcifications_seen"),
    }
)
#: What a placement carries over from the one before it at the same site: how the suite is built.
HABITS = ("frame", "needle_axis", "needle_direction", "compression_axis")
_MOST_FINDINGS = 300
#: How the files of data checks on placements begin.
_PLACEMENT_CHECKS = "targeting_"


def findings_without_procedure(registry: Registry, *, as_of: date) -> pl.DataFrame:
    """Findings for which no procedure is recorded, the ones advised or found last first.

    Returns
    -------
    DataFrame
        finding_id, laterality, region, clock_position, finding_type, size_mm, assessment, modality;
        at most 300.
    """
    require(Action.RECORD, registry)
    return registry.frame(
        "SELECT f.finding_id, f.laterality, f.region, f.clock_position, f.finding_type, f.size_mm, f.assessment, f.modality "
        "FROM main.findings AS f WHERE f.found_on <= $as_of "
        "AND NOT EXISTS (SELECT 1 FROM main.procedures AS p WHERE p.finding_id = f.finding_id) "
        "ORDER BY coalesce(f.biopsy_advised_on, f.found_on) DESC, f.finding_id LIMIT $most",
        {"as_of": as_of, "most": _MOST_FINDINGS},
    )


def habits(registry: Registry) -> dict[str, Any]:
    """Codes of sites and operators in use, and how the needle went in last: what need not be typed again.

    Returns
    -------
    dict
        sites, operators: codes, the most used of the last 500 procedures first; placement: field of
        ``HABITS`` -> text, from the last placement recorded.
    """
    require(Action.RECORD, registry)
    used = {
        name: [
            code
            for (code,) in registry.rows(
                f"SELECT {name} FROM (SELECT {name} FROM main.procedures ORDER BY started_at DESC LIMIT 500) AS p "
                f"GROUP BY {name} ORDER BY count(*) DESC, {name}"
            )
        ]
        for name in ("site", "operator")
    }
    last = registry.rows(
        f"SELECT {', '.join(f't.{name}' for name in HABITS)} FROM main.targeting AS t "
        "JOIN main.procedures AS p ON p.procedure_id = t.procedure_id "
        "ORDER BY p.started_at DESC, t.procedure_id, t.attempt DESC LIMIT 1"
    )
    placement = dict(zip(HABITS, last[0], strict=True)) if last else {}
    return {
        "sites": used["site"],
        "operators": used["operator"],
        "placement": {name: str(value) for name, value in placement.items() if value is not None},
    }


def begun(registry: Registry, procedure_id: str | None = None) -> tuple[Draft, ...]:
    """Drafts of whoever acts: procedures not yet saved, or all rows of one of them.

    Parameters
    ----------
    registry
        An open registry.
    procedure_id
        None for one draft a procedure; else the procedure, its placements and containers.
    """
    require(Action.ENTER, registry)
    kept = [one for one in drafts(registry) if one.table in FIELDS and not one.version]
    if procedure_id is None:
        return tuple(one for one in kept if one.table == "procedures")
    return tuple(one for one in kept if one.cells.get("procedure_id") == procedure_id)


def check_together(registry: Registry, rows: Rows, *, today: date) -> tuple[ReportedProblem, ...]:
    """What would keep the rows from being saved, nothing written; then what to look at.

    What the data checks say of a placement is left out, as it speaks of where the needle lies:
    only what is no number, no code, out of its range or missing is said.
    """
    require(Action.ENTER, registry)
    report = accept(registry, form.received(rows), author="", today=today, options=Options(dry_run=True))
    said = (*report.problems, *report.warnings)
    return tuple(one for one in said if not one.rule.startswith(_PLACEMENT_CHECKS))


def save_together(registry: Registry, rows: Rows, *, today: date) -> None:
    """Save the rows of one procedure, all of them or none; their drafts are gone afterwards.

    Parameters
    ----------
    registry
        Open for writing.
    rows
        Table -> rows, each field -> text; every one of them new.
    today
        The day at the site.

    Raises
    ------
    UsageProblem
        One of the rows is stored already.
    BatchRefused
        A rule of the data dictionary refuses one of them.
    """
    require(Action.ENTER, registry)
    with saving.one_at_a_time:
        for table, lines in rows.items():
            for cells in lines:
                if table in FORMS and saving.opened(registry, table, cells).version:
                    key = saving.row_key(table, cells)
                    raise UsageProblem(
                        f"Nothing was saved: {key} is in the registry already. Choose another key, or correct "
                        "the stored row on page Entry."
                    )
        enter_together(registry, rows, today=today, reason="entered in the room")
    for table, lines in rows.items():
        for cells in lines:
            if table in FORMS:
                discard(registry, table, saving.row_key(table, cells))
