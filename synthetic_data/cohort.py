"""All procedures of the invented service: first biopsies, their repeats, and the repeats of those."""

from __future__ import annotations

import numpy as np

from synthetic_data import results, steps, verdicts, visits
from synthetic_data.columns import MINUTES_PER_DAY, Columns, Rng, code, draw, stack
from synthetic_data.setting import Setting

#: Rounds of repeats: repeats of first biopsies, of repeats, and of repeats of repeats.
_ROUNDS = 3
_SAME_OPERATOR, _SAME_GUIDANCE = 0.5, 0.75


def _run(setting: Setting, level: int, batch: Columns) -> Columns:
    """Carry out, report, review and follow one round of procedures."""
    rng = setting.stream(f"round {level}")
    batch = results.carry_out(setting, rng, batch)
    batch = verdicts.review(setting, rng, verdicts.report(setting, rng, batch))
    batch = Columns(batch, hidden=results.hide(setting, rng, batch))
    return steps.follow(setting, rng, batch, last=level == _ROUNDS)


def _first(setting: Setting, procedures: int) -> Columns:
    batch = visits.first_biopsies(setting, procedures)
    nowhere = np.full(batch.rows, -1)
    return Columns(
        batch,
        reason=nowhere,
        parent=nowhere,
        hidden_before=np.full(batch.rows, results.UNKNOWN),
        new_finding=np.zeros(batch.rows, dtype=bool),
    )


def _repeats(setting: Setting, rng: Rng, before: Columns, offset: int) -> Columns:
    """The repeats that the procedures of one round led to."""
    number = np.flatnonzero(before["step"] == steps.REPEAT)
    of = before.at(number)
    rows = of.rows
    operator = visits.operators(setting, rng, of["site"])
    other = draw(rng, "procedures", "guidance", setting("service", "guidance"), rows)
    second_step = of["step_reason"] == code("procedures", "repeat_reason", "planned_second_step")
    same = second_step | (rng.random(rows) < _SAME_GUIDANCE)
    changed = of["step_reason"] == code("procedures", "repeat_reason", "imaging_change")
    # A sibling names the first biopsy of the chain again, not the repeat it follows.
    sibling = (of["parent"] >= 0) & (rng.random(rows) < float(setting("step", "sibling")))
    return Columns(
        patient=of["patient"],
        lesion=of["lesion"],
        site=of["site"],
        guidance=np.where(same, of["guidance"], other),
        operator=np.where(rng.random(rows) < _SAME_OPERATOR, of["operator"], operator),
        day=of["step_on"],
        minute=visits.start_of_one(rng, rows),
        chance=rng.random(rows),
        reason=of["step_reason"],
        parent=np.where(sibling, of["parent"], number + offset),
        hidden_before=of["hidden"],
        new_finding=changed & (rng.random(rows) < float(setting("step", "new_finding"))),
    )


def _exactly(wanted: int, rows: Columns) -> Columns:
    """Whole patients, as many as give exactly the number of procedures wanted."""
    count = np.bincount(rows["patient"])
    total = np.cumsum(count)
    full = int(np.searchsorted(total, wanted, side="right"))
    missing = wanted - (int(total[full - 1]) if full else 0)
    singles = np.flatnonzero(count[full:] == 1)[:missing] + full
    if singles.shape[0] < missing:
        raise ValueError("procedures: this number cannot be reached with whole patients")
    kept = np.zeros(count.shape[0], dtype=bool)
    kept[:full], kept[singles] = True, True
    return _renumbered(rows, kept[rows["patient"]])


def _renumbered(rows: Columns, kept: np.ndarray) -> Columns:
    """The rows kept, in the order of their start, with parent, patient and lesion counted anew."""
    number = np.flatnonzero(kept)
    number = number[np.lexsort((number, rows["day"][number] * MINUTES_PER_DAY + rows["minute"][number]))]
    place = np.full(rows.rows, -1)
    place[number] = np.arange(number.shape[0])
    chosen = rows.at(number)
    parent = np.where(chosen["parent"] >= 0, place[chosen["parent"]], -1)
    return Columns(
        chosen,
        parent=parent,
        patient=_in_order_of_appearance(chosen["patient"]),
        lesion=_in_order_of_appearance(chosen["lesion"]),
    )


def _in_order_of_appearance(number: np.ndarray) -> np.ndarray:
    _, first, inverse = np.unique(number, return_index=True, return_inverse=True)
    rank = np.empty(first.shape[0], dtype=np.int64)
    rank[np.argsort(first)] = np.arange(first.shape[0])
    return rank[inverse]


def _root(parent: np.ndarray) -> np.ndarray:
    """First procedure of each chain; a parent stands before its child."""
    root = np.where(parent >= 0, parent, np.arange(parent.shape[0]))
    for _ in range(_ROUNDS):
        root = root[root]
    return root


def _is_index(rows: Columns, root: np.ndarray) -> np.ndarray:
    """Sampled, with no procedure of its chain sampled before."""
    sampled = rows["status"] == results.COMPLETED
    first = np.full(rows.rows, rows.rows)
    np.minimum.at(first, root[sampled], np.flatnonzero(sampled))
    return sampled & (first[root] == np.arange(rows.rows))


def _with_single_operator(setting: Setting, rows: Columns) -> Columns:
    """One procedure of the last site, alone in its chain and of one patient, gets the operator who did no other."""
    code_of_single = len(setting.operators) - 1
    alone = (np.bincount(rows["patient"])[rows["patient"]] == 1) & (rows["status"] == results.COMPLETED)
    found = np.flatnonzero(alone & (rows["site"] == len(setting.sites) - 1))
    operator = rows["operator"].copy()
    if found.shape[0]:
        operator[found[found.shape[0] // 2]] = code_of_single
    return Columns(rows, operator=operator)


def procedures(setting: Setting, wanted: int) -> Columns:
    """All procedures in the order of their start.

    Returns
    -------
    Exactly ``wanted`` rows with what :mod:`visits`, :mod:`results`, :mod:`verdicts` and
    :mod:`steps` drew, and ``root`` (first of the chain), ``index`` (sampled, none of the
    chain sampled before), ``finding`` (number of the finding) and ``start`` in minutes
    since 1970-01-01.
    """
    parts = [_run(setting, 0, _first(setting, wanted))]
    rng = setting.stream("repeats")
    offset = 0
    for level in range(1, _ROUNDS + 1):
        batch = _repeats(setting, rng, parts[-1], offset)
        offset += parts[-1].rows
        if not batch.rows:
            break
        parts.append(_run(setting, level, batch))
    rows = _with_single_operator(setting, _exactly(wanted, stack(parts)))
    root = _root(rows["parent"])
    lesions = int(rows["lesion"].max()) + 1
    new = np.cumsum(rows["new_finding"]) - 1 + lesions
    return Columns(
        rows,
        root=root,
        index=_is_index(rows, root),
        finding=np.where(rows["new_finding"], new, rows["lesion"]),
        start=rows["day"] * MINUTES_PER_DAY + rows["minute"],
    )
