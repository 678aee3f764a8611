"""Files of counts from several services, brought together as one run over all of them would count."""

from __future__ import annotations

from dataclasses import asdict, dataclass, replace
from math import sqrt
from typing import TYPE_CHECKING, Any

from registry.aggregate.bins import median_between, together
from registry.aggregate.collect import digest
from registry.aggregate.document import FIRST
from registry.aggregate.merge_pieces import merged_pieces
from registry.errors import UsageProblem
from registry.measures import load_measures
from registry.measures.counting import Counts
from registry.measures.definition import PROPORTION, TABLE, TIME_TO_EVENT
from registry.measures.evaluation import check, proportions_of
from registry.measures.strata import ALL, in_order
from registry.stats.estimators import CLUSTERED
from registry.units import Pool, pool

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from datetime import date

    from registry.aggregate.document import Cell, Document
    from registry.aggregate.merge_pieces import EventTable
    from registry.measures.counting import Clusters
    from registry.measures.results import CategoryTable, ProportionResult

NOTES = (
    "Patients are added up: one who was seen at two places counts twice, and procedures of one patient at two places "
    "are taken as those of two.",
    "Medians cannot be had from sums: of quantities the mean and the standard deviation are given, the medians of the places from "
    "the least to the greatest, and between which bounds the median of all lies, from values counted in bins with stated bounds.",
    "Curves: at risk and events by interval. The estimate at fixed days with its limits needs the days, which stand in internal "
    "files only. Probabilities per procedure are not in the files.",
)


@dataclass(frozen=True)
class Rate:
    """A proportion over all places; ``parts`` are (place, x, n), ``pool`` sets them beside one another.

    ``withheld`` names what one of the places kept back because it was small: those counts
    of ``result`` are too low, bounds are then None.
    """

    result: ProportionResult
    parts: tuple[tuple[str, int, int], ...]
    pool: Pool
    withheld: tuple[str, ...]

    def to_dict(self) -> dict[str, Any]:
        """JSON-able."""
        made = self.result.to_dict()
        return {
            **made,
            "parts": [{"place": place, "numerator": x, "denominator": n} for place, x, n in self.parts],
            "pool": asdict(self.pool),
            "withheld": list(self.withheld),
        }


@dataclass(frozen=True)
class Length:
    """A quantity over all places, in ``unit``: mean and standard deviation, None where they do not exist.

    ``lowest`` and ``highest`` are the least and the greatest of the places' medians; the median
    of all values lies from ``median_from`` to ``median_to``, None where a file has no bins.
    """

    measure: str
    stratum: str
    unit: str
    n: int
    mean: float | None
    sd: float | None
    lowest: float | None
    highest: float | None
    median_from: float | None = None
    median_to: float | None = None


@dataclass(frozen=True)
class Merged:
    """What the files say together; ``left_out`` says of each thing that is not here why."""

    sites: tuple[str, ...]
    sources: tuple[tuple[str, str], ...]
    as_of: date
    start: date | None
    end: date | None
    by: str | None
    rates: tuple[Rate, ...]
    lengths: tuple[Length, ...]
    tables: tuple[CategoryTable, ...]
    curves: tuple[EventTable, ...]
    left_out: Mapping[str, str]
    notes: tuple[str, ...] = NOTES

    def to_dict(self) -> dict[str, Any]:
        """JSON-able, dates in ISO form."""
        return {
            "sites": list(self.sites),
            "files": [{"service": service, "sha256": sha256} for service, sha256 in self.sources],
            "as_of": self.as_of.isoformat(),
            "from": self.start and self.start.isoformat(),
            "to": self.end and self.end.isoformat(),
            "by": self.by,
            "proportions": [one.to_dict() for one in self.rates],
            "quantities": [asdict(one) for one in self.lengths],
            "tables": [one.to_dict() for one in self.tables],
            "curves": [one.to_dict() for one in self.curves],
            "left_out": dict(self.left_out),
            "notes": list(self.notes),
        }


