"""Bounds checks shared by the calculations; every message names the field and says what would be right."""

from __future__ import annotations

import math
from typing import TypeAlias

import numpy as np
from numpy.typing import ArrayLike, NDArray

from .errors import OutOfRange

FloatArray: TypeAlias = NDArray[np.float64]


def finite(value: ArrayLike, field: str) -> FloatArray:
    """Return `value` as a float array, refusing NaN and infinities."""
    array = np.asarray(value, dtype=np.float64)
    if not (np.isfinite(array).all() if array.ndim else math.isfinite(array)):
        raise OutOfRange(f"{field} must be a finite number", field)
    return array


def within(
    value: ArrayLike, field: str, low: float | None = None, high: float | None = None, unit: str = ""
) -> FloatArray:
    """Return `value` as a float array, refusing anything outside [low, high]."""
    array = finite(value, field)
    if not array.ndim and (low is None or array >= low) and (high is None or array <= high):
        return array
    suffix = f" {unit}" if unit else ""
    bad = np.zeros(array.shape, dtype=bool)
    if low is not None:
        bad |= array < low
    if high is not None:
        bad |= array > high
    if bad.any():
        shown = float(array[bad].ravel()[0]) if array.ndim else float(array)
        if low is not None and high is not None:
            wanted = f"from {low:g} to {high:g}{suffix}"
        elif low is not None:
            wanted = f"at least {low:g}{suffix}"
        else:
            wanted = f"at most {high:g}{suffix}"
        raise OutOfRange(f"{field} must be {wanted}; {shown:g} was given", field)
    return array


def positive(value: ArrayLike, field: str, unit: str = "") -> FloatArray:
    """Return `value` as a float array, refusing zero and below."""
    array = finite(value, field)
    if (array <= 0).any() if array.ndim else array <= 0:
        shown = float(array[array <= 0].ravel()[0]) if array.ndim else float(array)
        suffix = f" {unit}" if unit else ""
        raise OutOfRange(f"{field} must be above 0{suffix}; {shown:g} was given", field)
    return array


def plain(array: ArrayLike) -> FloatArray:
    """Return a zero-dimensional array as the number it holds, any other array as it is."""
    result: FloatArray = np.asarray(array, dtype=np.float64)[()]
    return result


def whole(value: object, field: str, low: int, high: int) -> int:
    """Return `value` as an int, refusing fractions and anything outside [low, high]."""
    number = float(within(np.asarray(value, dtype=np.float64), field, low, high))
    if number != int(number):
        raise OutOfRange(f"{field} must be a whole number from {low} to {high}; {number:g} was given", field)
    return int(number)


def for_few(freedom: int) -> float:
    """How much larger a variance is that was estimated with few degrees of freedom.

    Parameters
    ----------
    freedom : int
        Degrees of freedom [-].

    Returns
    -------
    float
        Factor ν/(ν - 2) on the variance, that of Student's t; below three degrees that of three [-].

    Notes
    -----
    JCGM 101:2008, 6.4.9.4 (from memory).

    >>> for_few(10), for_few(1)
    (1.25, 3.0)
    """
    freedom = max(freedom, 3)
    return freedom / (freedom - 2)
