"""A year of room air, day by day, from a place's monthly normals or from the room's own log."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ._checks import FloatArray, finite, within
from .air import SHOP, RoomAir, RoomProfile, dew_point, indoor_air, saturation_pressure
from .errors import Contradiction, OutOfRange
from .wood import wood_moisture

MONTH_DAYS = np.array([31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])
MONTH_ENDS = np.concatenate([[0], np.cumsum(MONTH_DAYS)])
YEAR_DAYS = 365
ENOUGH_DAYS = 10  # logged days that let a month of the log stand for itself; judgement
DRIEST = 1.0  # Pa; outdoor air is never without vapour


def month_of_day(day_of_year: ArrayLike) -> NDArray[np.int64]:
    """Month of a day of the year.

    Parameters
    ----------
    day_of_year : int or array
        From 1; a leap year's 366 belongs to December [-].

    Returns
    -------
    array of int
        0 to 11 [-].

    Raises
    ------
    OutOfRange
        When a day lies outside 1 to 366.

    Notes
    -----
    Months of a year of 365 days.
    """
    day = within(day_of_year, "day_of_year", 1.0, 366.0)
    return np.asarray(
        np.searchsorted(MONTH_ENDS, np.minimum(day, 365.0) - 0.5, side="right") - 1, dtype=np.int64
    )


def monthly_means(daily: ArrayLike) -> FloatArray:
    """Means of the months of a year of daily values.

    Parameters
    ----------
    daily : array, shape (…, 365)
        From 1 January on [any unit].

    Returns
    -------
    array, shape (…, 12)
        [the same unit]

    Raises
    ------
    OutOfRange
        When there are not 365 finite values.

    Notes
    -----
    Inverse of `daily_from_monthly`.
    """
    year = finite(daily, "daily")
    if year.shape[-1:] != (YEAR_DAYS,):
        raise OutOfRange("daily must give 365 days", "daily")
    return np.asarray(np.add.reduceat(year, MONTH_ENDS[:-1], axis=-1) / MONTH_DAYS, dtype=np.float64)


def daily_from_monthly(monthly: ArrayLike, lowest: float | None = None) -> FloatArray:
    """Smooth daily values of a year that repeats, with the monthly means that were given.

    Parameters
    ----------
    monthly : array, shape (…, 12)
        Means from January to December [any unit].
    lowest : float, optional
        No day goes below it; no mean may either [the same unit].

    Returns
    -------
    array, shape (…, 365)
        From 1 January on [the same unit].

    Raises
    ------
    OutOfRange
        When there are not 12 finite values, or a mean lies below `lowest`.

    Notes
    -----
    A day is the rise over that day of a periodic spline through the running sum of the months, so every
    monthly mean is kept to rounding: cubic; where that undershoots `lowest`, the monotone cubic of F. N.
    Fritsch & J. Butland, SIAM J. Sci. Stat. Comput. 5, 300 (1984), whose slope cannot turn negative.

    >>> means = [1.0, 2.0, 5.0, 9.0, 13.0, 17.0, 19.0, 18.0, 14.0, 9.0, 4.0, 2.0]
    >>> round(float(monthly_means(daily_from_monthly(means))[6]), 9)
    19.0
    """
    means = finite(monthly, "monthly")
    if means.shape[-1:] != (12,):
        raise OutOfRange("monthly must give 12 means, January to December", "monthly")
    if lowest is not None and (means < lowest).any():
        raise OutOfRange(f"monthly must not lie below {lowest:g}", "monthly")
    daily = _cubic_days(means)
    if lowest is not None:
        low = (daily < lowest).any(axis=-1)
        if low.any():
            daily[low] = lowest + _monotone_days(means[low] - lowest)
    return daily


def _running_sum(means: FloatArray, months: int) -> FloatArray:
    """Sum up to each month's end, over `months` months from January on."""
    parts = np.resize(MONTH_DAYS, months) * np.take(means, np.arange(months) % 12, axis=-1)
    total = np.cumsum(parts, axis=-1)
    return np.concatenate([np.zeros((*means.shape[:-1], 1)), total], axis=-1)


def _cubic_days(means: FloatArray) -> FloatArray:
    from scipy.interpolate import CubicSpline

    average = (means * MONTH_DAYS).sum(axis=-1, keepdims=True) / YEAR_DAYS
    running = _running_sum(means - average, 12)
    running[..., -1] = running[..., 0]
    spline = CubicSpline(MONTH_ENDS, running, axis=-1, bc_type="periodic")
    return np.asarray(np.diff(spline(np.arange(YEAR_DAYS + 1)), axis=-1) + average, dtype=np.float64)


def _monotone_days(means: FloatArray) -> FloatArray:
    from scipy.interpolate import PchipInterpolator

    ends = np.concatenate([MONTH_ENDS[:-1], YEAR_DAYS + MONTH_ENDS[:-1], 2 * YEAR_DAYS + MONTH_ENDS])
    with np.errstate(over="ignore"):  # months with next to nothing have next to no slope
        rising = PchipInterpolator(ends, _running_sum(means, 36), axis=-1)
    return np.asarray(np.diff(rising(np.arange(YEAR_DAYS, 2 * YEAR_DAYS + 1)), axis=-1), dtype=np.float64)


