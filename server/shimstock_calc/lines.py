"""Straight lines from sums that add up and can be taken apart."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from ._checks import finite
from .errors import Contradiction, Missing


@dataclass(frozen=True)
class LineSums:
    """What a straight line needs to know of its points; it merges and subtracts.

    Parameters
    ----------
    count : int
        Points [-].
    mean_x, mean_y : float
        Means [their units].
    xx, xy, yy : float
        Sums of squared and crossed deviations [their units].
    """

    count: int = 0
    mean_x: float = 0.0
    mean_y: float = 0.0
    xx: float = 0.0
    xy: float = 0.0
    yy: float = 0.0

    @classmethod
    def of(cls, x: ArrayLike, y: ArrayLike) -> LineSums:
        """Sum up points.

        Parameters
        ----------
        x, y : arrays of the same length
            Points, perhaps none [any units].

        Returns
        -------
        LineSums
            Their sums.

        Raises
        ------
        Contradiction
            When the lengths differ.
        OutOfRange
            When a value is not finite.
        """
        first, second = np.atleast_1d(finite(x, "x")), np.atleast_1d(finite(y, "y"))
        if first.shape != second.shape or first.ndim != 1:
            raise Contradiction("y must hold one value for each x", "y")
        if first.size == 0:
            return cls()
        mean_x = first[0] + math.fsum(first - first[0]) / first.size
        mean_y = second[0] + math.fsum(second - second[0]) / second.size
        dx, dy = first - mean_x, second - mean_y
        return cls(
            int(first.size),
            float(mean_x),
            float(mean_y),
            math.fsum(dx * dx),
            math.fsum(dx * dy),
            math.fsum(dy * dy),
        )

    def merged(self, other: LineSums) -> LineSums:
        """Return both sets of points together."""
        count = self.count + other.count
        if count == 0:
            return self
        dx, dy = other.mean_x - self.mean_x, other.mean_y - self.mean_y
        share, both = other.count / count, self.count * other.count / count
        return LineSums(
            count,
            self.mean_x + dx * share,
            self.mean_y + dy * share,
            self.xx + other.xx + dx * dx * both,
            self.xy + other.xy + dx * dy * both,
            self.yy + other.yy + dy * dy * both,
        )

    def without(self, other: LineSums) -> LineSums:
        """Take points out again that are known to be in."""
        count = self.count - other.count
        if count < 0:
            raise Contradiction("other holds more points than there are to take from", "other")
        if count == 0:
            return LineSums()
        share = other.count / count
        mean_x = self.mean_x + (self.mean_x - other.mean_x) * share
        mean_y = self.mean_y + (self.mean_y - other.mean_y) * share
        dx, dy, both = other.mean_x - mean_x, other.mean_y - mean_y, count * other.count / self.count
        return LineSums(
            count,
            mean_x,
            mean_y,
            max(0.0, self.xx - other.xx - dx * dx * both),
            self.xy - other.xy - dx * dy * both,
            max(0.0, self.yy - other.yy - dy * dy * both),
        )

    def line(self, through_origin: bool = False) -> Line:
        """Fit a straight line.

        Parameters
        ----------
        through_origin : bool
            Whether the line must pass through 0, 0 [-].

        Returns
        -------
        Line
            Least-squares line with its uncertainties.

        Raises
        ------
        Missing
            When there are too few points, or all at one x.

        Notes
        -----
        Ordinary least squares. R² of a line through the origin is taken from zero, not from the mean.

        >>> LineSums.of([0.0, 1.0, 2.0], [1.0, 3.0, 5.0]).line().slope
        2.0
        """
        needed = 1 if through_origin else 2
        xx, xy, yy = self.xx, self.xy, self.yy
        if through_origin:
            xx += self.count * self.mean_x**2
            xy += self.count * self.mean_x * self.mean_y
            yy += self.count * self.mean_y**2
        if self.count < needed or xx <= 0.0:
            raise Missing(f"a line needs at least {needed} points at different places", "x")
        slope = xy / xx
        freedom = self.count - needed
        rest = max(0.0, yy - slope * xy)
        residual = math.sqrt(rest / freedom) if freedom > 0 else float("nan")
        slope_sd = residual / math.sqrt(xx)
        return Line(
            slope=slope,
            intercept=0.0 if through_origin else self.mean_y - slope * self.mean_x,
            slope_sd=slope_sd,
            intercept_sd=0.0
            if through_origin
            else residual * math.sqrt(1.0 / self.count + self.mean_x**2 / xx),
            residual_sd=residual,
            explained=1.0 - rest / yy if yy > 0 else float("nan"),
            freedom=freedom,
        )


@dataclass(frozen=True)
class Line:
    """A straight line through points.

    Parameters
    ----------
    slope, intercept : float
        y = intercept + slope·x [their units].
    slope_sd, intercept_sd : float
        Standard errors; NaN without spare points [their units].
    residual_sd : float
        Standard deviation of the points about the line; NaN without spare points [unit of y].
    explained : float
        R²; NaN when y does not vary [-].
    freedom : int
        Spare points [-].
    """

    slope: float
    intercept: float
    slope_sd: float
    intercept_sd: float
    residual_sd: float
    explained: float
    freedom: int
