"""The measures once more, as loops over rows, written from their definitions alone.

Slow, plain and independent: it shares no statement and no name with the SQL. A verdict is
the reason for leaving a procedure out, or None; whether it counts; and the sign of an
unknown outcome.
"""

from __future__ import annotations

import math
from datetime import date, timedelta
from typing import Any

Row = dict[str, Any]
Verdict = tuple[str | None, bool, str | None]

ORDER = (
    "insufficient",
    "normal",
    "benign",
    "high_risk",
    "suspicious",
    "in_situ",
    "invasive",
    "other_malignant",
)
MALIGNANT = {"in_situ", "invasive", "other_malignant"}
BREAST_CANCER = {"in_situ", "invasive"}
BENIGN = {"normal", "benign"}
TRACER = {"pet_tracer", "gamma_tracer"}
HALF_LIFE_MIN = {"F-18 FDG": 109.77, "Tc-99m sestamibi": 360.42}
TOLERANCE = 1e-9


class Record:
    """What had happened by a day."""

    def __init__(self, rows: dict[str, list[Row]], as_of: date, linkage_until: date | None = None) -> None:
        self.as_of = as_of
        self.linkage_until = linkage_until
        self.parents = {p["procedure_id"]: p.get("repeat_of") for p in rows["procedures"]}
        self.procedures = [p for p in rows["procedures"] if p["started_at"].date() <= as_of]
        self.findings = {f["finding_id"]: f for f in rows["findings"]}
        self.patients = {p["patient"]: p for p in rows["patients"]}
        self.all_reports = [r for r in rows["pathology"] if r["reported_on"] <= as_of]
        self.all_reviews = [r for r in rows["reviews"] if r["reviewed_on"] <= as_of]
        self.all_events = [e for e in rows["followup"] if e["happened_on"] <= as_of]
        self.all_complications = [
            c for c in rows["complications"] if c["onset_on"] is not None and c["onset_on"] <= as_of
        ]
        self.all_targeting = rows["targeting"]
        self.all_specimens = rows["specimens"]

    # -- procedures and chains ---------------------------------------------------------

    def day_of(self, p: Row) -> date:
        return p["started_at"].date()

    def moment(self, p: Row) -> Any:
        return p["started_at"] - timedelta(minutes=p.get("started_at_offset_min") or 0)

    def days(self, p: Row, later: date) -> int:
        return (later - self.day_of(p)).days

    def age(self, p: Row) -> int:
        return self.days(p, self.as_of)

    def sampled(self, p: Row) -> bool:
        return p["status"] == "completed"

    def root(self, p: Row) -> str:
        key = p["procedure_id"]
        while self.parents[key]:
            key = self.parents[key]
        return key

    def chain(self, p: Row) -> list[Row]:
        return [q for q in self.procedures if self.root(q) == self.root(p)]

    def repeats(self, p: Row) -> list[Row]:
        return [
            q
            for q in self.chain(p)
            if q["procedure_id"] != p["procedure_id"] and self.sampled(q) and self.moment(q) > self.moment(p)
        ]

    def index(self, p: Row) -> bool:
        if not self.sampled(p):
            return False
        return not any(self.sampled(q) and self.moment(q) < self.moment(p) for q in self.chain(p))

    # -- reports and reviews -----------------------------------------------------------

    def groups(self, p: Row) -> list[list[Row]]:
        """Versions that are not preliminary, of each group whose highest is not retracted."""
        grouped: dict[tuple[str, str], list[Row]] = {}
        for r in self.all_reports:
            if r["procedure_id"] == p["procedure_id"] and r["status"] != "preliminary":
                grouped.setdefault((r["report_id"], r.get("specimen_id") or ""), []).append(r)
        kept = []
        for versions in grouped.values():
            versions.sort(key=lambda r: r["version"])
            if versions[-1]["status"] != "retracted":
                kept.append(versions)
        return kept

    def reported(self, p: Row) -> bool:
        return bool(self.groups(p))

    def first_report(self, p: Row) -> date | None:
        dates = [r["reported_on"] for g in self.groups(p) for r in g if r["status"] in ("final", "amended")]
        return min(dates) if dates else None

    def diagnosis(self, p: Row) -> str | None:
        found = [g[-1]["diagnosis"] for g in self.groups(p)]
        return max(found, key=ORDER.index) if found else None

    def b_category(self, p: Row) -> str | None:
        found = [g[-1]["b_category"][:2] for g in self.groups(p) if g[-1]["b_category"]]
        return max(found) if found else None

    def joint(self, p: Row) -> list[Row]:
        mine = [
            r for r in self.all_reviews if r["procedure_id"] == p["procedure_id"] and r["stage"] == "joint"
        ]
        return sorted(mine, key=lambda r: (r["reviewed_on"], r["review_id"]))

    def first_conclusive(self, p: Row) -> Row | None:
        for r in self.joint(p):
            if r["determination"] in ("concordant", "discordant"):
                return r
        return None

    # -- what followed -----------------------------------------------------------------

    def events(self, p: Row, kind: str) -> list[Row]:
        keys = {q["procedure_id"] for q in self.chain(p)}
        return [e for e in self.all_events if e["procedure_id"] in keys and e["kind"] == kind]

    def excisions(self, p: Row) -> list[Row]:
        return [
            e
            for e in self.events(p, "excision")
            if e.get("same_site") != "no" and self.days(p, e["happened_on"]) >= 0
        ]

    def excised_within(self, p: Row, limit: int) -> list[Row]:
        return [e for e in self.excisions(p) if self.days(p, e["happened_on"]) <= limit]

    def excision_diagnosis(self, p: Row, limit: int) -> str | None:
        found = [e["diagnosis"] for e in self.excised_within(p, limit) if e["diagnosis"] in ORDER]
        return max(found, key=ORDER.index) if found else None

    def cancer_dates(self, p: Row, kinds: set[str]) -> list[date]:
        found = [self.day_of(q) for q in self.repeats(p) if self.reported(q) and self.diagnosis(q) in kinds]
        for e in self.events(p, "registry_linkage"):
            if e.get("same_site") != "no" and e["diagnosis"] in kinds and self.days(p, e["happened_on"]) >= 1:
                found.append(e["happened_on"])
        found += [e["happened_on"] for e in self.excisions(p) if e["diagnosis"] in kinds]
        return found

    def later_cancer(self, p: Row) -> date | None:
        return min(self.cancer_dates(p, MALIGNANT), default=None)

    def later_cancer_within(self, p: Row, limit: int) -> bool:
        found = self.later_cancer(p)
        return found is not None and self.days(p, found) <= limit

    def clear_until(self, p: Row) -> date | None:
        hidden = self.findings[p["finding_id"]].get("correlate") in ("none", "not_assessed")
        found = []
        for e in self.events(p, "imaging"):
            cannot = e.get("modality") is not None and hidden and e["modality"] not in (*TRACER, "mri")
            if e.get("imaging_outcome") in ("resolved", "decreased", "stable") and not cannot:
                found.append(e["happened_on"])
        for e in self.events(p, "excision"):
            if e.get("same_site") != "no" and e["diagnosis"] in ("normal", "benign", "high_risk"):
                found.append(e["happened_on"])
        for e in self.events(p, "registry_linkage"):
            if e["diagnosis"] not in MALIGNANT:
                found.append(e["happened_on"])
        return max(found, default=None)

    def resolved(self, p: Row) -> bool:
        clear = self.clear_until(p)
        return (
            self.later_cancer_within(p, 730)
            or bool(self.excised_within(p, 730))
            or (clear is not None and self.days(p, clear) >= 669)
        )

    def died(self, p: Row) -> date | None:
        patient = self.findings[p["finding_id"]]["patient"]
        keys = {
            q["procedure_id"] for q in self.procedures if self.findings[q["finding_id"]]["patient"] == patient
        }
        found = [
            e["happened_on"] for e in self.all_events if e["kind"] == "death" and e["procedure_id"] in keys
        ]
        stated = self.patients[patient].get("death_date")
        if stated is not None and stated <= self.as_of:
            found.append(stated)
        return min(found, default=None)

    def later_tissue(self, p: Row) -> bool:
        repeated = any(self.reported(q) and self.days(p, self.day_of(q)) <= 365 for q in self.repeats(p))
        return repeated or bool(self.excised_within(p, 365))

    def worst_grade(self, p: Row) -> int:
        mine = [c for c in self.all_complications if c["procedure_id"] == p["procedure_id"]]
        return max((c["grade"] for c in mine if 0 <= self.days(p, c["onset_on"]) <= 30), default=0)

    def sampled_otherwise(self, p: Row) -> bool:
        for q in self.procedures:
            related = q["finding_id"] == p["finding_id"] or self.root(q) == self.root(p)
            other = q["procedure_id"] != p["procedure_id"]
            if related and other and self.sampled(q) and 0 <= self.days(p, self.day_of(q)) <= 60:
                return True
        return False

    # -- needle, specimens, marker -----------------------------------------------------

    def last_attempt(self, p: Row) -> Row | None:
        mine = [t for t in self.all_targeting if t["procedure_id"] == p["procedure_id"]]
        return max(mine, key=lambda t: t["attempt"]) if mine else None

    def verified(self, p: Row) -> bool:
        last = self.last_attempt(p)
        return last is not None and last["verification"] == "done"

    def error_vector(self, p: Row) -> list[float] | None:
        last = self.last_attempt(p)
        if last is None:
            return None
        achieved = [last.get(f"achieved_{a}_mm") for a in "xyz"]
        seen = [last.get(f"seen_{a}_mm") for a in "xyz"]
        planned = [last.get(f"planned_{a}_mm") for a in "xyz"]
        if None in achieved:
            return None
        reference = planned if None in seen else seen
        return [a - r for a, r in zip(achieved, reference, strict=True)]

    def specimens(self, p: Row) -> list[Row]:
        return [s for s in self.all_specimens if s["procedure_id"] == p["procedure_id"]]

    def uptake_readings(self, p: Row) -> list[str | None]:
        found = []
        for s in self.specimens(p):
            when = s.get("read_at") or s.get("scan_at")
            if when is None or when.date() <= self.as_of:
                found.append(s.get("uptake_seen"))
        return found

    def calcification_readings(self, p: Row) -> list[str | None]:
        return [s.get("calcifications_seen") for s in self.specimens(p)]

    def shift(self, p: Row) -> float | None:
        parts = [p.get(f"marker_shift_{a}_mm") for a in "xyz"]
        return None if None in parts else math.sqrt(sum(v * v for v in parts))

    def uptake_minutes(self, p: Row) -> float | None:
        if p.get("injected_at") is None:
            return None
        name = "started_at" if p.get("first_scan_at") is None else "first_scan_at"
        end = p[name] - timedelta(minutes=p.get(f"{name}_offset_min") or 0)
        begin = p["injected_at"] - timedelta(minutes=p.get("injected_at_offset_min") or 0)
        return (end - begin).total_seconds() / 60

    def concentration_ratio(self, p: Row) -> float | None:
        """Activity per gram in the scanned containers, over injected activity per gram of body."""
        mine = [s for s in self.specimens(p) if s.get("scan_at") is None or s["scan_at"].date() <= self.as_of]
        scans = [s for s in mine if s.get("counts") is not None]
        half_life = HALF_LIFE_MIN.get(p.get("tracer") or "")
        if not scans or half_life is None or p.get("injected_at") is None:
            return None
        if p.get("activity_mbq") is None or p.get("weight_kg") is None:
            return None
        activity, mass = 0.0, 0.0
        for scan in scans:
            with_it = [
                s for s in mine if s.get("counts") is None and s.get("scanned_with") == scan["specimen_id"]
            ]
            for s in [scan, *with_it]:
                if s.get("mass_g") is None:
                    return None
                mass += s["mass_g"]
            needed = ("scan_seconds", "background_counts", "calibration_cps_per_kbq", "scan_at")
            if any(scan.get(name) is None for name in needed):
                return None
            rate = scan["counts"] / scan["scan_seconds"] - scan["background_counts"] / scan["scan_seconds"]
            per_minute = math.log(2) / half_life
            during = per_minute * scan["scan_seconds"] / 60
            scan_moment = scan["scan_at"] - timedelta(minutes=scan.get("scan_at_offset_min") or 0)
            injection = p["injected_at"] - timedelta(minutes=p.get("injected_at_offset_min") or 0)
            before = per_minute * (scan_moment - injection).total_seconds() / 60
            activity += (
                rate / scan["calibration_cps_per_kbq"] * during / (1 - math.exp(-during)) * math.exp(before)
            )
        return (activity / mass) / (p["activity_mbq"] * 1000 / (p["weight_kg"] * 1000))


