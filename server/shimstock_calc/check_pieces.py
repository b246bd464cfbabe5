"""Daily readings of a check piece against the bench's own history: Shewhart charts on mean and spread."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import fdtri, ndtr, stdtr, stdtrit

from ._checks import finite, for_few, positive, whole, within
from .belief.expected import rounding_shared
from .errors import Contradiction, Missing

LEAST_HISTORY = 5
"""Days of history from which limits are drawn; judgement [-]."""

IN_CONTROL = "in control"


@dataclass(frozen=True)
class ControlLimits:
    """Limits of a bench's check readings.

    Parameters
    ----------
    mean : float
        Centre line [any unit].
    lower, upper : float
        Limits of a day's mean [same unit].
    mean_sd : float
        Standard deviation of the daily means [same unit].
    repetition_sd : float or None
        Pooled standard deviation of the repetitions; None with one reading a day [same unit].
    spread_upper : float or None
        Upper limit of a day's standard deviation [same unit].
    days, repetitions : int
        What the limits rest on [-].
    bias, bias_probability : float or None
        Mean minus the piece's stated value, and the chance of one as large without any [same unit, -].
    bias_uncertainty : float or None
        Standard uncertainty of the bias, with the rounding that all readings of one piece share [same unit].
    """

    mean: float
    lower: float
    upper: float
    mean_sd: float
    repetition_sd: float | None
    spread_upper: float | None
    days: int
    repetitions: int
    bias: float | None
    bias_probability: float | None
    bias_uncertainty: float | None = None


def control_limits(
    means: ArrayLike,
    deviations: ArrayLike | None = None,
    repetitions: int = 1,
    *,
    width: float = 3.0,
    alpha: float = 0.05,
    resolution: float | None = None,
    stated: float | None = None,
) -> ControlLimits:
    """Draw control limits from a bench's history with a check piece.

    Parameters
    ----------
    means : array of shape (days,)
        A day's mean of its repetitions, at least `LEAST_HISTORY` of them [any unit].
    deviations : array of shape (days,), optional
        A day's standard deviation; needed when there are repetitions [same unit].
    repetitions : int
        Readings a day [-].
    width : float
        Limits of the mean: as rare a false alarm as this many standard deviations give where the spread is
        known, 1 to 5 [-].
    alpha : float
        Chance of a false alarm on the spread, above 0 to 0.5 [-].
    resolution : float, optional
        Step of the tool: the daily means are taken to vary by at least δ/√12 [same unit].
    stated : float, optional
        What the piece is known to measure [same unit].

    Returns
    -------
    ControlLimits
        Centre line and limits.

    Raises
    ------
    Missing
        When there is too little history, or deviations are needed.
    Contradiction
        When means and deviations differ in number.
    OutOfRange
        When a value lies outside its range.

    Notes
    -----
    NIST/SEMATECH e-Handbook of Statistical Methods 2.2.2.1 (mean ± k·s2), 2.2.3.1 (s1·√F with J - 1 and
    K·(J - 1) degrees of freedom) and the case study 2.6.2. From few days s2 is not well known: the limits are
    those of a prediction interval for one more day, mean ± t·s2·√(1 + 1/K) with K - 1 degrees of freedom
    (G. J. Hahn & W. Q. Meeker, *Statistical Intervals* (1991), section 4.7; from memory), which come to
    mean ± k·s2 with many days. Every day counts, those that were out too: a spread that leaves them out is
    too small, and alarms too often.
    """
    history = np.atleast_1d(finite(means, "means"))
    count = whole(repetitions, "repetitions", 1, 1000)
    if history.size < LEAST_HISTORY:
        raise Missing(
            f"limits need at least {LEAST_HISTORY} days of history; {history.size} were given", "means"
        )
    wide = float(within(width, "width", 1.0, 5.0))
    chance = float(within(positive(alpha, "alpha"), "alpha", 0.0, 0.5))
    centre = float(history.mean())
    seen = spread = float(history.std(ddof=1))
    beyond = _t_for(wide, history.size) * spread * math.sqrt(1.0 + 1.0 / history.size)
    if resolution is not None:
        step = float(positive(resolution, "resolution")) / math.sqrt(12.0)
        spread, beyond = max(spread, step), max(beyond, wide * step)
    first = spread_upper = None
    if count > 1:
        first, spread_upper = _spread_limit(history.size, deviations, count, chance)
    bias = bias_probability = unsure = None
    if stated is not None:
        bias = centre - float(finite(stated, "stated"))
        error = spread / math.sqrt(history.size)
        tail = float(stdtr(history.size - 1, -abs(bias) / error)) if error > 0 else 0.5 * float(bias == 0)
        bias_probability = 2.0 * tail
        unsure = math.sqrt(
            error**2 * for_few(history.size - 1) + rounding_shared(math.hypot(seen, first or 0.0), resolution)
        )
    return ControlLimits(
        mean=centre,
        lower=centre - beyond,
        upper=centre + beyond,
        mean_sd=spread,
        repetition_sd=first,
        spread_upper=spread_upper,
        days=int(history.size),
        repetitions=count,
        bias=bias,
        bias_probability=bias_probability,
        bias_uncertainty=unsure,
    )


def _t_for(width: float, days: int) -> float:
    """How many estimated standard deviations are as rare as some known ones."""
    return float(stdtrit(days - 1, ndtr(width)))


def _spread_limit(days: int, deviations: ArrayLike | None, count: int, chance: float) -> tuple[float, float]:
    if deviations is None:
        raise Missing("deviations are needed when a day has several readings", "deviations")
    daily = np.atleast_1d(within(deviations, "deviations", 0.0))
    if daily.size != days:
        raise Contradiction("deviations must hold one value for each day", "deviations")
    pooled = float(np.sqrt((daily**2).mean()))
    freedom = count - 1
    return pooled, pooled * math.sqrt(float(fdtri(freedom, days * freedom, 1.0 - chance)))


def check_reading(mean: float, limits: ControlLimits, deviation: float | None = None) -> str:
    """Judge one day's check reading.

    Parameters
    ----------
    mean : float
        The day's mean [unit of the limits].
    limits : ControlLimits
        From the bench's history.
    deviation : float, optional
        The day's standard deviation, where there were repetitions [same unit].

    Returns
    -------
    str
        `in control`, or what is out and which way [-].

    Raises
    ------
    OutOfRange
        When a value is not finite or the deviation negative.
    """
    value = float(finite(mean, "mean"))
    told = []
    if value > limits.upper:
        told.append("reads high")
    if value < limits.lower:
        told.append("reads low")
    spread = None if deviation is None else float(within(deviation, "deviation", 0.0))
    if spread is not None and limits.spread_upper is not None and spread > limits.spread_upper:
        told.append("repeats badly")
    return " and ".join(told) if told else IN_CONTROL
