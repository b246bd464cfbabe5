"""What forecasts are worth: how often readings fell inside them, and how much a tool scatters."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from statistics import NormalDist
from typing import NamedTuple

from ..errors import OutOfRange
from .update import WRONG

SHARES = (0.50, 0.80, 0.95)
"""Shares that a forecast's intervals state [-]."""

LEAST, MOST = 0.5, 3.0
"""Bounds of a tool's noise factor [-]; judgement."""

PRIOR = 10.0
"""Readings that the factor 1 counts as, before any was taken [-]; judgement."""

STEP = 0.02
"""Step between factors that are tried [-]."""

FAR = 30.0
"""How far about its forecast a wrong reading may lie [standard deviations of the forecast]; judgement."""


class Inside(NamedTuple):
    """How many readings fell inside an interval that was stated.

    Attributes
    ----------
    stated : float
        Share that the interval states [-].
    inside, of : int
        Readings inside, and in all [-].
    lower, upper : float
        Bounds of the true share, confidence 95 % [-].
    """

    stated: float
    inside: int
    of: int
    lower: float
    upper: float

    @property
    def seen(self) -> float:
        """Share of readings inside [-]."""
        return self.inside / self.of


@dataclass(frozen=True)
class Error:
    """A reading beside its forecast.

    Attributes
    ----------
    away : float
        The reading less what was expected [mm; cents].
    level : float
        Variance of the level in the forecast [mm²; cents²].
    repeatability : float
        Standard deviation that the tool states [mm; cents].
    resolution : float
        Step of the tool [mm; cents].
    own : float
        Part of the level's variance that earlier readings with the tool brought in, were its factor 1
        [mm²; cents²].
    factor : float
        Noise factor that the forecast reckoned with [-].
    """

    away: float
    level: float
    repeatability: float
    resolution: float
    own: float = 0.0
    factor: float = 1.0


def coverage(distances: Sequence[float]) -> tuple[Inside, ...]:
    """How often readings fell inside the intervals that their forecasts stated.

    Parameters
    ----------
    distances : sequence of float
        Each reading less what was expected, in standard deviations of its forecast [-].

    Returns
    -------
    tuple of Inside
        For intervals of 50, 80 and 95 %; empty without readings.

    >>> [(each.inside, round(each.lower, 3)) for each in coverage([0.1, -0.5, 1.0, 3.0])]
    [(2, 0.15), (3, 0.301), (3, 0.301)]
    """
    inside = [sum(abs(each) <= reach(share) for each in distances) for share in SHARES]
    return counted(inside, len(distances))


def reach(share: float) -> float:
    """How far an interval of a normal forecast reaches to either side of what is expected.

    Parameters
    ----------
    share : float
        Share that it states [-].

    Returns
    -------
    float
        Standard deviations [-].

    >>> [round(reach(share), 3) for share in SHARES]
    [0.674, 1.282, 1.96]
    """
    return NormalDist().inv_cdf(0.5 + share / 2.0)


def counted(inside: Sequence[int], of: int) -> tuple[Inside, ...]:
    """How often readings fell inside, from their counts alone: these merge in any order.

    Parameters
    ----------
    inside : sequence of int
        Readings inside the intervals of 50, 80 and 95 % [-].
    of : int
        Readings in all [-].

    Returns
    -------
    tuple of Inside
        For intervals of 50, 80 and 95 %; empty without readings.

    Notes
    -----
    Bounds: E. B. Wilson, JASA 22, 209 (1927), as `scipy.stats` has them.

    >>> [round(each.upper, 3) for each in counted([1, 2, 2], 2)]
    [0.905, 1.0, 1.0]
    """
    from scipy.stats import binomtest  # slow to import, and reports alone need it

    found = []
    for share, some in zip(SHARES, inside, strict=True) if of else ():
        bounds = binomtest(some, of).proportion_ci(method="wilson")
        found.append(Inside(share, some, of, float(bounds.low), float(bounds.high)))
    return tuple(found)


def noise_factor(errors: Iterable[Error]) -> float:
    """How much more a tool scatters on a bench than it states.

    Parameters
    ----------
    errors : iterable of Error
        Readings taken with it, beside their forecasts, in any order.

    Returns
    -------
    float
        Factor on its repeatability, from 0.5 to 3, to two decimals [-].

    Raises
    ------
    OutOfRange
        When a variance or a step is negative.

    Notes
    -----
    The likeliest factor of a grid. Prior: inverse gamma for the square, as if ten readings
    had shown the factor 1. Errors are normal with variance level + (factor·repeatability)² + resolution²/12,
    but for one in a hundred, which is simply wrong. Judgement. Of the level's variance the tool's own part
    grows with the square of the factor too: what is known of a level was read with the same tool.

    >>> noise_factor([])
    1.0
    >>> noise_factor([Error(0.06, 0.0, 0.03, 0.0), Error(-0.06, 0.0, 0.03, 0.0)] * 50)
    1.92
    """
    known = []
    for each in errors:
        if min(each.level, each.own, each.repeatability, each.resolution) < 0.0:
            raise OutOfRange("variance, repeatability and resolution must not be negative", "errors")
        grows = each.own + each.repeatability**2
        stays = max(each.level - each.factor**2 * each.own, 0.0) + each.resolution**2 / 12.0
        known.append((each.away, stays, grows))
    known.sort()
    grid: list[float] = [LEAST + STEP * step for step in range(round((MOST - LEAST) / STEP) + 1)]
    likeliest: float = max(grid, key=lambda factor: _likely(factor, known))
    return round(likeliest, 2)


def _likely(factor: float, known: Sequence[tuple[float, float, float]]) -> float:
    """Log of the posterior density of a factor."""
    square = factor * factor
    found = -0.5 * PRIOR * (math.log(square) + 1.0 / square)
    for away, stays, grows in known:
        variance = stays + square * grows
        if variance > 0.0:
            found += _log_density(away, variance)
    return found


def _log_density(away: float, variance: float) -> float:
    spread = math.sqrt(variance)
    fits = (1.0 - WRONG) * math.exp(-0.5 * min(away * away / variance, 1400.0)) / math.sqrt(2.0 * math.pi)
    return math.log((fits + WRONG / FAR) / spread)
