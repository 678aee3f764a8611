"""Commands that make files or serve pages: handbook, demo, dashboard."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
from contextlib import suppress
from datetime import date
from ipaddress import ip_address
from pathlib import Path
from typing import Annotated

import typer

from registry.commands.common import FolderArgument, say
from registry.errors import FileProblem, UsageProblem
from registry.numerals import grouped


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
    from synthetic_data.stories import STORIES

    if (folder / "DEMO").exists():
        say(f"{folder} already holds the demo registry.")
        return
    store.create(folder, time_zone="UTC", name="Demonstration service of four sites (invented)")
    site = (folder / "site.toml").read_text(encoding="utf-8")
    site = site.replace("# measurement_sd_mm = ...", DEMO_MEASUREMENT)
    for name, value in DEMO_TOLERANCES.items():
        site = site.replace(f"# {name} = ...", f"{name} = {value:g}")
    (folder / "site.toml").write_text(site + DEMO_FRAME, encoding="utf-8")
    with tempfile.TemporaryDirectory() as scratch:
        say(f"Inventing {grouped(procedures)} procedures ...")
        made = generate(Path(scratch) / "files", procedures=procedures, seed=seed)
        say("Importing them ...")
        with Registry.open(folder, write=True) as registry:
            report = accept(
                registry, registry_csv.read(made), author="demo", today=date(2026, 7, 1), options=Options()
            )
            told = accept(
                registry, registry_csv.read(STORIES), author="demo", today=date(2026, 7, 1), options=Options()
            )
            registry.checkpoint()
        for truth in made.glob("*truth.json"):
            (folder / truth.name).write_bytes(truth.read_bytes())
    (folder / "DEMO").write_text("All data in this registry are invented.\n", encoding="utf-8")
    for line in report.lines()[:16]:
        say(line)
    say(f"And a meeting ahead, with its procedures told one by one: {told.lines()[0]}")
    if report.refused or told.exit_code:
        raise typer.Exit(1)


#: The invented service measured how well it reads a coordinate, as its records say where they say it.
DEMO_MEASUREMENT = "measurement_sd_mm = 1.0"

#: Tolerances of the invented service, invented like itself: no service should take them over.
DEMO_TOLERANCES = {
    "leak_test_days": 182,
    "counts_tolerance": 0.05,
    "phantom_tolerance_mm": 3,
    "clock_tolerance_s": 30,
}

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
    address: Annotated[str, typer.Option(help="Loopback address to listen on.")] = "127.0.0.1",
    host_name: Annotated[
        list[str] | None,
        typer.Option(
            help="Name under which a reverse proxy on this machine serves the pages; may be repeated.",
            show_default=False,
        ),
    ] = None,
    allow_root: Annotated[
        bool,
        typer.Option(
            "--allow-root", help="Serve real data as the superuser, as in a container; written to the trail."
        ),
    ] = False,
) -> None:
    """Serve the pages on this machine until Ctrl-C."""
    names = [_host_name(name) for name in host_name or []]
    shown = _loopback(address)
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
        child = subprocess.Popen(
            command(folder, port, address, names),
            env={**os.environ, **environment(folder, allow_root=allow_root)},
        )
    except OSError as problem:
        raise FileProblem(f"The page server cannot be started: {problem.strerror}.") from None
    say(f"Starting the pages at http://{shown}:{port} (Ctrl-C ends them)")
    for name in ("SIGTERM", "SIGHUP"):
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), _end)
    try:
        code = child.wait()
    except (KeyboardInterrupt, SystemExit):
        code = _stop(child)
    sys.exit(code)


def _loopback(address: str) -> str:
    """The address as a link writes it; only one that no other machine reaches."""
    with suppress(ValueError):
        if (number := ip_address(address)).is_loopback:
            return f"[{number}]" if number.version == 6 else str(number)
    raise UsageProblem(
        f"--address {address}: the pages are served on a loopback address only (127.0.0.1 or ::1), as nothing "
        "here encrypts what travels to another machine. For a department put a reverse proxy with encryption "
        "on this machine: docs/deployment.md shows how."
    )


def _host_name(name: str) -> str:
    """A plain host name; a pattern would let any page of the browser's speak for the user."""
    if not re.fullmatch(r"[A-Za-z0-9]([A-Za-z0-9.-]{0,251}[A-Za-z0-9])?", name):
        raise UsageProblem(
            f"--host-name {name}: is not a host name. Give the name alone, without https:// and without a port, "
            "for example registry.hospital.example."
        )
    return name


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
