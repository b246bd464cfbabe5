"""The reverse proxy file that is shipped, served by a real nginx."""

from __future__ import annotations

import http.server
import os
import shutil
import socket
import ssl
import subprocess
import threading
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest
import requests

from tests.house.files import CHECKOUT
from tests.postgresql import free_port
from tests.waiting import HANG, wait_until

SHIPPED = CHECKOUT / "deploy" / "nginx.conf"
NGINX = shutil.which("nginx", path=os.environ["PATH"] + ":/usr/sbin")
pytestmark = pytest.mark.skipif(NGINX is None, reason="no nginx found")

AROUND = """
daemon off;
pid {folder}/pid;
error_log {folder}/error.log;
events {{ worker_connections 64; }}
http {{
    gzip on;
    gzip_types application/json;
    {places}
    include {folder}/shimstock.conf;
}}
"""
PLACES = ("client_body", "proxy", "fastcgi", "uwsgi", "scgi")


@dataclass
class Backend:
    """Stands where the service stands, and keeps what reached it."""

    port: int
    seen: list[dict[str, Any]] = field(default_factory=list)


class Answers(http.server.BaseHTTPRequestHandler):
    """Answers everything with a long JSON text and a strong ETag."""

    protocol_version = "HTTP/1.1"
    backend: Backend

    def do_GET(self) -> None:
        body = self.rfile.read(int(self.headers.get("Content-Length", 0)))
        self.backend.seen.append({"path": self.path, "headers": dict(self.headers), "length": len(body)})
        if self.path.startswith("/v1/breaks"):
            self.close_connection = True
            self.connection.shutdown(socket.SHUT_RDWR)
            return
        text = b'{"filler": "' + b"x" * 4000 + b'"}'
        self.send_response(200)
        self.send_header("Content-Type", "application/json")
        self.send_header("Content-Length", str(len(text)))
        self.send_header("ETag", '"7.mm"')
        self.end_headers()
        self.wfile.write(text)

    do_POST = do_PUT = do_PATCH = do_GET  # noqa: N815 - the names that http.server looks for

    def log_message(self, *_: object) -> None:
        """Keep quiet."""


@pytest.fixture(scope="module")
def backend() -> Iterator[Backend]:
    """Serve the backend on a free port."""
    handler = type("Handler", (Answers,), {})
    with http.server.ThreadingHTTPServer(("127.0.0.1", 0), handler) as server:
        made = Backend(server.server_address[1])
        handler.backend = made  # type: ignore[attr-defined]
        thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.05})
        thread.start()
        yield made
        server.shutdown()
        thread.join()


@dataclass
class Proxy:
    """The running nginx, and a session that trusts its certificate."""

    folder: Path
    port: int
    plain_port: int
    client: requests.Session

    @property
    def url(self) -> str:
        """Where it listens."""
        return f"https://localhost:{self.port}"

    def logs(self) -> str:
        """Return everything that it has logged."""
        return "".join(path.read_text() for path in self.folder.glob("*.log"))


def fitted(folder: Path, backend: Backend, port: int, plain_port: int) -> str:
    """Return the shipped file with this test's ports and places put in, and nothing else changed."""
    text = SHIPPED.read_text()
    for old, new in (
        ("server 127.0.0.1:8000;", f"server 127.0.0.1:{backend.port};"),
        ("listen 443 ssl;", f"listen 127.0.0.1:{port} ssl;"),
        ("listen 80;", f"listen 127.0.0.1:{plain_port};"),
        ("/etc/ssl/shimstock/", f"{folder}/"),
        ("/var/log/nginx/", f"{folder}/"),
    ):
        assert old in text, f"{SHIPPED} no longer says {old!r}"
        text = text.replace(old, new)
    return text


def make_certificate(folder: Path) -> None:
    """Make a certificate for localhost."""
    made = [
        "openssl",
        "req",
        "-x509",
        "-newkey",
        "rsa:2048",
        "-nodes",
        "-days",
        "2",
        "-subj",
        "/CN=localhost",
    ]
    names = ["-addext", "subjectAltName=DNS:localhost,IP:127.0.0.1"]
    files = ["-keyout", str(folder / "key.pem"), "-out", str(folder / "certificate.pem")]
    subprocess.run([*made, *names, *files], check=True, capture_output=True)


def wait_for(port: int, process: subprocess.Popen[bytes]) -> None:
    """Return once somebody listens."""

    def listens() -> bool:
        with suppress(OSError), socket.create_connection(("127.0.0.1", port), timeout=HANG):
            return True
        return False

    wait_until(lambda: process.poll() is not None or listens(), lambda: "nginx does not listen")
    assert process.poll() is None, "nginx did not start"


@pytest.fixture(scope="module")
def proxy(backend: Backend, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Proxy]:
    """Run nginx with the shipped file."""
    assert NGINX is not None
    folder = tmp_path_factory.mktemp("nginx")
    folder.chmod(0o755)
    port, plain_port = free_port(), free_port()
    make_certificate(folder)
    (folder / "shimstock.conf").write_text(fitted(folder, backend, port, plain_port))
    places = " ".join(f"{name}_temp_path {folder}/{name};" for name in PLACES)
    user = "user root;" if os.geteuid() == 0 else ""
    (folder / "nginx.conf").write_text(user + AROUND.format(folder=folder, places=places))
    process = subprocess.Popen(
        [NGINX, "-p", folder, "-e", folder / "error.log", "-c", folder / "nginx.conf"],
        stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
    )  # fmt: skip
    try:
        wait_for(port, process)
        with requests.Session() as client:
            client.verify = str(folder / "certificate.pem")
            client.trust_env = False
            yield Proxy(folder, port, plain_port, client)
    finally:
        process.terminate()
        process.wait(HANG)


