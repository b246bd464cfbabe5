"""A service of a few lines: answers what a test says, and remembers what it was asked."""

from __future__ import annotations

import json
import threading
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any
from urllib.parse import parse_qs

from shimstock_client import Client, WSGITransport


@dataclass
class Asked:
    """One request as it arrived."""

    method: str
    path: str
    query: dict[str, str]
    headers: dict[str, str]
    body: Any


@dataclass
class Says:
    """One answer; `lost` closes the connection without one."""

    status: int = 200
    body: Any = None
    headers: Mapping[str, str] = field(default_factory=dict)
    lost: bool = False

    def content(self) -> bytes:
        """Return what travels."""
        if self.body is None:
            return b""
        return self.body.encode() if isinstance(self.body, str) else json.dumps(self.body).encode()

    def all_headers(self) -> list[tuple[str, str]]:
        """Return the headers, with the kind of content."""
        kind = "application/problem+json" if self.status >= 400 else "application/json"
        return [("Content-Type", kind), ("Request-Id", "req-1"), *self.headers.items()]


Script = Callable[[Asked], Says] | Iterable[Says]


class Service:
    """Answers by a function, or from a list whose last answer is repeated."""

    def __init__(self, script: Script) -> None:
        self.asked: list[Asked] = []
        self._script = script if callable(script) else _in_turn(list(script))

    def answer(self, asked: Asked) -> Says:
        """Remember a request and answer it."""
        self.asked.append(asked)
        return self._script(asked)

    def __call__(self, environ: dict[str, Any], start_response: Callable[..., Any]) -> list[bytes]:
        """Answer as a WSGI application."""
        says = self.answer(_from_environ(environ))
        start_response(f"{says.status} Said", says.all_headers())
        return [says.content()]

    def client(self, **options: Any) -> Client:
        """Make a client that asks this service in this process."""
        return Client("http://shop.test", "shim_key", transport=WSGITransport(self), **options)


def _in_turn(answers: list[Says]) -> Callable[[Asked], Says]:
    def next_one(_: Asked) -> Says:
        return answers.pop(0) if len(answers) > 1 else answers[0]

    return next_one


def _from_environ(environ: dict[str, Any]) -> Asked:
    content = environ["wsgi.input"].read()
    headers = {
        name.removeprefix("HTTP_").replace("_", "-").title(): value
        for name, value in environ.items()
        if name.startswith(("HTTP_", "CONTENT_")) and isinstance(value, str)
    }
    return Asked(
        environ["REQUEST_METHOD"],
        environ["PATH_INFO"],
        {name: values[-1] for name, values in parse_qs(environ["QUERY_STRING"]).items()},
        headers,
        json.loads(content) if content else None,
    )


@contextmanager
def listening(script: Script) -> Iterator[tuple[Service, str]]:
    """Serve on a loopback port; yields the service and its address."""
    service = Service(script)

    class Handler(BaseHTTPRequestHandler):
        protocol_version = "HTTP/1.1"

        def _any(self) -> None:
            content = self.rfile.read(int(self.headers.get("Content-Length") or 0))
            path, _, query = self.path.partition("?")
            says = service.answer(
                Asked(
                    self.command,
                    path,
                    {name: values[-1] for name, values in parse_qs(query).items()},
                    {name.title(): value for name, value in self.headers.items()},
                    json.loads(content) if content else None,
                )
            )
            if says.lost:
                self.close_connection = True
                return
            self.send_response(says.status)
            for name, value in says.all_headers():
                self.send_header(name, value)
            self.send_header("Content-Length", str(len(says.content())))
            self.end_headers()
            self.wfile.write(says.content())

        do_GET = do_POST = do_PATCH = do_PUT = do_DELETE = _any  # noqa: N815

        def log_message(self, *_: Any) -> None:
            """Say nothing."""

    class Server(ThreadingHTTPServer):
        def handle_error(self, *_: Any) -> None:
            """Say nothing when a client has gone away in the middle; that is what some tests are about."""

    server = Server(("127.0.0.1", 0), Handler)
    server.daemon_threads = True
    thread = threading.Thread(target=server.serve_forever, args=(0.05,), daemon=True)
    thread.start()
    try:
        yield service, f"http://127.0.0.1:{server.server_port}"
    finally:
        server.shutdown()
        server.server_close()
        thread.join()


PROBLEM = {
    "type": "/docs/problems#invalid-fields",
    "code": "invalid-fields",
    "title": "Some fields cannot be taken",
    "status": 422,
    "detail": "1 of 2 readings cannot be taken; nothing was stored.",
    "instance": "/v1/jobs/j/reading-sheets",
    "errors": [
        {
            "pointer": "/readings/1/value/unit",
            "message": "relief is a length: use mm, in, thou or in/64, not cents",
        }
    ],
    "request_id": "req-9",
}
