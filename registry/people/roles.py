"""Roles, and what each may do.

Denied unless it stands here. The roles are those of a breast service; one person may hold
several, but never sign one decision twice.
"""

from __future__ import annotations

from enum import StrEnum
from types import MappingProxyType


class Role(StrEnum):
    """What somebody is in the service."""

    VIEWER = "viewer"
    COORDINATOR = "coordinator"
    RADIOLOGIST = "radiologist"
    PATHOLOGIST = "pathologist"
    QUALITY = "quality"
    RESEARCHER = "researcher"
    ADMINISTRATOR = "administrator"


class Action(StrEnum):
    """What can be done; the words stand in refusals and in the trail."""

    FIGURES = "see figures"
    OPERATORS = "see results of every operator"
    PROCEDURES = "see the procedures behind a figure"
    RECORD = "open the record of a procedure"
    IDENTIFIERS = "see identifiers of patients"
    WORKLISTS = "see what waits"
    ENTER = "enter or import rows"
    WITHDRAW = "withdraw rows or dismiss held ones"
    DECIDE = "record a review"
    SIGN = "sign a decision"
    COHORTS = "define and freeze cohorts"
    EXPORT = "export rows"
    AGGREGATES = "export counts without rows"
    CHECK = "run the data checks"
    TRAIL = "read the trail"
    PEOPLE = "manage accounts"
    KEEP = "back up, restore or upgrade the registry"
    ERASE = "erase a patient or set a legal hold"


_A = Action
_CLINICAL = frozenset({_A.FIGURES, _A.PROCEDURES, _A.RECORD, _A.WORKLISTS})

#: Role -> what it may do.
ALLOWED = MappingProxyType(
    {
        Role.VIEWER: frozenset({_A.FIGURES}),
        Role.COORDINATOR: _CLINICAL | {_A.IDENTIFIERS, _A.ENTER, _A.WITHDRAW, _A.CHECK},
        Role.RADIOLOGIST: _CLINICAL | {_A.IDENTIFIERS, _A.ENTER, _A.DECIDE, _A.SIGN},
        Role.PATHOLOGIST: _CLINICAL | {_A.IDENTIFIERS, _A.ENTER, _A.DECIDE, _A.SIGN},
        Role.QUALITY: _CLINICAL | {_A.OPERATORS, _A.AGGREGATES, _A.CHECK, _A.TRAIL},
        Role.RESEARCHER: frozenset({_A.FIGURES, _A.AGGREGATES, _A.COHORTS, _A.EXPORT}),
        # Keeps the machine and the accounts; sees no patient by that alone.
        Role.ADMINISTRATOR: frozenset({_A.PEOPLE, _A.KEEP, _A.TRAIL, _A.CHECK, _A.ERASE}),
    }
)


def may(roles: frozenset[Role], action: Action) -> bool:
    """Whether one of the roles may do it."""
    return any(action in ALLOWED[role] for role in roles)
