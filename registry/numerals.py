"""How numbers are printed in sentences and tables: thousands apart, a true minus, no signed zero."""

from __future__ import annotations

#: A thin space that does not break, between thousands and between a number and its unit.
NARROW = "\u202f"
MINUS = "\u2212"


def grouped(number: float) -> str:
    """A whole number with a narrow space, which does not break, between thousands."""
    return f"{number:,.0f}".replace(",", NARROW)


def signed(value: float, decimals: int = 1) -> str:
    """A value with its sign; what rounds to zero has none."""
    text = f"{value:+z.{decimals}f}"
    return (text.removeprefix("+") if float(text) == 0 else text).replace("-", MINUS)
