"""Commands that make files or serve pages: export, handbook, demo, dashboard."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from datetime import date
from pathlib import Path
from typing import Annotated

import typer

from registry.commands.common import AsOfOption, FolderArgument, FromOption, ToOption, day, say, today_at
from registry.errors import FileProblem, UsageProblem


def export(
    folder: FolderArgument,
    target: Annotated[Path, typer.Argument(help="New folder for the export.", show_default=False)],
    reason: Annotated[
        str, typer.Option(help="What the export is for; written to the trail.", show_default=False)
    ],
    as_of: AsOfOption = None,
    start: FromOption = None,
    end: ToOption = None,
) -> None:
    """Write procedures with derived columns as CSV and Parquet, with codebook and manifest."""
    from registry.engine import current_user
    from registry.exports import export as run
    from registry.store import Registry

    with Registry.open(folder, write=True) as registry:
        report = run(
            registry,
            target,
            as_of=day(as_of, "--as-of") or today_at(registry.site),
            start=day(start, "--from"),
            end=day(end, "--to"),
            author=current_user(),
            reason=reason,
        )
    for line in report.lines():
        say(line)


def handbook(
    target: Annotated[
        Path, typer.Argument(help="Folder for the handbook, the data dictionary and the command page.")
    ] = Path("docs"),
) -> None:
    """Write the measure handbook, the data dictionary and the command page."""
    from registry.cli import app
    from registry.handbook import write_all

    for path in write_all(target, app):
        say(f"Wrote {path}")


def demo(
    folder: Annotated[Path, typer.Argument(help="New registry folder for the synthetic service.")] = Path(
        "demo-registry"
    ),
    procedures: Annotated[
        int, typer.Option(help="How many procedures to invent.", min=10, max=2_000_000)
    ] = 3000,
    seed: Annotated[int, typer.Option(help="Seed of the generator.")] = 20260630,
) -> None:
    """Make a registry of invented procedures, through the same door as real ones."""
    import tempfile

    from registry import store
    from registry.imports import registry_csv
    from registry.intake import Options, accept
    from registry.store import Registry
    from synthetic_data.generate import write as generate

    if (folder / "DEMO").exists():
        say(f"{folder} already holds the demo registry.")
        return
    store.create(folder, time_zone="UTC", name="Three-site demonstration service (invented)")
    site = (folder / "site.toml").read_text(encoding="utf-8")
    (folder / "site.toml").write_text(site + DEMO_FRAME, encoding="utf-8")
    with tempfile.TemporaryDirectory() as scratch:
        say(f"Inventing {procedures:,} procedures ...")
        made = generate(Path(scratch) / "files", procedures=procedures, seed=seed)
        say("Importing them ...")
        with Registry.open(folder, write=True) as registry:
            report = accept(
                registry, registry_csv.read(made), author="demo", today=date(2026, 7, 1), options=Options()
            )
            registry.checkpoint()
        truth = made / "truth.json"
        if truth.exists():
            (folder / "truth.json").write_bytes(truth.read_bytes())
    (folder / "DEMO").write_text("All data in this registry are invented.\n", encoding="utf-8")
    for line in report.lines()[:16]:
        say(line)
    if report.refused:
        raise typer.Exit(1)


#: The invented service's coordinate frame: prone, needle from the lateral side.
DEMO_FRAME = """
[frames.SUITE]
x_plus = "medial"
y_plus = "cranial"
z_plus = "posterior"
hour_12 = "y_plus"
"""


def dashboard(
    folder: FolderArgument,
    port: Annotated[int, typer.Option(help="Port on the loopback address.", min=1, max=65535)] = 8501,
) -> None:
    """Serve the pages on this machine until Ctrl-C."""
    try:
        from dashboards.launch import command, environment
    except ModuleNotFoundError as problem:
        raise UsageProblem(
            f"The dashboard needs {problem.name}. Install biopsy-outcomes[dashboard]."
        ) from None
    if not (folder / "site.toml").is_file():
        raise UsageProblem(
            f"{folder}: is not a registry folder. Make one with: biopsy-outcomes create {folder}"
        )
    try:
        child = subprocess.Popen(command(folder, port), env={**os.environ, **environment(folder)})
    except OSError as problem:
        raise FileProblem(f"The page server cannot be started: {problem.strerror}.") from None
    say(f"Serving http://127.0.0.1:{port} (Ctrl-C ends it)")
    for name in ("SIGTERM", "SIGHUP"):
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), _end)
    try:
        code = child.wait()
    except (KeyboardInterrupt, SystemExit):
        code = _stop(child)
    sys.exit(code)


def _end(*_: object) -> None:
    raise SystemExit(0)


def _stop(child: subprocess.Popen[bytes]) -> int:
    """Ask the page server to end, wait, and make sure that nothing stays behind."""
    child.terminate()
    try:
        child.wait(timeout=10)
    except subprocess.TimeoutExpired:
        child.kill()
        child.wait()
    return 0
