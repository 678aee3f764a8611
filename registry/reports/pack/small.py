"""Small cells in what leaves the service: hidden, with everything that would give them away."""

from __future__ import annotations

from dataclasses import dataclass

SMALLEST = 10
"""Cells of 1 to so many are hidden; a service may set more, not fewer."""
HIDDEN = "\u2013"


@dataclass(frozen=True)
class Rule:
    """Whether cells are hidden, and up to which count; ``upto`` 0 hides nothing."""

    upto: int

    def is_small(self, count: int) -> bool:
        """Whether a count is a small cell; nobody is not."""
        return 0 < count <= self.upto

    def hides(self, x: int, n: int) -> bool:
        """Whether x of n gives a small cell away: x, the rest, or all of them."""
        return self.is_small(x) or self.is_small(n - x) or self.is_small(n)

    def count(self, number: int) -> str:
        """A count, or the sign in its place."""
        return HIDDEN if self.is_small(number) else f"{number:,}"

    def hides_table(self, cells: list[int]) -> bool:
        """Whether a table with margins has a small cell: then none of its inner cells is shown.

        A hidden cell beside shown ones can be worked out from the margins.
        """
        return any(self.is_small(one) for one in cells)

    @property
    def words(self) -> str:
        """What a reader is told."""
        if not self.upto:
            return ""
        return f"To be shared: counts of 1 to {self.upto}, and rates, intervals and inner cells that would give one away, are left out ({HIDDEN})."

    def hides_apart(self, part: tuple[int, int], whole: tuple[int, int]) -> bool:
        """Whether x of n of a part, taken from x of n of a whole beside it, leave a small cell."""
        return self.hides(abs(whole[0] - part[0]), abs(whole[1] - part[1]))
