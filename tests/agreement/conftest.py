"""The drawings of the measures' tests, here too."""

from tests.measures.conftest import drawn, one_drawing

__all__ = ["drawn", "one_drawing"]
