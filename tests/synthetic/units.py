"""Denominators and numerators of measures, derived from the tables alone.

Definitions are those of the measure headers, written here a second time in polars so
that truth.json can be checked against something that is not the generator.
"""

from __future__ import annotations

import polars as pl

from tests.synthetic.conftest import UNTIL, Generated

MALIGNANT = ["in_situ", "invasive", "other_malignant"]
BENIGN = ["normal", "benign"]
TRACER = pl.col("guidance").is_in(["pet_tracer", "gamma_tracer"])
SAMPLED = pl.col("status") == "completed"


def _old(days: int) -> pl.Expr:
    return pl.lit(UNTIL) - pl.col("day") >= pl.duration(days=days)


def _any(frame: pl.DataFrame) -> pl.Expr:
    """Whether the procedure occurs in the frame."""
    return pl.col("procedure_id").is_in(frame["procedure_id"].implode())


def _roots(data: Generated) -> dict[str, str]:
    parents = dict(data.procedures.select("procedure_id", "repeat_of").iter_rows())
    roots = {}
    for one in parents:
        top = one
        while parents[top] is not None:
            top = parents[top]
        roots[one] = top
    return roots


def reported(data: Generated) -> pl.DataFrame:
    """Reported procedures with diagnosis, and ``index``: the first sampled one of its chain."""
    sampled = data.procedures.filter(SAMPLED).select("procedure_id", "started_at")
    first = (
        sampled.with_columns(root=pl.col("procedure_id").replace_strict(_roots(data)))
        .sort("started_at", "procedure_id")
        .unique("root", keep="first", maintain_order=True)
    )
    return data.procedures.join(data.diagnoses, on="procedure_id").with_columns(index=_any(first))


def _insufficient_sample(data: Generated) -> pl.DataFrame:
    return reported(data).filter(_old(30)).with_columns(yes=pl.col("diagnosis") == "insufficient")


def _cancer_at_biopsy(data: Generated) -> pl.DataFrame:
    return (
        reported(data)
        .filter(_old(30) & pl.col("index"))
        .with_columns(yes=pl.col("diagnosis").is_in(MALIGNANT))
    )


def _high_risk_yield(data: Generated) -> pl.DataFrame:
    return (
        reported(data).filter(_old(30) & pl.col("index")).with_columns(yes=pl.col("diagnosis") == "high_risk")
    )


def _in_situ_share(data: Generated) -> pl.DataFrame:
    return _cancer_at_biopsy(data).filter("yes").with_columns(yes=pl.col("diagnosis") == "in_situ")


def _discordance(data: Generated) -> pl.DataFrame:
    decided = reported(data).filter(_old(30)).join(data.first_conclusive, on="procedure_id")
    return decided.with_columns(yes=pl.col("determination") == "discordant")


def _discordant_benign(data: Generated) -> pl.DataFrame:
    return _discordance(data).filter(pl.col("diagnosis").is_in(BENIGN))


def _first_report(data: Generated) -> pl.DataFrame:
    """Earliest final or amended version of the groups whose last version is not retracted."""
    group = ["report_id", "procedure_id", "specimen_id"]
    versions = data.table("pathology").filter(pl.col("status") != "preliminary").sort("version")
    last = pl.col("status").last().over(group, order_by="version")
    standing = versions.filter(last != "retracted")
    return standing.group_by("procedure_id").agg(pl.col("reported_on").min())


def _first_joint(data: Generated) -> pl.DataFrame:
    joint = data.table("reviews").filter(pl.col("stage") == "joint")
    return joint.group_by("procedure_id").agg(pl.col("reviewed_on").min())


def _review_coverage(data: Generated) -> pl.DataFrame:
    due = data.procedures.filter(SAMPLED).join(_first_report(data), on="procedure_id")
    due = due.filter(pl.lit(UNTIL) - pl.col("reported_on") >= pl.duration(days=14))
    due = due.join(_first_joint(data), on="procedure_id", how="left")
    return due.with_columns(yes=pl.col("reviewed_on").is_not_null())


def _timely_review(data: Generated) -> pl.DataFrame:
    within = pl.col("reviewed_on") - pl.col("reported_on") <= pl.duration(days=14)
    return _review_coverage(data).with_columns(yes=within.fill_null(False))


def _attempted(data: Generated) -> pl.DataFrame:
    return data.procedures.filter(pl.col("status") != "cancelled")


def _tissue_obtained(data: Generated) -> pl.DataFrame:
    return _attempted(data).with_columns(yes=SAMPLED)


def _cancellation(data: Generated) -> pl.DataFrame:
    return data.procedures.with_columns(yes=pl.col("status") == "cancelled")


def _target_seen(data: Generated) -> pl.DataFrame:
    known = data.procedures.filter(TRACER & pl.col("target_seen").is_in(["yes", "faint", "no"]))
    return known.with_columns(yes=pl.col("target_seen") != "no")


