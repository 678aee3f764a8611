"""Incidence."""


def incidence() -> None:
    """Not yet."""
