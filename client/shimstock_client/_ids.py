"""Ids that a client makes itself, so that a sheet sent twice is stored once."""

from __future__ import annotations

import os
import threading
import time
from uuid import UUID

_lock = threading.Lock()
_last = 0


def uuid7() -> UUID:
    """Make a UUID version 7: newer ids sort after older ones of this process.

    Returns
    -------
    UUID
        48 bits of Unix time in milliseconds, 12 bits of the fraction of that millisecond, 62 random bits [-].

    Notes
    -----
    RFC 9562 section 5.7, with method 3 of section 6.2 (clock precision in `rand_a`); when the clock stands
    still or goes back, the last value is raised by one.

    >>> uuid7().version
    7
    >>> uuid7() < uuid7()
    True
    """
    global _last  # noqa: PLW0603
    milliseconds, rest = divmod(time.time_ns(), 1_000_000)
    stamp = (milliseconds << 12) | ((rest << 12) // 1_000_000)
    with _lock:
        _last = stamp = max(stamp, _last + 1)
    return assemble(stamp >> 12, stamp & 0xFFF, int.from_bytes(os.urandom(8), "big"))


def assemble(milliseconds: int, fraction: int, random: int) -> UUID:
    """Put a UUID version 7 together from its parts.

    Parameters
    ----------
    milliseconds : int
        Unix time [ms].
    fraction : int
        What stands in `rand_a`, 12 bits [-].
    random : int
        What stands in `rand_b`; its lowest 62 bits are taken [-].

    Returns
    -------
    UUID
        Version 7, variant 0b10 [-].
    """
    number = (milliseconds & 0xFFFF_FFFF_FFFF) << 80
    number |= 0x7 << 76 | (fraction & 0xFFF) << 64
    number |= 0b10 << 62 | (random & 0x3FFF_FFFF_FFFF_FFFF)
    return UUID(int=number)
