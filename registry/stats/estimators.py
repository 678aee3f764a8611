"""The intervals a measure may ask for, by name: function and the name that is printed."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType

from registry.stats.proportions import (
    Pair,
    exact_interval,
    jeffreys_interval,
    midp_interval,
    wilson_interval,
)


@dataclass(frozen=True)
class Estimator:
    """One interval method: how it is asked for, how it is printed, how it is computed."""

    name: str
    method: str
    interval: Callable[..., Pair]


ESTIMATORS: Mapping[str, Estimator] = MappingProxyType(
    {
        "wilson": Estimator("wilson", "Wilson", wilson_interval),
        "exact": Estimator("exact", "Clopper-Pearson", exact_interval),
        "jeffreys": Estimator("jeffreys", "Jeffreys", jeffreys_interval),
        "midp": Estimator("midp", "mid-P", midp_interval),
    }
)
"""Methods that need only the two counts."""

CLUSTERED = "clustered"
"""Asks for :func:`registry.stats.clustering.clustered_wilson_interval`, over patients."""

CLUSTERED_METHOD = "Wilson, design effect by patient"
"""Printed name of the clustered interval."""


def estimator(name: str) -> Estimator:
    """Interval method of that name.

    Parameters
    ----------
    name
        One of the keys of ``ESTIMATORS``.

    Raises
    ------
    ValueError
        Unknown name; the message lists the known ones.
    """
    try:
        return ESTIMATORS[name]
    except KeyError:
        known = ", ".join([*ESTIMATORS, CLUSTERED])
        raise ValueError(f"interval must be one of {known}; got {name!r}") from None