def merge(
    files: Sequence[Document], *, internal: bool = False, interval: str = "wilson", confidence: float = 0.95
) -> Merged:
    """Add the counts of several services up.

    Parameters
    ----------
    files
        As :func:`registry.aggregate.document.read` returns them, two or more.
    internal
        Take files that hold small counts.
    interval, confidence
        As :func:`registry.measures.evaluate`; clustered needs internal files.

    Raises
    ------
    UsageProblem
        The files do not speak of the same: another as-of day, period, split or definition of
        a measure; a site stands in two of them; or one holds small counts.
    """
    check(interval, confidence)
    _agree(files, internal)
    if interval == CLUSTERED and not all(one.internal for one in files):
        raise UsageProblem(
            "The interval by patient needs what each patient has, which stands in internal files only. Choose wilson, or ask for internal files."
        )
    first, left_out = files[0], _left_out(files)
    keys = sorted(
        {
            (name, stratum)
            for one in files
            for name, counted in one.measures.items()
            if name not in left_out
            for stratum in counted.strata
            if f"{name}, {stratum}" not in left_out
        },
        key=lambda key: (key[0], in_order(key[1])),
    )
    found = {key: _parts(files, *key) for key in keys}
    if first.by is not None:
        found |= _altogether(found, left_out, files)
    kinds = {name: counted.kind for name, counted in first.measures.items()}
    rates = {key: parts for key, parts in found.items() if kinds[key[0]] == PROPORTION}
    stamp = f"merged from {len(files)} files: {', '.join(one.sha256[:12] for one in files)}"
    tables, curves = merged_pieces(
        files,
        left_out,
        interval=interval,
        confidence=confidence,
        stamp=stamp,
        dates={"as_of": first.as_of, "start": first.start, "end": first.end},
    )
    return Merged(
        tuple(sorted(site for one in files for site in one.sites)),
        tuple((one.service, one.sha256) for one in files),
        first.as_of,
        first.start,
        first.end,
        first.by,
        _rates(rates, interval, confidence, stamp, first),
        tuple(_length(*key, [cell for _, cell in parts]) for key, parts in found.items() if key not in rates),
        tables,
        curves,
        left_out,
        (*NOTES, *_older(files)),
    )


def _older(files: Sequence[Document]) -> tuple[str, ...]:
    """Which files were written by an earlier program, and what they lack."""
    old = [one.service for one in files if one.version == FIRST]
    if not old:
        return ()
    return (
        f"Files of version {FIRST}: {', '.join(old)}. They hold no cross-tables, no curves and no bins of values, so that these are not "
        "merged; write them again with this program to have them.",
    )


# -- whether they speak of the same ----------------------------------------------------


def _agree(files: Sequence[Document], internal: bool) -> None:
    if len(files) < 2:
        raise UsageProblem("One file alone is nothing to merge. Name the files of two services or more.")
    first = files[0]
    for one in files[1:]:
        for what, ours, theirs in (
            ("as-of day", first.as_of, one.as_of),
            ("first day", first.start, one.start),
            ("last day", first.end, one.end),
            ("split", first.by, one.by),
        ):
            if ours != theirs:
                raise UsageProblem(
                    f"The files have different {what}s: {ours or 'none'} at {first.service}, {theirs or 'none'} at {one.service}. "
                    "Write them again with the same options."
                )
    _same_definitions(files)
    seen: dict[str, str] = {}
    for one in files:
        for site in one.sites:
            if site in seen:
                raise UsageProblem(
                    f"Site {site} stands in the files of {seen[site]} and of {one.service}: its procedures would count twice. "
                    "Leave one file out; where two services use the same code, one of them must choose another."
                )
            seen[site] = one.service
    if internal:
        return
    for one in files:
        if one.internal or one.small():
            raise UsageProblem(
                f"The file of {one.service} holds counts from 1 to 4, by which a patient could be recognised. "
                "Merge it with --internal if this centre may see them, or ask for a file written without --internal."
            )


def _same_definitions(files: Sequence[Document]) -> None:
    here = load_measures()
    for one in files:
        for name, counted in one.defined.items():
            if name not in here or counted.sha256 != digest(here[name]):
                raise UsageProblem(
                    f"{name} is defined otherwise in the file of {one.service} ({one.program}) than here. "
                    "Use the same version of the program at every place."
                )
        if one.definitions_sha256 != files[0].definitions_sha256:
            raise UsageProblem(
                f"The facts that measures read are derived otherwise at {one.service} ({one.program}) than at {files[0].service} "
                f"({files[0].program}). Use the same version of the program at every place."
            )
        if set(one.measures) != set(files[0].measures):
            raise UsageProblem(
                f"The files of {files[0].service} and {one.service} hold different measures. Use the same version of the program."
            )


