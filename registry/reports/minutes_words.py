"""What minutes say, section by section, before anybody asks how it is set on paper."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from registry.vocabulary import label

if TYPE_CHECKING:
    from registry.meetings.minutes import Minutes

Json = dict[str, Any]
Pairs = list[tuple[str, str]]

CAUTIONS = (
    "A record of what a meeting decided. It is no diagnostic device and decides nothing about concordance, biopsy or treatment; "
    "decisions belong to qualified clinicians under their local protocol.",
    "Tracer uptake is not cancer, and its absence is not benign. A position within the aperture does not prove that the target was "
    "sampled.",
    "Lengths in mm in the coordinate frame named; positions were compared after the procedure was recorded.",
    "Keys of procedures only; no names or identifiers of patients. Confidential to the service.",
)
NOT_RECORDED = "not recorded"


def title(minutes: Minutes) -> str:
    """Heading of the whole."""
    return f"Concordance meeting, {minutes.opening['site']}, {minutes.opening['held_on']}"


def standing(minutes: Minutes) -> str:
    """Draft, signed, or an amendment of what: stands on every page."""
    kept = minutes.kept
    if kept is None:
        return "Draft, not signed"
    said = f"Minutes {kept.number}, signed {kept.signed_at:%Y-%m-%d %H:%M} UTC by {kept.signed_by}"
    return said if kept.amends is None else f"{said}; amends minutes {kept.amends}"


def proof(minutes: Minutes) -> Pairs:
    """What a signature binds: digest and head of the trail, in full."""
    kept = minutes.kept
    if kept is None:
        return [("State", f"{standing(minutes)}: nothing is bound yet. {minutes.opening['stamp']}")]
    pairs = [
        ("Signed", f"{kept.signed_at:%Y-%m-%d %H:%M:%S} UTC by {kept.signed_by}"),
        ("Digest of these minutes (SHA-256)", kept.sha256),
        ("Head of the trail when signed", f"entry {kept.head_seq}, {kept.head_mac}"),
        ("State of the registry", minutes.opening["stamp"]),
    ]
    if kept.amends is not None:
        pairs.insert(1, ("Amends", f"minutes {kept.amends}, because: {kept.reason}"))
    return pairs


def opening(minutes: Minutes) -> Pairs:
    """Day, site, chair, who was there, and how much was on the list."""
    head = minutes.opening
    told = len(minutes.decided) - len(minutes.not_told)
    return [
        ("Meeting", f"{head['meeting_id']}, held on {head['held_on']} at {head['site']}"),
        ("Chair", head["chair"] or NOT_RECORDED),
        ("Present, by role", ", ".join(head["attendees"]) or NOT_RECORDED),
        (
            "On the list",
            f"{len(minutes.decided)} decided, {len(minutes.undecided)} not decided, "
            f"{len(minutes.actions)} left open by earlier meetings",
        ),
        ("Patients recorded as told", f"{told} of {len(minutes.decided)}"),
    ]


def entry_title(number: int, entry: Json) -> str:
    """Number, key and one line."""
    return f"{number}. {entry['procedure_id']}: {entry['heading']}"


def decision(entry: Json) -> Pairs:
    """Decision, dissent, action, who acts by when, who tells the patient and when."""
    one = entry["decision"]
    if one is None:
        return [("Decision", f"Not decided at this meeting ({entry['waiting']})")]
    why = f", because: {one['reason']}" if one["reason"] else ""
    pairs = [
        ("Decision", f"{one['determination']}{why}"),
        ("Action", action(one)),
        ("Tells the patient", f"{one['responsible'] or 'nobody is named'}; {told(one)}"),
        (
            "Reviewed by",
            f"{one['radiologist']} and {one['pathologist'] or NOT_RECORDED}, {one['reviewed_on']}",
        ),
    ]
    if one["note"]:
        pairs.insert(1, ("Discussion and dissent", one["note"]))
    if entry["earlier"]:
        pairs.append(("Decided before", ". ".join(entry["earlier"])))
    return pairs


def action(one: Json) -> str:
    """The step, who acts, by when, and whether it is booked or declined."""
    state = (
        f"declined by the patient on {one['declined_on']}"
        if one["declined_on"]
        else f"booked for {one['booked_for']}"
        if one["booked_for"]
        else "not booked"
    )
    due = f"due {one['due_on']}" if one["due_on"] else "no due day given"
    return f"{one['management']}; {one['responsible'] or 'nobody is named'}; {due}; {state}"


def told(one: Json) -> str:
    """When the patient was told."""
    return f"told on {one['informed_on']}" if one["informed_on"] else "not recorded as told"


ACTION_HEADS = ("Procedure", "What is open", "Decided on", "Decision", "Step", "Who acts", "Due")


def actions(minutes: Minutes) -> list[tuple[str, ...]]:
    """What earlier meetings left open, one row each below ``ACTION_HEADS``."""
    return [
        (
            one["procedure_id"],
            one["reason"],
            one["reviewed_on"] or "",
            label("reviews", "determination", one["determination"]) if one["determination"] else "",
            label("reviews", "management", one["management"]) if one["management"] else "",
            one["responsible"] or "",
            one["due_on"] or "",
        )
        for one in minutes.actions
    ]


TELL_HEADS = ("Procedure", "Decision", "Who tells", "When")


def tells(minutes: Minutes) -> list[tuple[str, ...]]:
    """Who tells each patient and when, one row a decision below ``TELL_HEADS``."""
    return [
        (
            one["procedure_id"],
            one["decision"]["determination"],
            one["decision"]["responsible"] or "nobody is named",
            told(one["decision"]),
        )
        for one in minutes.decided
    ]
