"""How the pages are started: on loopback, without telemetry, without error details.

Everything is passed as a flag. The page server reads its own configuration file from the
working directory, which a user of the installed program does not have.
"""

from __future__ import annotations

import importlib.util
import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from dashboards.components import palette

if TYPE_CHECKING:
    from collections.abc import Sequence

if importlib.util.find_spec("streamlit") is None:
    raise ModuleNotFoundError("No module named 'streamlit'", name="streamlit")

#: Environment variables through which the pages learn what they serve.
FOLDER = "BIOPSY_OUTCOMES_FOLDER"
DEMO = "BIOPSY_OUTCOMES_DEMO"
ALLOW_ROOT = "BIOPSY_OUTCOMES_ALLOW_ROOT"
APP = Path(__file__).resolve().parent / "app.py"
#: The server with its gate, around the pages.
GATED = APP.with_name("asgi.py")
#: Largest file that a page takes, in MB.
UPLOAD_MB = 20

_FLAGS: dict[str, str] = {
    "server.headless": "true",
    "server.fileWatcherType": "none",
    "server.runOnSave": "false",
    "server.maxUploadSize": str(UPLOAD_MB),
    "server.enableXsrfProtection": "true",
    "server.enableCORS": "true",
    "browser.gatherUsageStats": "false",
    "client.showErrorDetails": "none",
    "client.showErrorLinks": "false",
    "client.toolbarMode": "minimal",
    "runner.magicEnabled": "false",
    # One run of a visit after another: a page that is opened while something is being saved
    # waits for it, instead of showing what stood there before.
    "runner.fastReruns": "false",
    "logger.level": "warning",
    "theme.base": "light",
    "theme.primaryColor": palette.ACCENT,
    "theme.backgroundColor": palette.PAPER,
    "theme.secondaryBackgroundColor": palette.SHADE,
    "theme.textColor": palette.INK,
    "theme.linkColor": palette.ACCENT,
    "theme.borderColor": palette.RULE,
    "theme.font": "sans-serif",
    "theme.headingFont": "serif",
    "theme.baseRadius": "small",
    "theme.showWidgetBorder": "true",
    "theme.showSidebarBorder": "true",
    "theme.sidebar.backgroundColor": palette.SHADE,
    "theme.sidebar.secondaryBackgroundColor": palette.PAPER,
    "theme.sidebar.borderColor": palette.RULE,
}


def command(folder: Path, port: int, address: str = "127.0.0.1", host_names: Sequence[str] = ()) -> list[str]:
    """Arguments that start the page server of one registry folder.

    Parameters
    ----------
    folder
        Registry folder; named in the environment, see :func:`environment`.
    port
        Port to listen on, 1 to 65535.
    address
        Address to listen on; loopback unless a deployment says otherwise.
    host_names
        Names under which a reverse proxy serves the pages.

    Returns
    -------
    list of str
        For ``subprocess.Popen``; the interpreter that runs now, no shell.
    """
    made = [sys.executable, "-m", "dashboards.serve", "run", str(GATED)]
    flags = {**_FLAGS, "server.address": address, "server.port": str(port), "browser.serverAddress": address}
    for name, value in flags.items():
        made += [f"--{name}", value]
    # A page from elsewhere that points its own name at this machine gets no answer.
    for name in ("localhost", address, *host_names):
        made += ["--server.allowedHosts", name]
    return made


def environment(folder: Path, *, allow_root: bool = False) -> dict[str, str]:
    """Variables that tell the pages which registry they serve.

    Parameters
    ----------
    folder
        Registry folder; one that holds a file DEMO is announced as invented data.
    allow_root
        Real data may be served by the superuser.

    Returns
    -------
    dict
        To be added to the environment of the page server.
    """
    places = [str(APP.parent.parent), *filter(None, [os.environ.get("PYTHONPATH")])]
    made = {FOLDER: str(folder.resolve()), "PYTHONPATH": os.pathsep.join(places)}
    if (folder / "DEMO").exists():
        made[DEMO] = "1"
    if allow_root:
        made[ALLOW_ROOT] = "1"
    return made
