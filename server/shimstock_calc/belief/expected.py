"""What readings share, what they were expected to show, and what happened to a level so far."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from functools import lru_cache
from typing import NamedTuple

from ..plan.goals import Spot
from ..plan.inputs import Reading

HARMONICS = 20
"""Harmonics of the rounding's mean error that are summed [-]."""


@lru_cache(maxsize=256)
def rounding_shared(repeatability: float | None, resolution: float | None) -> float:
    """Variance of the rounding that all readings of one spot with one tool share.

    Parameters
    ----------
    repeatability, resolution : float or None
        Of the tool [mm; cents].

    Returns
    -------
    float
        Variance [mm²; cents²].

    Notes
    -----
    The mean error of rounding is a Fourier series over where the true value lies in its step; scatter s (the
    repeatability) fades its harmonics: the sum over k of δ²/(2π²k²)·exp(-(2πks/δ)²), which is δ²/12 without
    scatter. Elementary; checked by simulation.

    >>> round(rounding_shared(None, 0.5), 5), rounding_shared(0.03, 0.05) < 1e-9
    (0.02083, True)
    """
    if not resolution:
        return 0.0
    if not repeatability:
        return resolution**2 / 12.0
    fading = (2.0 * math.pi * repeatability / resolution) ** 2
    harmonics = (math.exp(-fading * k * k) / (k * k) for k in range(1, HARMONICS + 1))
    return resolution**2 / (2.0 * math.pi**2) * sum(harmonics)


class Expected(NamedTuple):
    """What a reading was expected to show when it was taken, and what it showed.

    Attributes
    ----------
    reading : Reading
        The reading.
    spot : Spot
        Where it was read.
    value : float
        Shown; 0 where the string touched [mm; cents].
    expected : float
        Expected [mm; cents].
    spread : float
        Standard deviation about what was expected, the reading's own noise included [mm; cents].
    first : bool
        Whether nothing was known of the level before.
    after_turn : float
        Turns of the rod since the previous reading of this level; 0 = none [turns].
    before : float or None
        Previous reading of this level [mm; cents].
    """

    reading: Reading
    spot: Spot
    value: float
    expected: float
    spread: float
    first: bool
    after_turn: float
    before: float | None

    @property
    def distance(self) -> float:
        """How many standard deviations the reading lies from what was expected [-]."""
        return 0.0 if self.first else abs(self.value - self.expected) / self.spread


@dataclass
class Level:
    """What happened to one level so far.

    Attributes
    ----------
    readings : list of Reading
        Since it was last moved.
    total : int
        Readings since it was last lost altogether [-].
    last : float or None
        Its last reading [mm; cents].
    turned : float
        Turns of the rod since [turns].
    """

    readings: list[Reading] = field(default_factory=list)
    total: int = 0
    last: float | None = None
    turned: float = 0.0
