"""Files of counts that leave a registry without a row of any patient, and what a coordinating centre makes of them."""

from registry.aggregate.collect import collect, write
from registry.aggregate.document import SMALL, Cell, Document, read
from registry.aggregate.merge import Merged, merge

__all__ = ["SMALL", "Cell", "Document", "Merged", "collect", "merge", "read", "write"]