# -- exclusions that several measures share ------------------------------------------------


def _first(*steps: tuple[bool, str]) -> str | None:
    for applies, reason in steps:
        if applies:
            return reason
    return None


def _ns(r: Record, p: Row) -> tuple[bool, str]:
    return not r.sampled(p), "not sampled"


def _rp(r: Record, p: Row) -> tuple[bool, str]:
    return not r.index(p), "repeat procedure"


def _rw(r: Record, p: Row) -> tuple[bool, str]:
    return r.age(p) < 30, "report window not complete"


def _nr(r: Record, p: Row) -> tuple[bool, str]:
    return not r.reported(p), "no pathology report"


def _window(r: Record, p: Row, limit: int) -> tuple[bool, str]:
    return r.age(p) < limit, "window not complete"


def _early_report(r: Record, p: Row) -> tuple[bool, str]:
    first = r.first_report(p)
    return first is not None and (r.as_of - first).days < 14, "first report fewer than 14 days before as_of"


def _plain(reason: str | None, counts: bool) -> Verdict:
    return reason, counts, None


def _unknown(reason: str | None, counts: bool, *unknown: str) -> Verdict:
    return reason, counts, "u" if reason in unknown else None


# -- the measures --------------------------------------------------------------------------


def tissue_obtained(r: Record, p: Row) -> Verdict:
    return _plain(_first((p["status"] == "cancelled", "cancelled")), r.sampled(p))


