"""What is said beside the figures: the recorded evidence, the assumptions, the caution."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from registry.vocabulary import label

if TYPE_CHECKING:
    from registry.sampling.files import Setting

CAUTION = (
    "An aid to discussion in the meeting, worked out after the procedure from what is recorded. It is never a "
    "reason to omit a step of the local protocol, and never guides a needle."
)
_UPTAKE = {
    "yes": "Tracer was seen in the specimens.",
    "no": "No tracer was seen in the specimens.",
    "equivocal": "The reading of tracer in the specimens was equivocal.",
    "not read": "No reading of tracer in the specimens is recorded.",
}


def evidence(row: dict[str, Any]) -> tuple[str, ...]:
    """The recorded evidence as sentences: aperture, specimens, target after sampling, marker.

    Parameters
    ----------
    row
        Row of ``sql/sampling/procedure.sql``.
    """

    def said(table: str, field: str, name: str) -> str:
        value = row[field]
        return f"{name}: {label(table, field, value).lower() if value else 'not recorded'}."

    return (
        said("targeting", "aperture_judgement", "Reader's judgement at the last needle placement"),
        _UPTAKE[row["uptake"]],
        said("procedures", "residual", "Target on the guiding modality after sampling"),
        said("procedures", "marker", "Tissue marker"),
    )


def contradictions(row: dict[str, Any]) -> tuple[str, ...]:
    """Recorded evidence that speaks against the figure; it is said, and not multiplied in."""
    if row["residual"] == "unchanged":
        return (
            "The target was unchanged after sampling. This contradicts a high probability and is not part of it: "
            "settle it first.",
        )
    return ()


def assumptions(setting: Setting) -> tuple[str, ...]:
    """What every figure assumes, with the local numbers in it."""
    low, middle, high = setting.reach_mm
    motion = (
        f"A target that was not re-seen may have moved, by {setting.motion_sd_mm:.1f} mm (standard deviation on "
        f"each axis, root mean square of {setting.motions} targets re-seen in this registry)."
        if setting.motion_sd_mm is not None
        else f"Motion of a target that was not re-seen is not known ({setting.motions} targets re-seen in this "
        "registry, too few) and is counted as none: the figure is too sure."
    )
    views = (
        f"Where a slice thickness is not recorded, it is the compressed thickness over {setting.slices_per_view:g} "
        "slices per view (site.toml)."
        if setting.slices_per_view
        else "Slice thickness is as recorded; the site states no number of slices per view."
    )
    return (
        "The target is a sphere of its recorded largest diameter.",
        "The sampled volume is a cylinder around the centre of the aperture along the needle, as long as the aperture, "
        f"half the needle's outer diameter wide plus the reach of the tissue: {low:g} to {high:g} mm, in the middle "
        f"{middle:g} mm, a local parameter without a published value.",
        "It is cut to the sampled hours, 30 degrees each; where they are not known both extremes are shown.",
        f"Sampled means that at least {100 * setting.sampled_share:g} % of the target lay inside (site.toml).",
        "A coordinate read from slices is uncertain by slice / \u221a12 along the axis of compression, by the stated "
        "measurement uncertainty across it; target and aperture are both read, hence \u221a2 times.",
        views,
        motion,
        "Errors are normal and independent; before the measurement every place is as likely as another.",
    )
