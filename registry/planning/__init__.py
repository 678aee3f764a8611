"""How many procedures a question about a measure needs, and how long the site takes to do them."""

from registry.planning.asked import Need, Plan, plan
from registry.planning.volume import Volume, volume_of

__all__ = ["Need", "Plan", "Volume", "plan", "volume_of"]
