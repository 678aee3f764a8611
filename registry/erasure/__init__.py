"""Erasing a patient: what names the person is gone, what remains says that it was done (decision 0015)."""

from registry.erasure.plan import Plan, make_plan
from registry.erasure.run import Erasure, erase, pending

__all__ = ["Erasure", "Plan", "erase", "make_plan", "pending"]
