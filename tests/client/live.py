"""The service on a loopback port of this machine, and a line to it that loses answers."""

from __future__ import annotations

import importlib.util
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from types import ModuleType
from typing import Any

import requests
from flask import Flask
from werkzeug.serving import WSGIRequestHandler, make_server

from tests.house.files import CHECKOUT
from tests.waiting import HANG


class Silent(WSGIRequestHandler):
    """Answers without a line on standard error for each request."""

    def log(self, *_: object) -> None:
        """Say nothing."""


@contextmanager
def served(app: Flask) -> Iterator[str]:
    """Serve an app on a free port; yields its address."""
    server = make_server("127.0.0.1", 0, app, threaded=True, request_handler=Silent)
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.05}, daemon=True)
    thread.start()
    try:
        yield f"http://127.0.0.1:{server.server_port}"
    finally:
        server.shutdown()
        server.server_close()
        thread.join()


@contextmanager
def losing(target: str) -> Iterator[tuple[str, list[tuple[str, str, bool]]]]:
    """Forward to the service, and lose the first answer to each change after the service has done it."""
    seen: list[tuple[str, str, bool]] = []
    lost: set[str] = set()

    class Handler(BaseHTTPRequestHandler):
        protocol_version = "HTTP/1.1"

        def _any(self) -> None:
            body = self.rfile.read(int(self.headers.get("Content-Length") or 0))
            headers = {name: value for name, value in self.headers.items() if name != "Host"}
            answer = requests.request(
                self.command, target + self.path, headers=headers, data=body, timeout=HANG
            )
            key = self.headers.get("Idempotency-Key", "")
            cut = bool(key) and key not in lost
            seen.append((self.path, key, cut))
            if cut:
                lost.add(key)
                self.close_connection = True
                return
            self.send_response(answer.status_code)
            for name in ("Content-Type", "ETag", "Request-Id", "Idempotent-Replayed"):
                if name in answer.headers:
                    self.send_header(name, answer.headers[name])
            self.send_header("Content-Length", str(len(answer.content)))
            self.end_headers()
            self.wfile.write(answer.content)

        do_GET = do_POST = do_DELETE = _any  # noqa: N815

        def log_message(self, *_: Any) -> None:
            """Say nothing."""

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    server.daemon_threads = True
    thread = threading.Thread(target=server.serve_forever, args=(0.05,), daemon=True)
    thread.start()
    try:
        yield f"http://127.0.0.1:{server.server_port}", seen
    finally:
        server.shutdown()
        server.server_close()
        thread.join()


def load_website() -> ModuleType:
    """Load the example website as its own process would."""
    path = CHECKOUT / "deploy" / "example-site" / "website.py"
    spec = importlib.util.spec_from_file_location("example_website", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module
