"""How well work holds a spec: the capability index with its interval, and a spec suggested by practice."""

from __future__ import annotations

import math
from dataclasses import dataclass

from scipy.special import ndtri

from ._checks import within
from .errors import Contradiction, Missing
from .summary import Bins, Moments

LEAST_COUNT = 10
"""Fewest final readings from which a spec is suggested; judgement [-]."""


@dataclass(frozen=True)
class Capability:
    """The index Cpk and where its true value lies.

    Parameters
    ----------
    index : float
        Distance from the mean to the nearer limit, in three standard deviations [-].
    lower, upper : float
        Interval that holds the true index with the confidence asked for [-].
    """

    index: float
    lower: float
    upper: float


def capability(
    moments: Moments, lower: float | None, upper: float | None, confidence: float = 0.95
) -> Capability | None:
    """How well readings hold their limits.

    Parameters
    ----------
    moments : Moments
        Of the readings [any unit].
    lower, upper : float or None
        Limits; None = none on that side [same unit].
    confidence : float
        Of the interval, above 0.5 to below 1 [-].

    Returns
    -------
    Capability or None
        None below two readings, and when they do not vary.

    Raises
    ------
    Missing
        When there is no limit.
    Contradiction
        When lower lies above upper.
    OutOfRange
        When the confidence lies outside its range.

    Notes
    -----
    NIST/SEMATECH e-Handbook of Statistical Methods 6.1.6: Cpk = min(upper - mean, mean - lower)/(3 s), and
    its normal approximation for the interval, Cpk ± z·√(1/(9n) + Cpk²/(2(n - 1))) (A. F. Bissell, *How
    reliable is your capability index?*, Applied Statistics 39, 331 (1990)).

    >>> capability(Moments(50, 16.0, 49 * 4.0), 8.0, 20.0).index
    0.6666666666666666
    """
    if lower is None and upper is None:
        raise Missing("lower or upper must be given", "lower")
    if lower is not None and upper is not None and lower > upper:
        raise Contradiction("lower must not lie above upper", "lower")
    sure = float(within(confidence, "confidence", 0.5, 1.0 - 1e-9))
    if moments.count < 2 or moments.squares <= 0.0:
        return None
    nearest = min(
        math.inf if upper is None else upper - moments.mean,
        math.inf if lower is None else moments.mean - lower,
    )
    index = nearest / (3.0 * moments.sd)
    half = float(ndtri(0.5 + sure / 2.0)) * math.sqrt(
        1.0 / (9.0 * moments.count) + index**2 / (2.0 * (moments.count - 1))
    )
    return Capability(index, index - half, index + half)


@dataclass(frozen=True)
class SuggestedSpec:
    """Target and limits that the shop's own final readings suggest.

    Parameters
    ----------
    target, lower, upper : float
        Median, and where the middle 80 % of the readings lie [unit of the readings].
    count : int
        How many readings it stands on [-].
    """

    target: float
    lower: float
    upper: float
    count: int


def suggested_spec(kept: Bins) -> SuggestedSpec | None:
    """Suggest a spec from final readings that were kept: of instruments that did not come back.

    Parameters
    ----------
    kept : Bins
        The readings, counted [any unit].

    Returns
    -------
    SuggestedSpec or None
        None below `LEAST_COUNT` readings.

    Notes
    -----
    Median and 10 to 90 %: judgement.

    >>> suggested_spec(Bins.of([0.20] * 9, 0.01)) is None
    True
    """
    if kept.count < LEAST_COUNT:
        return None
    low, middle, high = (float(each) for each in kept.quantile([0.1, 0.5, 0.9]))
    return SuggestedSpec(middle, low, high, kept.count)
