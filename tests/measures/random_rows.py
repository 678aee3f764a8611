"""Small random registries whose days fall on and beside the ends of every window."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING, Any

from tests.measures.build import Drawn, at, day

if TYPE_CHECKING:
    from random import Random

AS_OF = 1000
_AGES = (0, 1, 13, 14, 29, 30, 59, 60, 364, 365, 366, 668, 669, 729, 730, 731, 900)
_GAPS = (0, 1, 13, 14, 15, 30, 31, 60, 61, 364, 365, 366, 668, 669, 730, 731)
_DIAGNOSES = (
    "insufficient",
    "normal",
    "benign",
    "benign",
    "high_risk",
    "suspicious",
    "in_situ",
    "invasive",
    "other_malignant",
)


def _maybe(random: Random, *values: Any) -> Any:
    return random.choice((None, *values))


def draw(drawn: Drawn, random: Random) -> None:
    """Fill an empty drawing with one to three patients."""
    for number in range(random.randint(1, 3)):
        patient = f"patient {number}"
        drawn.patient(
            patient, died=random.choice((None, None, None, AS_OF, AS_OF + 1, *(AS_OF - a for a in _AGES)))
        )
        for which in range(random.randint(1, 2)):
            finding = f"finding {number}{which}"
            drawn.finding(
                finding,
                patient,
                found=random.randint(0, 30),
                correlate=_maybe(random, "none", "not_assessed", "mammography", "mri"),
                finding_type=random.choice(("mass", "calcifications")),
                assessment=random.choice(("3", "4", "4B", "5", "6")),
                size_mm=_maybe(random, 8.0, 12.0, 20.0),
            )
            _chain(drawn, random, finding)


def _chain(drawn: Drawn, random: Random, finding: str) -> None:
    earlier: list[tuple[str, int]] = []
    start = AS_OF - random.choice(_AGES)
    for number in range(random.choice((1, 1, 2, 3))):
        key = f"{finding} procedure {number}"
        on = start if number == 0 else earlier[-1][1] + random.choice(_GAPS)
        cells = _procedure_cells(random, on)
        if earlier and random.random() < 0.7:
            cells["repeat_of"] = random.choice(earlier)[0]
        drawn.procedure(key, on, f"{8 + number // 2:02}:00", finding, **cells)
        earlier.append((key, on))
        _details(drawn, random, key, on)


def _procedure_cells(random: Random, on: int) -> dict[str, Any]:
    injected = at(on, "08:00") - timedelta(minutes=random.choice((30, 45, 60, 90, 91)))
    shift = random.choice((None, (6.0, 8.0, 0.0), (6.0, 8.0, 0.1), (0.0, 0.0, 3.0)))
    return {
        "status": random.choice(("completed", "completed", "completed", "cancelled", "abandoned")),
        "guidance": random.choice(("pet_tracer", "gamma_tracer", "mri", "ultrasound")),
        "site": random.choice("AB"),
        "gauge": _maybe(random, 8, 10),
        "target_seen": _maybe(random, "yes", "faint", "no", "not_applicable"),
        "residual": _maybe(random, "none", "reduced", "unchanged", "not_assessed"),
        "safe_margin_mm": _maybe(random, 19.9, 20.0, 25.0),
        "aperture_mm": _maybe(random, 20.0),
        "dead_tip_mm": _maybe(random, 7.0),
        "marker": _maybe(random, "placed", "placed", "not_placed", "failed"),
        "post_mammogram": _maybe(random, "yes", "no"),
        **dict(
            zip(
                ("marker_shift_x_mm", "marker_shift_y_mm", "marker_shift_z_mm"),
                shift or (1.0, None, 1.0),
                strict=True,
            )
        ),
        "tracer": _maybe(random, "F-18 FDG", "F-18 FDG", "Tc-99m sestamibi", "other"),
        "injected_at": random.choice((None, injected, injected)),
        "injected_at_offset_min": random.choice((0, 0, 60)),
        "first_scan_at": random.choice((None, at(on, "08:00"))),
        "first_scan_at_offset_min": 0,
        "activity_mbq": _maybe(random, 185.0, 370.0),
        "weight_kg": _maybe(random, 70.0, 55.0),
        "device": _maybe(random, "vacuum_assisted", "vacuum_assisted", "vacuum_assisted", "core_needle"),
    }


def _details(drawn: Drawn, random: Random, key: str, on: int) -> None:
    for number in range(random.choice((0, 1, 1, 1, 2))):
        _report(drawn, random, key, on, number)
    for _ in range(random.choice((0, 1, 1, 2, 3))):
        drawn.review(
            key,
            random.choice(("concordant", "discordant", "indeterminate")),
            on + random.choice(_GAPS),
            stage=random.choice(("joint", "joint", "provisional")),
            review_id=f"V{random.randrange(10**9)}",
        )
    for _ in range(random.choice((0, 1, 1, 2, 4))):
        _event(drawn, random, key, on)
    if random.random() < 0.4:
        drawn.complication(key, on + random.choice((0, 1, 30, 31)), random.randint(1, 4))
    _attempts(drawn, random, key)
    _specimens(drawn, random, key, on)


def _report(drawn: Drawn, random: Random, key: str, on: int, number: int) -> None:
    issued = on
    for version in range(1, random.choice((1, 1, 2, 3)) + 1):
        issued += random.choice((0, 1, 14, 30))
        drawn.report(
            key,
            random.choice(_DIAGNOSES),
            issued,
            version,
            report_id=f"R{number}",
            status=random.choice(("final", "final", "amended", "preliminary", "retracted")),
            specimen_id=_maybe(random, "same") if number else None,
            b_category=_maybe(random, "B1", "B2", "B3", "B4", "B5", "B5b"),
        )


def _event(drawn: Drawn, random: Random, key: str, on: int) -> None:
    happened = on + random.choice(_GAPS)
    kind = random.choice(("imaging", "imaging", "excision", "registry_linkage", "death", "contact"))
    cells: dict[str, Any] = {"same_site": _maybe(random, "yes", "no", "unknown")}
    if kind == "imaging":
        cells["imaging_outcome"] = random.choice(
            ("resolved", "decreased", "stable", "progressed", "new_finding")
        )
        cells["modality"] = _maybe(random, "pet_tracer", "mri", "mammography", "ultrasound")
    elif kind == "excision":
        cells["diagnosis"] = random.choice(_DIAGNOSES)
        cells["adjudication"] = _maybe(random, "target_removed", "site_missed", "pathology_revised")
    elif kind == "registry_linkage":
        cells["diagnosis"] = random.choice(("none", *_DIAGNOSES))
    drawn.event(key, kind, happened, **cells)


def _attempts(drawn: Drawn, random: Random, key: str) -> None:
    for attempt in range(1, random.choice((0, 1, 1, 2)) + 1):
        achieved = random.choice((None, (3.0, 4.0, 0.0), (3.0, 4.0, 0.1), (6.0, -1.0, 2.0)))
        seen = random.choice((None, None, (1.0, 1.0, 0.0), (1.0, None, 0.0)))
        cells: dict[str, Any] = {}
        for name, point in (("achieved", achieved), ("seen", seen)):
            for axis, value in zip("xyz", point or (None, None, None), strict=True):
                cells[f"{name}_{axis}_mm"] = value
        drawn.target(
            key,
            attempt,
            needle_axis=random.choice(("x", "y", "z", "oblique")),
            needle_direction=_maybe(random, "plus", "minus"),
            verification=random.choice(("done", "done", "not_done")),
            stand_in=_maybe(random, "needle", "radioactive_source"),
            length_matched=_maybe(random, "yes", "no"),
            aperture_judgement=_maybe(random, "within", "edge", "not_judged"),
            marked_point=_maybe(random, "aperture_centre", "tip", "tip", "source_centre"),
            point_to_aperture_mm=_maybe(random, 10.0, 17.0),
            slice_mm=_maybe(random, 2.0, 5.0, 5.0),
            measurement_sd_mm=_maybe(random, 0.5, 1.0, 1.0),
            **cells,
        )


def _specimens(drawn: Drawn, random: Random, key: str, on: int) -> None:
    carrier = None
    for number in range(random.choice((0, 1, 2, 3))):
        specimen = f"{key} specimen {number}"
        cells: dict[str, Any] = {
            "mass_g": random.choice((None, 0.4, 0.5, 1.25)),
            "uptake_seen": _maybe(random, "yes", "no", "equivocal", "not_scanned"),
            "calcifications_seen": _maybe(random, "yes", "no", "not_imaged"),
            "read_at": random.choice((None, at(on, "12:00"), at(on + 1, "08:00"))),
        }
        if carrier is not None and random.random() < 0.5:
            cells["scanned_with"] = carrier
        elif random.random() < 0.7:
            carrier = specimen
            cells |= {
                "counts": float(random.choice((100, 5400))),
                "background_counts": random.choice((None, 300.0, 300.0)),
                "scan_seconds": random.choice((None, 60.0, 120.0, 600.0)),
                "calibration_cps_per_kbq": random.choice((None, 9.5, 9.5)),
                "scan_at": random.choice((at(on, "10:30"), at(on, "11:00"), at(on + 1, "07:00"))),
                "scan_at_offset_min": random.choice((0, 60)),
            }
        drawn.specimen(key, specimen, **cells)


def days_worth_asking() -> tuple[Any, ...]:
    """The day of the newest record and before it, among them days inside many windows."""
    return tuple(day(number) for number in (AS_OF, AS_OF - 1, AS_OF - 300, AS_OF - 30, AS_OF + 800))
