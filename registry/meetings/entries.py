"""What the minutes say of one procedure: words and figures taken from the record, nothing computed anew.

No name, identifier or birth date stands here, and neither do the pathologist's own words, which may
hold them; the diagnosis is given as it is coded. The note of the discussion is included, as dissent
stands in it (decision 0022).
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from registry.numerals import MINUS
from registry.record import procedure_record
from registry.record.offsets import offsets
from registry.record.stations import targeting_error
from registry.vocabulary import label

if TYPE_CHECKING:
    from collections.abc import Sequence

    from registry.record import ProcedureRecord, Row, Station
    from registry.store import Registry

_SIDES = {"L": "left breast", "R": "right breast"}


def entry_of(registry: Registry, procedure_id: str, review_id: str | None = None) -> dict[str, Any]:
    """One procedure as the minutes print it, as plain JSON values.

    Parameters
    ----------
    registry
        An open registry; the actor must be allowed to open records.
    procedure_id
        Key of the procedure.
    review_id
        The joint review of this meeting; None for a procedure that was not decided.

    Returns
    -------
    dict
        ``facts`` pairs of heading and words; ``line`` the stations; ``target`` the way from the
        target to the aperture for the figure, or None; ``decision`` and ``earlier`` reviews.
    """
    record = procedure_record(registry, procedure_id)
    before = [one for one in record.reviews if one["stage"] == "joint" and one["review_id"] != review_id]
    decided = next((one for one in record.reviews if one["review_id"] == review_id), None)
    if decided is not None:
        before = [one for one in before if one["reviewed_on"] <= decided["reviewed_on"]]
    return {
        "procedure_id": procedure_id,
        "heading": heading(record),
        "facts": [[name, words] for name, words in facts(record) if words],
        "missing": record.missing_sentence(),
        "changes": list(record.changes),
        "line": [station(one) for one in record.line],
        "target": target(registry, procedure_id),
        "earlier": [earlier(one) for one in before],
        "decision": None if decided is None else decision(decided),
    }


def heading(record: ProcedureRecord) -> str:
    """What was seen and what it turned out to be, in one line."""
    current = [one for one in record.reports if one["is_current"]]
    found = label("findings", "finding_type", record.finding["finding_type"])
    result = " and ".join(
        dict.fromkeys(label("pathology", "diagnosis", one["diagnosis"]).lower() for one in current)
    )
    return f"{found}, assessment category {record.finding['assessment']}: {result or 'no report that counts'}"


def facts(record: ProcedureRecord) -> list[tuple[str, str]]:
    """Heading and words of each part of the record, in the order in which a meeting reads them."""
    return [
        ("Finding", finding_words(record.finding)),
        ("Suspicion before biopsy", suspicion_words(record.finding)),
        ("Procedure", procedure_words(record.procedure)),
        ("Needle and target", needle_words(record.targeting)),
        ("Specimens", specimen_words(record)),
        ("Marker", marker_words(record.procedure)),
        ("Pathology", pathology_words(record.reports)),
    ]


def joined(*parts: str | None) -> str:
    """The parts that say something, as one sentence without a full stop."""
    return "; ".join(part for part in parts if part)


def coded(table: str, row: Row, name: str, *, low: bool = True) -> str | None:
    """A code of the row in words; None where it is empty."""
    if row[name] is None:
        return None
    words = label(table, name, str(row[name]))
    return f"{words[:1].lower()}{words[1:]}" if low and not words[:2].isupper() else words


def millimetres(value: float | None, what: str) -> str | None:
    """A length with one decimal at most, as the registry holds it."""
    return None if value is None else f"{what} {value:g} mm"


def finding_words(row: Row) -> str:
    """Where the finding lies and what it is."""
    hour = f"{row['clock_position']} o'clock" if row["clock_position"] is not None else None
    region = coded("findings", row, "region") if row["region"] not in (None, "clock") else None
    place = ", ".join(
        part
        for part in (
            _SIDES[row["laterality"]],
            hour,
            region,
            millimetres(row["nipple_distance_mm"], "nipple distance"),
        )
        if part
    )
    correlate = coded("findings", row, "correlate")
    kind = coded("findings", row, "finding_type")
    return joined(
        f"{place[:1].upper()}{place[1:]}",
        " ".join(
            part for part in (kind, f"{row['size_mm']:g} mm" if row["size_mm"] is not None else "") if part
        ),
        f"best seen on {coded('findings', row, 'modality')}",
        f"correlate: {correlate}" if correlate else None,
    )


def suspicion_words(row: Row) -> str:
    """Assessment category and tracer uptake before the biopsy."""
    uptake = " ".join(
        part
        for part in (coded("findings", row, "uptake_intensity"), coded("findings", row, "uptake_pattern"))
        if part
    )
    ratio = f"lesion-to-background ratio {row['uptake_ratio']:g}" if row["uptake_ratio"] is not None else None
    return joined(f"Assessment category {row['assessment']}", f"{uptake} uptake" if uptake else None, ratio)


def procedure_words(row: Row) -> str:
    """Day, guidance, approach, device and cores; or why no tissue was taken."""
    day = f"{row['started_on']}, {coded('procedures', row, 'guidance')} guidance"
    if row["status"] != "completed":
        why = coded("procedures", row, "status_reason")
        return joined(day, f"{coded('procedures', row, 'status')}, no tissue taken", why)
    approach = coded("procedures", row, "approach")
    device = coded("procedures", row, "device")
    gauge = f"{row['gauge']} G" if row["gauge"] is not None else None
    return joined(
        day,
        f"{approach} approach" if approach else None,
        " ".join(part for part in (device, gauge) if part),
        f"{row['cores']} cores" if row["cores"] is not None else None,
        f"target after sampling: {coded('procedures', row, 'residual')}" if row["residual"] else None,
    )


def needle_words(rows: Sequence[Row]) -> str:
    """Deviation of the last needle placement, and what the verification scan showed."""
    if not rows:
        return "No targeting record"
    last = rows[-1]
    tries = f"{len(rows)} placements, the last:" if len(rows) > 1 else None
    if last["verification"] != "done":
        return " ".join(part for part in (tries, "no verification scan") if part)
    error = targeting_error(last)
    length = (
        f"{error.total:.1f} mm from target to aperture centre"
        if error.total is not None
        else "position not recorded"
    )
    parts = None
    if error.depth is not None:
        parts = f"{abs(error.depth):.1f} mm {'deeper' if error.depth >= 0 else 'short'}, {error.lateral:.1f} mm across"
    judged = coded("targeting", last, "aperture_judgement")
    stand_in = coded("targeting", last, "stand_in")
    return joined(
        " ".join(part for part in (tries, length) if part),
        parts,
        judged,
        f"verified with: {stand_in}" if stand_in else None,
    )


def specimen_words(record: ProcedureRecord) -> str:
    """The specimens as the line of the procedure says them, and the specimen radiograph."""
    said = next(one for one in record.line if one.name == "Specimens")
    seen = [one["calcifications_seen"] for one in record.specimens]
    calcium = next((code for code in ("yes", "no", "not_imaged") if code in seen), None)
    radiograph = label("specimens", "calcifications_seen", calcium) if calcium else None
    return joined(
        *said.words, f"radiograph: {radiograph[:1].lower()}{radiograph[1:]}" if radiograph else None
    )


def marker_words(row: Row) -> str:
    """Whether a marker was placed, its shape, and how far it lies from its reference."""
    if row["marker"] is None:
        return ""
    shift = [row[f"marker_shift_{axis}_mm"] for axis in "xyz"]
    moved = None
    if None not in shift:
        moved = "shift x, y, z " + ", ".join(f"{value:g}".replace("-", MINUS) for value in shift) + " mm"
    return joined(
        label("procedures", "marker", row["marker"]),
        f"shape {row['marker_shape']}" if row["marker_shape"] else None,
        moved,
    )


def pathology_words(rows: Sequence[Row]) -> str:
    """The reports that count, as coded, with version and day."""
    said = []
    for row in rows:
        if not row["is_current"]:
            continue
        said.append(
            ", ".join(
                part
                for part in (
                    row["b_category"],
                    coded("pathology", row, "diagnosis"),
                    coded("pathology", row, "lesion"),
                    f"grade {row['grade']}" if row["grade"] is not None else None,
                    {"yes": "calcifications in the tissue", "no": "no calcifications in the tissue"}.get(
                        row["calcifications"] or ""
                    ),
                    f"awaited: {coded('pathology', row, 'further_work')}"
                    if row["further_work"] not in (None, "none")
                    else None,
                    f"report of {row['reported_on']}, version {row['version']}",
                )
                if part
            )
        )
    return "; ".join(said) or "No report that counts"


def station(one: Station) -> dict[str, Any]:
    """A station of the line as JSON values."""
    return {
        "name": one.name,
        "on": one.on.isoformat() if one.on else None,
        "state": one.state,
        "words": list(one.words),
        "days": one.days,
        "changed": one.changed,
    }


def target(registry: Registry, procedure_id: str) -> dict[str, Any] | None:
    """Way from target to aperture centre along and across the needle, mm; None where it cannot be drawn."""
    found = offsets(registry, [procedure_id])
    if not found.geometries:
        return None
    one = found.geometries[0]
    row = one.offsets.row(0, named=True)
    return {
        "along_mm": row["along_mm"],
        "first_mm": row["first_mm"],
        "second_mm": row["second_mm"],
        "aperture_mm": row["aperture_mm"],
        "across": [[axis.plus, axis.minus] for axis in one.across],
        "frame": one.words(),
    }


def earlier(row: Row) -> str:
    """An earlier joint review, in one line."""
    why = coded("reviews", row, "reason")
    decided = label("reviews", "determination", row["determination"])
    step = coded("reviews", row, "management")
    return joined(f"{row['reviewed_on']}: {decided}" + (f" ({why})" if why else ""), step)


def decision(row: Row) -> dict[str, Any]:
    """A joint review as the minutes print it; days as text, what is empty as None."""
    days = {
        name: row[name].isoformat() if row[name] else None
        for name in ("reviewed_on", "due_on", "booked_for", "declined_on", "informed_on")
    }
    return {
        "review_id": row["review_id"],
        "determination": label("reviews", "determination", row["determination"]),
        "reason": coded("reviews", row, "reason"),
        "management": label("reviews", "management", row["management"]),
        "responsible": row["responsible"],
        "radiologist": row["radiologist"],
        "pathologist": row["pathologist"],
        "own_view_first": coded("reviews", row, "own_view_first"),
        "note": row["note"],
        **days,
    }
