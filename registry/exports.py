"""The cohort export: one row per procedure, with codebook and manifest.

What leaves is an allow-list. Each column of the cohort's SQL is declared in its header
with where it comes from and how sensitive it is; a column that is not declared, and any
identifier or free text, stops the export. Patients get a random number per export, so
that two exports cannot be joined, and the stored pseudonym never leaves the engine.
"""

from __future__ import annotations

import hashlib
import json
import os
import random
import secrets
import shutil
import tempfile
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import polars as pl

import registry as package
from registry import audit, codebook, facts, provenance, sqlfiles, store
from registry.errors import FileProblem, UsageProblem

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import date

    import duckdb

    from registry.store import Registry
