"""Sections of the page on targeting: each a sentence first, then its drawing."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from dashboards import session
from dashboards.answers import aim
from dashboards.components import aim_words, cautions, words
from dashboards.components.aim_lanes import AimRow, aim_lanes
from dashboards.components.aim_planes import aim_planes
from dashboards.components.attempts_plot import attempts_plot
from dashboards.components.groups import stratum_label, stratum_name
from dashboards.components.markup import element, show
from dashboards.components.whose import own_results_only
from registry.aim import STRATA
from registry.aim.within import sentence

if TYPE_CHECKING:
    from registry.aim import Basis

_SMALLEST_PICTURE = 3
"""Fewer pairs are told in words alone."""


def total_error() -> None:
    """How far from the target, and what has no direction."""
    found = aim.summary(None)
    minimum = session.minimum_n()
    _result(aim_words.spread(found.error, "from the target", minimum))
    _beside(words.excluded(found.excluded))
    if text := aim_words.without_direction(found):
        _beside(text, attention=True)


def chosen_basis() -> Basis | None:
    """The directions that are chosen; None, and why, where the page gives total errors only."""
    known = aim.bases()
    if not known:
        _beside(
            "No procedure with a usable position names a registered coordinate frame, so the page gives total errors only. "
            "What x, y and z mean in the breast is stated in site.toml, under [frames].",
            attention=True,
        )
        return None
    texts = [f"{basis.name}: {words.plural(n, 'procedure')}" for basis, n in known]
    chosen = st.selectbox("Directions", range(len(texts)), format_func=texts.__getitem__)
    return known[chosen][0]


def systematic_part(basis: Basis) -> None:
    """Whether the errors share a direction, and the three planes."""
    found = aim.summary(basis)
    if found.error_mean is None:
        return
    minimum = session.minimum_n()
    _result(aim_words.systematic(found.error_mean, basis, "the aperture lay {} of the target", minimum))
    if text := aim_words.left_aside(found, basis):
        _beside(text)
    for one in aim.within(basis):
        _beside(sentence(one, minimum).replace(" %", f"{words.NARROW}%"))
    drawn, planes = aim.drawn(basis)
    aim_planes(drawn, planes, basis, found.error_mean if found.error_mean.n >= minimum else None)


def groups(basis: Basis | None) -> None:
    """Errors by approach, device, operator, period: in the order of the codes."""
    names = list(STRATA)
    sidebar = session.filters().by
    by = st.selectbox(
        "Split by",
        names,
        index=names.index(sidebar) if sidebar in names else 0,
        format_func=lambda name: stratum_name(name).capitalize(),
    )
    if by in ("operator", "site") and sidebar not in ("operator", "site"):
        cautions.caution(cautions.COMPARE)
    own_results_only(by)
    rows = [
        AimRow(stratum_label(by, name), one.error, one.error_mean, one.procedures - one.error.n)
        for name, one in aim.by_stratum(by, basis)
    ]
    aim_lanes(
        rows,
        basis,
        session.minimum_n(),
        caption=f"Targeting error by {stratum_name(by)}",
        key=f"targeting error by {by}",
    )


def attempts() -> None:
    """First attempt against last."""
    found, minimum = aim.summary(None).attempts, session.minimum_n()
    _result(aim_words.moved(found, minimum))
    _beside(
        "A needle is moved because its first position was off, so part of what was gained is chance (regression to the mean): read this as "
        "what followed moving, and look at the first attempts of all for the aim."
    )
    _beside(f"First attempts of all: {aim_words.spread(found.first, 'from the target', minimum)}")
    if found.moved_without_first:
        _beside(
            f"{words.plural(found.moved_without_first, 'procedure')} with several attempts left out: the first was not verified, or its position is not usable."
        )
    if found.moved.n >= max(minimum, _SMALLEST_PICTURE):
        attempts_plot(aim.pairs())


def motion(basis: Basis | None) -> None:
    """Motion of the target, apart from the error of the needle."""
    found, minimum = aim.summary(basis), session.minimum_n()
    _result(aim_words.spread(found.motion, "between planning and verification", minimum))
    _beside(
        f"{words.plural(found.from_seen, 'error')} of {words.count(found.error.n)} are counted from the target as it was seen again, and hold no motion; "
        "the others are counted from the plan, and hold whatever motion there was."
    )
    if basis is None or found.motion_mean is None:
        return
    if found.motion_mean.mean is not None and found.motion_mean.n >= minimum:
        _beside(aim_words.systematic(found.motion_mean, basis, "the target had moved {}", minimum))
    rows = [
        AimRow("Error of the needle", found.error, found.error_mean),
        AimRow("Motion of the target", found.motion, found.motion_mean),
    ]
    aim_lanes(
        rows, basis, minimum, caption="Needle error and target motion", key="needle error and target motion"
    )


def _result(text: str) -> None:
    show(element("p", text, class_="result"))


def _beside(text: str, *, attention: bool = False) -> None:
    show(element("p", text, class_="beside attention" if attention else "beside"))
