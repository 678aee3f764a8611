"""What this process opened before any page ran: the registry, its keeper, and who may come in.

Apart from ``dashboards.serve``, which runs under another name when it is the program.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from dashboards.gate.desk import Desk
    from registry.keeper import Keeper
    from registry.store import Registry

registry: Registry | None = None
keeper: Keeper | None = None
desk: Desk | None = None
