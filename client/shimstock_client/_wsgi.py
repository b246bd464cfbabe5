"""Carries requests to a WSGI application in this process: for tests of shops' own programs."""

from __future__ import annotations

import io
import sys
from collections.abc import Callable, Iterable, Mapping
from typing import Any
from urllib.parse import unquote_to_bytes, urlsplit

import requests
from requests.adapters import BaseAdapter
from requests.structures import CaseInsensitiveDict

Application = Callable[[dict[str, Any], Callable[..., Any]], Iterable[bytes]]


class WSGITransport(BaseAdapter):
    """A requests adapter that calls a WSGI application; nothing is retried.

    Parameters
    ----------
    application : WSGI callable
        PEP 3333 [-].

    Attributes
    ----------
    timeouts : list
        The time limits that each request was given [s].
    """

    def __init__(self, application: Application) -> None:
        super().__init__()
        self.application = application
        self.timeouts: list[Any] = []

    def send(  # noqa: PLR0917 - the order is that of requests
        self,
        request: requests.PreparedRequest,
        stream: bool = False,  # noqa: ARG002
        timeout: Any = None,
        verify: bool | str = True,  # noqa: ARG002
        cert: Any = None,  # noqa: ARG002
        proxies: Mapping[str, str] | None = None,  # noqa: ARG002
    ) -> requests.Response:
        """Call the application and wrap its answer."""
        self.timeouts.append(timeout)
        started: list[tuple[str, list[tuple[str, str]]]] = []
        written = io.BytesIO()

        def start_response(status: str, headers: list[tuple[str, str]], _exc_info: Any = None) -> Any:
            started[:] = [(status, headers)]
            return written.write

        chunks = self.application(_environ(request), start_response)
        try:
            for chunk in chunks:
                written.write(chunk)
        finally:
            close = getattr(chunks, "close", None)
            if close is not None:
                close()
        status, headers = started[0]
        return _response(request, status, headers, written.getvalue())

    def close(self) -> None:
        """Nothing is held open."""


def _environ(request: requests.PreparedRequest) -> dict[str, Any]:
    parts = urlsplit(request.url or "")
    body = request.body or b""
    content = body.encode() if isinstance(body, str) else body
    environ: dict[str, Any] = {
        "REQUEST_METHOD": request.method or "GET",
        "SCRIPT_NAME": "",
        "PATH_INFO": unquote_to_bytes(parts.path).decode("latin-1"),
        "QUERY_STRING": parts.query,
        "SERVER_NAME": parts.hostname or "localhost",
        "SERVER_PORT": str(parts.port or (443 if parts.scheme == "https" else 80)),
        "SERVER_PROTOCOL": "HTTP/1.1",
        "REMOTE_ADDR": "127.0.0.1",
        "CONTENT_LENGTH": str(len(content)),
        "wsgi.version": (1, 0),
        "wsgi.url_scheme": parts.scheme,
        "wsgi.input": io.BytesIO(content),
        "wsgi.errors": sys.stderr,
        "wsgi.multithread": True,
        "wsgi.multiprocess": False,
        "wsgi.run_once": False,
    }
    for name, value in request.headers.items():
        key = name.upper().replace("-", "_")
        environ[key if key in {"CONTENT_TYPE", "CONTENT_LENGTH"} else f"HTTP_{key}"] = str(value)
    environ.setdefault("HTTP_HOST", parts.netloc)
    return environ


def _response(
    request: requests.PreparedRequest, status: str, headers: list[tuple[str, str]], content: bytes
) -> requests.Response:
    response = requests.Response()
    number, _, response.reason = status.partition(" ")
    response.status_code = int(number)
    response.headers = CaseInsensitiveDict(headers)
    response.encoding = requests.utils.get_encoding_from_headers(response.headers)
    response.raw = io.BytesIO(content)
    response._content = content
    response.url = request.url or ""
    response.request = request
    return response
