"""Results as the measures give them, for drawing without a registry."""


def proportion(x, n, *, low=None, high=None, **more):
    """A result with counts and an interval given by the test."""
    return {
        "measure": "discordance",
        "stratum": "all",
        "numerator": x,
        "denominator": n,
        "excluded": {"not sampled": 3, "no conclusive review": 2},
        "proportion": x / n if n else None,
        "lower": low,
        "upper": high,
        "confidence": 0.95,
        "interval": "wilson",
        "method": "Wilson",
        "patients": n,
        "as_of": "2026-06-30",
        "from": None,
        "to": None,
        "registry": "biopsy-outcomes 0, schema 1, revision 1, trail 1",
        **more,
    }
