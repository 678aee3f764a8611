"""Statistics at work: each function of the agreed list is reached by product code, read from the syntax trees (0042).

A name counts as used where a module imports it (from ``registry.stats``, ``registry.targeting`` or
``registry.tracer``) and loads it, or loads it as an attribute of an imported module. From there the
uses are followed through those modules themselves, function by function.
"""

from __future__ import annotations

import ast
from collections import defaultdict
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
PURE = ("registry.stats", "registry.targeting", "registry.tracer")
PRODUCT = ("registry", "dashboards", "synthetic_data")

#: The agreed names of the functions, by module.
AGREED = {
    "registry.stats.proportions": "wilson_interval exact_interval midp_interval jeffreys_interval upper_bound_no_events bounds_with_missing",
    "registry.stats.comparison": "newcombe_difference miettinen_nurminen_difference mee_difference katz_ratio koopman_ratio "
    "miettinen_nurminen_ratio mcnemar tango_difference newcombe_paired_difference trend_test homogeneity_test",
    "registry.stats.clustering": "ratio_estimate anova_icc clustered_wilson_interval rao_scott_test",
    "registry.stats.rates": "exact_rate_interval midp_rate_interval rate_ratio observed_expected observed_expected_from_risks",
    "registry.stats.agreement": "cohen_kappa gwet_ac fleiss_kappa gwet_ac_multi two_reader_summary",
    "registry.stats.diagnostic": "accuracy likelihood_ratios begg_greenes verification_bounds roc_auc compare_auc best_threshold",
    "registry.stats.time_to_event": "kaplan_meier cumulative_incidence turnbull logrank",
    "registry.stats.monitoring": "p_chart u_chart funnel_limits overdispersion adjust_pvalues bernoulli_cusum bernoulli_cusum_arl "
    "risk_adjusted_scores normal_cusum_arl binomial_cusum_arl poisson_cusum_arl ewma_arl",
    "registry.stats.shrinkage": "beta_binomial logit_normal",
    "registry.stats.pooling": "random_effects pooled_proportion",
    "registry.stats.regression": "firth_logistic gee_logistic",
    "registry.stats.planning": "trials_for_half_width trials_to_detect two_group_trials rule_of_three",
    "registry.stats.vectors": "hotelling_test mean_region radius_quantile bland_altman order_statistic_ranks",
    "registry.targeting": "decompose_error probability_within sphere_cylinder_fraction wedge_fraction sampling_probability slice_sd",
    "registry.tracer": "decay_factor scan_average_factor net_rate specimen_uptake source_activity effective_dose",
}
_CHECK = "kept for checks from outside: "
#: Agreed, and not reached; why. A line whose function is reached must go.
ASIDE = {
    "mee_difference": _CHECK
    + "comparisons show Miettinen-Nurminen, which differs by a factor of n - 1 over n",
    "katz_ratio": _CHECK + "comparisons show score intervals of the ratio, which hold for few events too",
    "midp_rate_interval": _CHECK + "rates of cancer show the exact interval",
    "bernoulli_cusum": _CHECK + "pages run the same sum in whole steps, lattice_cusum",
    "bernoulli_cusum_arl": _CHECK + "as bernoulli_cusum; pages use lattice_cusum_run_length",
    "normal_cusum_arl": _CHECK
    + "measured quantities are watched by weighted means, whose run length is ewma_arl",
    "binomial_cusum_arl": _CHECK + "procedures are watched one by one, not by batches",
    "poisson_cusum_arl": _CHECK + "procedures are watched one by one, not by counts in a time",
    "wedge_fraction": _CHECK + "the witness of the lattice rule over sampled hours",
    "gee_logistic": "enters with the regression of a cohort",
}
#: May come to work in a change of its own without being named here as stale.
ENTERING = {"gee_logistic"}

Name = tuple[str, str]


def module_name(path: Path) -> str:
    parts = path.relative_to(ROOT).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


