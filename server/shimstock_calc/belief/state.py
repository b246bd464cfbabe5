"""The numbers that the belief is about, with their means and covariances, and the rules that change them.

Everything is linear and normal (R. E. Kalman, *A new approach to linear filtering and prediction problems*,
J. Basic Eng. 82, 35 (1960)) but for one product: coupling times change of relief, whose first two moments are
those of a product of normal variables. Only elementwise arithmetic is used, so that the same input gives the
same numbers on any machine.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import NamedTuple

import numpy as np

from .._checks import FloatArray

DIFFUSE = 100.0
"""Standard deviation of a level that was not read yet [mm]; judgement.

So wide that a first reading alone decides, and narrow enough to keep ten digits beside it.
"""

DIFFUSE_CENTS = 1e4
"""The same for intonation [cents]; judgement."""

Row = Sequence[tuple[int, float]]
"""Places in the state with their factors: what a tool shows, or what something moves by."""


class Estimate(NamedTuple):
    """A normal estimate of one number.

    Attributes
    ----------
    mean : float
        Mean [mm; cents].
    variance : float
        Variance [mm²; cents²].
    """

    mean: float
    variance: float

    @property
    def spread(self) -> float:
        """Standard deviation."""
        return math.sqrt(max(self.variance, 0.0))


class State:
    """Means and covariances of all numbers; places are handed out by name.

    Parameters
    ----------
    names : iterable of object
        A name for each number.
    """

    def __init__(self, names: Iterable[object]) -> None:
        self.place = {name: place for place, name in enumerate(names)}
        self.mean: FloatArray = np.zeros(len(self.place))
        self.covariance: FloatArray = np.zeros((len(self.place), len(self.place)))

    def copy(self) -> State:
        """Return a state that can be changed without changing this one."""
        other = object.__new__(State)
        other.place, other.mean, other.covariance = self.place, self.mean.copy(), self.covariance.copy()
        return other

    def set(self, place: int, mean: float, spread: float) -> None:
        """Start a number anew, independent of all others."""
        self.mean[place] = mean
        self.covariance[place, :] = 0.0
        self.covariance[:, place] = 0.0
        self.covariance[place, place] = spread * spread

    def shared(self, row: Row) -> FloatArray:
        """Covariance of a combination with every number."""
        first, factor = row[0]
        found: FloatArray = self.covariance[first] * factor
        for place, factor in row[1:]:
            found += self.covariance[place] * factor
        return found

    def estimate(self, row: Row) -> Estimate:
        """Mean and variance of a combination."""
        if len(row) == 1:
            ((place, factor),) = row
            return Estimate(self.mean.item(place) * factor, self.covariance.item(place, place) * factor**2)
        return Estimate(along(self.mean, row), along(self.shared(row), row))

    def observe(self, row: Row, value: float, variance: float, known: Estimate | None = None) -> None:
        """Take in a reading of a combination, with the variance of its noise; `known` is its estimate."""
        shared, known = self.shared(row), known or self.estimate(row)
        total = known.variance + variance
        self.mean += shared * ((value - known.mean) / total)
        taken = shared[:, None] * shared
        taken /= total
        self.covariance -= taken

    def follow(self, place: int, source: int, factor: float) -> None:
        """Add a share of one number to another."""
        self.mean[place] += self.mean[source] * factor
        row, column = self.covariance[place], self.covariance[:, place]
        row += self.covariance[source] * factor
        column += self.covariance[:, source] * factor

    def shift(self, weights: FloatArray, by: float, variance: float) -> None:
        """Move the numbers by a known amount, times a weight each, with the variance of that amount."""
        self.mean += weights * by
        spread = weights[:, None] * weights
        spread *= variance
        self.covariance += spread

    def widen(self, place: int, variance: float) -> None:
        """Make one number less sure."""
        self.covariance[place, place] += variance

    def fade(self, places: slice, shares: tuple[float, ...]) -> None:
        """Leave a share of each of some numbers."""
        left = np.array(shares)
        mean, rows, columns = self.mean[places], self.covariance[places], self.covariance[:, places]
        mean *= left
        rows *= left[:, None]
        columns *= left

    def weights(self, row: Row) -> FloatArray:
        """Write a combination as a weight for every number."""
        found = np.zeros(len(self.mean))
        for place, factor in row:
            found[place] += factor
        return found


def along(values: FloatArray, row: Row) -> float:
    """Combine some of the values.

    Parameters
    ----------
    values : array
        One for each number [mm; cents].
    row : sequence of (int, float)
        Places with their factors [-].

    Returns
    -------
    float
        Sum of the values times their factors [mm; cents].
    """
    total = 0.0
    for place, factor in row:
        total += values.item(place) * factor
    return total
