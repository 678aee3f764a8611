"""Procedures told one by one, by hand: a meeting ahead, and what earlier ones left open.

Fifteen procedures wait for the meeting of SITE-D on 2026-07-08, the week after the last day of
the generated registry; each can go wrong in another way. The rows come in through the same
intake, after the generated ones. ``README.md`` says which procedure tells what.
"""

from __future__ import annotations

from pathlib import Path

#: The folder of their files, in the native form.
STORIES = Path(__file__).resolve().parent
