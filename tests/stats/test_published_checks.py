"""Every row of statistics_checks.json: published and cross-checked values.

The file names, for each row, where the input and the printed result come from, whether
that source was opened ("seen"), recalled ("memory") or whether the value rests on two
independent programs only ("computed"). The expected digits come from R and from other
Python packages, never from the code under test.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import asdict, is_dataclass
from math import exp, pi
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from registry import targeting, tracer
from registry.stats import (
    agreement,
    clustering,
    comparison,
    diagnostic,
    monitoring,
    planning,
    pooling,
    proportions,
    rates,
    regression,
    shrinkage,
    time_to_event,
    vectors,
)

ROWS = json.loads((Path(__file__).parents[1] / "published" / "statistics_checks.json").read_text("utf-8"))

Input = Mapping[str, Any]


def _interval(function: Callable[..., Any]) -> Callable[[Input], Any]:
    return lambda given: {"ci": function(given["x"], given["n"], given["conf"])}


def _two_groups(function: Callable[..., Any]) -> Callable[[Input], Any]:
    return lambda given: function(given["x1"], given["n1"], given["x2"], given["n2"], given["conf"])


def _pairs(function: Callable[..., Any]) -> Callable[[Input], Any]:
    return lambda given: function(given["a"], given["b"], given["c"], given["d"], given["conf"])


def _litters(given: Input) -> tuple[list[float], list[int], list[int]]:
    """One row per pup: treated or not, dead or not, litter."""
    rows = [
        (float(group == "TREAT"), outcome, litter)
        for litter, (group, y, n) in enumerate(zip(given["group"], given["y"], given["n"], strict=True))
        for outcome in [1] * y + [0] * (n - y)
    ]
    treated, dead, litter = zip(*rows, strict=True)
    return list(treated), list(dead), list(litter)


def _gee(correlation: str) -> Callable[[Input], Any]:
    return lambda given: regression.gee_logistic(*_litters(given), correlation)


def _ratings(given: Input) -> Any:
    """Counts per rating category, normal and abnormal, spread out to one row per patient."""
    outcome, marker = [], []
    for truth, counts in ((0, given["neg"]), (1, given["pos"])):
        for rating, count in enumerate(counts):
            outcome += [truth] * count
            marker += [rating] * count
    return diagnostic.roc_auc(outcome, marker)


def _haemorrhage(given: Input) -> Any:
    found = {name: diagnostic.roc_auc(given["outcome"], given[name]) for name in ("wfns", "s100b", "ndka")}
    return {
        **{f"auc_{name}": area.auc for name, area in found.items()},
        "var_s100b": found["s100b"].var,
        "ci_s100b": found["s100b"].ci,
    }


def _melanoma_causes(given: Input) -> list[int]:
    """Status there: 1 died of melanoma, 2 alive, 3 died of something else."""
    return [{1: 1, 2: 0, 3: 2}[status] for status in given["status"]]


def _melanoma_se(given: Input) -> Any:
    causes = _melanoma_causes(given)
    return {
        name: time_to_event.cumulative_incidence(given["time"], causes, given["at"], cause=cause).se
        for name, cause in (("melanoma", 1), ("other", 2))
    }


def _melanoma_naive(given: Input) -> Any:
    died = [int(status == 1) for status in given["status"]]
    return {"naive": 1.0 - time_to_event.kaplan_meier(given["time"], died, given["at"]).S}


def _steiner(given: Input) -> Any:
    risks = [1.0 / (1.0 + exp(3.68 - 0.077 * parsonnet)) for parsonnet in given["S"]]
    worse, better = given["odds_ratio"]
    return {
        "or2": monitoring.risk_adjusted_scores(risks, given["y"], worse),
        "or_half": monitoring.risk_adjusted_scores(risks, given["y"], better),
    }


def _benjamini(given: Input) -> Any:
    found = {method: monitoring.adjust_pvalues(given["p"], method) for method in ("bh", "holm")}
    return found | {f"n_reject_{method}": int((values <= 0.05).sum()) for method, values in found.items()}


def _bernoulli(given: Input) -> Any:
    p0, p1, height = given["p0"], given["pA"], given["h"]
    return {
        "in_control": monitoring.bernoulli_cusum_arl(p0, p1, height, p0),
        "out_of_control": monitoring.bernoulli_cusum_arl(p0, p1, height, p1),
    }


def _poisson(given: Input) -> Any:
    low, high = given["mean"]
    return {
        "in_control": monitoring.poisson_cusum_arl(given["k"], given["h"], low),
        "out_of_control": monitoring.poisson_cusum_arl(given["k"], given["h"], high),
    }


def _isotropic(given: Input) -> Any:
    from scipy.integrate import quad

    sigma = given["sigma"]
    space, plane = (0.0, 0.0, 0.0), (0.0, 0.0)
    return {
        "median3": targeting.radius_within(0.5, sigma, space),
        "q95_3": targeting.radius_within(0.95, sigma, space),
        "median2": targeting.radius_within(0.5, sigma, plane),
        "q95_2": targeting.radius_within(0.95, sigma, plane),
        # mean of a length = integral of the probability of exceeding it
        "mean3": quad(lambda r: 1.0 - targeting.probability_within(r, sigma, space), 0, 40, epsabs=1e-13)[0],
        "p_within_r5_s3": targeting.probability_within(5, 3, space),
        "p2_within_r5_s3": targeting.probability_within(5, 3, plane),
    }


def _biased(given: Input) -> Any:
    def bias(problem: Input) -> list[float]:
        return [problem["bias"]] + [0.0] * (problem["d"] - 1)

    first = given["cases"][0]
    return {
        "p": [targeting.probability_within(each["r"], each["sigma"], bias(each)) for each in given["cases"]],
        "q95": targeting.radius_within(0.95, first["sigma"], bias(first)),
    }


def _viviani(given: Input) -> Any:
    share = targeting.sphere_cylinder_fraction(given["R"], given["rho"], given["d"])
    return {"volume": share * 4 / 3 * pi * given["R"] ** 3}


def _decay(given: Input) -> Any:
    left = tracer.decay_factor("F-18", given["minutes"])
    return {
        "lam": np.log(2) / tracer.HALF_LIFE_MIN["F-18"],
        "f60": left[0],
        "f90": left[1],
        "corr75": 1 / left[2],
        "scan10": tracer.scan_average_factor("F-18", 60 * given["scan"]),
    }


def _bcg(given: Input) -> tuple[Any, Any]:
    """Log risk ratios of vaccinated against control, with their variances."""
    a, b, c, d = (np.array(given[name], dtype=float) for name in ("tpos", "tneg", "cpos", "cneg"))
    return np.log(a / (a + b) / (c / (c + d))), 1 / a - 1 / (a + b) + 1 / c - 1 / (c + d)


def _zero_events(given: Input) -> Any:
    hundred, fifty_nine = (planning.rule_of_three(n) for n in given["n"])
    return {"exact100": hundred.exact, "approx100": hundred.approx, "exact59": fifty_nine.exact}


RUN: dict[str, Callable[[Input], Any]] = {
    "prop.wilson": _interval(proportions.wilson_interval),
    "prop.clopper_pearson": _interval(proportions.exact_interval),
    "prop.midp": _interval(proportions.midp_interval),
    "prop.jeffreys": _interval(proportions.jeffreys_interval),
    "diff.newcombe": _two_groups(comparison.newcombe_difference),
    "diff.miettinen_nurminen": _two_groups(comparison.miettinen_nurminen_difference),
    "diff.mee": _two_groups(comparison.mee_difference),
    "ratio.katz": _two_groups(comparison.katz_ratio),
    "ratio.koopman": _two_groups(comparison.koopman_ratio),
    "ratio.miettinen_nurminen": _two_groups(comparison.miettinen_nurminen_ratio),
    "paired.tango": _pairs(comparison.tango_difference),
    "paired.newcombe10": _pairs(comparison.newcombe_paired_difference),
    "trend.cochran_armitage": lambda given: comparison.trend_test(**given),
    "het.chisq": lambda given: comparison.homogeneity_test(**given),
    "cluster.icc_deff": lambda given: clustering.anova_icc(**given),
    "cluster.wilson_deff": lambda given: {
        "ci": clustering.deflated_wilson_interval(given["x"], given["n"], given["deff"], given["conf"])
    },
    "cluster.ratio": lambda given: clustering.ratio_estimate(**given),
    "cluster.gee_independence": _gee("independence"),
    "cluster.gee_exchangeable": _gee("exchangeable"),
    "rate.garwood": lambda given: {"ci": rates.exact_rate_interval(given["count"], 1, given["conf"])},
    "rate.midp": lambda given: {"ci": rates.midp_rate_interval(given["count"], 1, given["conf"])},
    "rate.oe_exact": lambda given: rates.observed_expected(**given),
    "rate.byar": lambda given: {"ci": rates.byar_interval(given["observed"])},
    "agree.kappa": lambda given: agreement.cohen_kappa(given["table"]),
    "agree.kappa_linear": lambda given: agreement.cohen_kappa(**given),
    "agree.kappa_quadratic": lambda given: agreement.cohen_kappa(**given),
    "agree.ac2_quadratic": lambda given: agreement.gwet_ac(**given),
    "agree.paradox": lambda given: agreement.two_reader_summary(**given),
    "agree.fleiss_kappa": lambda given: agreement.fleiss_kappa(**given),
    "agree.ac1_multi": lambda given: agreement.gwet_ac_multi(**given),
    "diag.lr": lambda given: diagnostic.likelihood_ratios(**given),
    "diag.begg_greenes": lambda given: diagnostic.begg_greenes(**given),
    "roc.hanley_mcneil": _ratings,
    "roc.delong_auc": _haemorrhage,
    "roc.delong_compare": lambda given: diagnostic.compare_auc(**given),
    "followup.km_loglog": lambda given: time_to_event.kaplan_meier(**given),
    "followup.aalen_johansen_se": _melanoma_se,
    "followup.naive_1_minus_km": _melanoma_naive,
    "followup.turnbull": lambda given: time_to_event.turnbull(**given),
    "followup.fn_bounds": lambda given: proportions.bounds_with_missing(
        given["events"], given["followed"], given["missing"]
    ),
    "qc.p_chart": lambda given: monitoring.p_chart(**given),
    "qc.p_chart_revised": lambda given: monitoring.p_chart(**given),
    "qc.u_chart": lambda given: monitoring.u_chart(**given),
    "qc.ewma_arl": lambda given: {"arl": [monitoring.ewma_arl(*each) for each in given["cases"]]},
    "qc.ra_cusum_scores": _steiner,
    "qc.poisson_cusum_arl": _poisson,
    "qc.bernoulli_llr_cusum_arl": _bernoulli,
    "qc.bh": _benjamini,
    "qc.glmm_logit_normal": lambda given: shrinkage.logit_normal(**given),
    "qc.oe_poisson_binomial": lambda given: rates.observed_expected_from_risks(
        given["observed"], given["risk"]
    ),
    "target.hotelling": lambda given: vectors.hotelling_test(given["data"], given["mu0"]),
    "target.t2_region": lambda given: vectors.mean_region(given["data"], given["conf"]),
    "target.bland_altman_2sd": lambda given: vectors.bland_altman(**given, multiplier=2),
    "target.bland_altman_196": lambda given: vectors.bland_altman(**given, multiplier=1.96),
    "target.isotropic_radius": _isotropic,
    "target.biased_isotropic_radius": _biased,
    "target.overlap_viviani": _viviani,
    "target.overlap_offset": lambda given: {
        "fraction": [targeting.sphere_cylinder_fraction(*each) for each in given["cases"]]
    },
    "yield.beta_binomial": lambda given: {"p": shrinkage.any_positive(**given)},
    "yield.firth": lambda given: regression.firth_logistic(
        np.column_stack([given["NV"], given["PI"], given["EH"]]), given["y"]
    ),
    "decay.f18": _decay,
    "meta.reml": lambda given: pooling.random_effects(*_bcg(given), method="REML"),
    "meta.paule_mandel": lambda given: pooling.random_effects(*_bcg(given), method="PM"),
    "meta.glmm_logit": lambda given: pooling.pooled_proportion(**given),
    "size.precision_wald": lambda given: planning.trials_for_half_width(**given),
    "size.two_proportions": lambda given: {
        "n": [planning.two_group_trials(*each).n for each in given["cases"]]
    },
    "size.rule_of_three": _zero_events,
}

# Fifteen printed digits are more than two programs' last bits agree on.
DOUBLE = 1e-14

# The prints rest on 7 quadrature points, as the row's source says.
COARSE_PRINTS = {"meta.glmm_logit.catheter_control": 0.002, "meta.glmm_logit.catheter_treated": 0.002}


def _run(row: Mapping[str, Any]) -> Mapping[str, Any]:
    name = row["id"]
    result = RUN[name if name in RUN else name.rsplit(".", 1)[0]](row["input"])
    return asdict(result) if is_dataclass(result) else result


def _label(row: Mapping[str, Any]) -> str:
    return f"{row['id']}-{row['status']}"


def test_all_rows_are_driven() -> None:
    assert len(ROWS) == 96


@pytest.mark.parametrize("row", ROWS, ids=_label)
def test_value_agrees_with_other_programs(row: Mapping[str, Any]) -> None:
    found = _run(row)
    for key, expected in row["expected"].items():
        allowed = row["tolerance"][key] if isinstance(row["tolerance"], dict) else row["tolerance"]
        np.testing.assert_allclose(
            np.array(found[key], dtype=float),
            np.array(expected, dtype=float),
            rtol=0,
            atol=allowed,
            err_msg=f"{key} of {row['id']} ({row['status']}); computed by {row['computed_by']}",
        )


def _last_digit(printed: float) -> float:
    _, _, decimals = repr(printed).partition(".")
    return 10.0 ** -len(decimals)


@pytest.mark.parametrize("row", [row for row in ROWS if row["printed"]], ids=_label)
def test_print_is_reproduced_to_its_last_digit(row: Mapping[str, Any]) -> None:
    found = _run(row)
    for key, printed in row["printed"].items():
        name, _, index = key.partition(".")
        value = found[name][int(index)] if index else found[name]
        digits = np.vectorize(_last_digit)(printed)
        allowed = COARSE_PRINTS.get(row["id"], digits * 0.5 + DOUBLE)
        assert (np.abs(np.asarray(value) - np.asarray(printed)) <= allowed).all(), (
            f"{key} of {row['id']} ({row['status']}): {value} against {printed} in {row['source']}"
        )
