"""How much the tests try: a little in the usual run, more in the deep one (`tests/run --deep`).

A test that can try more takes its sizes from `amount`. Property tests follow the profile: in the usual run
they try the same examples every time, in the deep run more of them and others each time; that run prints the
seed that repeats them.
"""

from __future__ import annotations

import os
from typing import TypeVar

from hypothesis import settings

Size = TypeVar("Size")

DEEP = bool(os.environ.get("SHIMSTOCK_TEST_DEEP"))
"""Whether this is the deep run."""


def amount(usual: Size, *, deep: Size) -> Size:
    """Return the size of the usual run or that of the deep one.

    >>> amount(20, deep=500) == (500 if DEEP else 20)
    True
    """
    return deep if DEEP else usual


# No deadline: a busy machine must not fail a formula. No database of failures: runs are independent.
settings.register_profile("usual", derandomize=True, deadline=None, database=None)
settings.register_profile("deep", max_examples=1000, deadline=None, database=None, print_blob=True)
settings.load_profile(amount("usual", deep="deep"))
