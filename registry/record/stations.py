"""The line of a procedure: seven stations from finding to follow-up.

Each station says on which day it happened, how many days after the station before, what
is recorded in a few words, and whether something of it changed after the decision.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from registry.record.missing import SCAN_GUIDED
from registry.targeting import ErrorParts, decompose_error
from registry.vocabulary import column, label

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import date, datetime

Parts = dict[str, Any]

RECORDED, PARTLY, MISSING, NOT_DUE = "recorded", "partly", "missing", "not due"


@dataclass(frozen=True)
class Station:
    """One step of the line.

    ``state`` is recorded, partly, missing or not due; ``days`` counts from the station
    before that has a date; ``changed`` is a sentence where something was reported or
    recorded after the latest joint review, empty otherwise.
    """

    name: str
    on: date | None
    state: str
    words: tuple[str, ...]
    days: int | None = None
    changed: str = ""


def line_of(parts: Parts) -> tuple[Station, ...]:
    """The seven stations of one procedure, days between them counted.

    Parameters
    ----------
    parts
        Rows of the record: ``procedure``, ``finding`` as one row each; ``targeting``,
        ``specimens``, ``reports``, ``reviews``, ``followup``, ``chain`` as sequences.
    """
    made = [
        _finding(parts),
        _plan(parts),
        _needle(parts),
        _specimens(parts),
        _pathology(parts),
        _decision(parts),
        _followup(parts),
    ]
    before: date | None = None
    line = []
    for station in made:
        days = (station.on - before).days if station.on and before else None
        line.append(replace(station, days=days))
        before = station.on or before
    return tuple(line)


def _words(*parts: str | None) -> tuple[str, ...]:
    return tuple(part for part in parts if part)


def _label(table: str, row: Parts, field: str) -> str | None:
    return label(table, field, str(row[field])) if row[field] is not None else None


def _mm(value: float) -> str:
    return f"{value:.1f} mm"


# -- changes after the decision ------------------------------------------------------


def _decided(parts: Parts) -> Parts | None:
    joint = [row for row in parts["reviews"] if row["stage"] == "joint"]
    return joint[-1] if joint else None


def _late_rows(parts: Parts, rows: Iterable[Parts], what: str) -> str:
    """Sentence where a row was recorded after the latest joint review was."""
    decided = _decided(parts)
    if decided is None:
        return ""
    late: list[datetime] = [row["recorded_at"] for row in rows if row["recorded_at"] > decided["recorded_at"]]
    if not late:
        return ""
    return f"{what} recorded or changed on {max(late).date()}, after the decision of {decided['reviewed_on']}"


def _late_reports(parts: Parts) -> str:
    decided = _decided(parts)
    if decided is None:
        return ""
    late = [
        row
        for row in parts["reports"]
        if row["status"] != "preliminary"
        and (row["reported_on"] > decided["reviewed_on"] or row["recorded_at"] > decided["recorded_at"])
    ]
    if not late:
        return ""
    newest = max(late, key=lambda row: (row["reported_on"], row["version"]))
    status = label("pathology", "status", newest["status"]).lower()
    report = f"Report version {newest['version']} ({status}) of {newest['reported_on']}"
    if newest["reported_on"] > decided["reviewed_on"]:
        return f"{report} came after the decision of {decided['reviewed_on']}"
    return f"{report} was recorded on {newest['recorded_at'].date()}, after the decision of {decided['reviewed_on']}"


# -- stations -------------------------------------------------------------------------


def _finding(parts: Parts) -> Station:
    row = parts["finding"]
    size = f"{row['size_mm']:g} mm" if row["size_mm"] is not None else None
    kind = _label("findings", row, "finding_type")
    words = _words(kind, size, f"category {row['assessment']}", _label("findings", row, "modality"))
    return Station("Finding", row["found_on"], RECORDED, words, changed=_late_rows(parts, [row], "Finding"))


def _plan(parts: Parts) -> Station:
    advised = parts["finding"]["biopsy_advised_on"]
    expected = parts["procedure"]["guidance"] in SCAN_GUIDED
    planned = bool(parts["targeting"])
    target = "target planned" if planned else "no planned target" if expected else None
    words = _words("biopsy advised" if advised else "day of advice not recorded", target)
    state = RECORDED if advised and (planned or not expected) else PARTLY if advised or planned else MISSING
    return Station("Plan", advised, state, words, changed=_late_rows(parts, parts["targeting"], "Targeting"))


def _needle(parts: Parts) -> Station:
    row = parts["procedure"]
    if row["status"] != "completed":
        state = RECORDED
        words = _words(_label("procedures", row, "status"), _label("procedures", row, "status_reason"))
    else:
        state, reached = _reached(parts)
        words = _words(_label("procedures", row, "guidance"), *reached)
    return Station("Needle", row["started_on"], state, words, changed=_late_rows(parts, [row], "Procedure"))


def _reached(parts: Parts) -> tuple[str, tuple[str, ...]]:
    """How much is known of where the needle came to lie, and that in words."""
    if not parts["targeting"]:
        expected = parts["procedure"]["guidance"] in SCAN_GUIDED
        return (PARTLY, ("no targeting record",)) if expected else (RECORDED, ())
    last = parts["targeting"][-1]
    if last["verification"] != "done":
        return PARTLY, ("no verification scan",)
    judged = _label("targeting", last, "aperture_judgement")
    error = targeting_error(last)
    if error.total is None:
        return RECORDED if judged else PARTLY, _words("position not recorded", judged)
    parted = None
    if error.depth is not None:
        way = "deeper" if error.depth >= 0 else "short"
        parted = f"{_mm(abs(error.depth))} {way}, {_mm(error.lateral)} across"
    return RECORDED, _words(f"{_mm(error.total)} from the target", parted, judged)


def targeting_error(attempt: Parts) -> ErrorParts:
    """Way from the target to the position reached by one needle placement, mm; None where unknown."""
    points = ([attempt[f"{point}_{axis}_mm"] for axis in "xyz"] for point in ("planned", "achieved", "seen"))
    planned, achieved, seen = points
    return decompose_error(planned, achieved, attempt["needle_axis"], attempt["needle_direction"], seen)


def _specimens(parts: Parts) -> Station:
    row, rows = parts["procedure"], parts["specimens"]
    if row["status"] != "completed":
        return Station("Specimens", None, NOT_DUE, ("no tissue was taken",))
    cores = f"{row['cores']} cores" if row["cores"] is not None else None
    if not rows:
        return Station("Specimens", None, MISSING, _words(cores, "no specimen record"))
    masses = [one["mass_g"] for one in rows]
    mass = f"{sum(masses):.2f} g" if None not in masses else "mass not recorded"
    read = [one["uptake_seen"] for one in rows if one["uptake_seen"] in ("yes", "no", "equivocal")]
    worst = next((code for code in ("yes", "equivocal", "no") if code in read), None)
    uptake = (
        {"equivocal": "Uptake equivocal"}.get(worst, label("specimens", "uptake_seen", worst))
        if worst
        else None
    )
    state = RECORDED if None not in masses else PARTLY
    return Station(
        "Specimens",
        row["started_on"],
        state,
        _words(cores, mass, uptake),
        changed=_late_rows(parts, rows, "Specimens"),
    )


def _pathology(parts: Parts) -> Station:
    row, reports = parts["procedure"], parts["reports"]
    current = [one for one in reports if one["is_current"]]
    if not current:
        if row["status"] != "completed":
            return Station("Pathology", None, NOT_DUE, ("no report is due",))
        return Station("Pathology", None, MISSING, ("no report that counts",), changed=_late_reports(parts))
    groups = {(one["report_id"], one["specimen_id"]) for one in current}
    counted = [
        one
        for one in reports
        if one["status"] in ("final", "amended") and (one["report_id"], one["specimen_id"]) in groups
    ]
    worst = max(current, key=lambda one: _rank(one["diagnosis"]))
    category = worst["b_category"]
    versions = f"{len(reports)} versions" if len(reports) > len(current) else None
    words = _words(label("pathology", "diagnosis", worst["diagnosis"]), category, versions)
    return Station(
        "Pathology", min(one["reported_on"] for one in counted), RECORDED, words, changed=_late_reports(parts)
    )


def _rank(diagnosis: str) -> int:
    return int(column("diagnosis", "rank")[diagnosis])


def _decision(parts: Parts) -> Station:
    joint = [row for row in parts["reviews"] if row["stage"] == "joint"]
    if not joint:
        provisional = "provisional review only" if parts["reviews"] else None
        if not any(one["is_current"] for one in parts["reports"]):
            return Station("Decision", None, NOT_DUE, _words("no report to review yet", provisional))
        return Station("Decision", None, MISSING, _words("no joint review", provisional))
    last = joint[-1]
    earlier = f"{len(joint)} joint reviews" if len(joint) > 1 else None
    words = _words(
        label("reviews", "determination", last["determination"]),
        label("reviews", "management", last["management"]),
        earlier,
    )
    state = PARTLY if last["determination"] == "indeterminate" else RECORDED
    return Station("Decision", last["reviewed_on"], state, words)


def _followup(parts: Parts) -> Station:
    start = parts["procedure"]["started_on"]
    events = [
        (row["happened_on"], _event_words(row)) for row in parts["followup"] if row["happened_on"] >= start
    ]
    events += [
        (row["started_on"], "Repeat biopsy" if row["status"] == "completed" else "Repeat attempt")
        for row in parts["chain"]
        if row["started_on"] >= start and row["repeat_of"] is not None
    ]
    if parts["procedure"]["died_on"] is not None:
        events.append((parts["procedure"]["died_on"], "Death"))
    if not events:
        return Station("Follow-up", None, MISSING, ("nothing recorded",))
    events.sort(key=lambda one: one[0])
    more = f"{len(events)} events, latest shown" if len(events) > 1 else None
    return Station("Follow-up", events[-1][0], RECORDED, _words(events[-1][1], more))


def _event_words(row: Parts) -> str:
    detail = next(
        (
            field
            for field in ("diagnosis", "imaging_outcome", "contact_result", "closure_reason")
            if row[field] is not None
        ),
        None,
    )
    kind = label("followup", "kind", row["kind"])
    return f"{kind}: {label('followup', detail, row[detail]).lower()}" if detail else kind
