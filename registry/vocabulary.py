"""Plain words for the codes of the data dictionary.

``sql/vocabulary`` holds one file per code list (``code,label,source``, two of them
with a rank); ``fields.csv`` says which list each field uses. A clinician can review
the wording there without meeting Python.
"""

from __future__ import annotations

import csv
import io
from functools import cache
from types import MappingProxyType
from typing import TYPE_CHECKING

from registry.sqlfiles import read_text

if TYPE_CHECKING:
    from collections.abc import Mapping


def rows(name: str) -> list[dict[str, str]]:
    """All rows of one file of ``sql/vocabulary``, columns by name.

    Parameters
    ----------
    name
        File name without ``.csv``.
    """
    return list(csv.DictReader(io.StringIO(read_text("vocabulary", f"{name}.csv"))))


@cache
def fields() -> Mapping[tuple[str, str], str]:
    """(table, field) -> name of its code list, in the order of the dictionary."""
    return MappingProxyType({(row["table"], row["field"]): row["list"] for row in rows("fields")})


@cache
def column(name: str, heading: str) -> Mapping[str, str]:
    """Code -> one further column of a list, in the order of the list.

    Parameters
    ----------
    name
        Name of the list, such as ``diagnosis``.
    heading
        ``label``, ``source``, or a column that only this list has: ``rank`` and
        ``group`` of diagnosis, ``rank`` of b_category, ``nuclide`` of tracer.

    Returns
    -------
    Mapping
        Read-only. A cell may be empty: the tracer ``other`` has no nuclide.

    Raises
    ------
    KeyError
        The list has no such column.
    """
    return MappingProxyType({row["code"]: row[heading] for row in rows(name)})


def labels(table: str, field: str) -> Mapping[str, str]:
    """Code -> label of one field, in the order of the dictionary; read-only.

    Raises
    ------
    KeyError
        The field has no code list.
    """
    return column(fields()[table, field], "label")


def label(table: str, field: str, code: str) -> str:
    """Label of one code; a code that only this service uses is returned as it stands.

    Raises
    ------
    KeyError
        The field has no code list.
    """
    return labels(table, field).get(code, code)
