"""What a cohort would look like as a package, and the package itself: recorded before it is offered."""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

import streamlit as st

from dashboards import session, visitor
from dashboards.answers.cohorts import parsed
from registry.disclosure.profiles import profile_of
from registry.package import build
from registry.package import preview as previews
from registry.package.asked import formats_of
from registry.people import Action

if TYPE_CHECKING:
    from collections.abc import Sequence

    from registry.cohorts import CohortFile
    from registry.disclosure.report import PrivacyReport


@st.cache_data(show_spinner="Counting who stands out", max_entries=8)
def _preview(folder: str, revision: int, content: bytes, profile: str) -> PrivacyReport:
    return previews.preview(session.registry(), parsed(content), profile_of(profile))


def preview(file: CohortFile, profile: str) -> PrivacyReport:
    """The privacy report of a cohort under a profile, from the registry as it is now."""
    return _preview(*session.state(Action.COHORTS), file.canonical(), profile)


def packed(file: CohortFile, profile: str, formats: Sequence[str], purpose: str) -> bytes:
    """One archive of a package; the export stands in the trail before this returns.

    Nothing of it is left on the disk.
    """
    with tempfile.TemporaryDirectory() as scratch:
        made = build.export(
            session.registry(),
            Path(scratch) / file.name,
            as_of=file.as_of,
            author=visitor.name(),
            reason=purpose,
            profile=profile_of(profile),
            formats=formats_of(formats),
            cohort=file,
            packed=True,
        )
        return made.archive.read_bytes() if made.archive else b""
