"""Statistics that add up and can be taken apart: moments, counted bins, straight lines."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import reduce

import numpy as np
from numpy.typing import ArrayLike

from ._checks import FloatArray, finite, plain, positive, within
from .errors import Contradiction, Missing, OutOfRange
from .lines import Line, LineSums

__all__ = ["Bins", "Line", "LineSums", "Moments", "merge"]


@dataclass(frozen=True)
class Moments:
    """Count, mean and sum of squared deviations of readings; they merge and subtract.

    Parameters
    ----------
    count : int
        How many readings [-].
    mean : float
        Their mean; 0 when there are none [any unit].
    squares : float
        Sum of squared deviations from the mean, M2 [unit squared].

    Notes
    -----
    T. F. Chan, G. H. Golub & R. J. LeVeque, *Algorithms for computing the sample variance*, The American
    Statistician 37, 242 (1983), Eq. (1.5).
    """

    count: int = 0
    mean: float = 0.0
    squares: float = 0.0

    @classmethod
    def of(cls, values: ArrayLike) -> Moments:
        """Take the moments of readings.

        Parameters
        ----------
        values : array
            Readings, perhaps none [any unit].

        Returns
        -------
        Moments
            Count, mean and M2.

        Raises
        ------
        OutOfRange
            When a reading is not finite.

        Notes
        -----
        Two passes with the rounding of the first put right (Chan, Golub & LeVeque, Eq. (1.7)).

        >>> Moments.of([1.0, 2.0, 3.0, 4.0])
        Moments(count=4, mean=2.5, squares=5.0)
        """
        array = np.atleast_1d(finite(values, "values")).ravel()
        if array.size == 0:
            return cls()
        start = array[0]
        shifted = array - start
        mean = math.fsum(shifted) / array.size
        off = shifted - mean
        residual = math.fsum(off)
        squares = math.fsum(off * off) - residual**2 / array.size
        return cls(int(array.size), float(start + (mean + residual / array.size)), max(0.0, squares))

    @property
    def variance(self) -> float:
        """Sample variance; NaN below two readings [unit squared]."""
        return self.squares / (self.count - 1) if self.count > 1 else float("nan")

    @property
    def sd(self) -> float:
        """Sample standard deviation; NaN below two readings [unit]."""
        return math.sqrt(self.variance)

    @property
    def standard_error(self) -> float:
        """Standard error of the mean; NaN below two readings [unit]."""
        return self.sd / math.sqrt(self.count) if self.count > 1 else float("nan")

    def merged(self, other: Moments) -> Moments:
        """Return the moments of both sets of readings together."""
        count = self.count + other.count
        if count == 0:
            return self
        apart = other.mean - self.mean
        mean = self.mean + apart * other.count / count
        squares = self.squares + other.squares + apart**2 * self.count * other.count / count
        return Moments(count, mean, squares)

    def without(self, other: Moments) -> Moments:
        """Take readings out again that are known to be in: a superseded one, or a day past keeping.

        Parameters
        ----------
        other : Moments
            What to take out.

        Returns
        -------
        Moments
            What is left.

        Raises
        ------
        Contradiction
            When more is taken out than there is, or what is left could not be readings.

        Notes
        -----
        Inverse of `merged`. Digits are lost when little is left of much.
        """
        count = self.count - other.count
        if count < 0:
            raise Contradiction("other holds more readings than there are to take from", "other")
        if count == 0:
            return Moments()
        mean = self.mean + (self.mean - other.mean) * other.count / count
        squares = self.squares - other.squares - (other.mean - mean) ** 2 * count * other.count / self.count
        noise = 1e-9 * (self.squares + other.squares) + 1e-18 * self.count * self.mean**2
        if squares < -noise:
            raise Contradiction("other was never among these readings", "other")
        return Moments(count, mean, max(0.0, squares))


def merge(moments: Iterable[Moments]) -> Moments:
    """Merge many moments into one.

    Parameters
    ----------
    moments : iterable of Moments
        What to merge, in any order, perhaps nothing [-].

    Returns
    -------
    Moments
        Of all their readings together; see `Moments.merged`.
    """
    return reduce(Moments.merged, moments, Moments())


@dataclass(frozen=True)
class Bins:
    """Readings counted in bins of equal width; they merge, subtract and give quantiles.

    Parameters
    ----------
    width : float
        Width of a bin: 0.01 mm, 0.5 cents [any unit].
    counts : mapping of int to int
        Readings by bin; bin i reaches from (i - 1/2)·width to (i + 1/2)·width [-].
    """

    width: float
    counts: Mapping[int, int]

    @classmethod
    def of(cls, values: ArrayLike, width: float) -> Bins:
        """Count readings.

        Parameters
        ----------
        values : array
            Readings, perhaps none [any unit].
        width : float
            Width of a bin [same unit].

        Returns
        -------
        Bins
            Only bins that hold something.

        Raises
        ------
        OutOfRange
            When a reading is not finite, the width not above zero, or far too narrow for the readings.

        >>> Bins.of([0.20, 0.21, 0.20], 0.01).counts
        {20: 2, 21: 1}
        """
        array = np.atleast_1d(finite(values, "values")).ravel()
        size = float(positive(width, "width"))
        places = np.floor(array / size + 0.5)
        if array.size and np.abs(places).max() > 2**53:
            raise OutOfRange("width is far too narrow for these readings", "width")
        numbers, counts = np.unique(places.astype(np.int64), return_counts=True)
        return cls(size, dict(zip(numbers.tolist(), counts.tolist(), strict=True)))

    @property
    def count(self) -> int:
        """How many readings [-]."""
        return sum(self.counts.values())

    def merged(self, other: Bins) -> Bins:
        """Return both together; the widths must agree."""
        return self._joined(other, +1)

    def without(self, other: Bins) -> Bins:
        """Take readings out again; those of `other` must be in."""
        return self._joined(other, -1)

    def _joined(self, other: Bins, sign: int) -> Bins:
        if other.width != self.width:
            raise Contradiction(f"width must be {self.width:g} on both sides; not {other.width:g}", "width")
        joined = dict(self.counts)
        for place, count in other.counts.items():
            joined[place] = joined.get(place, 0) + sign * count
        if any(count < 0 for count in joined.values()):
            raise Contradiction("other was never among these readings", "other")
        return Bins(self.width, {place: joined[place] for place in sorted(joined) if joined[place]})

    def quantile(self, share: ArrayLike) -> FloatArray:
        """Value below which a share of the readings lies.

        Parameters
        ----------
        share : float or array
            0 to 1; 0.5 = median [-].

        Returns
        -------
        float or array
            Within a bin's width of the exact quantile [unit of the readings].

        Raises
        ------
        Missing
            When there are no readings.
        OutOfRange
            When a share lies outside 0 to 1.

        Notes
        -----
        Each reading is taken at its place among those of its bin, spread evenly over it.

        >>> round(float(Bins.of([0.1, 0.2, 0.3], 0.01).quantile(0.5)), 9)
        0.2
        """
        wanted = within(share, "share", 0.0, 1.0)
        if self.count == 0:
            raise Missing("there are no readings to take a quantile of", "values")
        places = np.array(sorted(self.counts), dtype=np.float64)
        held = np.array([self.counts[int(place)] for place in places], dtype=np.float64)
        ends = np.cumsum(held)
        rank = np.asarray(wanted * ends[-1])
        which = np.minimum(np.searchsorted(ends, rank, side="left"), places.size - 1)
        inside = (rank - (ends[which] - held[which])) / held[which]
        return plain(self.width * (places[which] - 0.5 + np.clip(inside, 0.0, 1.0)))

    def share_within(self, lower: float | None, upper: float | None) -> float:
        """Share of the readings inside limits, which are inverse to `quantile`.

        Parameters
        ----------
        lower, upper : float or None
            Limits; None = none on that side [unit of the readings].

        Returns
        -------
        float
            0 to 1 [-].

        Raises
        ------
        Missing
            When there are no readings.
        Contradiction
            When lower lies above upper.
        """
        if self.count == 0:
            raise Missing("there are no readings", "values")
        low = -math.inf if lower is None else float(finite(lower, "lower"))
        high = math.inf if upper is None else float(finite(upper, "upper"))
        if low > high:
            raise Contradiction("lower must not lie above upper", "lower")
        places = np.array(list(self.counts), dtype=np.float64)
        held = np.array(list(self.counts.values()), dtype=np.float64)
        start, end = (places - 0.5) * self.width, (places + 0.5) * self.width
        overlap = np.clip(np.minimum(end, high) - np.maximum(start, low), 0.0, self.width) / self.width
        return float((held * overlap).sum() / held.sum())
