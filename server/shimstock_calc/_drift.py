"""The kernel of the seasonal forecast: rows of watched quantities through years of moisture, in arrays."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ._checks import FloatArray, finite, within
from .climate import YEAR_DAYS
from .errors import Contradiction, OutOfRange
from .moisture import steady_year, with_hysteresis

RANGE_IN_SD = 3.29  # a low-to-high range is read as the middle 90 % of a normal distribution
HALF_RANGE_IN_SD = 3.0**0.5  # of a rectangular distribution, JCGM 100:2008, 4.3.7
MOST_PARTS = 4


@dataclass(frozen=True)
class Watched:
    """Quantities to watch, one row each, of one or of many instruments.

    Parameters
    ----------
    value, uncertainty : array, shape (rows,)
        Last final reading and its standard uncertainty, in the quantity's unit.
    lower, upper : array, shape (rows,)
        Limits of the spec; -inf or inf where there is none.
    tau : array, shape (rows, parts, 3)
        Low, middle and high time constant of each part that moves the quantity [days].
    sensitivity, sensitivity_sd : array, shape (rows, parts)
        Change of the quantity per % MC of that part; 0 and 0 fill rows with fewer parts.
    day_of_year : array of int, shape (rows,)
        Of the last final reading, 1 to 366.
    place : array of int, shape (rows,)
        Row of the moisture years that the instrument lives in.
    start_moisture : array, shape (rows, parts), optional
        Moisture at the last final reading; NaN or None where a steady life in that place is to be taken [%
        MC].
    """

    value: ArrayLike
    uncertainty: ArrayLike
    lower: ArrayLike
    upper: ArrayLike
    tau: ArrayLike
    sensitivity: ArrayLike
    sensitivity_sd: ArrayLike
    day_of_year: ArrayLike
    place: ArrayLike = 0
    start_moisture: ArrayLike | None = None


@dataclass(frozen=True)
class Drift:
    """Forecast of watched quantities, day 0 = the last final reading; arrays (rows, days + 1).

    Parameters
    ----------
    expected, sd : array
        The quantity itself and its standard deviation, in its unit.
    probability_out : array
        Of being outside the spec on that day [-].
    moisture_change : array, shape (rows, parts, days + 1)
        Since the last final reading [% MC].
    """

    expected: FloatArray
    sd: FloatArray
    probability_out: FloatArray
    moisture_change: FloatArray


@dataclass(frozen=True)
class Rows:
    value: FloatArray
    u: FloatArray
    lower: FloatArray
    upper: FloatArray
    tau: FloatArray
    mean: FloatArray
    sd: FloatArray
    day: NDArray[np.int64]
    place: NDArray[np.int64]
    start: FloatArray

    def part(self, rows: slice) -> Rows:
        return Rows(
            self.value[rows],
            self.u[rows],
            self.lower[rows],
            self.upper[rows],
            self.tau[rows],
            self.mean[rows],
            self.sd[rows],
            self.day[rows],
            self.place[rows],
            self.start[rows],
        )


def _limit(value: ArrayLike, field: str) -> FloatArray:
    limit = np.asarray(value, dtype=np.float64)
    if np.isnan(limit).any():
        raise OutOfRange(f"{field} must be a number, or infinite where there is no limit", field)
    return limit


def lay_rows(watched: Watched, places: int) -> Rows:
    value = np.atleast_1d(finite(watched.value, "value"))
    rows = value.shape[0]
    u = np.broadcast_to(within(watched.uncertainty, "uncertainty", 0.0), (rows,))
    lower = np.broadcast_to(_limit(watched.lower, "lower"), (rows,))
    upper = np.broadcast_to(_limit(watched.upper, "upper"), (rows,))
    if (lower > upper).any():
        raise Contradiction("lower must not lie above upper", "lower")
    tau = within(watched.tau, "tau", 1e-3, 36525.0, "days")
    mean = finite(watched.sensitivity, "sensitivity")
    sd = within(watched.sensitivity_sd, "sensitivity_sd", 0.0)
    parts = max((np.shape(a)[-1] if np.ndim(a) else 1) for a in (mean, sd))
    if tau.ndim == 0 or tau.shape[-1] != 3:
        raise OutOfRange("tau must give a low, a middle and a high value for each part", "tau")
    parts = max(parts, tau.shape[-2] if tau.ndim > 1 else 1)
    if parts > MOST_PARTS:
        raise OutOfRange(f"at most {MOST_PARTS} parts move a quantity; {parts} were given", "tau")
    if (np.diff(tau, axis=-1) < 0.0).any():
        raise Contradiction("tau must rise from its low to its middle and its high value", "tau")
    day = np.broadcast_to(within(watched.day_of_year, "day_of_year", 1.0, 366.0), (rows,))
    place = np.broadcast_to(within(watched.place, "place", 0.0, places - 1.0), (rows,))
    start = np.nan if watched.start_moisture is None else watched.start_moisture
    start = np.broadcast_to(np.asarray(start, dtype=np.float64), (rows, parts))
    if (start[~np.isnan(start)] < 0.0).any() or np.isinf(start).any():
        raise OutOfRange("start_moisture must be at least 0 % MC", "start_moisture")
    return Rows(
        value,
        u,
        lower,
        upper,
        np.broadcast_to(tau, (rows, parts, 3)),
        np.broadcast_to(mean, (rows, parts)),
        np.broadcast_to(sd, (rows, parts)),
        np.minimum(day, float(YEAR_DAYS)).astype(np.int64),
        place.astype(np.int64),
        start,
    )


def _moisture_change(
    years: FloatArray, rows: Rows, days: int, sorption_ratio: float
) -> tuple[FloatArray, FloatArray]:
    """Change since day 0 under low, middle and high tau, and how far hysteresis may take it either way.

    Both of shape (rows, parts, 3, days + 1). The lag is linear: a part that began off its steady year keeps
    that difference times exp(-days/tau).
    """
    keys = np.stack([np.broadcast_to(rows.place[:, None, None], rows.tau.shape), rows.tau], axis=-1)
    unique, back = np.unique(keys.reshape(-1, 2), axis=0, return_inverse=True)
    steady = steady_year(years[unique[:, 0].astype(np.int64)], unique[:, 1])
    halfway = with_hysteresis(steady, sorption_ratio)
    which = back.reshape(rows.tau.shape)[..., None]
    at = ((rows.day[:, None] - 1 + np.arange(days + 1)[None, :]) % YEAR_DAYS)[:, None, None, :]
    none, moisture = steady[which, at], halfway[which, at]
    off = np.where(np.isnan(rows.start), 0.0, rows.start - none[:, :, 1, 0])[..., None, None]
    fading = np.expm1(-np.arange(days + 1) / rows.tau[..., None])
    change = moisture - moisture[..., :1]
    either_way = (none - none[..., :1]) - change
    return np.asarray(change + off * fading, dtype=np.float64), np.asarray(either_way, dtype=np.float64)


def forecast_rows(years: FloatArray, rows: Rows, days: int, air_sd: float, sorption_ratio: float) -> Drift:
    from scipy.special import ndtr

    change, either_way = _moisture_change(years, rows, days, sorption_ratio)
    middle = change[:, :, 1]
    spread = np.ptp(change, axis=2) / RANGE_IN_SD
    strayed = -air_sd * np.expm1(-np.arange(days + 1) / rows.tau[:, :, 1, None])
    unsure = spread**2 + strayed**2 + (either_way[:, :, 1] / HALF_RANGE_IN_SD) ** 2
    mean, sd = rows.mean[..., None], rows.sd[..., None]
    variance = (sd**2 * (middle**2 + unsure) + mean**2 * unsure).sum(axis=1) + rows.u[:, None] ** 2
    expected = rows.value[:, None] + (mean * middle).sum(axis=1)
    total = np.sqrt(np.maximum(variance, 1e-18))
    inside = ndtr((rows.upper[:, None] - expected) / total) - ndtr((rows.lower[:, None] - expected) / total)
    return Drift(
        np.asarray(expected, dtype=np.float64),
        np.asarray(total, dtype=np.float64),
        np.asarray(np.clip(1.0 - inside, 0.0, 1.0), dtype=np.float64),
        np.asarray(middle, dtype=np.float64),
    )


def moisture_years(equilibrium: ArrayLike) -> FloatArray:
    years = np.atleast_2d(within(equilibrium, "equilibrium", 0.0, 60.0, "% MC"))
    if years.shape[-1] != YEAR_DAYS or years.ndim != 2:
        raise OutOfRange("equilibrium must give 365 days for each place", "equilibrium")
    return years
