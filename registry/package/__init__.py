"""The package that a researcher takes away: rows, codebook, flow, privacy report, and what proves them."""
