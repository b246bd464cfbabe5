"""How often a key may ask.

Counted in the memory of each process: with two workers a key gets up to twice the setting. The limit protects
the shop from a client gone wild, it is no bill.
"""

from __future__ import annotations

import math
import time
from uuid import UUID

from limits import RateLimitItemPerMinute
from limits.storage import MemoryStorage
from limits.strategies import MovingWindowRateLimiter

from .problems import TooManyRequests


class RateLimit:
    """At most so many requests per minute and key.

    Parameters
    ----------
    per_minute : int
        The limit; 0 for none.
    """

    def __init__(self, per_minute: int) -> None:
        self._item = RateLimitItemPerMinute(per_minute) if per_minute else None
        self._limiter = MovingWindowRateLimiter(MemoryStorage())

    def count(self, key_id: UUID | None) -> TooManyRequests | None:
        """Count a request, and return the problem when it is one too many."""
        if self._item is None or key_id is None:
            return None
        if self._limiter.hit(self._item, key_id.hex):
            return None
        reset = self._limiter.get_window_stats(self._item, key_id.hex).reset_time
        wait = max(1, math.ceil(reset - time.time()))
        return TooManyRequests(headers={"Retry-After": str(wait)})
