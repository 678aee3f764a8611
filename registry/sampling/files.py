"""The queries of ``sql/sampling``, and the one row of settings that all of it rests on."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from registry import facts, store
from registry.sqlfiles import queries

if TYPE_CHECKING:
    from datetime import date

    from registry.measures.counting import Reader

MEASURE = "sampling_probability"


@dataclass(frozen=True)
class Setting:
    """Local numbers: reach of the tissue (least, middle, most) in mm, and what counts as sampled.

    ``motion_sd_mm`` is the root mean square motion of a target on one axis, from
    ``motions`` procedures; None where they are fewer than the site's minimum.
    """

    reach_mm: tuple[float, float, float]
    sampled_share: float
    minimum_n: int
    slices_per_view: float | None
    motions: int
    motion_sd_mm: float | None


def asked(registry: Reader, name: str, as_of: date, **given: Any) -> list[dict[str, Any]]:
    """Rows of one query over the facts as of a day."""
    with facts.at(registry, as_of) as cursor:
        parameters = {"as_of": as_of, **given}
        return store.frame(cursor, queries("sampling")[name].sql, parameters).to_dicts()


def setting(registry: Reader, as_of: date) -> Setting:
    """The local numbers as they stand, and the motion seen up to a day."""
    (row,) = asked(registry, "setting", as_of)
    minimum = int(row["minimum_n"])
    reach = (row["tissue_reach_from_mm"], row["tissue_reach_mm"], row["tissue_reach_to_mm"])
    return Setting(
        reach_mm=reach,
        sampled_share=row["sampled_share"],
        minimum_n=minimum,
        slices_per_view=row["slices_per_view"],
        motions=row["motions"],
        motion_sd_mm=row["motion_sd_mm"] if row["motions"] >= minimum else None,
    )
