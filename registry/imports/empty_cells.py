"""Formatted cells without a value, taken out of a sheet's XML before it is counted or read.

A sheet whose columns were formatted to the end carries a million rows of empty cells, which
say nothing, take most of the time and would exceed any sensible limit.
"""

from __future__ import annotations

import re

#: What a spreadsheet program writes for a cell that has a format and no value.
_CELL = re.compile(
    rb'<c r="[A-Z]{1,3}[0-9]{1,7}"(?: s="[0-9]{1,6}")?\s*(?:/>|></c>|><v\s*/></c>|><v></v></c>)'
)
_ROW = re.compile(rb'<row (?:[^<>"]|"[^<>"]*")*(?:/>|>\s*</row>)')
#: A row longer than this is passed on in parts; its cells are still looked at.
_LONGEST = 4 * 1024 * 1024


class MixedPlaces(Exception):
    """Some cells or rows say where they stand and others do not: nothing may be taken out."""


class Sieve:
    """Takes blocks of a sheet's XML and gives them back without empty cells and rows.

    Only cells and rows that name their own place are taken out, so that no other cell
    moves. Where the XML is of another form it is passed on as it is.
    """

    def __init__(self) -> None:
        self.removed = 0
        self._rest = b""
        self._is_open = True

    def take(self, block: bytes) -> bytes:
        """What may be passed on after this block.

        Raises
        ------
        MixedPlaces
            Cells were taken out, and now one does not say where it stands.
        """
        if not self._is_open:
            return block
        data = self._rest + block
        cut = data.rfind(b"<row")
        if cut <= 0:
            cut = len(data) if len(data) > _LONGEST else max(len(data) - 3, 0) if cut < 0 else 0
        elif len(data) - cut > _LONGEST:
            cut = data.rfind(b"<c ")
        self._rest = data[cut:]
        return self._sifted(data[:cut])

    def end(self) -> bytes:
        """What is left when there is no further block."""
        rest, self._rest = self._rest, b""
        return self._sifted(rest) if self._is_open else rest

    def _sifted(self, data: bytes) -> bytes:
        if b"<" not in data:
            return data
        if not _all_name_their_place(data):
            if self.removed:
                raise MixedPlaces
            self._is_open = False
            data, self._rest = data + self._rest, b""
            return data
        kept = _ROW.sub(b"", _CELL.sub(b"", data))
        self.removed += len(data) - len(kept)
        return kept


def _all_name_their_place(data: bytes) -> bool:
    if b"<!" in data:
        return False
    return all(
        data.count(b"<%b r=" % tag) == sum(data.count(b"<%b%b" % (tag, end)) for end in (b" ", b">", b"/"))
        for tag in (b"c", b"row")
    )