def cancellation(r: Record, p: Row) -> Verdict:
    return _plain(None, p["status"] == "cancelled")


def target_seen(r: Record, p: Row) -> Verdict:
    said = p.get("target_seen")
    reason = _first(
        (p["guidance"] not in TRACER, "not tracer guided"), (said in (None, "not_applicable"), "not recorded")
    )
    return _plain(reason, said in ("yes", "faint"))


def _at_biopsy(r: Record, p: Row, kinds: set[str], *, repeats: bool = False) -> Verdict:
    steps = [_ns(r, p), *([] if repeats else [_rp(r, p)]), _rw(r, p), _nr(r, p)]
    return _plain(_first(*steps), r.diagnosis(p) in kinds)


def insufficient_sample(r: Record, p: Row) -> Verdict:
    return _at_biopsy(r, p, {"insufficient"}, repeats=True)


def cancer_at_biopsy(r: Record, p: Row) -> Verdict:
    return _at_biopsy(r, p, MALIGNANT)


def high_risk_yield(r: Record, p: Row) -> Verdict:
    return _at_biopsy(r, p, {"high_risk"})


def in_situ_share(r: Record, p: Row) -> Verdict:
    steps = (_ns(r, p), _rp(r, p), _rw(r, p), _nr(r, p), (r.diagnosis(p) not in MALIGNANT, "not malignant"))
    return _plain(_first(*steps), r.diagnosis(p) == "in_situ")


