"""Names of eight characters for programs that take no longer ones."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

LONGEST = 8


def aliases(names: Sequence[str]) -> dict[str, str]:
    """Each name with an alias of at most eight letters and digits that no other has.

    A name that is short enough is its own alias. Of longer ones each word keeps its beginning,
    without vowels after the first letter; where two would agree, the later gets a number.
    """
    made = {name: name for name in names if len(name) <= LONGEST}
    taken = {name.lower() for name in made}
    for name in names:
        if name in made:
            continue
        short = _shortened(name)
        alias, number = short, 1
        while alias in taken:
            number += 1
            alias = f"{short[: LONGEST - len(str(number))]}{number}"
        taken.add(alias)
        made[name] = alias
    return {name: made[name] for name in names}


def _shortened(name: str) -> str:
    words = [word[0] + re.sub("[aeiou]", "", word[1:]) for word in name.split("_") if word]
    lengths = [0] * len(words)
    # Letters are dealt out in turn until there are eight, or no word has more.
    while sum(lengths) < LONGEST and any(n < len(w) for n, w in zip(lengths, words, strict=True)):
        for place, word in enumerate(words):
            if sum(lengths) < LONGEST and lengths[place] < len(word):
                lengths[place] += 1
    return "".join(word[:n] for word, n in zip(words, lengths, strict=True))
