"""The parameters of the invented service, each with its source or marked as assumed."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from importlib.resources import files
from typing import Any

Leaf = dict[str, Any]


def is_leaf(node: object) -> bool:
    """Whether a table of parameters.toml holds a value rather than further tables."""
    return isinstance(node, dict) and "value" in node


def leaves(tree: dict[str, Any], path: tuple[str, ...] = ()) -> Iterator[tuple[tuple[str, ...], Leaf]]:
    """Every leaf of the tree with the path that leads to it.

    Raises
    ------
    ValueError
        Something is neither a leaf nor a table of leaves.
    """
    for name, node in tree.items():
        here = (*path, name)
        if is_leaf(node):
            yield here, node
        elif isinstance(node, dict):
            yield from leaves(node, here)
        else:
            raise ValueError(
                f"parameters.toml, {'.'.join(here)}: write it as a table with value and source or assumed."
            )


def check(tree: dict[str, Any]) -> None:
    """Refuse a leaf without provenance, or with two.

    Raises
    ------
    ValueError
        A leaf has neither or both of ``source`` and ``assumed = true``, or an unknown key.
    """
    for path, leaf in leaves(tree):
        where = f"parameters.toml, {'.'.join(path)}"
        if unknown := leaf.keys() - {"value", "source", "assumed", "note"}:
            raise ValueError(f"{where}: unknown {', '.join(sorted(unknown))}.")
        if ("source" in leaf) == (leaf.get("assumed") is True):
            raise ValueError(f"{where}: give exactly one of source and assumed = true.")


def tree() -> dict[str, Any]:
    """parameters.toml as it stands, checked."""
    found = tomllib.loads(files("synthetic_data").joinpath("parameters.toml").read_text(encoding="utf-8"))
    check(found)
    return found


def values(node: Any) -> Any:
    """The tree with every leaf replaced by its value."""
    if is_leaf(node):
        return node["value"]
    return {name: values(below) for name, below in node.items()}