def ppv3(r: Record, p: Row) -> Verdict:
    suspicious = r.findings[p["finding_id"]]["assessment"] in ("4", "4A", "4B", "4C", "5")
    reason = _first(
        _ns(r, p),
        _rp(r, p),
        _window(r, p, 365),
        _nr(r, p),
        (not suspicious, "assessment not 4, 4a, 4b, 4c or 5"),
    )
    later = any(r.days(p, d) <= 365 for d in r.cancer_dates(p, BREAST_CANCER))
    return _plain(reason, r.diagnosis(p) in BREAST_CANCER or later)


def review_coverage(r: Record, p: Row) -> Verdict:
    return _plain(_first(_ns(r, p), _nr(r, p), _early_report(r, p)), bool(r.joint(p)))


def timely_review(r: Record, p: Row) -> Verdict:
    first, joint = r.first_report(p), r.joint(p)
    timely = first is not None and bool(joint) and (joint[0]["reviewed_on"] - first).days <= 14
    return _plain(_first(_ns(r, p), _nr(r, p), _early_report(r, p)), timely)


def _is_discordant(r: Record, p: Row) -> bool:
    first = r.first_conclusive(p)
    return first is not None and first["determination"] == "discordant"


def discordance(r: Record, p: Row) -> Verdict:
    reason = _first(_ns(r, p), _rw(r, p), _nr(r, p), (r.first_conclusive(p) is None, "no conclusive review"))
    return _unknown(reason, _is_discordant(r, p), "no conclusive review")


def discordant_benign(r: Record, p: Row) -> Verdict:
    benign = r.diagnosis(p) in BENIGN
    reason = _first(
        _ns(r, p),
        _rw(r, p),
        _nr(r, p),
        (r.first_conclusive(p) is None, "no conclusive review"),
        (not benign, "not a benign result"),
    )
    return reason, _is_discordant(r, p), "u" if reason == "no conclusive review" and benign else None


def discordant_suspicious_benign(r: Record, p: Row) -> Verdict:
    benign = r.diagnosis(p) in BENIGN
    suspicious = r.findings[p["finding_id"]]["assessment"] in ("4", "4A", "4B", "4C", "5")
    reason = _first(
        _ns(r, p),
        _rw(r, p),
        _nr(r, p),
        (r.first_conclusive(p) is None, "no conclusive review"),
        (not benign, "not a benign result"),
        (not suspicious, "assessment not 4, 4a, 4b, 4c or 5"),
    )
    is_unknown = reason == "no conclusive review" and benign and suspicious
    return reason, _is_discordant(r, p), "u" if is_unknown else None


