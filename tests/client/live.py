"""The service on a loopback port of this machine."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager

from flask import Flask
from werkzeug.serving import WSGIRequestHandler, make_server


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
