"""Results by operator: everybody's to who may see them, one's own to who performs biopsies."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from registry.errors import Refused
from registry.people import Action, operators, require

if TYPE_CHECKING:
    from collections.abc import Mapping

_OPERATOR = "operator"


def permitted(
    registry: Any,
    by: str | None,
    within: Mapping[str, str] | None,
    action: Action = Action.FIGURES,
) -> Mapping[str, str] | None:
    """What a question is narrowed to for whoever asks it.

    Parameters
    ----------
    registry
        Where a refusal is written to the trail.
    by, within
        As asked, see :func:`registry.measures.evaluate`.
    action
        What the actor must be allowed to do at all.

    Returns
    -------
    Mapping
        ``within`` as it was, or, split by operator, with the actor's own code; nobody's where
        the actor has none.

    Raises
    ------
    Refused
        The actor may not do it, or asks for the results of another operator.
    """
    whose = operators(require(action, registry))
    if whose is None:
        return within
    asked = (within or {}).get(_OPERATOR)
    if asked not in (None, whose):
        raise Refused(
            "Results of one operator are shown to that operator and to the quality committee only. "
            "Ask the quality committee."
        )
    return {**(within or {}), _OPERATOR: whose} if by == _OPERATOR else within