def _left_out(files: Sequence[Document]) -> dict[str, str]:
    """What cannot be merged: not in the files, withheld at one place, or read with other local settings."""
    found: dict[str, str] = {}
    for one in files:
        for name, why in one.left_out.items():
            is_measure = name in load_measures()
            if is_measure and one.version == FIRST and load_measures()[name].kind in (TABLE, TIME_TO_EVENT):
                found[name] = f"the file of {one.service} is of version {FIRST}, which does not hold it"
            found.setdefault(name, why if is_measure else f"withheld by {one.service}: {why}")
    for name, counted in files[0].defined.items():
        for one in files[1:]:
            if name not in one.defined or name in found:
                continue
            theirs = one.defined[name].settings
            if differs := sorted(
                {key for key in {*counted.settings, *theirs} if counted.settings.get(key) != theirs.get(key)}
            ):
                found[name] = (
                    f"{files[0].service} and {one.service} set {', '.join(differs)} differently: they do not count the same"
                )
    return found


# -- adding up -------------------------------------------------------------------------

Parts = list[tuple[str, "Cell"]]


def _parts(files: Sequence[Document], name: str, stratum: str) -> Parts:
    """(place, cell) of each file that has the stratum."""
    return [
        (one.service if len(set(one.sites)) > 1 else one.sites[0], cell)
        for one in files
        if (cell := one.measures[name].strata.get(stratum)) is not None
    ]


def _altogether(
    found: Mapping[tuple[str, str], Parts], left_out: dict[str, str], files: Sequence[Document]
) -> dict[tuple[str, str], Parts]:
    """All strata of a measure as one; not where one of them was withheld."""
    made: dict[tuple[str, str], Parts] = {}
    for (name, stratum), parts in found.items():
        if any(key.startswith(f"{name}, ") for key in left_out):
            left_out.setdefault(f"{name}, {ALL}", "one of its strata is withheld")
            continue
        by_site = files[0].by == "site"
        made.setdefault((name, ALL), []).extend(
            (stratum if by_site else place, cell) for place, cell in parts
        )
    return made


def _rates(
    found: Mapping[tuple[str, str], Parts], interval: str, confidence: float, stamp: str, first: Document
) -> tuple[Rate, ...]:
    counts, clusters = {}, {}
    for key, parts in found.items():
        counts[key] = _sum([cell for _, cell in parts])
        if interval == CLUSTERED:
            clusters[key] = _clusters([cell for _, cell in parts])
    results = proportions_of(
        counts,
        {one.id: one.bounds for one in load_measures().values()},
        clusters,
        interval=interval,
        confidence=confidence,
        stamp=stamp,
        dates={"as_of": first.as_of, "start": first.start, "end": first.end},
    )
    made = []
    for result, parts in zip(results, found.values(), strict=True):
        by_place: dict[str, list[int]] = {}
        for place, cell in parts:
            kept = by_place.setdefault(place, [0, 0])
            kept[0] += cell.x or 0
            kept[1] += cell.n
        withheld = sorted({what for _, cell in parts for what in cell.withheld})
        made.append(
            Rate(
                replace(result, bounds=None) if "bounds" in withheld else result,
                tuple((place, x, n) for place, (x, n) in by_place.items()),
                pool([(x, n) for x, n in by_place.values()], confidence),
                tuple(withheld),
            )
        )
    return tuple(made)


def _sum(cells: Sequence[Cell]) -> Counts:
    made = Counts(patients=sum(one.patients or 0 for one in cells))
    for one in cells:
        made.denominator += one.n
        made.numerator += one.x or 0
        for kept, given in ((made.excluded, one.excluded), (made.unknown, one.unknown or {})):
            for name, count in given.items():
                kept[name] = kept.get(name, 0) + count
    return made


def _clusters(cells: Sequence[Cell]) -> Clusters:
    patients: dict[tuple[int, int], int] = {}
    for one in cells:
        for y, n, number in one.clusters or ():
            patients[y, n] = patients.get((y, n), 0) + number
    return (
        [y for y, _ in sorted(patients)],
        [n for _, n in sorted(patients)],
        [patients[key] for key in sorted(patients)],
    )


def _length(measure: str, stratum: str, cells: Sequence[Cell]) -> Length:
    n = sum(one.n for one in cells)
    total, squares = sum(one.total or 0.0 for one in cells), sum(one.squares or 0.0 for one in cells)
    medians = [one.median for one in cells if one.median is not None]
    sd = sqrt(max(0.0, (squares - total * total / n) / (n - 1))) if n > 1 else None
    bins = [one.bins for one in cells if one.n]
    between = median_between(together([one or () for one in bins])) if None not in bins else None
    return Length(
        measure,
        stratum,
        load_measures()[measure].value_unit,
        n,
        total / n if n else None,
        sd,
        min(medians, default=None),
        max(medians, default=None),
        *(between or (None, None)),
    )
