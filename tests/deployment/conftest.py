"""nginx on loopback with the guide's own file; only ports, certificate and paths are put in."""

from __future__ import annotations

import http.client
import os
import shutil
import socket
import ssl
import subprocess
import threading
import time
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import NameOID

if TYPE_CHECKING:
    from collections.abc import Iterator

DEPLOYMENT = Path(__file__).resolve().parents[2] / "docs" / "deployment"
NAME = "registry.hospital.example"
SECRET = "shared-by-the-two-servers"
START_SECONDS = 20


def required(program: str, package: str) -> str:
    """Path of a program; without it the tests are skipped loudly, or fail where nothing may be missing."""
    found = shutil.which(program, path=os.environ.get("PATH", "") + ":/usr/sbin:/usr/bin")
    if found:
        return found
    missing = (
        f"NO {program.upper()}: the files of docs/deployment were not tried. Install the package {package}."
    )
    if os.environ.get("CI") == "true":
        pytest.fail(missing)
    pytest.skip(missing)


def unused_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def put_in(text: str, **values: tuple[str, str]) -> str:
    """Each value in place of what the guide's file says; every one of them must be there."""
    for old, new in values.values():
        assert old in text, f"docs/deployment/nginx.conf no longer says: {old}"
        text = text.replace(old, new)
    return text


def write_certificate(folder: Path, name: str, common_name: str, organisation: str = "Hospital") -> None:
    """A certificate that signs itself, so that only who is handed it trusts it, and its key."""
    key = ec.generate_private_key(ec.SECP256R1())
    subject = x509.Name(
        [
            x509.NameAttribute(NameOID.ORGANIZATION_NAME, organisation),
            x509.NameAttribute(NameOID.COMMON_NAME, common_name),
            x509.NameAttribute(NameOID.ORGANIZATIONAL_UNIT_NAME, "Breast service"),
        ]
    )
    now = datetime.now(UTC)
    certificate = (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(subject)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - timedelta(days=1))
        .not_valid_after(now + timedelta(days=2))
        .add_extension(x509.SubjectAlternativeName([x509.DNSName(common_name)]), critical=False)
        .sign(key, hashes.SHA256())
    )
    (folder / f"{name}.pem").write_bytes(certificate.public_bytes(serialization.Encoding.PEM))
    (folder / f"{name}.key").write_bytes(
        key.private_bytes(
            serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
        )
    )


@dataclass(frozen=True)
class Answer:
    """What came back: status, headers (names in lower case, repeated ones joined) and body."""

    status: int
    headers: dict[str, str]
    body: bytes


@dataclass(frozen=True)
class Proxy:
    """A running nginx: its ports and its folder, in which ``access.log`` lies."""

    tls: int
    plain: int
    folder: Path

    def ask(
        self,
        path: str,
        *,
        method: str = "GET",
        headers: dict[str, str] | list[tuple[str, str]] = (),
        body: bytes = b"",
        host: str = NAME,
        certificate: str = "",
    ) -> Answer:
        """One request, the path as it is written, over a connection that trusts only our certificate."""
        trust = ssl.create_default_context(cafile=str(self.folder / "certificate.pem"))
        if certificate:
            trust.load_cert_chain(self.folder / f"{certificate}.pem", self.folder / f"{certificate}.key")
        connection = http.client.HTTPConnection("127.0.0.1", self.tls, timeout=20)
        raw = socket.create_connection(("127.0.0.1", self.tls), timeout=20)
        connection.sock = trust.wrap_socket(raw, server_hostname=NAME)
        try:
            connection.putrequest(method, path, skip_host=True, skip_accept_encoding=True)
            connection.putheader("Host", host)
            if body:
                connection.putheader("Content-Length", str(len(body)))
            for name, value in headers.items() if isinstance(headers, dict) else headers:
                connection.putheader(name, value)
            connection.endheaders()
            with suppress(OSError):  # refused before it was all sent
                connection.send(body)
            reply = connection.getresponse()
            came = {name.lower(): ", ".join(reply.headers.get_all(name)) for name in reply.headers}
            return Answer(reply.status, came, reply.read())
        finally:
            connection.close()


