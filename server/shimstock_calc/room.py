"""What a room's humidity means for a verdict at the bench."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from ._checks import within
from .errors import Contradiction, Missing

VERDICT_LOW, VERDICT_HIGH = 35.0, 60.0  # % RH; judgement, around the workshop habit of 40 to 55
SPLITTING_BELOW = 25.0  # % RH; laminates may split: T. Padfield, Environmental standard proposal
MOULD_ABOVE = 75.0  # % RH; Canadian Conservation Institute, guidance on incorrect relative humidity
SWING = 10.0  # % RH within 24 h; judgement


@dataclass(frozen=True)
class RoomWarning:
    """A remark on a room's air.

    Parameters
    ----------
    code : str
        `too-dry`, `too-damp`, `laminates-may-split`, `mould` or `swing`.
    value : float
        The humidity, or the swing within 24 h [% RH].
    text : str
        What it means for the instrument and the verdict.
    """

    code: str
    value: float
    text: str


def largest_daily_swing(hours: ArrayLike, relative_humidity: ArrayLike) -> float:
    """Largest change of humidity between two readings that lie no more than 24 h apart.

    Parameters
    ----------
    hours : array, shape (n,)
        Time of each reading, rising [h].
    relative_humidity : array, shape (n,)
        0 to 100 [% RH].

    Returns
    -------
    float
        0 with a single reading [% RH].

    Raises
    ------
    Contradiction
        When the two lists differ in length or the times fall.

    Notes
    -----
    Largest minus least in a sliding window, in one pass.

    >>> largest_daily_swing([0.0, 12.0, 30.0, 60.0], [40.0, 45.0, 52.0, 70.0])
    7.0
    """
    times = within(hours, "hours")
    humidity = within(relative_humidity, "relative_humidity", 0.0, 100.0, "% RH")
    if times.ndim != 1 or times.shape != humidity.shape:
        raise Contradiction(
            "hours and relative_humidity must be two lists of one length", "relative_humidity"
        )
    if (np.diff(times) < 0.0).any():
        raise Contradiction("hours must rise from reading to reading", "hours")
    rising: deque[int] = deque()
    falling: deque[int] = deque()
    swing = 0.0
    for i in range(times.size):
        for queue, sign in ((rising, 1.0), (falling, -1.0)):
            while queue and sign * humidity[queue[-1]] >= sign * humidity[i]:
                queue.pop()
            queue.append(i)
            while times[i] - times[queue[0]] > 24.0:
                queue.popleft()
        swing = max(swing, float(humidity[falling[0]] - humidity[rising[0]]))
    return swing


def room_warnings(
    hours: ArrayLike, relative_humidity: ArrayLike, low: float = VERDICT_LOW, high: float = VERDICT_HIGH
) -> list[RoomWarning]:
    """What a bench must know of its room before it judges frets or action.

    Parameters
    ----------
    hours : array, shape (n,)
        Time of each reading, rising; the last one is now [h].
    relative_humidity : array, shape (n,)
        0 to 100 [% RH].
    low, high : float
        Between them a verdict can be given; the shop's settings [% RH].

    Returns
    -------
    list of RoomWarning
        Empty when the room is fit for a verdict.

    Raises
    ------
    Missing
        When there is no reading.
    Contradiction
        When the lists do not belong together.

    Notes
    -----
    Below 35 or above 60 % RH no fret or action verdict, and more than 10 % RH within 24 h: judgement. Below
    25 % laminates may split (T. Padfield, *Environmental standard proposal: relative humidity*,
    padfield.org); above 75 % mould (Canadian Conservation Institute).

    >>> [w.code for w in room_warnings([0.0, 20.0], [45.0, 33.0])]
    ['too-dry', 'swing']
    """
    humidity = within(np.atleast_1d(relative_humidity), "relative_humidity", 0.0, 100.0, "% RH")
    if humidity.size == 0:
        raise Missing("relative_humidity must hold at least one reading of the room", "relative_humidity")
    times = np.atleast_1d(within(hours, "hours"))
    swing = largest_daily_swing(times, humidity)
    now = float(humidity[-1])
    found = _band_warnings(now, low, high)
    if swing > SWING:
        text = (
            f"the room moved by {swing:.0f} % RH within 24 h: "
            "let the instrument come to rest before you trust a reading"
        )
        found.append(RoomWarning("swing", swing, text))
    return found


def _band_warnings(now: float, low: float, high: float) -> list[RoomWarning]:
    found = []
    wait = "no fret or action verdict until the instrument has recovered; do not force humidity"
    if now < low:
        found.append(RoomWarning("too-dry", now, f"{now:.0f} % RH is below {low:.0f}: {wait}"))
    if now > high:
        found.append(RoomWarning("too-damp", now, f"{now:.0f} % RH is above {high:.0f}: {wait}"))
    if now < SPLITTING_BELOW:
        text = f"below {SPLITTING_BELOW:.0f} % RH laminates may split: raise the humidity slowly"
        found.append(RoomWarning("laminates-may-split", now, text))
    if now > MOULD_ABOVE:
        found.append(RoomWarning("mould", now, f"above {MOULD_ABOVE:.0f} % RH mould grows: dry the room"))
    return found
