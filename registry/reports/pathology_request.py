"""What goes out to the pathologist with the specimens: one page, from the record.

Words only, so that the page and its text say the same. The registry keeps identifiers apart:
the patient's label is put on by hand.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING, Any

from registry.errors import UsageProblem
from registry.meetings.entries import coded, finding_words, procedure_words, suspicion_words
from registry.people import Action, require
from registry.record import procedure_record
from registry.tracer import HALF_LIFE_MIN, decay_factor, half_life_source
from registry.vocabulary import column, label

if TYPE_CHECKING:
    from datetime import date

    from registry.record import ProcedureRecord, Row
    from registry.store import Registry

#: More containers than this do not fit on the page.
MOST_CONTAINERS = 20
NOT_RECORDED = "not recorded"
NO_CALL = "Not stated by the service: set call under [pathology_request] in site.toml."


@dataclass(frozen=True)
class PathologyRequest:
    """The page as words: ``facts`` heading and sentence; ``containers`` rows below ``HEADS``; ``missing`` names empty fields."""

    procedure_id: str
    done_on: date
    facts: tuple[tuple[str, str], ...]
    containers: tuple[tuple[str, ...], ...]
    missing: tuple[str, ...]
    stamp: str


HEADS = ("Order", "Container", "Cores", "Mass, g", "Calcifications", "Uptake")


def pathology_request(registry: Registry, procedure_id: str) -> PathologyRequest:
    """The request of one sampled procedure.

    Parameters
    ----------
    registry
        An open registry.
    procedure_id
        Key of the procedure.

    Raises
    ------
    UsageProblem
        There is no such procedure, no tissue was taken, or it has more containers than the page holds.
    """
    require(Action.RECORD, registry, kind="procedure", key=procedure_id)
    record = procedure_record(registry, procedure_id)
    if record.procedure["status"] != "completed":
        raise UsageProblem(
            "No tissue was taken in this procedure, so that there is nothing to send to pathology."
        )
    if len(record.specimens) > MOST_CONTAINERS:
        raise UsageProblem(
            f"This procedure has {len(record.specimens)} containers, and the page holds {MOST_CONTAINERS}. "
            "Fill several containers into one, or send a list of your own."
        )
    radioactive, unknown = radioactive_words(record.procedure, registry.site.numbers["half_lives_kept"])
    missing = [*_missing(record), *unknown]
    facts = (
        ("Target", finding_words(record.finding)),
        ("Suspicion", suspicion_words(record.finding)),
        ("Question", question(record.finding)),
        ("Procedure", procedure_words(record.procedure)),
        ("Calcifications", calcium_words(record)),
        ("Uptake in the specimens", uptake_words(record)),
        ("Radioactive", radioactive),
        ("Whom to call", registry.site.pathology_call or NO_CALL),
    )
    return PathologyRequest(
        procedure_id,
        record.procedure["started_on"],
        facts,
        tuple(_container(row) for row in record.specimens),
        tuple(missing),
        registry.stamp(),
    )


def question(finding: Row) -> str:
    """What the pathologist is asked, in one sentence."""
    kind = label("findings", "finding_type", finding["finding_type"]).lower()
    calcium = (
        " Are there calcifications in the tissue?" if finding["finding_type"] == "calcifications" else ""
    )
    return f"Does the tissue explain the {kind}, and which lesion is held to be the target?{calcium}"


def calcium_words(record: ProcedureRecord) -> str:
    """Whether calcifications are sought, and what the specimen radiograph showed."""
    sought = "Sought" if record.finding["finding_type"] == "calcifications" else "Not the target"
    counts = _counted(record, "calcifications_seen", ("yes", "no", "not_imaged"))
    return f"{sought}; specimen radiograph: {counts or NOT_RECORDED}."


def uptake_words(record: ProcedureRecord) -> str:
    """What the reader saw of the tracer in the containers."""
    if record.procedure["tracer"] is None:
        return "No tracer was given, as far as is recorded."
    counts = _counted(record, "uptake_seen", ("yes", "equivocal", "no", "not_scanned"))
    return f"{counts or NOT_RECORDED}. Uptake is not cancer, and its absence is not benign."


def _counted(record: ProcedureRecord, name: str, codes: tuple[str, ...]) -> str:
    said = []
    for code in codes:
        number = sum(row[name] == code for row in record.specimens)
        if number:
            words = label("specimens", name, code)
            said.append(f"{words[:1].lower()}{words[1:]} in {number} of {len(record.specimens)} containers")
    return ", ".join(said)


def radioactive_words(row: Row, half_lives: float) -> tuple[str, list[str]]:
    """Until when the containers are handled as radioactive, and the fields that are missing to say so.

    Parameters
    ----------
    row
        A row of procedures: tracer and injected_at (local time of the site).
    half_lives
        Local limit: so many half-lives after injection.

    Returns
    -------
    tuple
        A sentence, and the names of missing fields.
    """
    if row["tracer"] is None:
        return "No tracer was given, as far as is recorded.", []
    nuclide = column("tracer", "nuclide").get(row["tracer"])
    if not nuclide:
        return "A tracer without a known half-life was given: handle as radioactive under local rules.", [
            "nuclide"
        ]
    if row["injected_at"] is None:
        return "A tracer was given, its time is not recorded: handle as radioactive under local rules.", [
            "injected_at"
        ]
    minutes = half_lives * HALF_LIFE_MIN[nuclide]
    left = 100.0 * decay_factor(nuclide, minutes)
    until = row["injected_at"] + timedelta(minutes=minutes)
    # A started minute is not over.
    until = until.replace(second=0, microsecond=0) + timedelta(
        minutes=1 if until.second or until.microsecond else 0
    )
    return (
        f"Handle as radioactive until {until:%Y-%m-%d %H:%M}, local time: {half_lives:g} half-lives of {nuclide} "
        f"({HALF_LIFE_MIN[nuclide]:g} min; {half_life_source(nuclide)}) after injection at {row['injected_at']:%Y-%m-%d %H:%M}, "
        f"when {left:.2g} % of the activity is left. Limit of this service; its radiation protection rules decide.",
        [],
    )


def _container(row: Row) -> tuple[str, ...]:
    return (
        str(row["taken_order"]) if row["taken_order"] is not None else NOT_RECORDED,
        row["specimen_id"],
        str(row["cores"]) if row["cores"] is not None else NOT_RECORDED,
        f"{row['mass_g']:g}" if row["mass_g"] is not None else NOT_RECORDED,
        coded("specimens", row, "calcifications_seen") or NOT_RECORDED,
        _uptake_of(row),
    )


def _uptake_of(row: Row) -> str:
    if row["uptake_seen"] is None and row["scanned_with"] is not None:
        return f"scanned with {row['scanned_with']}"
    return coded("specimens", row, "uptake_seen") or NOT_RECORDED


def _missing(record: ProcedureRecord) -> list[str]:
    """Fields that a pathologist would look for and that are empty, in words."""
    wanted: list[tuple[str, Any]] = [
        ("nipple distance", record.finding["nipple_distance_mm"]),
        ("size of the finding", record.finding["size_mm"]),
        ("clock position or region", record.finding["clock_position"] or record.finding["region"]),
        ("gauge", record.procedure["gauge"]),
        ("number of cores", record.procedure["cores"]),
        ("containers", record.specimens or None),
    ]
    return [name for name, value in wanted if value is None]