@contextmanager
def nginx(folder: Path, upstream: int, **changes: tuple[str, str]) -> Iterator[Proxy]:
    """The guide's file in front of a port of this machine; ``changes`` are what a site would change."""
    program = required("nginx", "nginx")
    write_certificate(folder, "certificate", NAME)
    (folder / "secret").write_text(f'proxy_set_header X-Biopsy-Outcomes-Proxy "{SECRET}";\n')
    tls, plain = unused_port(), unused_port()
    site = put_in(
        (DEPLOYMENT / "nginx.conf").read_text(encoding="utf-8"),
        upstream=("127.0.0.1:8501", f"127.0.0.1:{upstream}"),
        tls=("listen 443 ", f"listen 127.0.0.1:{tls} "),
        plain=("listen 80;", f"listen 127.0.0.1:{plain};"),
        certificate=(f"/etc/ssl/certs/{NAME}.pem", f"{folder}/certificate.pem"),
        key=(f"/etc/ssl/private/{NAME}.key", f"{folder}/certificate.key"),
        secret=("/etc/nginx/biopsy-outcomes.secret", f"{folder}/secret"),
        log=("/var/log/nginx/biopsy-outcomes.log", f"{folder}/access.log"),
        **changes,
        errors=("/var/log/nginx/biopsy-outcomes-error.log", f"{folder}/error.log"),
    )
    scratch = "".join(
        f"{kind}_temp_path {folder}/{kind};\n"
        for kind in ("client_body", "proxy", "fastcgi", "uwsgi", "scgi")
    )
    user = "user root;\n" if os.geteuid() == 0 else ""  # the folder of a test is closed to others
    main = folder / "nginx.conf"
    main.write_text(
        f"{user}daemon off;\npid {folder}/pid;\nerror_log stderr warn;\nevents {{ worker_connections 256; }}\n"
        f"http {{\n{scratch}{site}\n}}\n"
    )
    with (folder / "stderr").open("wb") as stderr:
        running = subprocess.Popen([program, "-c", str(main), "-e", "stderr"], stderr=stderr)
    try:
        wait_for_port(tls, running, folder / "stderr")
        yield Proxy(tls, plain, folder)
    finally:
        running.terminate()
        running.wait(timeout=20)


def wait_for_port(port: int, running: subprocess.Popen[bytes], log: Path) -> None:
    end = time.monotonic() + START_SECONDS
    while time.monotonic() < end and running.poll() is None:
        with suppress(OSError), socket.create_connection(("127.0.0.1", port), timeout=1):
            return
        time.sleep(0.05)
    pytest.fail(f"It did not start: {log.read_text(errors='replace')}")


@dataclass
class Application:
    """Stands in for the page server and remembers what arrived."""

    port: int = 0
    arrived: list[tuple[str, str, list[tuple[str, str]]]] = field(default_factory=list)

    @property
    def headers(self) -> list[tuple[str, str]]:
        """Headers of the newest request, names in lower case."""
        return [(name.lower(), value) for name, value in self.arrived[-1][2]]


@pytest.fixture(scope="module")
def application() -> Iterator[Application]:
    heard = Application()

    class Handler(BaseHTTPRequestHandler):
        protocol_version = "HTTP/1.1"

        def answer(self) -> None:
            self.rfile.read(int(self.headers.get("Content-Length") or 0))
            heard.arrived.append((self.command, self.path, self.headers.items()))
            self.send_response(404 if self.path.endswith("missing") else 200)
            self.send_header("Cache-Control", "public, max-age=600")
            self.send_header("Set-Cookie", "visit=1; Path=/")
            self.send_header("Content-Length", "2")
            self.end_headers()
            if self.command != "HEAD":
                self.wfile.write(b"ok")

        do_GET = do_HEAD = do_POST = do_PUT = do_DELETE = do_OPTIONS = answer  # noqa: N815

        def log_message(self, *_: object) -> None:
            pass

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    heard.port = server.server_port
    threading.Thread(target=server.serve_forever, daemon=True).start()
    yield heard
    server.shutdown()
    server.server_close()


@pytest.fixture(scope="module")
def proxy(application: Application, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Proxy]:
    """The guide's nginx before an application that remembers what arrived."""
    with nginx(tmp_path_factory.mktemp("nginx"), application.port) as running:
        yield running
