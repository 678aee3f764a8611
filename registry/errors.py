"""The errors a user can act on.

Each class is one thing the user can do next, and carries the exit code that a
script can test. The text says where, what, why and what to do, and never holds a
patient identifier, a birth date or free text.
"""

from __future__ import annotations


class RegistryError(Exception):
    """A problem that ends in a sentence for the user, never in a traceback."""

    exit_code = 2


class UsageProblem(RegistryError):
    """The command or option cannot be carried out as given."""


class UnderHold(UsageProblem):
    """A legal hold forbids it; the refusal is kept in the trail."""


class FileProblem(RegistryError):
    """A file cannot be used; nothing was written."""


class SiteProblem(RegistryError):
    """A value of site.toml cannot be used."""


class BatchRefused(RegistryError):
    """A whole batch was stopped; nothing of it was written."""

    exit_code = 1


class NotSaved(RegistryError):
    """The registry could not take a change; nothing of it was written."""

    exit_code = 2


class IntegrityProblem(RegistryError):
    """The registry folder does not hold what its own trail says it should."""

    exit_code = 3


class RegistryBusy(RegistryError):
    """Another process owns the registry folder."""

    exit_code = 75


class Refused(RegistryError):
    """The person who acts may not do this, or nobody signed in."""

    exit_code = 2


class ConfirmFirst(Refused):
    """The person may do this, after giving the password again."""