def test_a_strong_etag_stays_strong(proxy: Proxy) -> None:
    answer = proxy.client.get(f"{proxy.url}/v1/jobs", headers={"Accept-Encoding": "gzip"}, timeout=HANG)
    # RFC 9110 section 8.8.1: a weak validator never matches If-Match, so an edit would fail with 412
    assert answer.headers["ETag"] == '"7.mm"'
    assert "Content-Encoding" not in answer.headers


SECRET = "0123456789abcdef"
SPELLINGS = (
    "/cards/{}",
    "/calendars/{}.ics",
    "//cards/{}",
    "/%63ards/{}",
    "/cards%2f{}",
    "/cards%2F{}",
    "/cards//{}",
    "/CARDS/{}",
    "/./cards/{}",
    "/x/../cards/{}",
    "/v1/../cards/{}",
    "/%2563ards/{}",
    "/v1/cards/{}",
    "/v1/%252fcards%252f{}",
    "/{}",
    "/card/{}",
    "/v1/owners?name={}",
    "/docs?{}",
    "/v1/breaks?{}",
)


def say(port: int, address: str, certificate: Path | None, method: str = "GET") -> bytes:
    """Send a request whose address is written just so, and return the answer's first line."""
    said = f"{method} {address} HTTP/1.1\r\nHost: localhost\r\nReferer: https://localhost/cards/{SECRET}\r\n"
    with socket.create_connection(("127.0.0.1", port), timeout=HANG) as plain:
        stream = plain
        if certificate is not None:
            trusting = ssl.create_default_context(cafile=str(certificate))
            stream = trusting.wrap_socket(plain, server_hostname="localhost")
        with stream:
            stream.sendall(f"{said}Connection: close\r\n\r\n".encode())
            return stream.makefile("rb").readline()


def test_secrets_in_addresses_stay_out_of_the_logs(proxy: Proxy) -> None:
    """However an address is spelled: in an answer, a refusal, a redirect, and when the service is away."""
    certificate = proxy.folder / "certificate.pem"
    for spelling in SPELLINGS:
        address = spelling.format(SECRET)
        say(proxy.port, address, certificate)
        assert b"301" in say(proxy.plain_port, address, None)
    say(proxy.port, "/v1/visible", certificate)
    wait_until(lambda: "/v1/visible" in proxy.logs())
    logs = proxy.logs()
    assert "/v1/owners" in logs, "the address without its query"
    assert [line for line in logs.splitlines() if SECRET in line] == []


@pytest.mark.parametrize("path", ["/cards/0123456789abcdef", "/calendars/0123456789abcdef.ics"])
def test_secrets_in_addresses_stay_out_of_referrers(proxy: Proxy, path: str) -> None:
    answer = proxy.client.get(f"{proxy.url}{path}", timeout=HANG)
    assert (answer.status_code, answer.headers["Referrer-Policy"]) == (200, "no-referrer")


def test_invented_methods_stay_outside(proxy: Proxy, backend: Backend) -> None:
    # RFC 9110, section 9.1, and RFC 5789: the methods that there are, without CONNECT and TRACE
    for method in ("INVENTED", "PROPFIND", "TRACE"):
        assert b" 405 " in say(proxy.port, "/v1/invented", proxy.folder / "certificate.pem", method)
    assert not [seen for seen in backend.seen if seen["path"] == "/v1/invented"]
    assert proxy.client.patch(f"{proxy.url}/v1/known", timeout=HANG).status_code == 200


def test_the_service_learns_who_asked_and_how(proxy: Proxy, backend: Backend) -> None:
    forged = {"X-Forwarded-For": "192.0.2.1", "X-Forwarded-Proto": "http"}
    proxy.client.get(f"{proxy.url}/v1/who", headers=forged, timeout=HANG)
    headers = next(seen["headers"] for seen in backend.seen if seen["path"] == "/v1/who")
    assert headers["X-Forwarded-For"] == "127.0.0.1"
    assert headers["X-Forwarded-Proto"] == "https"
    assert headers["X-Forwarded-Host"] == "localhost"


def test_the_largest_body_passes_and_a_larger_one_does_not(proxy: Proxy, backend: Backend) -> None:
    largest = (
        4 * 1024 * 1024
    )  # a year's weather; the service itself refuses other bodies beyond SHIMSTOCK_MAX_BODY
    fits = proxy.client.post(f"{proxy.url}/v1/fits", data=b"x" * largest, timeout=HANG)
    assert fits.status_code == 200
    assert backend.seen[-1]["length"] == largest
    with suppress(requests.ConnectionError):  # nginx may answer and close before it has read everything
        assert (
            proxy.client.post(f"{proxy.url}/v1/large", data=b"x" * 2 * largest, timeout=HANG).status_code
            == 413
        )
    assert not [seen for seen in backend.seen if seen["path"] == "/v1/large"]


def test_a_broken_request_is_not_sent_twice(proxy: Proxy, backend: Backend) -> None:
    answer = proxy.client.put(f"{proxy.url}/v1/breaks", data=b"{}", timeout=HANG)
    assert answer.status_code == 502
    assert len([seen for seen in backend.seen if seen["path"] == "/v1/breaks"]) == 1


def test_plain_http_is_sent_to_https(proxy: Proxy) -> None:
    answer = proxy.client.get(
        f"http://localhost:{proxy.plain_port}/docs", allow_redirects=False, timeout=HANG
    )
    assert answer.status_code == 301
    assert answer.headers["Location"] == "https://localhost/docs"