def outdoor_year(
    outdoor_temperature: ArrayLike, outdoor_pressure: ArrayLike
) -> tuple[FloatArray, FloatArray]:
    """Outdoor air of a place through a normal year, day by day.

    Parameters
    ----------
    outdoor_temperature : array, shape (…, 12)
        Monthly means [degC].
    outdoor_pressure : array, shape (…, 12)
        Monthly means of vapour pressure [Pa].

    Returns
    -------
    tuple of array, each of shape (…, 365)
        Temperature [degC] and vapour pressure [Pa].

    Raises
    ------
    OutOfRange
        When there are not 12 finite values or one is outside nature.

    Notes
    -----
    See `daily_from_monthly`; air is never quite without vapour.
    """
    temperature = daily_from_monthly(within(outdoor_temperature, "outdoor_temperature", -60.0, 60.0, "degC"))
    pressure = daily_from_monthly(within(outdoor_pressure, "outdoor_pressure", DRIEST, 1e4, "Pa"), DRIEST)
    return temperature, np.maximum(pressure, DRIEST)


def room_year(
    outdoor_temperature: ArrayLike, outdoor_pressure: ArrayLike, profile: RoomProfile = SHOP
) -> RoomAir:
    """Air of a room through a normal year, from monthly normals of its place.

    Parameters
    ----------
    outdoor_temperature : array, shape (…, 12)
        Monthly means [degC].
    outdoor_pressure : array, shape (…, 12)
        Monthly means of vapour pressure; from humidity or dew point by `air.vapour_pressure` [Pa].
    profile : RoomProfile
        How the room is kept.

    Returns
    -------
    RoomAir
        Each of shape (…, 365): temperature [degC], relative humidity [% RH], dew point [degC].

    Raises
    ------
    OutOfRange
        When there are not 12 finite values or one is outside nature.

    Notes
    -----
    Temperature and vapour pressure are interpolated (`daily_from_monthly`), then warmed day by day
    (`air.indoor_air`). Normals of humidity or dew point give the vapour of a month within 6 % RH indoors
    (five NREL typical years).
    """
    temperature, pressure = outdoor_year(outdoor_temperature, outdoor_pressure)
    return indoor_air(temperature, pressure, profile)


def room_year_from_log(
    day_of_year: ArrayLike, temperature: ArrayLike, relative_humidity: ArrayLike, otherwise: RoomAir
) -> RoomAir:
    """Air of a room through a year, from its own log where there is one.

    Parameters
    ----------
    day_of_year : array, shape (n,)
        Of each reading, 1 to 366, of any years [-].
    temperature : array, shape (n,)
        [degC]
    relative_humidity : array, shape (n,)
        [% RH]
    otherwise : RoomAir
        Shape (365,); stands for the months with fewer than 10 logged days.

    Returns
    -------
    RoomAir
        Each of shape (365,).

    Raises
    ------
    Contradiction
        When the lists differ in length.
    OutOfRange
        When a value is outside nature.

    Notes
    -----
    Readings become means of days, days means of months (of temperature and vapour pressure), months a
    smooth year again, so that a log that is dense in one week does not outweigh the rest of its month.
    """
    day = within(day_of_year, "day_of_year", 1.0, 366.0)
    warm = within(temperature, "temperature", -10.0, 60.0, "degC")
    humid = within(relative_humidity, "relative_humidity", 0.0, 100.0, "% RH")
    if not day.ndim == warm.ndim == humid.ndim == 1 or not day.size == warm.size == humid.size:
        raise Contradiction(
            "day_of_year, temperature and relative_humidity must be lists of one length", "day_of_year"
        )
    pressure = humid / 100.0 * saturation_pressure(warm)
    months = (
        monthly_means(np.asarray(otherwise.temperature)),
        monthly_means(otherwise.relative_humidity / 100.0 * saturation_pressure(otherwise.temperature)),
    )
    logged = [_logged_months(day, values) for values in (warm, pressure)]
    air, vapour = (
        daily_from_monthly(np.where(np.isnan(own), normal, own), lowest)
        for own, normal, lowest in zip(logged, months, (None, 0.0), strict=True)
    )
    inside = np.clip(100.0 * vapour / saturation_pressure(air), 0.0, 100.0)
    held = np.maximum(inside, 1e-6) / 100.0 * saturation_pressure(air)
    return RoomAir(air, np.asarray(inside, dtype=np.float64), dew_point(held))


def _logged_months(day: FloatArray, values: FloatArray) -> FloatArray:
    """Means of the months that the log covers, NaN for the others."""
    at = np.minimum(day, 365.0).astype(np.int64) - 1
    count = np.bincount(at, minlength=YEAR_DAYS)
    with np.errstate(invalid="ignore"):
        days = np.bincount(at, weights=values, minlength=YEAR_DAYS) / count
    means = np.full(12, np.nan)
    for month in range(12):
        own = days[MONTH_ENDS[month] : MONTH_ENDS[month + 1]]
        own = own[~np.isnan(own)]
        if own.size >= ENOUGH_DAYS:
            means[month] = own.mean()
    return means


def equilibrium_year(room: RoomAir) -> FloatArray:
    """Moisture that each day of a room's year would settle wood at.

    Parameters
    ----------
    room : RoomAir
        Shape (…, 365).

    Returns
    -------
    array, shape (…, 365)
        [% MC]

    Raises
    ------
    OutOfRange
        When the air is outside nature.

    Notes
    -----
    See `wood.wood_moisture`.
    """
    return wood_moisture(room.relative_humidity, room.temperature)
