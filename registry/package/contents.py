"""The files of a package, but for its manifest."""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from importlib.metadata import PackageNotFoundError, version
from typing import TYPE_CHECKING, Any

import polars as pl

from registry.codebook import CAUTIONS, load_cohort
from registry.cohorts import flow_figure
from registry.cohorts.table_one import table_one
from registry.disclosure import report
from registry.disclosure.cells import SMALLEST, Rule
from registry.disclosure.profiles import INTERNAL
from registry.package import book, canonical, descriptor, statistics_files, workbook
from registry.package.first_table import table_one_rows
from registry.package.guard import guard
from registry.package.readme import readme
from registry.package.rows import KEY, TABLE

if TYPE_CHECKING:
    from pathlib import Path

    from registry.disclosure.report import PrivacyReport
    from registry.disclosure.treatment import Disclosed
    from registry.package.asked import Asked
    from registry.package.rows import Taken
    from registry.store import Registry

_LIBRARIES = ("duckdb", "polars", "pyarrow", "pyreadstat")


@dataclass
class Written:
    """``names`` of files below the folder, ``rows`` of those that are tables, the guarded cells by
    column, and what the manifest states of the table."""

    names: list[str] = field(default_factory=list)
    rows: dict[str, int] = field(default_factory=dict)
    guarded: dict[str, int] = field(default_factory=dict)
    table: dict[str, Any] = field(default_factory=dict)


def libraries(formats: tuple[str, ...]) -> dict[str, str]:
    """Versions of what wrote the files."""
    found = {}
    for name in _LIBRARIES:
        if name == "pyreadstat" and not set(formats) & set(statistics_files.STATISTICS):
            continue
        try:
            found[name] = version(name)
        except PackageNotFoundError:
            continue
    return found


def write(
    place: Path,
    registry: Registry,
    taken: Taken,
    done: Disclosed,
    privacy: PrivacyReport,
    asked: Asked,
    manifest: dict[str, Any],
) -> Written:
    """Write all files but the manifest, for which they are described."""
    made = Written()
    rows = done.frame
    entries = book.entries(done, taken.comments, registry.site.added_codes)
    listed = book.frame(entries, rows.height)
    plain, made.guarded = guard(rows)
    sheet = guard(listed)[0]
    # Privacy: a rule hides cells in what is passed on; inside the service a table is shown as it is.
    rule = Rule(0) if asked.profile.name == INTERNAL.name else Rule(SMALLEST)
    (place / "data").mkdir(mode=0o700)
    path = place / "data" / TABLE
    title = manifest["title"]
    try:
        plain.write_csv(path.with_suffix(".csv"))
        rows.write_parquet(path.with_suffix(".parquet"))
        for kind in asked.formats:
            if kind in statistics_files.STATISTICS:
                statistics_files.write(rows, entries, path.with_suffix(f".{kind}"), title)
            elif kind == "xlsx":
                about = pl.DataFrame({"cautions": [*CAUTIONS, *asked.profile.cautions]})
                workbook.write(
                    {TABLE: plain, "codebook": sheet, "cautions": about}, path.with_suffix(".xlsx")
                )
        sheet.write_csv(place / "codebook.csv")
        flow = pl.DataFrame(
            [
                {
                    "step": f.key,
                    "kind": f.kind,
                    "label": f.label,
                    "left_out": f.left_out,
                    "remaining": f.remaining,
                }
                for f in taken.flow
            ]
        )
        guard(flow)[0].write_csv(place / "flow.csv")
        (place / "flow.svg").write_text(flow_figure(taken.flow)[0], encoding="utf-8")
        if asked.cohort is not None:
            (place / "cohort.json").write_bytes(asked.cohort.canonical() + b"\n")
            if taken.drawn is not None and rows.height:
                first = table_one_rows(table_one(taken.drawn), rule)
                guard(first)[0].write_csv(place / "table_one.csv")
    except pl.exceptions.PolarsError:
        raise OSError(None, "the disk does not take it") from None
    about_rows = load_cohort()
    texts = {
        "codebook.md": book.page(
            listed, title, f"{about_rows.grain}. {about_rows.population}", asked.profile.cautions
        ),
        "PRIVACY.md": report.page(privacy),
        "privacy.json": _json(report.as_json(privacy)),
        "datapackage.json": _json(
            descriptor.descriptor(
                asked.cohort.name if asked.cohort else TABLE,
                title,
                f"{asked.cohort.version}.0.0" if asked.cohort else "1.0.0",
                manifest["written_at"],
                [
                    descriptor.resource(TABLE, f"data/{TABLE}.csv", entries, KEY, title),
                    descriptor.plain_resource("codebook", "codebook.csv", sheet, "Codebook"),
                    descriptor.plain_resource("flow", "flow.csv", flow, "Flow"),
                ],
            )
        ),
    }
    for name, text in texts.items():
        (place / name).write_text(text, encoding="utf-8")
    names = sorted(one.relative_to(place).as_posix() for one in place.rglob("*") if one.is_file())
    (place / "README.md").write_text(
        readme(title, manifest, asked.profile, names, rule.words if "table_one.csv" in names else ""),
        encoding="utf-8",
    )
    made.names = sorted([*names, "README.md"])
    made.rows = {name: rows.height for name in names if name.startswith("data/")} | {
        "codebook.csv": listed.height
    }
    made.table = {
        "key": list(KEY),
        "form": canonical.FORM,
        "columns": {one.name: one.type for one in entries},
        "rows": rows.height,
        "rows_sha256": canonical.rows_sha256(rows, KEY),
        "columns_sha256": canonical.columns_sha256(rows, KEY),
    }
    return made


def _json(content: dict[str, Any]) -> str:
    return json.dumps(content, indent=2, ensure_ascii=False) + "\n"
