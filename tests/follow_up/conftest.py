"""The registry of the worklists' tests: one benign result, not followed yet."""

from tests.worklists.conftest import clock, decided_folder, undecided, undecided_folder

__all__ = ["clock", "decided_folder", "undecided", "undecided_folder"]
