"""The page that a receiver reads first."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from registry.codebook import CAUTIONS
from registry.numerals import grouped
from registry.package.guard import GUARD_RULE

if TYPE_CHECKING:
    from collections.abc import Mapping

    from registry.disclosure.profiles import Profile

_FILES = {
    "data/procedures.csv": "the rows; UTF-8, commas, days as YYYY-MM-DD, yes and no as true and false",
    "data/procedures.parquet": "the same rows with their types",
    "data/procedures.dta": "Stata 15 and later; codes as numbers with value labels",
    "data/procedures.sav": "SPSS; codes as numbers with value labels",
    "data/procedures.xpt": "SAS transport, version 8; no value labels, see codebook.csv",
    "data/procedures.xlsx": "a workbook with the rows, the codebook and these cautions",
    "codebook.csv": "what each column holds, its unit in UCUM, its codes, and an alias of eight characters",
    "codebook.md": "the same as a page",
    "datapackage.json": "the tables described for programs (Data Package 2.0)",
    "flow.csv": "how many procedures each step left out",
    "flow.svg": "the same as a figure",
    "table_one.csv": "who and what the rows hold",
    "cohort.json": "the cohort file that chose the rows",
    "PRIVACY.md": "what was left out or coarsened, and how far the rows still point to persons",
    "privacy.json": "the same for programs",
    "MANIFEST.json": "hashes of every file and of the rows, the definitions and the state of the record",
}


def readme(title: str, manifest: Mapping[str, Any], profile: Profile, files: list[str], hidden: str) -> str:
    """README.md."""
    lines = [f"# {title}", ""]
    if manifest["invented"]:
        lines += ["**All data in this package are invented.**", ""]
    lines += [
        f"{grouped(manifest['rows'])} procedures of {grouped(manifest['patients'])} patients, up to {manifest['as_of']}. "
        f"Profile {profile.name}: {profile.title}. Purpose: {manifest['reason']}",
        "",
        "## Read this first",
        "",
        *(f"- {caution}" for caution in (*CAUTIONS, *profile.cautions)),
        "- Keep the package where only those who need it can read it, and delete it when the purpose is served.",
        f"- {GUARD_RULE}",
    ]
    if hidden:
        lines.append(f"- {hidden}")
    if any(name.endswith((".dta", ".sav", ".xpt")) for name in files):
        lines.append(
            "- In the Stata, SPSS and transport files an empty text cannot be told from a missing one."
        )
    lines += ["", "## Files", ""]
    lines += [f"- `{name}`: {_FILES[name]}" for name in _FILES if name in (*files, "MANIFEST.json")]
    lines += [
        "",
        "## Check it",
        "",
        "`biopsy-outcomes verify FOLDER` computes every hash again from the files and names what differs. "
        "`biopsy-outcomes export --from-manifest MANIFEST.json REGISTRY` draws the same rows again from the registry.",
        "",
    ]
    return "\n".join(lines)
