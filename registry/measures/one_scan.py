"""Many measures counted in one scan of the facts.

The engine answers each condition of any of the measures once, with a byte a procedure. Here
only the first that holds is picked for each measure, and counted. The rows come in parts that
are added up: memory grows with the values that are measured and with the procedures of
patients who have several, not with the registry.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from registry.measures.conditions import STARTED
from registry.measures.strata import ALL

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    import duckdb
    import pyarrow as pa
    from numpy.typing import NDArray

    from registry.measures.conditions import Parts
    from registry.measures.strata import Question

    Bytes = NDArray[np.uint8]
    Numbers = NDArray[np.float64]
    Patients = NDArray[np.int64]
    Places = NDArray[np.int32]

#: Rows that are counted at a time: those of one row group of the engine.
_ROWS = 122_880
# What a measure says of a procedure is one byte. 0 is kept, and 1 in the numerator; from 2 on it is
# left out, and the number of a reason is the larger the earlier it applies: so that of several that
# hold the largest decides. Added to it are the sign of an unknown outcome, numbered alike, whether a
# value counts as missing, and whether the patient has no other procedure.
_FIRST_REASON, _SIGN, _MISSING, _ALONE, _SAID = 2, 16, 64, 128, 256


@dataclass(frozen=True)
class Cell:
    """Procedures of one stratum of which a measure says the same.

    ``reason`` is None for those kept; ``unknown`` is the sign of an unknown outcome;
    ``alone`` says that they are the only procedures of their patients.
    """

    stratum: str
    reason: str | None
    unknown: str | None
    in_numerator: bool
    counts_as_missing: bool
    alone: bool
    units: int


def fits(parts: Parts) -> bool:
    """Whether all that a measure can say has its place in a byte."""
    return len(parts.reasons) <= _SIGN - _FIRST_REASON and len(parts.signs) < _MISSING // _SIGN


class Scan:
    """What several measures say of the procedures that a question is about, counted.

    Parameters
    ----------
    measures
        Each taken apart; those that do not :func:`fits` are none for a scan.
    """

    def __init__(
        self, cursor: duckdb.DuckDBPyConnection, question: Question, measures: Sequence[Parts]
    ) -> None:
        self._measures = measures
        #: Strata in which there are procedures, and their places; one where the question does not split.
        self._strata: dict[str, int] = {} if question.by else {ALL: 0}
        self._said = np.zeros((len(measures), len(self._strata), _SAID), dtype=np.int64)
        self._values: dict[int, list[tuple[Numbers, Places]]] = {
            place: [] for place, parts in enumerate(measures) if parts.measured
        }
        self._several: list[tuple[Patients, Places, Bytes]] = []
        statement = _statement(question, measures)
        try:
            for rows in cursor.execute(statement, question.parameters).to_arrow_reader(_ROWS):
                self._add(rows, is_split=bool(question.by))
        except OSError:
            # Where rows are handed out in parts the engine's errors lose their kind, and with it the
            # sentence that the store has for it. Asked for the whole it tells the kind.
            cursor.execute(statement, question.parameters).to_arrow_table()
            raise

    def _add(self, rows: pa.RecordBatch, *, is_split: bool) -> None:
        strata = self._places(rows["stratum"]) if is_split else np.zeros(rows.num_rows, dtype=np.int32)
        alone = rows["alone"].to_numpy() * np.uint8(_ALONE)
        holds = {one: rows[name].to_numpy() for one, name in _names(self._measures).items()}
        kept_by = np.zeros((-(-len(self._measures) // 8), rows.num_rows), dtype=np.uint8)
        first = strata * _SAID
        for place, parts in enumerate(self._measures):
            said = _said(parts, holds, rows.num_rows)
            kept = said & np.uint8(_SIGN - 1) < _FIRST_REASON
            said = said + alone
            # Most questions do not split, and bytes are counted faster than numbers.
            counted = np.bincount(first + said if is_split else said, minlength=len(self._strata) * _SAID)
            self._said[place] += counted.reshape(-1, _SAID)
            kept_by[place // 8] |= kept.view(np.uint8) << np.uint8(place % 8)
            if place in self._values:
                values = rows[f"measured_{place}"].to_numpy(zero_copy_only=False)
                # Without a split their strata would be as many zeros.
                self._values[place].append((values[kept], strata[kept] if is_split else strata[:0]))
        others = np.flatnonzero(alone == 0)
        self._several.append((rows["patient_no"].to_numpy()[others], strata[others], kept_by[:, others]))

    def _places(self, names: pa.Array) -> Places:
        """Place of the stratum of each row; those not met before get one, and room."""
        encoded = names.dictionary_encode()
        known = [self._strata.setdefault(name, len(self._strata)) for name in encoded.dictionary.to_pylist()]
        room = len(self._strata) - self._said.shape[1]
        self._said = np.pad(self._said, ((0, 0), (0, room), (0, 0)))
        places: Places = np.array(known, dtype=np.int32)[encoded.indices.to_numpy()]
        return places

    def cells(self, place: int) -> Iterator[Cell]:
        """What the measure at a place of the list says, and of how many procedures."""
        parts = self._measures[place]
        for stratum, row in self._strata.items():
            counted = self._said[place, row]
            for said in np.flatnonzero(counted).tolist():
                decided, sign = said % _SIGN, said % _MISSING // _SIGN
                yield Cell(
                    stratum,
                    parts.reasons[1 - decided][0] if decided >= _FIRST_REASON else None,
                    parts.signs[-sign].sign if sign else None,
                    decided == 1,
                    bool(said & _MISSING),
                    bool(said & _ALONE),
                    int(counted[said]),
                )

    def patients_of_several(self) -> list[dict[str, int]]:
        """Patients of several procedures of whom at least one is kept, by stratum, for each measure."""
        if not self._several:
            return [{} for _ in self._measures]
        patients, strata, kept_by = (np.concatenate(one, axis=-1) for one in zip(*self._several, strict=True))
        key = strata.astype(np.int64) * (patients.max(initial=0) + 1) + patients
        order = np.argsort(key)
        starts = np.flatnonzero(np.diff(key[order], prepend=-1))
        strata = strata[order][starts]
        kept_by = np.bitwise_or.reduceat(kept_by[:, order], starts, axis=1) if starts.size else kept_by
        found = []
        for place in range(len(self._measures)):
            kept = kept_by[place // 8] & np.uint8(1 << place % 8) != 0
            counted = np.bincount(strata[kept], minlength=len(self._strata)).tolist()
            found.append(dict(zip(self._strata, counted, strict=True)))
        return found

    def values(self, place: int) -> dict[str, Numbers]:
        """Values of the kept procedures of a measure by stratum; no entry for one without any."""
        kept = self._values.get(place)
        if not kept:
            return {}
        values, strata = (np.concatenate(one) for one in zip(*kept, strict=True))
        if len(self._strata) == 1:
            return dict.fromkeys(self._strata, values) if values.size else {}
        found = {name: values[strata == row] for name, row in self._strata.items()}
        return {name: one for name, one in found.items() if one.size}


def _statement(question: Question, measures: Sequence[Parts]) -> str:
    """A SELECT of what :meth:`Scan._add` reads: 1 where a condition holds, and what is NULL does not."""
    columns = {
        "patient_no": "patient_no",
        "alone": "CAST(patient_procedures = 1 AS UTINYINT)",
        **{name: f"CAST(coalesce({one}, FALSE) AS UTINYINT)" for one, name in _names(measures).items()},
        **{
            f"measured_{place}": f"CAST({parts.measured} AS DOUBLE)"
            for place, parts in enumerate(measures)
            if parts.measured
        },
    }
    if question.by:
        columns["stratum"] = question.stratum
    asked = ", ".join(f"{one} AS {name}" for name, one in columns.items())
    return f"SELECT {asked} FROM procedure_facts WHERE {STARTED} AND {question.condition}"


def _names(measures: Sequence[Parts]) -> dict[str, str]:
    """Condition -> its column; each condition once, whoever asks it."""
    asked = dict.fromkeys(one for parts in measures for one in parts.conditions)
    return {one: f"condition_{place}" for place, one in enumerate(asked)}


def _said(parts: Parts, holds: Mapping[str, Bytes], rows: int) -> Bytes:
    """The byte of each row, but for whether its patient has other procedures."""
    said = holds[parts.numerator] if parts.numerator else np.zeros(rows, dtype=np.uint8)
    for code, (_, condition) in enumerate(reversed(parts.reasons), _FIRST_REASON):
        said = np.maximum(said, holds[condition] * np.uint8(code))
    signs = np.zeros(rows, dtype=np.uint8)
    for code, one in enumerate(reversed(parts.signs), 1):
        applies = _is_left_out_for(parts, one.reasons, said) * np.uint8(code)
        for condition in one.conditions:
            applies *= holds[condition]
        signs = np.maximum(signs, applies)
    if parts.signs:
        said = said + signs * np.uint8(_SIGN)
    if parts.missing:
        said = said + holds[parts.missing] * np.uint8(_MISSING)
    return said


def _is_left_out_for(parts: Parts, reasons: frozenset[str] | None, said: Bytes) -> NDArray[np.bool_]:
    if reasons is None:
        return said >= _FIRST_REASON
    found = np.zeros(said.size, dtype=np.bool_)
    for code, (reason, _) in enumerate(reversed(parts.reasons), _FIRST_REASON):
        if reason in reasons:
            found |= said == code
    return found
