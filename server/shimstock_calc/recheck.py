"""When a setup asks to be looked at again as the seasons move it, and why."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ._checks import FloatArray, within
from ._drift import Drift, Watched, forecast_rows, lay_rows, moisture_years
from .errors import Contradiction, Missing
from .moisture import SORPTION_RATIO
from .seasons import AIR_SD, HORIZON
from .sensitivity import Contribution

EARLIEST = 14  # days; judgement, no published source
THRESHOLD = 0.25  # probability of being outside the spec that asks for a recheck; the shop's setting
MOISTURE_LIMIT = 2.0  # % MC since the last final reading; judgement, no published source
CHUNK = 256  # rows worked at once: about 10 MB, however many there are
NO_RECHECK, BY_SPEC, BY_MOISTURE = 0, 1, 2


@dataclass(frozen=True)
class Quantity:
    """One quantity of one instrument to watch.

    Parameters
    ----------
    name : str
        In the trade's words, for the reason: relief, action bass side …
    value, uncertainty : float
        Last final reading and its standard uncertainty [`unit`].
    lower, upper : float or None
        Limits of the spec [`unit`].
    contributions : tuple of Contribution
        What moves it.
    unit : str
        For the reason.
    """

    name: str
    value: float
    uncertainty: float
    lower: float | None
    upper: float | None
    contributions: tuple[Contribution, ...]
    unit: str = "mm"


@dataclass(frozen=True)
class Rechecks:
    """When each row asks for a recheck, and why; arrays (rows,).

    Parameters
    ----------
    day : array of int
        Days after the last final reading; -1 = not within the horizon.
    cause : array of int
        `NO_RECHECK`, `BY_SPEC` or `BY_MOISTURE`.
    probability_out : array
        On that day, or the largest within the horizon [-].
    expected, sd : array
        The quantity on that day, or where that largest is [its own unit].
    moisture_change : array
        Of the part that has moved most, on that day [% MC].
    part : array of int
        Which part that is, counted from 0 [-].
    """

    day: NDArray[np.int64]
    cause: NDArray[np.int64]
    probability_out: FloatArray
    expected: FloatArray
    sd: FloatArray
    moisture_change: FloatArray
    part: NDArray[np.int64]


def watch(quantities: list[Quantity], day_of_year: int, start_moisture: float | None = None) -> Watched:
    """Lay the quantities of one instrument out as rows.

    Parameters
    ----------
    quantities : list of Quantity
        At least one.
    day_of_year : int
        Of the last final reading, 1 to 366.
    start_moisture : float, optional
        Of all parts at that reading [% MC].

    Returns
    -------
    Watched
        One row a quantity.

    Raises
    ------
    Missing
        When there is no quantity, or one that nothing moves.
    """
    if not quantities:
        raise Missing("quantities must hold at least one quantity to watch", "quantities")
    for quantity in quantities:
        if not quantity.contributions:
            raise Missing(f"{quantity.name} must have at least one part that moves it", "contributions")
    parts = max(len(quantity.contributions) for quantity in quantities)
    tau = np.ones((len(quantities), parts, 3))
    mean, sd = np.zeros((2, len(quantities), parts))
    for i, quantity in enumerate(quantities):
        for j in range(parts):
            own = quantity.contributions[min(j, len(quantity.contributions) - 1)]
            tau[i, j] = own.tau.as_array()
            if j < len(quantity.contributions):
                mean[i, j], sd[i, j] = own.sensitivity.mean, own.sensitivity.sd
    return Watched(
        [quantity.value for quantity in quantities],
        [quantity.uncertainty for quantity in quantities],
        [-np.inf if quantity.lower is None else quantity.lower for quantity in quantities],
        [np.inf if quantity.upper is None else quantity.upper for quantity in quantities],
        tau,
        mean,
        sd,
        day_of_year,
        start_moisture=start_moisture,
    )


def recheck_days(
    equilibrium: ArrayLike,
    watched: Watched,
    threshold: float = THRESHOLD,
    *,
    days: int = HORIZON,
    earliest: int = EARLIEST,
    moisture_limit: float = MOISTURE_LIMIT,
    air_sd: float = AIR_SD,
    sorption_ratio: float = SORPTION_RATIO,
) -> Rechecks:
    """First day on which each watched quantity asks to be looked at again.

    Parameters
    ----------
    equilibrium : array, shape (365,) or (places, 365)
        Moisture that each day's room air would settle wood at [% MC].
    watched : Watched
        Any number of rows; memory does not grow with it beyond the rows themselves.
    threshold : float
        Probability of being outside the spec that is enough; above 0, up to 1 [-].
    days : int
        Horizon, 1 to 1100 [days].
    earliest : int
        No day before it, 0 to `days` [days].
    moisture_limit : float
        Change of moisture that is enough by itself; above 0 [% MC].
    air_sd : float
        How far a real year strays from the normal one; 0 to 5 [% MC].
    sorption_ratio : float
        As in `seasons.seasonal_drift`; 0.5 to 1 [-].

    Returns
    -------
    Rechecks
        Shape (rows,).

    Raises
    ------
    OutOfRange
        When a value lies outside its bounds.
    Contradiction
        When lower lies above upper.

    Notes
    -----
    The first day, not before `earliest`, on which the probability of being outside the spec on that day
    reaches the threshold, or a part's moisture has moved by more than the limit; the usual limits are
    judgement. When both come on one day the spec is named.
    """
    ahead = int(within(days, "days", 1.0, 1100.0, "days"))
    first = int(within(earliest, "earliest", 0.0, ahead, "days"))
    enough = float(within(threshold, "threshold", 1e-6, 1.0))
    limit = float(within(moisture_limit, "moisture_limit", 1e-3, 60.0, "% MC"))
    strays = float(within(air_sd, "air_sd", 0.0, 5.0, "% MC"))
    years = moisture_years(equilibrium)
    rows = lay_rows(watched, years.shape[0])
    count = rows.value.shape[0]
    pieces = [
        _recheck(
            forecast_rows(years, rows.part(slice(at, at + CHUNK)), ahead, strays, sorption_ratio),
            first,
            enough,
            limit,
        )
        for at in range(0, count, CHUNK)
    ]
    if not pieces:
        raise Missing("value must hold at least one quantity to watch", "value")
    columns = (np.concatenate(column) for column in zip(*pieces, strict=True))
    day, cause, out, expected, sd, moved, part = columns
    return Rechecks(
        day.astype(np.int64), cause.astype(np.int64), out, expected, sd, moved, part.astype(np.int64)
    )


def _recheck(drift: Drift, first: int, enough: float, limit: float) -> tuple[FloatArray, ...]:
    by_spec = drift.probability_out >= enough
    by_moisture = (np.abs(drift.moisture_change) > limit).any(axis=1)
    due = by_spec | by_moisture
    due[:, :first] = False
    found = due.any(axis=1)
    at = np.where(found, due.argmax(axis=1), drift.probability_out[:, first:].argmax(axis=1) + first)
    row = np.arange(at.size)
    cause = np.where(by_spec[row, at], BY_SPEC, BY_MOISTURE)
    moved = drift.moisture_change[row, :, at]
    part = np.abs(moved).argmax(axis=1)
    return (
        np.where(found, at, -1),
        np.where(found, cause, NO_RECHECK),
        drift.probability_out[row, at],
        drift.expected[row, at],
        drift.sd[row, at],
        moved[row, part],
        part,
    )


def earliest_rows(rechecks: Rechecks, instrument: ArrayLike) -> dict[int, int]:
    """Which row decides for each instrument.

    Parameters
    ----------
    rechecks : Rechecks
        Of all rows.
    instrument : array of int, shape (rows,)
        Which instrument a row belongs to [-].

    Returns
    -------
    dict of int to int
        Instrument to the row with its earliest recheck; on one day the likelier one; of an instrument that
        needs none, the row that comes nearest.

    Raises
    ------
    Contradiction
        When the list does not name every row.
    """
    owner = np.asarray(instrument, dtype=np.int64)
    if owner.shape != rechecks.day.shape:
        raise Contradiction("instrument must name one instrument for each row", "instrument")
    day = np.where(rechecks.day < 0, np.iinfo(np.int64).max, rechecks.day)
    order = np.lexsort((-rechecks.probability_out, day, owner))
    owners, at = np.unique(owner[order], return_index=True)
    return {int(one): int(order[i]) for one, i in zip(owners, at, strict=True)}


def recheck_reason(quantity: Quantity, rechecks: Rechecks, row: int) -> str:
    """Why a recheck is due, in one sentence with its numbers.

    Parameters
    ----------
    quantity : Quantity
        That the row stands for.
    rechecks : Rechecks
        From `recheck_days`.
    row : int
        Its row.

    Returns
    -------
    str
        For bench and owner.
    """
    out = float(rechecks.probability_out[row])
    moved = float(rechecks.moisture_change[row])
    wood = (
        f"the wood will have {'taken up' if moved > 0 else 'given off'} about {abs(moved):.1f} % of moisture"
    )
    number = (
        f"{quantity.name} {float(rechecks.expected[row]):.2f} ± {float(rechecks.sd[row]):.2f} {quantity.unit}"
    )
    cause = int(rechecks.cause[row])
    if cause == BY_SPEC:
        chance = f"a chance of {100 * out:.0f} % to be outside its spec {_spec(quantity)}"
        return f"{wood}, and {number} then has {chance}"
    if cause == BY_MOISTURE:
        return (
            f"{wood} since the last final reading; {number} is still likely in spec ({100 * (1 - out):.0f} %)"
        )
    return f"no recheck needed within the horizon: {number} at its worst, {100 * out:.0f} % outside its spec"


def _spec(quantity: Quantity) -> str:
    if quantity.lower is not None and quantity.upper is not None:
        return f"{quantity.lower:.2f} … {quantity.upper:.2f} {quantity.unit}"
    if quantity.lower is not None:
        return f"of at least {quantity.lower:.2f} {quantity.unit}"
    if quantity.upper is not None:
        return f"of at most {quantity.upper:.2f} {quantity.unit}"
    return "without limits"
