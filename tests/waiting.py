"""Waiting in tests: for a condition, however slow the machine is; only a hang is an error."""

from __future__ import annotations

import time
from collections.abc import Callable

HANG = 300.0
"""After how long something that is waited for hangs [s]."""


def wait_until(condition: Callable[[], object], told: Callable[[], str] = str) -> None:
    """Return once the condition holds; fail with what `told` returns when it does not come to hold."""
    end = time.monotonic() + HANG
    while not condition():
        assert time.monotonic() < end, told() or "it was waited for in vain"
        time.sleep(0.02)