def discordance_latest(r: Record, p: Row) -> Verdict:
    joint = r.joint(p)
    latest = joint[-1]["determination"] if joint else None
    reason = _first(
        _ns(r, p),
        _rw(r, p),
        _nr(r, p),
        (not joint, "not reviewed"),
        (latest == "indeterminate", "latest indeterminate"),
    )
    return _unknown(reason, latest == "discordant", "not reviewed", "latest indeterminate")


def discordant_resolved(r: Record, p: Row) -> Verdict:
    review = r.first_conclusive(p)
    discordant = _is_discordant(r, p)
    reason = _first(
        _ns(r, p),
        _nr(r, p),
        (not discordant, "not discordant"),
        (
            review is not None and (r.as_of - review["reviewed_on"]).days < 60,
            "that review fewer than 60 days before as_of",
        ),
    )
    done = False
    if review is not None:
        last = review["reviewed_on"] + timedelta(days=60)
        done = any(r.day_of(q) <= last for q in r.repeats(p)) or any(
            e["happened_on"] <= last for e in r.excisions(p)
        )
    return _plain(reason, done)


def cancer_in_discordant(r: Record, p: Row) -> Verdict:
    reason = _first(
        _ns(r, p),
        _nr(r, p),
        (not _is_discordant(r, p), "not discordant"),
        _window(r, p, 365),
        (not r.later_tissue(p), "no later tissue"),
    )
    return _unknown(reason, r.later_cancer_within(p, 365), "no later tissue")


def repeat_biopsy(r: Record, p: Row) -> Verdict:
    repeated = any(r.days(p, r.day_of(q)) <= 365 for q in r.repeats(p))
    return _plain(_first(_ns(r, p), _rp(r, p), _window(r, p, 365)), repeated)


def upgrade_high_risk_excised(r: Record, p: Row) -> Verdict:
    reason = _first(
        _ns(r, p),
        _rp(r, p),
        _window(r, p, 365),
        _nr(r, p),
        (r.diagnosis(p) != "high_risk", "not high-risk"),
        (not r.excised_within(p, 365), "not excised"),
    )
    return _unknown(reason, r.excision_diagnosis(p, 365) in MALIGNANT, "not excised")


def upgrade_high_risk_resolved(r: Record, p: Row) -> Verdict:
    reason = _first(
        _ns(r, p),
        _rp(r, p),
        _window(r, p, 730),
        _nr(r, p),
        (r.diagnosis(p) != "high_risk", "not high-risk"),
        (not r.resolved(p), "not resolved"),
    )
    return _unknown(reason, r.later_cancer_within(p, 730), "not resolved")


def upgrade_in_situ(r: Record, p: Row) -> Verdict:
    reason = _first(
        _ns(r, p),
        _rp(r, p),
        _window(r, p, 365),
        _nr(r, p),
        (r.diagnosis(p) != "in_situ", "not in situ"),
        (not r.excised_within(p, 365), "not excised"),
    )
    return _unknown(reason, r.excision_diagnosis(p, 365) in ("invasive", "other_malignant"), "not excised")


def _cancers(r: Record, p: Row) -> str | None:
    cancer = r.diagnosis(p) in MALIGNANT or r.later_cancer_within(p, 730)
    return _first(_ns(r, p), _rp(r, p), _window(r, p, 730), _nr(r, p), (not cancer, "no cancer"))


def missed_at_biopsy(r: Record, p: Row) -> Verdict:
    reason = _cancers(r, p)
    open_outcome = reason == "no cancer" and not r.resolved(p)
    return reason, r.diagnosis(p) not in MALIGNANT, "u" if open_outcome else None


def false_negative_benign(r: Record, p: Row) -> Verdict:
    reason, benign = _cancers(r, p), r.diagnosis(p) in BENIGN
    open_outcome = reason == "no cancer" and not r.resolved(p)
    return reason, benign, ("u" if benign else "v") if open_outcome else None


def false_omission(r: Record, p: Row) -> Verdict:
    reason = _first(
        _ns(r, p),
        _rp(r, p),
        _window(r, p, 730),
        _nr(r, p),
        (r.diagnosis(p) not in BENIGN, "not a benign result"),
        (not r.resolved(p), "not resolved"),
    )
    return _unknown(reason, r.later_cancer_within(p, 730), "not resolved")


def later_cancer_after_concordant(r: Record, p: Row) -> Verdict:
    review = r.first_conclusive(p)
    reason = _first(
        _ns(r, p),
        _rp(r, p),
        _window(r, p, 730),
        _nr(r, p),
        (r.diagnosis(p) not in BENIGN, "not a benign result"),
        (review is None or review["determination"] != "concordant", "first conclusive review not concordant"),
        (not r.resolved(p), "not resolved"),
    )
    return _unknown(reason, r.later_cancer_within(p, 730), "not resolved")


