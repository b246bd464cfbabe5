"""When a request goes out again: a few times, with jitter, within a bounded time."""

from __future__ import annotations

import time
from types import TracebackType
from typing import Any, Self

import urllib3
from urllib3.exceptions import MaxRetryError
from urllib3.util.retry import Retry

LONGEST = 45.0
"""Seconds after which nothing is tried again, whatever the count says."""


class BoundedRetry(Retry):
    """Retries on lost connections, 429 and passing failures of the service, until a count or a time runs out.

    Every change carries an idempotency key, so any method may go out again: the service does it once.
    """

    _ends: float | None = None

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
        """Count one failure; give up when the count or the time has run out."""
        now = time.monotonic()
        ends = now + LONGEST if self._ends is None else self._ends
        if now >= ends:
            raise MaxRetryError(_pool, url or "", error)
        counted = super().increment(method, url, response, error, _pool, _stacktrace)
        # on the copy only: this policy itself is shared by all requests of a session
        counted._ends = ends
        return counted
