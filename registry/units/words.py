"""What a comparison of operators or sites shows and what it cannot, in sentences."""

from __future__ import annotations

from typing import TYPE_CHECKING

from registry.numerals import grouped

if TYPE_CHECKING:
    from registry.units.funnel import Funnel
    from registry.units.learning import Learning
    from registry.units.pool import Pool


def looked_at(made: Funnel) -> str:
    """How many units were looked at, and what chance alone would do; empty where none was."""
    few = len([one for one in made.units if not one.looked_at])
    listed = "is listed with its" if few == 1 else "are listed with their"
    left = f" {few} with fewer than {made.minimum} procedures {listed} counts only." if few else ""
    if not made.looked_at:
        return f"No {made.by} has {made.minimum} procedures in the denominator.{left}"
    if made.looked_at == 1:
        return f"One {made.by} was looked at: there is nothing to set it beside.{left}"
    return (
        f"{made.looked_at} {made.by}s were looked at. If all had one true rate, the chance that at least one lay outside "
        f"the 95 % limits would be up to {percent(made.chance_95)}, outside the 99.8 % limits up to {percent(made.chance_998)}.{left}"
    )


def flags(made: Funnel) -> str:
    """What stands out after allowing for the number of units."""
    tested = [one for one in made.units if one.p is not None]
    if not tested:
        return ""
    found = [one for one in tested if one.flagged]
    how = "each against all the others together by Fisher's exact test, allowing for their number by Benjamini and Hochberg at 5 %"
    if not found:
        return f"No {made.by} stands out ({how})."
    names = ", ".join(one.code or "one without a name" for one in found)
    sides = {(one.proportion or 0.0) > (one.compared_with or 0.0) for one in found}
    mixed = (
        " They lie on both sides: one far out moves the rate that the others are compared with, and they can stand out for that reason alone."
        if len(sides) > 1
        else ""
    )
    return (
        f"Worth a look: {names} ({how}). It says that chance alone is an unlikely reason; it does not say what the reason is. "
        f"Look at the patients, the record and the small numbers first.{mixed}"
    )


def spread(made: Funnel) -> str:
    """Whether the units differ more than chance lets them."""
    if made.spread is None:
        why = made.spread_reason
        return f"Spread beyond chance is not estimated: {why}." if made.looked_at > 1 and why else ""
    return f"Spread of the units: {made.spread:.2f} times what chance gives (1 = chance alone). " + (
        "The last column of deviations allows for it."
        if made.spread_variance
        else "There is none to allow for."
    )


def shrinkage(made: Funnel) -> str:
    """What the shrunken rates stand for."""
    if made.shrink_mean is None:
        return f"No shrunken rates: {made.shrink_reason}." if made.shrink_reason and made.looked_at else ""
    if made.shrink_reason or made.shrink_size is None:
        return f"Shrunken rates: {made.shrink_reason}, so that the best guess for each is the rate of all."
    return (
        f"Shrunken rates draw each {made.by} towards {percent(made.shrink_mean)} as if it had "
        f"{grouped(made.shrink_size)} procedures at that rate beside its own (beta-binomial).{_otherwise(made)}"
    )


def _otherwise(made: Funnel) -> str:
    """How far the shrunken rates hang on the model."""
    gaps = [
        abs(one.shrunken - one.shrunken_otherwise)
        for one in made.units
        if one.shrunken is not None and one.shrunken_otherwise is not None
    ]
    if not gaps:
        return ""
    return f" Where the logits of the rates are normal instead, they differ by at most {100 * max(gaps):.1f} points."


def pooled(made: Pool, by: str) -> str:
    """The middle unit and a further one beside the crude rate; empty for fewer than two units."""
    if made.units < 2 or made.crude is None or made.crude_lower is None or made.crude_upper is None:
        return ""
    level = f"{100 * made.confidence:g} %"
    crude = (
        f"All {made.units} {by}s as one: {percent(made.crude)} ({level} interval {percent(made.crude_lower)} to "
        f"{percent(made.crude_upper)}), large ones weighing most and differences between them left out."
    )
    if made.middle is None or made.lower is None or made.upper is None:
        return f"{crude} No model over the {by}s: {made.reason}."
    middle = (
        f"Allowing for their differences, the middle {by} has {percent(made.middle)} ({percent(made.lower)} to "
        f"{percent(made.upper)}; random-intercept logistic model)."
    )
    if made.further_lower is None or made.further_upper is None:
        return f"{crude} {middle} What a further {by} would have is not predicted: {made.why_no_prediction}."
    return (
        f"{crude} {middle} The true rate of a further {by} like these would lie between {percent(made.further_lower)} and "
        f"{percent(made.further_upper)} ({level} prediction interval)."
    )


def of_funnel(made: Funnel) -> tuple[str, ...]:
    """All sentences, the empty ones left out."""
    guide = (
        "The drawn limits lie around the rate of all together and are a guide to the eye; a flag comes from the test, not from a line."
        if made.lines
        else ""
    )
    found = (
        looked_at(made),
        guide,
        flags(made),
        spread(made),
        shrinkage(made),
        pooled(made.pool, made.by),
        made.withheld,
    )
    return tuple(one for one in found if one)


def of_learning(made: Learning) -> tuple[str, ...]:
    """What a doubling of the number of procedures goes with."""
    first = []
    if made.no_number:
        first.append(
            f"{made.no_number} procedures are left out: the experience of their operator before the registry is not recorded."
        )
    if made.odds_ratio is None:
        return (*first, f"No odds ratio is given: {made.reason}.") if made.n else tuple(first)
    held = "" if made.operator else f", {made.modelled_operators} operators each compared with themselves"
    apart = made.apart
    one_by_one = (
        f"{apart.operators} operators fitted one by one and brought together: {apart.ratio:.2f} times the odds ({apart.lower:.2f} to "
        f"{apart.upper:.2f}; random effects, Hartung and Knapp), standard deviation between operators {apart.between:.2f} on the logarithm."
        if apart.ratio is not None
        and apart.lower is not None
        and apart.upper is not None
        and apart.between is not None
        else f"Whether it goes alike for all operators is not estimated: {apart.reason}."
        if made.operator is None
        else ""
    )
    return tuple(
        one
        for one in (
            *first,
            f"Twice the number of procedures goes with {made.odds_ratio:.2f} times the odds "
            f"({100 * made.confidence:g} % interval {made.odds_lower:.2f} to {made.odds_upper:.2f}; Firth logistic, {grouped(made.modelled)} procedures{held}).",
            one_by_one,
            "It describes these procedures: patients, devices and habits change with the years as well.",
        )
        if one
    )


def percent(value: float) -> str:
    """A proportion as a percentage."""
    return f"{100 * value:.1f} %" if value < 0.0995 else f"{100 * value:.0f} %"
