"""The concordance decision: what waits, what flags propose, who decided, who signed.

Flags are prompts and decide nothing. They are given to a reviewer only after the own
determination is recorded. A decision is a row of ``reviews`` and comes in through intake; a
signature binds what was seen when it was given.
"""

from registry.concordance.basis import Basis, bases
from registry.concordance.decision import Decision, decide, reviewers
from registry.concordance.flags import Flag, flags, proposed
from registry.concordance.listing import Printed, listed, print_list, since_printed
from registry.concordance.own_view import OwnView, own_view, record_own_view
from registry.concordance.signing import SIGNING_ROLES, Signature, Standing, sign, standing

__all__ = [
    "SIGNING_ROLES",
    "Basis",
    "Decision",
    "Flag",
    "OwnView",
    "Printed",
    "Signature",
    "Standing",
    "bases",
    "decide",
    "flags",
    "listed",
    "own_view",
    "print_list",
    "proposed",
    "record_own_view",
    "reviewers",
    "sign",
    "since_printed",
    "standing",
]
