"""A visitor without a browser: speaks with the page server over its websocket, and times what it does.

It sends what a browser sends (which page, which widgets hold what) and reads what a browser
reads, up to the message that says the run of the page is over. Nothing is drawn.
"""

from __future__ import annotations

import subprocess
import sys
import time
import urllib.request
import uuid
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, Self

from streamlit.proto.BackMsg_pb2 import BackMsg
from streamlit.proto.ForwardMsg_pb2 import ForwardMsg
from websockets.sync.client import connect

if TYPE_CHECKING:
    from collections.abc import Iterator

ROOT = Path(__file__).resolve().parent.parent

#: A run of a page that takes longer than this is an error, s.
PATIENCE = 120.0
_LARGEST = 200_000_000


class Unfinished(Exception):
    """The server ended the conversation, or a page did not come to its end."""


@dataclass
class Run:
    """One run of a page: seconds until it was over, and what was put on the page, in order."""

    seconds: float
    drawn: list[Any] = field(default_factory=list)

    def text(self) -> str:
        """Everything that was drawn, as the messages spell it."""
        return " ".join(str(one) for one in self.drawn)

    def widgets(self, kind: str) -> list[Any]:
        """Elements of one kind, such as button or file_uploader."""
        return [getattr(one, kind) for one in self.drawn if one.WhichOneof("type") == kind]


class Visit:
    """One open page, like one tab of a browser.

    Parameters
    ----------
    address
        Of the page server, http on loopback.
    """

    def __init__(self, address: str) -> None:
        self._address = address
        self._connecting = connect(f"ws{address.removeprefix('http')}/_stcore/stream", max_size=_LARGEST)
        self._pages: dict[str, str] = {}
        self._session = ""

    def __enter__(self) -> Self:
        self._socket = self._connecting.__enter__()
        return self

    def __exit__(self, *_: object) -> None:
        self._connecting.__exit__(None, None, None)

    def open(self, page: str, query: str = "") -> Run:
        """Go to a page by the name in its address; the root is the empty name."""
        self.ask(page, query)
        return self.read()

    def ask(self, page: str, query: str = "", **widgets: Any) -> None:
        """Send without waiting: a page, and by identity of a widget what it holds.

        True presses a button, text fills a field, a tuple of text is a date, a list of (name, bytes) are files.
        """
        said = BackMsg()
        said.rerun_script.query_string = query
        if page in self._pages:
            said.rerun_script.page_script_hash = self._pages[page]
        else:
            said.rerun_script.page_name = page
        for key, value in widgets.items():
            state = said.rerun_script.widget_states.widgets.add(id=key)
            if value is True:
                state.trigger_value = True
            elif isinstance(value, str):
                state.string_value = value
            elif isinstance(value, tuple):
                state.string_array_value.data.extend(value)
            else:
                state.file_uploader_state_value.CopyFrom(self._upload(value))
        self._socket.send(said.SerializeToString())

    def read(self) -> Run:
        """Wait until the run that was asked for is over.

        Raises
        ------
        Unfinished
            It did not end within ``PATIENCE``, or with an error of the script.
        """
        began = time.perf_counter()
        drawn = []
        for said in self.messages():
            kind = said.WhichOneof("type")
            if kind == "delta" and said.delta.WhichOneof("type") == "new_element":
                drawn.append(said.delta.new_element)
            if kind == "script_finished" and said.script_finished == ForwardMsg.FINISHED_SUCCESSFULLY:
                return Run(time.perf_counter() - began, drawn)
        raise Unfinished("The server closed the conversation.")

    def messages(self) -> Iterator[ForwardMsg]:
        """What the server says, one message after the other."""
        while True:
            try:
                raw = self._socket.recv(timeout=PATIENCE)
            except TimeoutError:
                raise Unfinished(f"Nothing came within {PATIENCE:g} s.") from None
            said = ForwardMsg()
            said.ParseFromString(raw if isinstance(raw, bytes) else raw.encode())
            kind = said.WhichOneof("type")
            if kind == "new_session":
                self._session = said.new_session.initialize.session_id or self._session
            if kind == "navigation":
                self._pages = {one.url_pathname: one.page_script_hash for one in said.navigation.app_pages}
            if kind == "script_finished" and said.script_finished == ForwardMsg.FINISHED_WITH_COMPILE_ERROR:
                raise Unfinished("The page ended with an error.")
            yield said

    def _upload(self, files: list[tuple[str, bytes]]) -> Any:
        """Bring files to the server, and say where they are."""
        ask = BackMsg()
        ask.file_urls_request.request_id = uuid.uuid4().hex
        ask.file_urls_request.file_names.extend(name for name, _ in files)
        ask.file_urls_request.session_id = self._session
        self._socket.send(ask.SerializeToString())
        told = next(one.file_urls_response for one in self.messages() if one.HasField("file_urls_response"))
        with urllib.request.urlopen(f"{self._address}/_stcore/health", timeout=30) as answer:
            (cookie,) = (one.split(";")[0] for one in answer.headers.get_all("Set-Cookie"))
        state = BackMsg().rerun_script.widget_states.widgets.add().file_uploader_state_value
        for (name, content), urls in zip(files, told.file_urls, strict=True):
            edge = uuid.uuid4().hex
            body = (
                (
                    f'--{edge}\r\nContent-Disposition: form-data; name="file"; filename="{name}"\r\n'
                    "Content-Type: text/csv\r\n\r\n"
                ).encode()
                + content
                + f"\r\n--{edge}--\r\n".encode()
            )
            request = urllib.request.Request(
                f"{self._address}{urls.upload_url}",
                body,
                {
                    "Content-Type": f"multipart/form-data; boundary={edge}",
                    "Cookie": cookie,
                    "X-Xsrftoken": cookie.partition("=")[2],
                },
                method="PUT",
            )
            urllib.request.urlopen(request, timeout=30).close()
            state.uploaded_file_info.add(
                file_id=urls.file_id, name=name, size=len(content)
            ).file_urls.CopyFrom(urls)
        return state


def demo(folder: Path, procedures: int) -> Path:
    """Make a registry of invented data by the command that users have; its folder."""
    command = [sys.executable, "-m", "registry", "demo", str(folder), "--procedures", str(procedures)]
    subprocess.run(command, check=True, cwd=ROOT, stdout=subprocess.DEVNULL)
    return folder
