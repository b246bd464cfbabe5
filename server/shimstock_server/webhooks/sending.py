"""One attempt: connect to the address that was checked, post, read the status. Nothing is followed.

No redirects, no proxies from the environment, no cookies; of the answer's body the beginning is read.
"""

from __future__ import annotations

import http.client
import socket
import ssl
import threading
import time
import unicodedata
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass

from . import targets

CONNECT = 5.0
"""Seconds to connect, and until the answer begins, and between two bytes."""
DEADLINE = 15.0
"""Seconds for all of it, name look-up not counted."""
SHOWN = 200
"""Characters of an answer that the log keeps."""
MOST_READ = 16 * 1024
"""Bytes of an answer that are read at most."""


@dataclass(frozen=True)
class Outcome:
    """What became of an attempt."""

    status: int | None = None
    error: str | None = None
    retry_after: str | None = None
    """What the endpoint asks for, as its header says it."""
    milliseconds: int = 0
    answer: str | None = None
    """The beginning of what the endpoint answered, as text in one line."""

    @property
    def delivered(self) -> bool:
        """Only 2xx is success."""
        return self.status is not None and 200 <= self.status < 300

    @property
    def gone(self) -> bool:
        """Whether the endpoint says that it is there no longer."""
        return self.status == 410


def post(
    url: str,
    body: bytes,
    headers: Mapping[str, str],
    *,
    private: bool,
    resolve: targets.Resolve | None = None,
    deadline: float = DEADLINE,
) -> Outcome:
    """Send a message to an address, and tell what came back. Never raises for what the other end does."""
    started = time.monotonic()
    try:
        target = targets.find(url, private=private, resolve=resolve)
        status, retry_after, said = _exchange(target, body, headers, deadline)
    except targets.RefusedTarget as refusal:
        return Outcome(error=f"refused: {refusal}"[:200], milliseconds=_since(started))
    except TimeoutError:
        return Outcome(error="no answer in time", milliseconds=_since(started))
    except ssl.SSLError as trouble:
        return Outcome(error=f"TLS: {trouble.reason or trouble}"[:200], milliseconds=_since(started))
    except (OSError, http.client.HTTPException, ValueError) as trouble:
        late = time.monotonic() - started >= deadline
        error = "no answer in time" if late else f"{type(trouble).__name__}: {trouble}"
        return Outcome(error=error[:200], milliseconds=_since(started))
    failure = None if 200 <= status < 300 else f"answered {status}"
    if 300 <= status < 400:
        failure = f"answered {status}; redirects are not followed"
    return Outcome(status, failure, retry_after, _since(started), beginning(said))


def beginning(body: bytes) -> str | None:
    """Return the beginning of an answer as text in one line, without what could steer a screen.

    Examples
    --------
    >>> beginning(b"no such\\x1b[31m route\\r\\n")
    'no such [31m route'
    """
    text = body[: 4 * SHOWN].decode(errors="replace")
    plain = "".join(" " if unicodedata.category(each)[0] in "CZ" else each for each in text)
    return " ".join(plain.split())[:SHOWN] or None


def _since(started: float) -> int:
    return int((time.monotonic() - started) * 1000)


class _Connection(http.client.HTTPConnection):
    """A connection to a numeric address, whatever name the request says."""

    def __init__(self, target: targets.Target) -> None:
        super().__init__(target.host, target.port, timeout=CONNECT)
        self._target = target
        self._peer: socket.socket | None = None

    def connect(self) -> None:
        """Connect to the address that was checked, and check the certificate against the name."""
        plain = socket.create_connection((self._target.address, self._target.port), CONNECT)
        if not self._target.tls:
            self.sock = self._peer = plain
            return
        try:
            secure = ssl.create_default_context().wrap_socket(plain, server_hostname=self._target.host)
        except BaseException:
            plain.close()
            raise
        self.sock = self._peer = secure

    def cut(self) -> None:
        """End whatever is under way, from another thread.

        Once the headers are read the library lets go of `sock` when the other end is about to close, while
        the answer still reads from it.
        """
        if self._peer is not None:
            with suppress(OSError):
                self._peer.shutdown(socket.SHUT_RDWR)


def _exchange(
    target: targets.Target, body: bytes, headers: Mapping[str, str], deadline: float
) -> tuple[int, str | None, bytes]:
    connection = _Connection(target)
    # Each wait is bounded by itself; an answer that trickles in byte by byte is cut off by this.
    watch = threading.Timer(deadline, connection.cut)
    watch.daemon = True
    watch.start()
    try:
        connection.putrequest("POST", target.path, skip_host=True, skip_accept_encoding=True)
        sent = {
            "Host": target.authority,
            "Content-Type": "application/json",
            "Content-Length": str(len(body)),
            "User-Agent": "Shimstock",
            "Connection": "close",
            **headers,
        }
        for name, value in sent.items():
            connection.putheader(name, value)
        connection.endheaders(body)
        answer = connection.getresponse()
        status = answer.status
        retry_after = answer.getheader("Retry-After")
        said = b""
        with suppress(OSError, http.client.HTTPException):
            said = answer.read(MOST_READ)
        return status, retry_after, said
    finally:
        watch.cancel()
        connection.close()
