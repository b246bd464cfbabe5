"""How a setup drifts with the seasons, and how sure that is."""

from __future__ import annotations

from numpy.typing import ArrayLike

from ._checks import within
from ._drift import Drift, Watched, forecast_rows, lay_rows, moisture_years
from .errors import OutOfRange
from .moisture import SORPTION_RATIO

__all__ = ["AIR_SD", "HORIZON", "Drift", "Watched", "seasonal_drift"]

HORIZON = 365  # days
AIR_SD = 0.3  # % MC; how far a year and a home stray from their normals; judgement, no published source


def seasonal_drift(
    equilibrium: ArrayLike,
    watched: Watched,
    days: int = HORIZON,
    air_sd: float = AIR_SD,
    sorption_ratio: float = SORPTION_RATIO,
) -> Drift:
    """Forecast curves of watched quantities with their bands.

    Parameters
    ----------
    equilibrium : array, shape (365,) or (places, 365)
        Moisture that each day's room air would settle wood at, from `climate.equilibrium_year` [% MC].
    watched : Watched
        At most 500 rows; `recheck_days` takes any number.
    days : int
        How far ahead, 1 to 1100 [days].
    air_sd : float
        How far a real year strays from the normal one; 0 to 5 [% MC].
    sorption_ratio : float
        Moisture of wood that took it up over that of wood that gave it off; 1 = no hysteresis; 0.5 to 1 [-].

    Returns
    -------
    Drift
        Shape (rows, days + 1), day 0 first.

    Raises
    ------
    OutOfRange
        When a value lies outside its bounds or there are too many rows.
    Contradiction
        When lower lies above upper.

    Notes
    -----
    change = sensitivity · change of moisture, summed over the parts; the moisture lags its air first order
    (`moisture.moisture_response`), with half of the hysteresis (`moisture.with_hysteresis`). Variance: the
    reading's, the sensitivity's, and the moisture's own, from the range of the time constant (read as the
    middle 90 %), from the hysteresis (anywhere between none and all of it, JCGM 100:2008, 4.3.7) and from
    years that are not normal. With a sensitivity of mean 0 the forecast is a band that widens as the wood
    moves. Probability as JCGM 106:2012 on each day by itself.
    """
    ahead = int(within(days, "days", 1.0, 1100.0, "days"))
    strays = float(within(air_sd, "air_sd", 0.0, 5.0, "% MC"))
    years = moisture_years(equilibrium)
    rows = lay_rows(watched, years.shape[0])
    if rows.value.shape[0] > 500:
        raise OutOfRange("at most 500 rows have their curves drawn at once; use recheck_days", "value")
    return forecast_rows(years, rows, ahead, strays, sorption_ratio)
