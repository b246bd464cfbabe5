"""What is worth doing: the minutes of a reading or an adjustment against the risk that it takes away.

Minutes are bench minutes; an instrument that goes out wrong costs `wrong` of them.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

from ..plan.inputs import Prices
from .state import Estimate

ROOT_TWO = math.sqrt(2.0)

POINTS = 21
"""Predicted results of a reading over which its worth is averaged [-]."""

WIDTH = 4.0
"""How far the predicted results reach to either side [standard deviations]."""


class Limits(NamedTuple):
    """What a quantity may be, and where it is aimed at.

    Attributes
    ----------
    target : float
        Where it is aimed at [mm; cents].
    lower, upper : float or None
        Its limits; None = none on that side [mm; cents].
    """

    target: float
    lower: float | None
    upper: float | None


class After(NamedTuple):
    """What an adjustment makes of a quantity.

    Attributes
    ----------
    spread : float
        Standard deviation once it has been read again [mm; cents].
    minutes : float
        What it costs [bench minutes].
    above : float
        How far above the target it ends [mm; cents].
    """

    spread: float
    minutes: float
    above: float = 0.0


def chance(mean: float, spread: float, limits: Limits) -> float:
    """Chance that a quantity lies in its limits: JCGM 106:2012 7.2, for a normal posterior.

    Parameters
    ----------
    mean, spread : float
        What is believed of it [mm; cents].
    limits : Limits
        Its limits [mm; cents].

    Returns
    -------
    float
        Chance, to four digits, so that machines agree [-].

    >>> chance(0.20, 0.03, Limits(0.20, 0.10, 0.30))
    0.9991
    """
    wide, lower, upper = max(spread, 1e-9) * ROOT_TWO, limits.lower, limits.upper
    above = 2.0 if upper is None else math.erfc((mean - upper) / wide)
    below = 0.0 if lower is None else math.erfc((mean - lower) / wide)
    return round(max(0.5 * (above - below), 0.0), 4)


def too_high(mean: float, spread: float, limits: Limits) -> float:
    """Chance that a quantity lies above its limits.

    Parameters
    ----------
    mean, spread : float
        What is believed of it [mm; cents].
    limits : Limits
        Its limits [mm; cents].

    Returns
    -------
    float
        Chance, to four digits, so that machines agree [-].
    """
    if limits.upper is None:
        return 0.0
    return round(0.5 * math.erfc((limits.upper - mean) / (max(spread, 1e-9) * ROOT_TWO)), 4)


def loss_left(known: Estimate, limits: Limits, prices: Prices) -> float:
    """Expected loss when a quantity is left as it is.

    Parameters
    ----------
    known : Estimate
        The quantity as it will be tomorrow [mm; cents].
    limits : Limits
        Its limits [mm; cents].
    prices : Prices
        What the shop reckons with [bench minutes].

    Returns
    -------
    float
        Loss [bench minutes].
    """
    return prices.wrong * (1.0 - chance(known.mean, known.spread, limits))


def loss_adjusted(after: After, limits: Limits, prices: Prices) -> float:
    """Expected loss and minutes when a quantity is brought to its target and read again.

    Parameters
    ----------
    after : After
        What the adjustment makes of it [mm; cents; bench minutes].
    limits : Limits
        Its limits [mm; cents].
    prices : Prices
        What the shop reckons with [bench minutes].

    Returns
    -------
    float
        Loss and minutes [bench minutes].
    """
    return prices.wrong * (1.0 - chance(limits.target + after.above, after.spread, limits)) + after.minutes


def worth_of_adjusting(known: Estimate, after: After, limits: Limits, prices: Prices) -> float:
    """What an adjustment saves, less its minutes.

    Parameters
    ----------
    known : Estimate
        The quantity as it will be tomorrow [mm; cents].
    after : After
        What the adjustment makes of it [mm; cents; bench minutes].
    limits : Limits
        Its limits [mm; cents].
    prices : Prices
        What the shop reckons with [bench minutes].

    Returns
    -------
    float
        Minutes saved; negative = not worth it [bench minutes].
    """
    return loss_left(known, limits, prices) - loss_adjusted(after, limits, prices)


RESULTS = tuple(
    (z, math.exp(-0.5 * z * z))
    for z in ((2.0 * point / (POINTS - 1) - 1.0) * WIDTH for point in range(POINTS))
)
"""The predicted results [standard deviations from the expected one], with their weights [-]."""

WEIGHT = sum(weight for _, weight in RESULTS)
"""All of them together [-]."""


def worth_of_reading(
    known: Estimate,
    told: float,
    limits: Limits,
    *,
    before: Sequence[After],
    afterwards: Sequence[After],
    minutes: float,
    prices: Prices,
    surely_high: float = 0.0,
) -> float:
    """What a reading saves, less its minutes.

    Parameters
    ----------
    known : Estimate
        The quantity as it will be tomorrow [mm; cents].
    told : float
        Variance that the reading takes away [mm²; cents²].
    limits : Limits
        The quantity's limits [mm; cents].
    before, afterwards : sequence of After
        Adjustments that may be done without the reading, and after it [mm; cents; bench minutes].
    minutes : float
        What the reading costs [bench minutes].
    prices : Prices
        What the shop reckons with [bench minutes].
    surely_high : float
        Chance of being too high without which nothing may be done afterwards [-].

    Returns
    -------
    float
        E[least loss afterwards] taken from the least loss before, less the minutes [bench minutes].
    """

    adjusted = min((loss_adjusted(act, limits, prices) for act in afterwards), default=math.inf)
    best = min([loss_left(known, limits, prices), *(loss_adjusted(act, limits, prices) for act in before)])
    taken = min(told, known.variance)
    spread, left = math.sqrt(taken), known.variance - taken
    expected, wide = 0.0, math.sqrt(max(left, 0.0))
    for z, weight in RESULTS:
        mean = known.mean + z * spread
        lost = prices.wrong * (1.0 - chance(mean, wide, limits))
        allowed = not surely_high or too_high(mean, wide, limits) >= surely_high
        expected += weight * (min(lost, adjusted) if allowed else lost)
    return best - expected / WEIGHT - minutes
