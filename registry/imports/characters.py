"""Characters that make two texts look alike, or look like something they are not."""

from __future__ import annotations

import unicodedata

#: Zero-width and direction marks: they change a text without being seen.
_UNSEEN = (
    *range(0x200B, 0x2010),
    *range(0x202A, 0x202F),
    *range(0x2060, 0x2065),
    *range(0x2066, 0x2070),
    0x2028,
    0x2029,
    0x00AD,
    0xFEFF,
)
#: U+FFFD stands where another program could not read the original.
REPLACEMENT = "\ufffd"
UNSEEN = frozenset(map(chr, _UNSEEN))
CONTROL = frozenset(map(chr, (*range(0x00, 0x20), 0x7F, *range(0x80, 0xA0))))
#: Control characters that have a meaning inside a quoted text.
LAYOUT = frozenset("\t\n\r")
#: Characters that no cell may hold.
REFUSED = (CONTROL - LAYOUT) | UNSEEN | {REPLACEMENT}
#: Spaces of other widths than the common one, which also stand at the edges of cells.
WIDE_SPACES = frozenset(chr(code) for code in (0xA0, 0x1680, *range(0x2000, 0x200B), 0x202F, 0x205F, 0x3000))
MINUS = "\u2212"
#: First characters of UTF-8 that was read as a one-byte encoding and saved again.
_TWICE_STARTS = frozenset("ÃÂâ")


def named(character: str) -> str:
    """A refused character in words: kind and code point."""
    code = f"U+{ord(character):04X}"
    if character == REPLACEMENT:
        return f"replacement character {code} (a letter that was lost)"
    if character in UNSEEN:
        return f"invisible character {code}"
    return f"control character {code}"


def first_refused(text: str, *, layout_too: bool = False) -> str | None:
    """The first character of a text that no cell may hold; None where there is none."""
    refused = REFUSED | LAYOUT if layout_too else REFUSED
    return next((character for character in text if character in refused), None)


def may_need_composing(distinct: frozenset[str]) -> bool:
    """Whether a text made of these characters may differ from its composed form (NFC)."""
    return any(
        unicodedata.combining(character)
        or "\u1160" <= character <= "\u11ff"
        or not unicodedata.is_normalized("NFC", character)
        for character in distinct
    )


def may_be_encoded_twice(distinct: frozenset[str]) -> bool:
    """Whether a text made of these characters may hold UTF-8 that was encoded again."""
    return bool(distinct & _TWICE_STARTS)


def is_encoded_twice(text: str) -> bool:
    """Whether undoing one round of encoding gives a valid, shorter text."""
    if not _TWICE_STARTS & set(text):
        return False
    for encoding in ("cp1252", "latin-1"):
        try:
            return len(text.encode(encoding).decode("utf-8")) < len(text)
        except UnicodeError:
            continue
    return False