def _complications(data: Generated, grade: int) -> pl.DataFrame:
    struck = (
        data.table("complications").filter(pl.col("grade") >= grade).join(data.procedures, on="procedure_id")
    )
    struck = struck.filter(pl.col("onset_on") - pl.col("day") <= pl.duration(days=30))
    return _attempted(data).filter(_old(30)).with_columns(yes=_any(struck))


def _complication(data: Generated) -> pl.DataFrame:
    return _complications(data, 2)


def _severe_complication(data: Generated) -> pl.DataFrame:
    return _complications(data, 3)


def _safe_margin_kept(data: Generated) -> pl.DataFrame:
    known = data.procedures.filter(SAMPLED & pl.col("safe_margin_mm").is_not_null())
    return known.with_columns(yes=pl.col("safe_margin_mm") >= 20)


def _marker_placed(data: Generated) -> pl.DataFrame:
    return data.procedures.filter(SAMPLED & pl.col("marker").is_not_null()).with_columns(
        yes=pl.col("marker") == "placed"
    )


def _marker_documented(data: Generated) -> pl.DataFrame:
    known = _marker_placed(data).filter(pl.col("yes") & pl.col("post_mammogram").is_not_null())
    return known.with_columns(yes=pl.col("post_mammogram") == "yes")


def _marker_within_10mm(data: Generated) -> pl.DataFrame:
    measured = _marker_placed(data).filter(pl.col("yes") & pl.col("marker_shift_x_mm").is_not_null())
    length = sum(pl.col(f"marker_shift_{axis}_mm") ** 2 for axis in "xyz").sqrt()
    return measured.with_columns(yes=length <= 10)


def _uptake_time_kept(data: Generated) -> pl.DataFrame:
    fdg = data.procedures.filter(
        SAMPLED & (pl.col("tracer") == "F-18 FDG") & pl.col("injected_at").is_not_null()
    )
    minutes = (pl.coalesce("first_scan_at", "started_at") - pl.col("injected_at")).dt.total_minutes()
    return fdg.with_columns(yes=minutes.is_between(45, 90))


def _verification_done(data: Generated) -> pl.DataFrame:
    last = data.table("targeting").sort("attempt").group_by("procedure_id", maintain_order=True).last()
    by_scanner = data.procedures.filter(SAMPLED & (TRACER | (pl.col("guidance") == "mri")))
    return by_scanner.with_columns(yes=_any(last.filter(pl.col("verification") == "done")))


def _specimen_scan_done(data: Generated) -> pl.DataFrame:
    read = data.table("specimens").filter(pl.col("uptake_seen").is_in(["yes", "no", "equivocal"]))
    return data.procedures.filter(SAMPLED & TRACER).with_columns(yes=_any(read))


def _specimen_uptake(data: Generated) -> pl.DataFrame:
    seen = data.table("specimens").filter(pl.col("uptake_seen") == "yes")
    return _specimen_scan_done(data).filter("yes").with_columns(yes=_any(seen))


def _calcification_retrieval(data: Generated) -> pl.DataFrame:
    answered = data.table("specimens").filter(pl.col("calcifications_seen").is_in(["yes", "no"]))
    target = data.procedures.filter(SAMPLED & (pl.col("finding_type") == "calcifications") & _any(answered))
    return target.with_columns(yes=_any(answered.filter(pl.col("calcifications_seen") == "yes")))


def _upgrade_in_situ(data: Generated) -> pl.DataFrame:
    in_situ = reported(data).filter(pl.col("index") & _old(365) & (pl.col("diagnosis") == "in_situ"))
    excised = data.table("followup").filter(
        (pl.col("kind") == "excision") & (pl.col("same_site") != "no").fill_null(True)
    )
    excised = excised.select("procedure_id", "happened_on", later="diagnosis").join(
        in_situ, on="procedure_id"
    )
    within = excised.filter(pl.col("happened_on") - pl.col("day") <= pl.duration(days=365))
    return within.with_columns(yes=pl.col("later").is_in(["invasive", "other_malignant"]))


UNITS = {
    "calcification_retrieval": _calcification_retrieval,
    "cancellation": _cancellation,
    "cancer_at_biopsy": _cancer_at_biopsy,
    "complication": _complication,
    "discordance": _discordance,
    "discordant_benign": _discordant_benign,
    "high_risk_yield": _high_risk_yield,
    "in_situ_share": _in_situ_share,
    "insufficient_sample": _insufficient_sample,
    "marker_documented": _marker_documented,
    "marker_placed": _marker_placed,
    "marker_within_10mm": _marker_within_10mm,
    "review_coverage": _review_coverage,
    "safe_margin_kept": _safe_margin_kept,
    "severe_complication": _severe_complication,
    "specimen_scan_done": _specimen_scan_done,
    "specimen_uptake": _specimen_uptake,
    "target_seen": _target_seen,
    "timely_review": _timely_review,
    "tissue_obtained": _tissue_obtained,
    "upgrade_in_situ": _upgrade_in_situ,
    "uptake_time_kept": _uptake_time_kept,
    "verification_done": _verification_done,
}


def units_of(data: Generated, measure: str) -> pl.DataFrame:
    """Procedures of the denominator of a measure, with ``yes``: in the numerator."""
    return UNITS[measure](data)
