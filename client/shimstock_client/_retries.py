"""When a request goes out again: a few times, with jitter, and never beyond the time that the call has."""

from __future__ import annotations

import logging
import time
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, field
from types import TracebackType
from typing import Any, Self

import requests
import urllib3
from requests.adapters import HTTPAdapter
from urllib3.exceptions import MaxRetryError
from urllib3.util.retry import Retry

from ._writes import Timeout

TIMEOUT: tuple[float, float] = (3.05, 15.0)
"""Seconds to connect (just above TCP's first repeat at 3 s) and seconds between two bytes of the answer."""
LONGEST = 45.0
"""Seconds for a whole call with all its tries, unless it names its own."""

log = logging.getLogger("shimstock_client")
log.addHandler(logging.NullHandler())  # silent unless the program wants to hear it


@dataclass
class Budget:
    """The time and the tries of one call."""

    seconds: float
    connect: float
    read: float
    retries: int | None = None
    ends: float = field(init=False)

    def __post_init__(self) -> None:
        self.ends = time.monotonic() + self.seconds

    @classmethod
    def of(cls, timeout: Timeout, retries: int | None) -> Self:
        """Return what a timeout allows: a number is for the whole call, a pair for each try.

        Raises
        ------
        ValueError
            When a number is not above zero, or `retries` is below it.
        """
        limits = timeout if isinstance(timeout, tuple) else (min(TIMEOUT[0], timeout), timeout)
        if min(limits) <= 0:
            raise ValueError(f"timeout: seconds above zero were expected, not {timeout!r}")
        if retries is not None and retries < 0:
            raise ValueError(f"retries: 0 or more was expected, not {retries}")
        whole = max(LONGEST, sum(limits)) if isinstance(timeout, tuple) else timeout
        return cls(whole, *limits, retries)

    def left(self) -> float:
        """Return the seconds that are left, at least a moment, as zero means no limit to sockets."""
        return max(self.ends - time.monotonic(), 0.001)

    def has(self, wait: float) -> bool:
        """Tell whether there is time to wait and then ask again."""
        return time.monotonic() + wait < self.ends

    def limits(self) -> tuple[float, float]:
        """Return the seconds to connect and between two bytes, of a try that begins now."""
        left = self.left() if self.ends - time.monotonic() < self.seconds - 0.001 else self.seconds
        return min(self.connect, left), min(self.read, left)

    @contextmanager
    def running(self) -> Iterator[None]:
        """Let the policies of this thread's requests keep to this budget."""
        token = _running.set(self)
        try:
            yield
        finally:
            _running.reset(token)


_running: ContextVar[Budget | None] = ContextVar("budget", default=None)


class BoundedRetry(Retry):
    """Retries on lost connections, 429 and passing failures of the service, until a count or a time runs out.

    Every change carries an idempotency key, so any method may go out again: the service does it once.
    """

    _ends: float | None = None
    _wait: float = 0.0

    @classmethod
    def usual(cls, total: int = 4) -> Self:
        """Return the client's usual policy."""
        return cls(
            total=total,
            connect=total,
            read=total,
            status=total,
            other=0,
            redirect=0,
            allowed_methods=None,
            status_forcelist=(429, 500, 502, 503, 504),
            backoff_factor=0.25,
            backoff_max=8.0,
            backoff_jitter=0.25,
            respect_retry_after_header=True,
            retry_after_max=30,
            raise_on_status=False,
            raise_on_redirect=False,
        )

    def increment(
        self,
        method: str | None = None,
        url: str | None = None,
        response: urllib3.BaseHTTPResponse | None = None,
        error: Exception | None = None,
        _pool: Any = None,
        _stacktrace: TracebackType | None = None,
    ) -> Self:
        """Count one failure; give up when the count or the time has run out, or would while waiting."""
        budget = _running.get()
        ends = self._ends
        if ends is None:
            ends = budget.ends if budget else time.monotonic() + LONGEST
        policy = self
        if budget is not None and budget.retries is not None and not self.history:
            most = budget.retries
            policy = self.new(total=most, connect=most, read=most, status=most)
        counted = Retry.increment(policy, method, url, response, error, _pool, _stacktrace)
        told = self.get_retry_after(response) if response is not None else None
        wait = told or counted.get_backoff_time()
        if time.monotonic() + wait >= ends:
            raise MaxRetryError(_pool, url or "", error)
        cause = f"status {response.status}" if response is not None else type(error).__name__
        path = (url or "").partition("?")[0]
        log.warning("%s %s: %s, sent again in %.2f s", method, path, cause, wait)
        # on the copy only: this policy itself is shared by all requests of a session
        counted._ends, counted._wait = ends, wait
        return counted

    def sleep(self, response: urllib3.BaseHTTPResponse | None = None) -> None:  # noqa: ARG002
        """Wait as long as was decided when the failure was counted."""
        if self._wait > 0:
            time.sleep(self._wait)


class _Limits(urllib3.Timeout):
    """The time limits of a try, made anew for each from what is left of its call."""

    def clone(self) -> urllib3.Timeout:
        budget = _running.get()
        return self if budget is None else _Limits(*budget.limits())

    def __init__(self, connect: float, read: float) -> None:
        super().__init__(connect=connect, read=read)


class PatientAdapter(HTTPAdapter):
    """Carries requests over the network with the client's policy; each try keeps to the call's time."""

    def __init__(self) -> None:
        super().__init__(max_retries=BoundedRetry.usual())

    def send(  # noqa: PLR0917 - the order is that of requests
        self,
        request: requests.PreparedRequest,
        stream: bool = False,
        timeout: Any = None,
        verify: bool | str = True,
        cert: Any = None,
        proxies: Any = None,
    ) -> requests.Response:
        """Send a request."""
        budget = _running.get()
        limits: Any = timeout if budget is None else _Limits(*budget.limits())
        return super().send(request, stream, limits, verify, cert, proxies)


def content_within(response: requests.Response, budget: Budget) -> bytes:
    """Read the whole answer, however slowly it comes, before the call's time is over.

    Raises
    ------
    requests.ReadTimeout
        When it is over.
    """
    raw = response.raw
    if not isinstance(raw, urllib3.HTTPResponse):
        return response.content
    parts: list[bytes] = []
    try:
        while True:
            socket = _socket_of(raw)
            if socket is not None:
                socket.settimeout(min(budget.read, budget.left()))
            part = raw.read1(65536, decode_content=True)
            if not part:
                break
            parts.append(part)
            if not budget.has(0.0):
                raise requests.ReadTimeout("the answer came too slowly")
    except urllib3.exceptions.ReadTimeoutError as error:
        raise requests.ReadTimeout(error) from error
    except urllib3.exceptions.HTTPError as error:
        raise requests.ConnectionError(error) from error
    finally:
        response.close()
    return b"".join(parts)


def _socket_of(raw: urllib3.HTTPResponse) -> Any:
    """Return the socket that an answer still comes from; None when all of it is here."""
    kept = getattr(raw.connection, "sock", None)
    stream = getattr(getattr(raw, "_fp", None), "fp", None)  # where the connection ends with the answer
    return kept or getattr(getattr(stream, "raw", None), "_sock", None)
