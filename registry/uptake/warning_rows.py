"""Readings against diagnosis and outcome, two markers, two examinations: as flat rows for table and command."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from registry.uptake.planning_and_day import SameLesion
    from registry.uptake.warning import AgainstDiagnosis, MissedCancer, TwoMarkers

Limits = tuple[float | None, float | None]
WILSON = "Wilson"
TIMES, POINTS = "times", ""


@dataclass(frozen=True)
class Figure:
    """One row: ``x`` of ``n`` where it is a count, ``value`` with ``limits`` where it may be shown, and how it was found.

    ``unit`` is ``times`` for a ratio, empty for a share or a difference. ``method`` says why
    there is no value where there is none.
    """

    what: str
    x: int | None = None
    n: int | None = None
    value: float | None = None
    limits: Limits = (None, None)
    unit: str = ""
    method: str = ""


def of_diagnosis(made: AgainstDiagnosis, minimum: int) -> list[Figure]:
    """Sensitivity and its like, predictive values, likelihood ratios."""
    seen, unseen = made.seen_malignant + made.seen_other, made.unseen_malignant + made.unseen_other
    shares = (
        ("malignant: uptake seen (sensitivity)", made.seen_malignant, made.malignant, made.accuracy.sens_ci),
        ("not malignant: no uptake seen (specificity)", made.unseen_other, made.other, made.accuracy.spec_ci),
        ("uptake seen: malignant (predictive value)", made.seen_malignant, seen, made.accuracy.ppv_ci),
        ("no uptake seen: not malignant (predictive value)", made.unseen_other, unseen, made.accuracy.npv_ci),
    )
    rows = [_share(what, x, n, limits, minimum) for what, x, n, limits in shares]
    few = _few(min(made.malignant, made.other), minimum)
    for what, value, limits in (
        (
            "uptake seen multiplies the odds of malignancy by (likelihood ratio)",
            made.ratios.lr_pos,
            made.ratios.lr_pos_ci,
        ),
        ("no uptake seen multiplies them by (likelihood ratio)", made.ratios.lr_neg, made.ratios.lr_neg_ci),
    ):
        method = few or made.ratios.reason or "logarithms (Simel)"
        rows.append(
            Figure(
                what,
                value=None if few else value,
                limits=(None, None) if few else limits,
                unit=TIMES,
                method=method,
            )
        )
    return rows


def of_missed(made: MissedCancer, minimum: int) -> list[Figure]:
    """Counts first, then the corrected shares, then what the unknown leave open."""
    rows = []
    for name, (cancer, clear, unknown) in (
        ("no uptake seen", made.without),
        ("uptake seen", made.with_),
    ):
        known = cancer + clear
        rows.append(Figure(f"{name}: cancer came to light, of those whose outcome is known", cancer, known))
        rows.append(Figure(f"{name}: outcome not known", unknown, known + unknown))
    found, bounds = made.corrected, made.bounds
    few = _few(made.n, minimum)
    for what, value, limits, error, wide in (
        (
            "cancers after which no uptake had been seen",
            found.sens,
            found.sens_ci,
            found.se_sens,
            bounds.sens,
        ),
        (
            "clear targets in which uptake had been seen",
            found.spec,
            found.spec_ci,
            found.se_spec,
            bounds.spec,
        ),
    ):
        why_not = "" if error is not None else found.reason if made.cancers else "no cancer came to light"
        method = few or why_not or "Begg and Greenes"
        shown = not few and value is not None
        rows.append(
            Figure(
                f"{what}, corrected",
                value=value if shown else None,
                limits=limits if shown else (None, None),
                method=method,
            )
        )
        rows.append(
            Figure(
                f"{what}, whatever the unknown turn out to be",
                limits=(None, None) if few else wide,
                method=few or "bounds, no assumption",
            )
        )
    return rows


def of_markers(made: TwoMarkers, minimum: int) -> list[Figure]:
    """Difference of the areas."""
    found = made.comparison
    few = _few(min(made.malignant, made.n - made.malignant), minimum)
    method = few or found.reason or f"DeLong, same procedures; p {_p(found.p)}"
    return [
        Figure(
            "area under the curve: specimens less lesion (SUV max)",
            made.malignant,
            made.n,
            None if few else found.diff,
            (None, None) if few else found.ci,
            method=method,
        )
    ]


def of_lesion(made: SameLesion, minimum: int) -> list[Figure]:
    """Bias and limits of agreement, as quotients."""
    few = _few(made.n, minimum)
    method = few or made.reason or "geometric mean, t"
    rows = [
        Figure(
            "ratio on the day over that at planning, mean",
            n=made.n,
            value=None if few else made.bias,
            limits=(None, None) if few else made.bias_ci,
            unit=TIMES,
            method=method,
        )
    ]
    for what, value, limits in (
        ("lower limit of agreement", made.limits[0], made.lower_ci),
        ("upper limit of agreement", made.limits[1], made.upper_ci),
    ):
        rows.append(
            Figure(
                what,
                n=made.n,
                value=None if few else value,
                limits=(None, None) if few else limits,
                unit=TIMES,
                method=few or made.reason or "Bland and Altman, logarithms",
            )
        )
    return rows


def _share(what: str, x: int, n: int, limits: Limits, minimum: int) -> Figure:
    few = _few(n, minimum)
    return Figure(what, x, n, None if few else x / n, (None, None) if few else limits, method=few or WILSON)


def _few(n: int, minimum: int) -> str:
    if n == 0:
        return "no procedures"
    return f"fewer than {minimum}" if n < minimum else ""


def _p(p: float | None) -> str:
    if p is None:
        return "none"
    return "below 0.001" if p < 0.001 else f"{p:.2g}"
