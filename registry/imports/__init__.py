"""Readers: each turns one kind of source into rows of text, with their places."""

from __future__ import annotations

#: Name of a format -> module whose ``read`` takes a path; the only list of formats.
FORMATS = {
    "registry-csv": "registry.imports.registry_csv",
    "mapped": "registry.imports.mapped",
}
