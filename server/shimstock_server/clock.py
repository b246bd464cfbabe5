"""The one clock: everything that needs the time asks it, so that tests can set it."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Protocol


class Clock(Protocol):
    """Something that knows the time."""

    def now(self) -> datetime:
        """Return the present instant, aware and in UTC."""
        ...


class SystemClock:
    """The clock of the machine."""

    def now(self) -> datetime:
        """Return the present instant, aware and in UTC."""
        return datetime.now(UTC)


class FixedClock:
    """A clock that stands still until it is advanced.

    Parameters
    ----------
    instant : datetime
        The aware instant to begin with.
    """

    def __init__(self, instant: datetime) -> None:
        self.set(instant)

    def now(self) -> datetime:
        """Return the instant that was set, in UTC."""
        return self._instant

    def set(self, instant: datetime) -> None:
        """Put the clock to an aware instant."""
        if instant.tzinfo is None:
            raise ValueError("a clock needs an aware instant: give it a time zone")
        self._instant = instant.astimezone(UTC)

    def advance(self, by: timedelta) -> None:
        """Put the clock forward (or back) by a duration."""
        self._instant += by
