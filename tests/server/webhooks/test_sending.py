"""Attempts over a real connection: what counts, what is cut off; and a worker that is killed."""

from __future__ import annotations

import os
import signal
import socket
import ssl
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager, suppress
from datetime import timedelta
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

import pytest

from shimstock_server.clock import FixedClock, SystemClock
from shimstock_server.config import Config
from shimstock_server.database.session import Database
from shimstock_server.webhooks import delivery, sending
from tests.server.booking.conftest import Website
from tests.server.conftest import SECRET
from tests.waiting import HANG

Answer = Callable[[BaseHTTPRequestHandler], None]


class Server:
    """A receiver on loopback."""

    def __init__(self, answer: Answer) -> None:
        self.requests: list[tuple[str, dict[str, str], bytes]] = []
        outer = self

        class Handler(BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                body = self.rfile.read(int(self.headers["Content-Length"]))
                headers = {name.lower(): value for name, value in self.headers.items()}
                outer.requests.append((self.path, headers, body))
                answer(self)

            def log_message(self, *args: Any) -> None:
                """Say nothing."""

        self._server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self._server.daemon_threads = True
        self.url = f"http://127.0.0.1:{self._server.server_port}/hook"
        threading.Thread(target=self._server.serve_forever, args=(0.05,), daemon=True).start()

    def stop(self) -> None:
        self._server.shutdown()
        self._server.server_close()


@contextmanager
def serving(answer: Answer) -> Iterator[Server]:
    """Serve while a test looks."""
    server = Server(answer)
    try:
        yield server
    finally:
        server.stop()


def says(status: int, **headers: str) -> Answer:
    """Answer with a status."""

    def answer(handler: BaseHTTPRequestHandler) -> None:
        handler.send_response(status)
        for name, value in headers.items():
            handler.send_header(name.replace("_", "-"), value)
        handler.send_header("Content-Length", "0")
        handler.end_headers()

    return answer


def post(url: str, **options: Any) -> sending.Outcome:
    """Send a small message."""
    headers = {"webhook-id": "1", "webhook-timestamp": "2", "webhook-signature": "v1,x"}
    return sending.post(url, b'{"a":1}', headers, **{"private": True, **options})


@pytest.mark.parametrize(
    ("status", "delivered"), [(200, True), (204, True), (299, True), (301, False), (404, False), (410, False)]
)
def test_only_2xx_is_success(status: int, delivered: bool) -> None:
    with serving(says(status)) as server:
        outcome = post(server.url)
        assert (outcome.status, outcome.delivered, outcome.gone) == (status, delivered, status == 410)
        path, headers, body = server.requests[0]
        assert (path, body) == ("/hook", b'{"a":1}')
        assert headers["content-type"] == "application/json"
        assert headers["host"] == server.url.split("/")[2]
        assert headers["webhook-id"] == "1"


def test_a_redirect_is_not_followed() -> None:
    with serving(says(200)) as inside, serving(says(302, Location=inside.url)) as server:
        outcome = post(server.url)
        assert (outcome.status, outcome.delivered) == (302, False)
        assert "not followed" in str(outcome.error)
        assert inside.requests == []


def test_no_proxy_of_the_environment_is_used(monkeypatch: pytest.MonkeyPatch) -> None:
    with serving(says(200)) as proxy, serving(says(200)) as server:
        for name in ("http_proxy", "HTTP_PROXY", "https_proxy", "all_proxy", "ALL_PROXY"):
            monkeypatch.setenv(name, proxy.url)
        assert post(server.url).delivered
        assert proxy.requests == []


def test_retry_after_comes_back() -> None:
    with serving(says(429, Retry_After="77")) as server:
        assert post(server.url).retry_after == "77"


def test_the_beginning_of_an_answer_is_kept_and_steers_no_screen() -> None:
    def explain(handler: BaseHTTPRequestHandler) -> None:
        said = "no\tsuch\x1b[31m route\r\n\u202e\x00 é".encode() + b"\xff" + b"x" * 5000
        handler.send_response(404)
        handler.send_header("Content-Length", str(len(said)))
        handler.end_headers()
        handler.wfile.write(said)

    with serving(explain) as server:
        said = str(post(server.url).answer)
    # Unicode Character Database, general categories Cc and Cf: what is no character that can be seen
    assert said.startswith("no such [31m route é\ufffdxxx")
    assert len(said) == 200


def test_an_answer_that_trickles_in_is_cut_off() -> None:
    def trickle(handler: BaseHTTPRequestHandler) -> None:
        try:
            for _ in range(2000):
                handler.wfile.write(b"H")
                handler.wfile.flush()
                time.sleep(0.05)
        except OSError:
            pass

    with serving(trickle) as server:
        started = time.monotonic()
        outcome = post(server.url, deadline=0.4)
        assert time.monotonic() - started < 50
        assert (outcome.delivered, outcome.error) == (False, "no answer in time")


def test_a_body_that_trickles_in_is_cut_off() -> None:
    """Its headers say that it was taken; who then never ends must not keep the worker from the others."""

    def trickle(handler: BaseHTTPRequestHandler) -> None:
        handler.send_response(200)
        handler.send_header("Connection", "close")
        handler.end_headers()
        with suppress(OSError):
            for _ in range(2000):
                handler.wfile.write(b"x")
                handler.wfile.flush()
                time.sleep(0.05)

    with serving(trickle) as server:
        started = time.monotonic()
        outcome = post(server.url, deadline=0.4)
        assert time.monotonic() - started < 50
        assert outcome.delivered


def test_an_answer_without_end_is_not_read_to_its_end() -> None:
    def endless(handler: BaseHTTPRequestHandler) -> None:
        handler.send_response(200)
        handler.end_headers()
        try:
            while True:
                handler.wfile.write(b"x" * 65536)
        except OSError:
            pass

    with serving(endless) as server:
        assert post(server.url, deadline=5).delivered


def test_headers_without_end_are_a_failure() -> None:
    def headers(handler: BaseHTTPRequestHandler) -> None:
        with suppress(OSError):
            handler.wfile.write(b"HTTP/1.1 200 OK\r\nX: " + b"y" * 200_000 + b"\r\n\r\n")

    with serving(headers) as server:
        assert not post(server.url).delivered


def test_nobody_there() -> None:
    with closing(socket.create_server(("127.0.0.1", 0))) as taken:
        port = taken.getsockname()[1]
    outcome = post(f"http://127.0.0.1:{port}/")
    assert (outcome.status, outcome.delivered) == (None, False)
    assert "ConnectionRefusedError" in str(outcome.error)


def test_a_certificate_that_nobody_vouches_for(tmp_path: Path) -> None:
    key, certificate = tmp_path / "key.pem", tmp_path / "certificate.pem"
    subprocess.run(
        ["openssl", "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "1", "-subj", "/CN=localhost",
         "-keyout", str(key), "-out", str(certificate)],
        check=True, capture_output=True,
    )  # fmt: skip
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(certificate, key)

    def shake_hands(listening: socket.socket) -> None:
        try:
            connection, _ = listening.accept()
            with context.wrap_socket(connection, server_side=True):
                pass
        except OSError:
            pass

    with closing(socket.create_server(("127.0.0.1", 0))) as listening:
        threading.Thread(target=shake_hands, args=(listening,), daemon=True).start()
        outcome = post(f"https://127.0.0.1:{listening.getsockname()[1]}/")
    assert not outcome.delivered
    assert str(outcome.error).startswith("TLS")


def test_the_guard_stands_before_the_connection() -> None:
    with serving(says(200)) as server:
        port = server.url.split(":")[2].split("/")[0]
        outcome = post(f"https://shop.example:{port}/", private=False, resolve=lambda *_: ["127.0.0.1"])
        assert "not of the public internet" in str(outcome.error)
        assert server.requests == []


# ------------------------------------------------------------ a real worker


def test_a_worker_is_killed_in_the_middle_of_a_delivery(
    make_app: Any, workshop: Any, website: Website, clock: FixedClock, config: Config, database: Database
) -> None:
    """Another worker sends the same message, under the same id, once the lease has run out."""
    release, arrived = threading.Event(), threading.Event()

    def hang_the_first_time(handler: BaseHTTPRequestHandler) -> None:
        arrived.set()
        release.wait(HANG)
        says(204)(handler)

    private = Config(secret=SECRET, database_url=config.database_url, rate_per_minute=0, webhook_private=True)
    clock.set(SystemClock().now())
    client = website.client
    client.app = make_app(config=private)
    with serving(hang_the_first_time) as server:
        made = client.post("/v1/webhook-endpoints", json={"url": server.url})
        assert made.status_code == 201, made.get_data(as_text=True)
        assert website.hold(website.slots()[5]["at"]).status_code == 201
        environment = {
            **os.environ,
            "SHIMSTOCK_DATABASE_URL": config.database_url,
            "SHIMSTOCK_SECRET": SECRET,
            "SHIMSTOCK_WEBHOOK_PRIVATE": "yes",
        }
        program = "from shimstock_server.operations.entry import main; main()"
        worker = subprocess.Popen(
            [sys.executable, "-c", program, "worker"],
            env=environment, stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )  # fmt: skip
        try:
            assert arrived.wait(HANG), "the worker has sent nothing"
        finally:
            worker.send_signal(signal.SIGKILL)
            worker.wait()
        release.set()
        clock.set(SystemClock().now())
        assert delivery.deliver(database, private, clock) == 0  # leased to the dead
        clock.advance(delivery.LEASE + timedelta(seconds=1))
        assert delivery.deliver(database, private, clock) == 1
        first, second = server.requests
        assert first[1]["webhook-id"] == second[1]["webhook-id"]
        assert first[2] == second[2]
        (sent,) = client.get("/v1/webhook-deliveries").get_json()["items"]
        assert (sent["state"], len(sent["log"])) == ("delivered", 1)  # what the dead one did nobody noted
