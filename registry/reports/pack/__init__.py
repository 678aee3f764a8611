"""The pack of the quality committee: every table of a period, with its definitions, cautions and origin."""

from registry.disclosure.cells import SMALLEST
from registry.reports.pack.build import Pack, quality_pack
from registry.reports.pack.write import write_pack

__all__ = ["SMALLEST", "Pack", "quality_pack", "write_pack"]
