"""B categories."""


def b_category_tables() -> None:
    """Not yet."""
