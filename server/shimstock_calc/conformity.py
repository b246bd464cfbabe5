"""Is a reading inside its limits, given how well the tool repeats and how finely it reads?"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtr, ndtri

from ._checks import FloatArray, finite, plain, positive, whole, within
from .errors import Contradiction, Missing, OutOfRange

SURE = 0.95
"""Probability from which a reading counts as in spec; as out of spec from 1 - SURE down."""

IN_SPEC, OUT_OF_SPEC, TOO_CLOSE = "in spec", "out of spec", "too close to call"
MOST_REPEATS = 100


def standard_uncertainty(
    repeatability: ArrayLike | None = None,
    resolution: ArrayLike | None = None,
    factor: ArrayLike = 1.0,
    repeats: ArrayLike = 1,
) -> FloatArray:
    """Standard uncertainty of a reading, or of the mean of several.

    Parameters
    ----------
    repeatability : float or array, optional
        Standard deviation of repeated readings with this tool [unit of the reading].
    resolution : float or array, optional
        Smallest step that the tool shows [unit of the reading].
    factor : float or array
        By what the reading is multiplied when it is converted to another hold, fret or side [-].
    repeats : int or array
        How many readings were averaged [-].

    Returns
    -------
    float or array
        u = |factor|·max(s/√n, δ/√12) [unit of the reading].

    Raises
    ------
    Missing
        When neither repeatability nor resolution is given.
    OutOfRange
        When one is not above zero.

    Notes
    -----
    JCGM 100:2008 F.2.2.1 for the resolution, 4.2.3 for the mean; repeats do not help below the resolution.

    >>> float(standard_uncertainty(0.03, 0.05))
    0.03
    """
    if repeatability is None and resolution is None:
        raise Missing("repeatability or resolution of the tool must be given", "repeatability")
    scale = np.abs(finite(factor, "factor"))
    count = within(repeats, "repeats", 1, MOST_REPEATS)
    scatter = 0.0 if repeatability is None else positive(repeatability, "repeatability") / np.sqrt(count)
    step = 0.0 if resolution is None else positive(resolution, "resolution") / math.sqrt(12.0)
    return plain(scale * np.maximum(scatter, step))


def _limits(lower: ArrayLike | None, upper: ArrayLike | None) -> tuple[FloatArray, FloatArray]:
    if lower is None and upper is None:
        raise Missing("lower or upper must be given", "lower")
    low = np.asarray(-np.inf) if lower is None else finite(lower, "lower")
    high = np.asarray(np.inf) if upper is None else finite(upper, "upper")
    if low.ndim or high.ndim:
        low, high = np.broadcast_arrays(low, high)
    if (low > high).any() if low.ndim else low > high:
        raise Contradiction("lower must not lie above upper", "lower")
    return low, high


def probability_in_spec(
    value: ArrayLike,
    lower: ArrayLike | None,
    upper: ArrayLike | None,
    uncertainty: ArrayLike | None = None,
    resolution: ArrayLike | None = None,
) -> FloatArray:
    """Probability that the true value lies inside its limits.

    Parameters
    ----------
    value : float or array
        The reading [any unit].
    lower, upper : float or array, broadcast with `value`, or None
        Limits; None = none on that side [unit of the reading].
    uncertainty : float or array, optional
        Standard uncertainty, normal error; at least δ/√12 when `resolution` is given too
        [unit of the reading].
    resolution : float or array, optional
        Smallest step of the tool; alone it means an error anywhere within ± half of it [unit of the reading].

    Returns
    -------
    float or array
        Probability, 0 to 1 [-].

    Raises
    ------
    Missing
        When both limits, or both uncertainty and resolution, are absent.
    Contradiction
        When lower lies above upper.
    OutOfRange
        When a value is not finite, or an uncertainty or resolution not above zero.

    Notes
    -----
    Normal: Phi((upper - y)/u) - Phi((lower - y)/u), JCGM 106:2012 7.3 and 7.4. Resolution alone: the share of
    [y - δ/2, y + δ/2] inside the limits (rectangular error, JCGM 100:2008 F.2.2.1).

    >>> round(float(probability_in_spec(13.6, 12.5, 16.3, uncertainty=1.8)), 4)
    0.6626
    """
    reading = finite(value, "value")
    low, high = _limits(lower, upper)
    if uncertainty is None:
        if resolution is None:
            raise Missing("uncertainty or resolution must be given", "uncertainty")
        step = positive(resolution, "resolution")
        inside = np.minimum(high, reading + step / 2) - np.maximum(low, reading - step / 2)
        return plain(np.clip(inside / step, 0.0, 1.0))
    spread = positive(uncertainty, "uncertainty")
    if resolution is not None:
        spread = np.maximum(spread, positive(resolution, "resolution") / math.sqrt(12.0))
    return plain(_normal_share(reading, low, high, spread))


def _normal_share(reading: FloatArray, low: FloatArray, high: FloatArray, spread: FloatArray) -> FloatArray:
    above, below = (high - reading) / spread, (low - reading) / spread
    # take the difference in the tail where both are small, so that a hopeless reading keeps its digits
    flip = below > 0
    share: FloatArray = np.where(flip, ndtr(-below) - ndtr(-above), ndtr(above) - ndtr(below))
    return share


def verdict(probability: float, sure: float = SURE) -> str:
    """Say in words whether a reading is in spec.

    Parameters
    ----------
    probability : float
        Probability of being inside the limits, 0 to 1 [-].
    sure : float
        Probability from which it counts as in spec, above 0.5 to below 1 [-].

    Returns
    -------
    str
        `in spec`, `out of spec`, or `too close to call` [-].

    Raises
    ------
    OutOfRange
        When a probability lies outside its range.

    Notes
    -----
    Guarded acceptance and guarded rejection with equal risk, JCGM 106:2012 clause 8.

    >>> verdict(0.986), verdict(0.5), verdict(0.01)
    ('in spec', 'too close to call', 'out of spec')
    """
    chance, threshold = float(within(probability, "probability", 0.0, 1.0)), _sure(sure)
    if chance >= threshold:
        return IN_SPEC
    return OUT_OF_SPEC if chance <= 1.0 - threshold else TOO_CLOSE


def verdicts(probability: ArrayLike, sure: float = SURE) -> np.ndarray[tuple[int, ...], np.dtype[np.str_]]:
    """Say it for many readings at once; see `verdict`.

    Parameters
    ----------
    probability : array
        Probabilities, 0 to 1 [-].
    sure : float
        See `verdict` [-].

    Returns
    -------
    array of str
        One of the three words each [-].

    Raises
    ------
    OutOfRange
        When a probability lies outside its range.
    """
    chance = within(probability, "probability", 0.0, 1.0)
    threshold = _sure(sure)
    return np.where(chance >= threshold, IN_SPEC, np.where(chance <= 1.0 - threshold, OUT_OF_SPEC, TOO_CLOSE))


def _sure(sure: float) -> float:
    number = float(finite(sure, "sure"))
    if not 0.5 < number < 1.0:
        raise OutOfRange(f"sure must lie above 0.5 and below 1; {number:g} was given", "sure")
    return number


def verdict_at_most(
    bound: float, lower: float | None, upper: float | None, uncertainty: float, sure: float = SURE
) -> str:
    """Say what can be said of a reading known only to be a value or less.

    Parameters
    ----------
    bound : float
        The largest it can read: 0 for a relief of `zero or less` [any unit].
    lower, upper : float or None
        Limits [same unit].
    uncertainty : float
        Standard uncertainty of the method [same unit].
    sure : float
        See `verdict` [-].

    Returns
    -------
    str
        `out of spec` when not even the kindest value would pass, else `too close to call` [-].

    Raises
    ------
    Missing, Contradiction, OutOfRange
        As `probability_in_spec`.

    Notes
    -----
    The largest probability over all values up to the bound decides (JCGM 106:2012 7.3 at its maximum).

    >>> verdict_at_most(0.0, 0.10, 0.30, 0.03)
    'out of spec'
    """
    low, high = _limits(lower, upper)
    middle = float(low if np.isinf(high) else (bound if np.isinf(low) else (low + high) / 2.0))
    kindest = bound if np.isinf(high) else min(float(finite(bound, "bound")), middle)
    probability = float(probability_in_spec(kindest, lower, upper, uncertainty))
    return OUT_OF_SPEC if probability <= 1.0 - _sure(sure) else TOO_CLOSE


def surely_in_spec(
    lower: ArrayLike | None, upper: ArrayLike | None, uncertainty: ArrayLike, sure: float = SURE
) -> tuple[FloatArray, FloatArray]:
    """Between which readings a tool can call a quantity in spec.

    Parameters
    ----------
    lower, upper : float or array, or None
        Limits; None = none on that side [any unit].
    uncertainty : float or array, broadcast with the limits
        Standard uncertainty of a reading [same unit].
    sure : float
        See `verdict` [-].

    Returns
    -------
    tuple of two floats or arrays
        Lowest and highest reading; NaN when no reading is sure with this tool, infinite on an open side
        [same unit].

    Raises
    ------
    Missing, Contradiction, OutOfRange
        As `probability_in_spec`.

    Notes
    -----
    Acceptance limits of JCGM 106:2012 8.3.2, inverse of `probability_in_spec` for the reading.

    >>> low, high = surely_in_spec(0.10, 0.30, 0.03)
    >>> round(float(low), 3), round(float(high), 3)
    (0.149, 0.251)
    """
    threshold = _sure(sure)
    low, high = _limits(lower, upper)
    low, high, spread = np.broadcast_arrays(low, high, positive(uncertainty, "uncertainty"))
    one_sided = spread * ndtri(threshold)
    bounded = np.isfinite(low) & np.isfinite(high)
    first, last = low + one_sided, high - one_sided
    if bounded.any():
        middle = np.where(bounded, 0.5 * (np.where(bounded, low, 0.0) + np.where(bounded, high, 0.0)), 0.0)
        half = np.where(bounded, np.where(bounded, high, 0.0) - middle, 1.0)
        reach = _reach(half, spread, threshold)
        first, last = np.where(bounded, middle - reach, first), np.where(bounded, middle + reach, last)
    return plain(first), plain(last)


def _reach(half: FloatArray, spread: FloatArray, threshold: float) -> FloatArray:
    """How far from the middle a reading may lie; NaN when even the middle is not sure. Bisection."""
    inner, outer = np.zeros(half.shape), np.array(half, dtype=np.float64)
    hopeless = _normal_share(inner, -half, half, spread) < threshold
    for _ in range(60):
        trial = 0.5 * (inner + outer)
        enough = _normal_share(trial, -half, half, spread) >= threshold
        inner, outer = np.where(enough, trial, inner), np.where(enough, outer, trial)
    return np.where(hopeless, np.nan, inner)


def surely_in_spec_by_step(
    lower: ArrayLike | None, upper: ArrayLike | None, resolution: ArrayLike, sure: float = SURE
) -> tuple[FloatArray, FloatArray]:
    """Between which readings a tool of which only the step is known can call a quantity in spec.

    Parameters
    ----------
    lower, upper : float or array, or None
        Limits; None = none on that side [any unit].
    resolution : float or array, broadcast with the limits
        Smallest step of the tool, above 0: the error lies anywhere within ± half of it [same unit].
    sure : float
        See `verdict` [-].

    Returns
    -------
    tuple of two floats or arrays
        Lowest and highest reading; NaN when no reading is sure with this tool, infinite on an open side
        [same unit].

    Raises
    ------
    Missing, Contradiction, OutOfRange
        As `probability_in_spec`.

    Notes
    -----
    The share of ± δ/2 about the reading that lies inside the limits reaches `sure` at (sure - 1/2)·δ from a
    limit (rectangular error, JCGM 100:2008 F.2.2.1); inverse of `probability_in_spec` for the reading.

    >>> low, high = surely_in_spec_by_step(0.10, 0.30, 0.05)
    >>> round(float(low), 4), round(float(high), 4)
    (0.1225, 0.2775)
    """
    threshold = _sure(sure)
    low, high = _limits(lower, upper)
    low, high, step = np.broadcast_arrays(low, high, positive(resolution, "resolution"))
    first, last = low + (threshold - 0.5) * step, high - (threshold - 0.5) * step
    # where both limits cut the step, the share inside is the whole tolerance, wherever the reading lies
    hopeless = (high - low < threshold * step) | (first > last)
    return plain(np.where(hopeless, np.nan, first)), plain(np.where(hopeless, np.nan, last))


def largest_uncertainty(lower: ArrayLike, upper: ArrayLike, sure: float = SURE) -> FloatArray:
    """How uncertain a tool may be and still call a reading on target in spec.

    Parameters
    ----------
    lower, upper : float or array
        Limits [any unit].
    sure : float
        See `verdict` [-].

    Returns
    -------
    float or array
        Largest standard uncertainty [same unit].

    Raises
    ------
    Contradiction
        When lower lies above upper.
    OutOfRange
        When a value is not finite.

    Notes
    -----
    Half the tolerance over the two-sided normal quantile: P(middle) = 2·Phi(half/u) - 1.

    >>> round(float(largest_uncertainty(0.10, 0.30)), 4)
    0.051
    """
    low, high = _limits(lower, upper)
    return plain(0.5 * (high - low) / ndtri(0.5 * (1.0 + _sure(sure))))


def repeats_to_decide(
    value: float,
    lower: float | None,
    upper: float | None,
    repeatability: float,
    *,
    resolution: float | None = None,
    sure: float = SURE,
    most: int = MOST_REPEATS,
) -> int | None:
    """How many readings to average until a verdict is sure, should their mean stay where it is.

    Parameters
    ----------
    value : float
        The mean so far [any unit].
    lower, upper : float or None
        Limits [same unit].
    repeatability : float
        Standard deviation of one reading [same unit].
    resolution : float, optional
        Smallest step of the tool [same unit].
    sure : float
        See `verdict` [-].
    most : int
        Where to give up, 1 to 100 [-].

    Returns
    -------
    int or None
        Number of readings; None when this tool cannot decide it: take a finer one [-].

    Raises
    ------
    Missing, Contradiction, OutOfRange
        As `probability_in_spec`.

    >>> repeats_to_decide(2.2, -3.0, 3.0, 1.0), repeats_to_decide(0.29, 0.1, 0.3, 0.03, resolution=0.05)
    (5, None)
    """
    counts = np.arange(1, whole(most, "most", 1, MOST_REPEATS) + 1)
    spreads = standard_uncertainty(repeatability, resolution, repeats=counts)
    words = verdicts(probability_in_spec(value, lower, upper, spreads), sure)
    decided = np.flatnonzero(words != TOO_CLOSE)
    return int(counts[decided[0]]) if decided.size else None
