"""Who acts, what they may do, and how they prove who they are."""

from registry.people.acting import (
    Actor,
    acting,
    ask,
    current,
    deny_by_default,
    machine,
    operators,
    require,
)
from registry.people.roles import Action, Role

__all__ = [
    "Action",
    "Actor",
    "Role",
    "acting",
    "ask",
    "current",
    "deny_by_default",
    "machine",
    "operators",
    "require",
]