@cache
def trees() -> dict[str, ast.Module]:
    return {
        module_name(path): ast.parse(path.read_text(encoding="utf-8"))
        for package in PRODUCT
        for path in sorted((ROOT / package).rglob("*.py"))
    }


def is_pure(module: str) -> bool:
    return any(module == one or module.startswith(f"{one}.") for one in PURE)


def imported(tree: ast.AST) -> tuple[dict[str, Name], dict[str, str]]:
    """Local names of imported things of the pure modules, and of the modules themselves."""
    things, modules = {}, {}
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom) and node.module:
            for one in node.names:
                local, whole = one.asname or one.name, f"{node.module}.{one.name}"
                if whole in trees():
                    modules[local] = whole
                elif is_pure(node.module):
                    things[local] = (node.module, one.name)
        elif isinstance(node, ast.Import):
            modules |= {one.asname or one.name: one.name for one in node.names if one.name in trees()}
    return things, modules


def uses(node: ast.AST, things: dict[str, Name], modules: dict[str, str], own: str = "") -> set[Name]:
    """Names of pure modules that a piece of code loads; ``own`` is the module whose names it sees without import."""
    found: set[Name] = set()
    for one in ast.walk(node):
        if isinstance(one, ast.Name) and isinstance(one.ctx, ast.Load):
            found.add(things.get(one.id, (own, one.id)))
        elif isinstance(one, ast.Attribute) and isinstance(one.value, ast.Name) and one.value.id in modules:
            found.add((modules[one.value.id], one.attr))
    return {one for one in found if is_pure(one[0])}


@cache
def graph() -> tuple[frozenset[Name], dict[Name, set[Name]]]:
    """What product code outside the pure modules uses, and what each definition of these uses in turn."""
    roots: set[Name] = set()
    inner: dict[Name, set[Name]] = defaultdict(set)
    for module, tree in trees().items():
        things, modules = imported(tree)
        if not is_pure(module):
            roots |= uses(tree, things, modules)
            continue
        for local, thing in things.items():
            inner[module, local].add(thing)
        for node in tree.body:
            if isinstance(node, ast.FunctionDef | ast.ClassDef):
                inner[module, node.name] |= uses(node, things, modules, module)
            elif isinstance(node, ast.Assign | ast.AnnAssign) and node.value is not None:
                targets = node.targets if isinstance(node, ast.Assign) else [node.target]
                for target in targets:
                    inner[module, ast.unparse(target)] |= uses(node.value, things, modules, module)
    return frozenset(roots), dict(inner)


@cache
def reached() -> frozenset[Name]:
    roots, inner = graph()
    found, waiting = set(roots), list(roots)
    while waiting:
        for one in inner.get(waiting.pop(), set()) - found:
            found.add(one)
            waiting.append(one)
    return frozenset(found)


def home(module: str, name: str) -> Name:
    """Where a name is defined: modules hand on what others define."""
    _, inner = graph()
    tree = trees()[module]
    if any(isinstance(node, ast.FunctionDef) and node.name == name for node in tree.body):
        return module, name
    (thing,) = inner[module, name]
    return home(*thing)


NAMES = [(module, name) for module, names in AGREED.items() for name in names.split()]


@pytest.mark.parametrize(("module", "name"), NAMES, ids=[name for _, name in NAMES])
def test_an_agreed_function_is_at_work_or_says_why_not(module: str, name: str):
    is_reached = home(module, name) in reached()

    if name in ENTERING and is_reached:
        return
    if name in ASIDE:
        assert not is_reached, f"{name} is at work: take its line out of ASIDE"
    else:
        assert is_reached, f"{module}.{name} is used by no page, command or service"


def test_a_name_that_nobody_loads_is_not_reached():
    """The walk can fail: this one is imported by the measures, but is a type only."""
    assert ("registry.stats.arguments", "nothing_of_this_name") not in reached()
    assert ("registry.stats.cores", "pattern_probability") not in reached()


def test_what_a_reached_function_uses_is_reached():
    """exact_interval is used by rate_ratio, which the comparison uses."""
    assert ("registry.stats.proportions", "exact_interval") in reached()
