"""How numbers are printed in sentences and tables: thousands apart, a true minus, no signed zero."""

from __future__ import annotations

#: A thin space that does not break, between thousands and between a number and its unit.
NARROW = "\u202f"
MINUS = "\u2212"
AT_MOST = "\u2264"


def grouped(number: float) -> str:
    """A whole number with a narrow space, which does not break, between thousands."""
    return f"{number:,.0f}".replace(",", NARROW)


def signed(value: float, decimals: int = 1) -> str:
    """A value with its sign; what rounds to zero has none."""
    text = f"{value:+z.{decimals}f}"
    return (text.removeprefix("+") if float(text) == 0 else text).replace("-", MINUS)


def measured(value: float, unit: str = "") -> str:
    """A measured value with about three figures; whole days without decimals, zero without a sign."""
    whole = abs(value) >= 100 or (unit == "d" and value == round(value))
    decimals = 0 if whole else 1 if abs(value) >= 1 or value == 0 else 2
    return f"{value:z.{decimals}f}".replace("-", MINUS)


def measured_span(low: float | None, high: float | None, unit: str = "") -> str:
    """Two measured values; nothing where one is missing."""
    return "" if low is None or high is None else f"{measured(low, unit)} to {measured(high, unit)}"
