"""The service on a port of this machine, which can be stopped and started again like a process."""

from __future__ import annotations

import threading
from email.utils import format_datetime
from typing import Any

from flask import Flask
from werkzeug.serving import BaseWSGIServer, WSGIRequestHandler, make_server

from shimstock_server.clock import Clock


def _handler(clock: Clock) -> type[WSGIRequestHandler]:
    """Make a handler that dates its answers by a clock, and writes no log."""

    class Handler(WSGIRequestHandler):
        def log(self, type: str, message: str, *args: Any) -> None:  # noqa: A002
            """Say nothing."""

        def date_time_string(self, timestamp: float | None = None) -> str:
            """Return what stands in the Date header."""
            return format_datetime(clock.now(), usegmt=True)

    return Handler


class Served:
    """An app on a port; its answers carry the time of its own clock.

    Parameters
    ----------
    app : Flask
        The service.
    clock : Clock
        Whose time stands in the Date header, as it would if the machine's clock stood there.
    """

    def __init__(self, app: Flask, clock: Clock) -> None:
        self._app, self._clock = app, clock
        self._server: BaseWSGIServer | None = None
        self.port = 0
        self.start()

    @property
    def url(self) -> str:
        """The address."""
        return f"http://127.0.0.1:{self.port}"

    def start(self) -> None:
        """Serve, on the same port as before."""
        self._server = make_server(
            "127.0.0.1", self.port, self._app, threaded=True, request_handler=_handler(self._clock)
        )
        self.port = self._server.server_port
        threading.Thread(
            target=self._server.serve_forever, kwargs={"poll_interval": 0.05}, daemon=True
        ).start()

    def stop(self) -> None:
        """Go away, as a service does that is restarted."""
        if self._server is not None:
            self._server.shutdown()
            self._server.server_close()
            self._server = None