def later_cancer_after_not_sampled(r: Record, p: Row) -> Verdict:
    reason = _first(
        (r.sampled(p), "sampled"),
        (r.sampled_otherwise(p), "sampled otherwise"),
        _window(r, p, 730),
        (not r.resolved(p), "not resolved"),
    )
    return _unknown(reason, r.later_cancer_within(p, 730), "not resolved")


def follow_up_complete(r: Record, p: Row) -> Verdict:
    died = r.died(p)
    reason = _first(
        _ns(r, p),
        _rp(r, p),
        _window(r, p, 730),
        _nr(r, p),
        (r.diagnosis(p) not in BENIGN, "not a benign result"),
        (died is not None and r.days(p, died) <= 669, "died within 669 days"),
    )
    return _plain(reason, r.resolved(p))


def _complication(r: Record, p: Row, grade: int) -> Verdict:
    reason = _first(
        (p["status"] == "cancelled", "cancelled"), (r.age(p) < 30, "started fewer than 30 days before as_of")
    )
    return _plain(reason, r.worst_grade(p) >= grade)


def complication(r: Record, p: Row) -> Verdict:
    return _complication(r, p, 2)


def severe_complication(r: Record, p: Row) -> Verdict:
    return _complication(r, p, 3)


def sampling_confirmed(r: Record, p: Row) -> Verdict:
    last = r.last_attempt(p)
    signs = (
        last is not None and last.get("aperture_judgement") == "within",
        "yes" in r.uptake_readings(p),
        "yes" in r.calcification_readings(p),
        p.get("residual") in ("none", "reduced"),
    )
    shown = r.diagnosis(p) in MALIGNANT or (p.get("residual") != "unchanged" and any(signs))
    return _plain(_first(_ns(r, p)), shown)


def _read(r: Record, p: Row) -> bool:
    return any(u in ("yes", "no", "equivocal") for u in r.uptake_readings(p))


def specimen_scan_done(r: Record, p: Row) -> Verdict:
    return _plain(_first(_ns(r, p), (p["guidance"] not in TRACER, "not tracer guided")), _read(r, p))


def specimen_uptake(r: Record, p: Row) -> Verdict:
    reason = _first(
        _ns(r, p), (p["guidance"] not in TRACER, "not tracer guided"), (not _read(r, p), "specimens not read")
    )
    return _plain(reason, "yes" in r.uptake_readings(p))


def calcification_retrieval(r: Record, p: Row) -> Verdict:
    seen = r.calcification_readings(p)
    reason = _first(
        _ns(r, p),
        (r.findings[p["finding_id"]]["finding_type"] != "calcifications", "not calcifications"),
        (not any(s in ("yes", "no") for s in seen), "specimens not imaged"),
    )
    return _plain(reason, "yes" in seen)


def verification_done(r: Record, p: Row) -> Verdict:
    needed = p["guidance"] in ("pet_tracer", "gamma_tracer", "mri")
    reason = _first(_ns(r, p), (not needed, "guidance not pet_tracer, gamma_tracer or mri"))
    return _plain(reason, r.verified(p))


def _verified_steps(r: Record, p: Row) -> list[tuple[bool, str]]:
    last = r.last_attempt(p) or {}
    source = last.get("stand_in") == "radioactive_source" and last.get("length_matched") != "yes"
    return [
        _ns(r, p),
        (not last, "no targeting record"),
        (not r.verified(p), "not verified"),
        (source, "stand-in not matched"),
    ]


def targeted_within_5mm(r: Record, p: Row) -> Verdict:
    vector = r.error_vector(p)
    reason = _first(*_verified_steps(r, p), (vector is None, "position not recorded"))
    return _plain(reason, vector is not None and math.sqrt(sum(v * v for v in vector)) <= 5 + TOLERANCE)


def target_in_aperture(r: Record, p: Row) -> Verdict:
    judged = (r.last_attempt(p) or {}).get("aperture_judgement")
    reason = _first(*_verified_steps(r, p), (judged in (None, "not_judged"), "not judged"))
    return _plain(reason, judged == "within")


def safe_margin_kept(r: Record, p: Row) -> Verdict:
    margin = p.get("safe_margin_mm")
    reason = _first(_ns(r, p), (margin is None, "safe margin not recorded"))
    return _plain(reason, margin is not None and margin >= 20 - TOLERANCE)


def marker_placed(r: Record, p: Row) -> Verdict:
    return _plain(
        _first(_ns(r, p), (p.get("marker") is None, "marker not recorded")), p.get("marker") == "placed"
    )


