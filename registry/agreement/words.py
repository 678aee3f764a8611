"""What pairs of judgements and several readings come to, in sentences."""

from __future__ import annotations

from typing import TYPE_CHECKING

from registry.monitoring.comparison_words import p_value, points
from registry.numerals import signed

if TYPE_CHECKING:
    from registry.agreement import Agreement
    from registry.agreement.several import Several


def changed(one: Agreement, minimum: int) -> str:
    """How much more often the second said discordant; empty for flags, which are prompts, and below the minimum."""
    made = one.change
    if one.pair == "flags" or one.n < minimum or made.difference is None or made.p is None:
        return ""
    counts = (
        f"{_capital(one.first)}: {one.both + one.first_only} of {one.n}; {one.second}: {one.both + one.second_only} of {one.n}"
        f" on the same procedures, {made.changed} judged differently"
    )
    if not made.changed:
        return f"{counts}: no difference (95 % interval {points(made.ci)}, Tango)."
    return (
        f"{counts}: {signed(100 * made.difference)} percentage points from the first to the second (95 % interval {points(made.ci)}, Tango); "
        f"p {p_value(made.p)} (McNemar, mid-P)."
    )


def read_by_several(one: Several, minimum: int) -> str:
    """How far three readers or more agree."""
    if not one.n:
        return "No procedure was read by three radiologists or more."
    many = f"{one.fewest}" if one.fewest == one.most else f"{one.fewest} to {one.most}"
    counts = (
        f"{one.n} procedures read by {many} radiologists each: all of one opinion on {one.unanimous} of {one.n}; "
        f"{one.discordant} of {one.readings} readings discordant."
    )
    if one.n < minimum:
        return f"{counts} Too few for more than counts."
    said = [counts]
    if one.po is not None:
        said.append(f"Two of the readers of a procedure agree in {100 * one.po:.0f} %.")
    low, high = one.ac1_ci
    if one.ac1 is not None:
        limits = "" if low is None or high is None else f" ({low:z.2f} to {high:z.2f})"
        said.append(f"AC1 {one.ac1:z.2f}{limits}.".replace("-", "\u2212"))
    if one.kappa is not None:
        said.append(f"Kappa (Fleiss) {one.kappa:z.2f}.".replace("-", "\u2212"))
    if one.reason:
        said.append(f"{_capital(one.reason)}.")
    return " ".join(said)


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