def marker_documented(r: Record, p: Row) -> Verdict:
    said = p.get("post_mammogram")
    reason = _first(
        _ns(r, p),
        (p.get("marker") != "placed", "marker not placed"),
        (said is None, "mammogram not recorded"),
    )
    return _plain(reason, said == "yes")


def marker_within_10mm(r: Record, p: Row) -> Verdict:
    shift = r.shift(p)
    reason = _first(
        _ns(r, p), (p.get("marker") != "placed", "marker not placed"), (shift is None, "shift not recorded")
    )
    return _plain(reason, shift is not None and shift <= 10 + TOLERANCE)


def uptake_time_kept(r: Record, p: Row) -> Verdict:
    minutes = r.uptake_minutes(p)
    reason = _first(
        _ns(r, p),
        (p.get("tracer") is None, "no tracer given"),
        (p.get("tracer") != "F-18 FDG", "no window for this tracer"),
        (minutes is None, "injection time not recorded"),
    )
    return _plain(reason, minutes is not None and 45 - TOLERANCE <= minutes <= 90 + TOLERANCE)


PROPORTIONS = {
    function.__name__: function
    for function in (
        tissue_obtained,
        cancellation,
        target_seen,
        insufficient_sample,
        cancer_at_biopsy,
        ppv3,
        high_risk_yield,
        in_situ_share,
        review_coverage,
        timely_review,
        discordance,
        discordant_benign,
        discordant_suspicious_benign,
        discordance_latest,
        discordant_resolved,
        cancer_in_discordant,
        repeat_biopsy,
        upgrade_high_risk_excised,
        upgrade_high_risk_resolved,
        upgrade_in_situ,
        missed_at_biopsy,
        false_negative_benign,
        false_omission,
        later_cancer_after_concordant,
        later_cancer_after_not_sampled,
        follow_up_complete,
        complication,
        severe_complication,
        sampling_confirmed,
        specimen_scan_done,
        specimen_uptake,
        calcification_retrieval,
        verification_done,
        targeted_within_5mm,
        target_in_aperture,
        safe_margin_kept,
        marker_placed,
        marker_documented,
        marker_within_10mm,
        uptake_time_kept,
    )
}


# -- quantities: (reason, value) -----------------------------------------------------------

Measured = tuple[str | None, float | None]


def _gap(first: date | None, second: date | None) -> float | None:
    return None if first is None or second is None else float((second - first).days)


def finding_to_biopsy_days(r: Record, p: Row) -> Measured:
    return _first(_ns(r, p), _rp(r, p)), _gap(r.findings[p["finding_id"]]["found_on"], r.day_of(p))


def biopsy_to_report_days(r: Record, p: Row) -> Measured:
    return _first(_ns(r, p), _nr(r, p)), _gap(r.day_of(p), r.first_report(p))


def report_to_review_days(r: Record, p: Row) -> Measured:
    joint = r.joint(p)
    first = joint[0]["reviewed_on"] if joint else None
    return _first(_ns(r, p), _nr(r, p), (first is None, "not reviewed")), _gap(r.first_report(p), first)


def _position_steps(r: Record, p: Row) -> list[tuple[bool, str]]:
    return [*_verified_steps(r, p), (r.error_vector(p) is None, "position not recorded")]


def targeting_error_mm(r: Record, p: Row) -> Measured:
    vector = r.error_vector(p)
    return _first(*_position_steps(r, p)), None if vector is None else math.sqrt(sum(v * v for v in vector))


def _along(r: Record, p: Row) -> tuple[str | None, int, list[float]]:
    last = r.last_attempt(p) or {}
    oblique = last.get("needle_axis") == "oblique"
    reason = _first(*_position_steps(r, p), (oblique, "needle_axis oblique"))
    return reason, "xyz".find(last.get("needle_axis", "?")), r.error_vector(p) or [0.0, 0.0, 0.0]


def targeting_lateral_mm(r: Record, p: Row) -> Measured:
    reason, axis, vector = _along(r, p)
    return reason, math.sqrt(sum(v * v for place, v in enumerate(vector) if place != axis))


def targeting_depth_mm(r: Record, p: Row) -> Measured:
    reason, axis, vector = _along(r, p)
    sign = -1 if (r.last_attempt(p) or {}).get("needle_direction") == "minus" else 1
    return reason, sign * vector[axis]


def target_motion_mm(r: Record, p: Row) -> Measured:
    last = r.last_attempt(p) or {}
    seen = [last.get(f"seen_{a}_mm") for a in "xyz"]
    moved = None if None in seen else math.dist(seen, [last[f"planned_{a}_mm"] for a in "xyz"])
    return _first(_ns(r, p), (moved is None, "target not re-seen")), moved


def tip_clearance_mm(r: Record, p: Row) -> Measured:
    parts = [p.get(name) for name in ("safe_margin_mm", "aperture_mm", "dead_tip_mm")]
    left = None if None in parts else parts[0] - parts[1] / 2 - parts[2]
    return _first(_ns(r, p), (left is None, "any of it missing")), left


def marker_shift_mm(r: Record, p: Row) -> Measured:
    shift = r.shift(p)
    reason = _first(
        _ns(r, p), (p.get("marker") != "placed", "marker not placed"), (shift is None, "shift not recorded")
    )
    return reason, shift


def tissue_mass_g(r: Record, p: Row) -> Measured:
    masses = [s.get("mass_g") for s in r.specimens(p)]
    reason = _first(_ns(r, p), (not masses, "no specimen"), (None in masses, "any specimen without a mass"))
    return reason, sum(m for m in masses if m is not None)


def specimen_concentration_ratio(r: Record, p: Row) -> Measured:
    ratio = r.concentration_ratio(p)
    return _first(_ns(r, p), (ratio is None, "anything of it missing")), ratio


QUANTITIES = {
    function.__name__: function
    for function in (
        finding_to_biopsy_days,
        biopsy_to_report_days,
        report_to_review_days,
        targeting_error_mm,
        targeting_lateral_mm,
        targeting_depth_mm,
        target_motion_mm,
        tip_clearance_mm,
        marker_shift_mm,
        tissue_mass_g,
        specimen_concentration_ratio,
    )
}


def sampling_probability(r: Record, p: Row) -> tuple[str | None, list[float | None]]:
    """(reason, [x, y, z of the error vector, slice, measurement uncertainty]); the site states neither of the last."""
    last = r.last_attempt(p) or {}
    steps = _verified_steps(r, p)
    steps.insert(1, (p.get("device") != "vacuum_assisted", "not vacuum-assisted"))
    point = last.get("marked_point")
    not_carried = point in ("tip", "source_centre") and last.get("point_to_aperture_mm") is None
    vector = r.error_vector(p)
    reason = _first(
        *steps,
        (last.get("length_matched") == "no", "stand-in not matched"),
        (point is None, "marked point not stated"),
        (not_carried, "marked point not carried to the aperture"),
        (vector is None, "position not recorded"),
        (last.get("needle_axis") == "oblique", "needle_axis oblique"),
        (p.get("gauge") is None, "needle diameter not known"),
        (p.get("aperture_mm") is None, "aperture not recorded"),
        (r.findings[p["finding_id"]].get("size_mm") is None, "target size not recorded"),
        (last.get("slice_mm") is None, "slice thickness not known"),
        (last.get("measurement_sd_mm") is None, "measurement uncertainty not known"),
    )
    return reason, [*(vector or [None] * 3), last.get("slice_mm"), last.get("measurement_sd_mm")]


# -- the table and the curve ---------------------------------------------------------------


def b_category_accuracy(r: Record, p: Row) -> tuple[str | None, str | None, str]:
    """(reason, category, outcome m, b or n)."""
    category = r.b_category(p)
    reason = _first(_ns(r, p), _rp(r, p), _window(r, p, 365), _nr(r, p), (category is None, "no b category"))
    settled = ("target_removed", "therapy_response", "site_missed")
    adjudicated = any(e.get("adjudication") in settled for e in r.excised_within(p, 365))
    if r.later_cancer_within(p, 365) or (category == "B5" and adjudicated):
        return reason, category, "m"
    return reason, category, "b" if r.excised_within(p, 365) else "n"


def cancer_after_benign(r: Record, p: Row) -> tuple[str | None, tuple[int, int], tuple[int, int]]:
    """(reason, (days, status) of lost, (days, status) of free); 1 cancer, 2 death, 0 neither."""
    reason = _first(_ns(r, p), _rp(r, p), _nr(r, p), (r.diagnosis(p) not in BENIGN, "not a benign result"))
    cancer, death, clear = r.later_cancer(p), r.died(p), r.clear_until(p)
    known = max(0, r.days(p, clear)) if clear else 0
    if r.linkage_until is not None:
        known = max(known, r.days(p, min(r.linkage_until, r.as_of)))
    cancer_day = None if cancer is None else r.days(p, cancer)
    death_day = None if death is None else max(0, r.days(p, death))
    if cancer_day is not None and (death_day is None or cancer_day <= death_day):
        return reason, (cancer_day, 1), (cancer_day, 1)
    lost = (death_day, 2) if death_day is not None and death_day <= known else (known, 0)
    free = (death_day, 2) if death_day is not None else (r.age(p), 0)
    return reason, lost, free
