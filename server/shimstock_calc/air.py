"""Moist air: from the weather outdoors to the air of a room."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from ._checks import FloatArray, positive, within
from .errors import Contradiction, Missing

GAS_CONSTANT = 461.5  # J/(kg K), of water vapour
FREEZING = 273.15  # K at 0 degC
COLDEST, WARMEST = -40.0, 50.0
"""Between them Alduchov & Eskridge's Eq. (21) holds within 0.4 % [degC]."""
WARMING = (10.0, 20.0)
"""Daily mean outdoors from which, and up to which, a room that is not cooled warms up: EN 15026 [degC]."""
WARM_ROOM = 25.0
"""Where it has warmed up to by then: EN 15026 [degC]."""
WARM_ROOM_SD = 1.0
"""Standard uncertainty of the room's temperature while it is not heated; judgement [degC]."""
TAPER = 20.0
"""Outdoors from which the moisture excess is none; full below 0 degC: EN ISO 13788, from memory [degC]."""


def saturation_pressure(temperature: ArrayLike) -> FloatArray:
    """Vapour pressure of saturated air over water, also below freezing, as weather stations report it.

    Parameters
    ----------
    temperature : float or array
        -60 to 70 [degC].

    Returns
    -------
    array
        [Pa]

    Raises
    ------
    OutOfRange
        When the temperature lies outside the bounds above.

    Notes
    -----
    O. A. Alduchov & R. E. Eskridge, J. Appl. Meteor. 35, 601 (1996), Eq. (21): 610.94 exp(17.625
    t/(243.04+t)), within 0.4 % from -40 to 50 degC.

    >>> round(float(saturation_pressure(21.0)), 0)
    2482.0
    """
    T = within(temperature, "temperature", -60.0, 70.0, "degC")
    return np.asarray(610.94 * np.exp(17.625 * T / (243.04 + T)), dtype=np.float64)


def dew_point(vapour_pressure: ArrayLike) -> FloatArray:
    """Temperature at which air of a vapour pressure is saturated over water.

    Parameters
    ----------
    vapour_pressure : float or array
        Above 0 [Pa].

    Returns
    -------
    array
        [degC]

    Raises
    ------
    OutOfRange
        When the pressure is not above 0.

    Notes
    -----
    Inverse of Alduchov & Eskridge (1996), Eq. (21).

    >>> round(float(dew_point(saturation_pressure(12.5))), 9)
    12.5
    """
    log = np.log(positive(vapour_pressure, "vapour_pressure", "Pa") / 610.94)
    return np.asarray(243.04 * log / (17.625 - log), dtype=np.float64)


def vapour_pressure(
    temperature: ArrayLike, relative_humidity: ArrayLike | None = None, dew_point: ArrayLike | None = None
) -> FloatArray:
    """Vapour pressure of air from its humidity or its dew point, exactly one of them.

    Parameters
    ----------
    temperature : float or array
        Of the air; -60 to 70 [degC].
    relative_humidity : float or array, broadcast with `temperature`, optional
        Over water, 0 to 100 [% RH].
    dew_point : float or array, broadcast with `temperature`, optional
        At most the temperature [degC].

    Returns
    -------
    array
        [Pa]

    Raises
    ------
    Missing
        When neither was given.
    Contradiction
        When both were given, or the dew point lies above the temperature.

    Notes
    -----
    Alduchov & Eskridge (1996), Eq. (21), over water.
    """
    if relative_humidity is None and dew_point is None:
        raise Missing("give relative_humidity or dew_point of the outdoor air", "relative_humidity")
    if relative_humidity is not None and dew_point is not None:
        raise Contradiction("give relative_humidity or dew_point, not both", "dew_point")
    saturated = saturation_pressure(temperature)
    if relative_humidity is not None:
        humidity = within(relative_humidity, "relative_humidity", 0.0, 100.0, "% RH")
        return np.asarray(saturated * humidity / 100.0, dtype=np.float64)
    dew = within(dew_point if dew_point is not None else 0.0, "dew_point", -60.0, 70.0, "degC")
    if (dew > np.asarray(temperature, dtype=np.float64) + 1e-9).any():
        raise Contradiction("dew_point must not lie above temperature", "dew_point")
    return np.broadcast_to(saturation_pressure(dew), np.broadcast_shapes(dew.shape, saturated.shape)).copy()


def excess_pressure(moisture_excess: ArrayLike, temperature: ArrayLike) -> FloatArray:
    """Vapour pressure that an excess of moisture adds to room air.

    Parameters
    ----------
    moisture_excess : float or array
        Vapour that people, plants and cooking add; -10 to 20 [g/m3].
    temperature : float or array, broadcast with `moisture_excess`
        Of the room [degC].

    Returns
    -------
    array
        [Pa]

    Raises
    ------
    OutOfRange
        When an input lies outside the bounds above.

    Notes
    -----
    Ideal gas, R = 461.5 J/(kg K): 2 g/m3 at 21 degC is 271.5 Pa.

    >>> round(float(excess_pressure(2.0, 21.0)), 1)
    271.5
    """
    excess = within(moisture_excess, "moisture_excess", -10.0, 20.0, "g/m3")
    T = within(temperature, "temperature", -60.0, 70.0, "degC")
    return np.asarray(excess * 1e-3 * GAS_CONSTANT * (T + FREEZING), dtype=np.float64)


def warmed_humidity(outdoor_pressure: ArrayLike, indoor_temperature: ArrayLike) -> FloatArray:
    """Humidity of air of a vapour pressure once it has the room's temperature.

    Parameters
    ----------
    outdoor_pressure : float or array
        Vapour pressure, any excess already added; 0 or more [Pa].
    indoor_temperature : float or array, broadcast with `outdoor_pressure`
        [degC]

    Returns
    -------
    array
        At most 100, where it would condense [% RH].

    Raises
    ------
    OutOfRange
        When the pressure is below 0.

    Notes
    -----
    Constant vapour pressure at constant total pressure; Alduchov & Eskridge (1996) over water.

    >>> round(float(warmed_humidity(vapour_pressure(-10.0, 80.0), 21.0)), 2)
    9.24
    """
    pressure = within(outdoor_pressure, "outdoor_pressure", 0.0, None, "Pa")
    humidity = 100.0 * pressure / saturation_pressure(indoor_temperature)
    return np.asarray(np.minimum(humidity, 100.0), dtype=np.float64)


@dataclass(frozen=True)
class RoomProfile:
    """How a room is kept.

    Parameters
    ----------
    moisture_excess : float
        Vapour added indoors in cold weather: full below 0 degC outdoors, none from 20 degC up [g/m3].
    heating_set_point : float
        Below it the room is heated [degC].
    cools : bool
        Whether the room is cooled.
    cooling_set_point, cooling_dew_point : float
        Highest temperature and dew point of a room that is cooled [degC].
    humidifier, dehumidifier : float or None
        Lowest and highest humidity that a machine keeps, where there is one [% RH].

    Raises
    ------
    OutOfRange
        When a value lies outside what a room can be.
    Contradiction
        When the humidifier is set above the dehumidifier, or heating above cooling.

    Notes
    -----
    The set points are common practice, no published source. The excess: two occupied houses had means of
    2.9 to 3.3 g/m3 in cold weather (data set trh-1, A. Laukkarinen, CC-BY 4.0); a shop's 2 is judgement.
    """

    moisture_excess: float
    heating_set_point: float = 20.0
    cools: bool = False
    cooling_set_point: float = 24.0
    cooling_dew_point: float = 13.0
    humidifier: float | None = None
    dehumidifier: float | None = None

    def __post_init__(self) -> None:
        within(self.moisture_excess, "moisture_excess", 0.0, 20.0, "g/m3")
        within(self.heating_set_point, "heating_set_point", 0.0, 35.0, "degC")
        within(self.cooling_set_point, "cooling_set_point", 10.0, 40.0, "degC")
        within(self.cooling_dew_point, "cooling_dew_point", -10.0, 30.0, "degC")
        for name in ("humidifier", "dehumidifier"):
            if getattr(self, name) is not None:
                within(getattr(self, name), name, 5.0, 95.0, "% RH")
        if self.cools and self.heating_set_point > self.cooling_set_point:
            raise Contradiction("heating_set_point must not lie above cooling_set_point", "heating_set_point")
        if (
            self.humidifier is not None
            and self.dehumidifier is not None
            and self.humidifier > self.dehumidifier
        ):
            raise Contradiction("humidifier must be set below dehumidifier", "humidifier")

    def with_excess(self, moisture_excess: float) -> RoomProfile:
        """Return the same room with another moisture excess [g/m3]."""
        return replace(self, moisture_excess=moisture_excess)


SHOP = RoomProfile(moisture_excess=2.0)
HOME = RoomProfile(moisture_excess=3.0)


@dataclass(frozen=True)
class RoomAir:
    """Air of a room, arrays of one shape.

    Parameters
    ----------
    temperature : array
        [degC]
    relative_humidity : array
        [% RH]
    dew_point : array
        [degC]
    """

    temperature: FloatArray
    relative_humidity: FloatArray
    dew_point: FloatArray


def room_temperature(outdoor_temperature: ArrayLike, profile: RoomProfile = SHOP) -> FloatArray:
    """Temperature of a room by the weather, where nothing has read it.

    Parameters
    ----------
    outdoor_temperature : float or array
        Mean of the day; -60 to 60 [degC].
    profile : RoomProfile
        How the room is kept.

    Returns
    -------
    array
        [degC]

    Raises
    ------
    OutOfRange
        When the temperature lies outside the bounds above.

    Notes
    -----
    EN 15026:2007, Annex C: 20 degC while the day outdoors has up to 10 degC on average, rising evenly to 25
    degC at 20 degC (read in open implementations of the standard). Another heating set point takes the
    place of the 20 degC. Beyond that, judgement: a room is never cooler than the mean of the day outdoors,
    unless it is cooled; then it stops at the cooling set point. While a room is not heated its temperature
    is known to ± 1 degC (standard uncertainty; judgement).

    >>> room_temperature([5.0, 15.0, 20.0, 30.0]).tolist()
    [20.0, 22.5, 25.0, 30.0]
    """
    outdoors = within(outdoor_temperature, "outdoor_temperature", -60.0, 60.0, "degC")
    heated = profile.heating_set_point
    room = np.maximum(np.interp(outdoors, WARMING, (heated, max(heated, WARM_ROOM))), outdoors)
    return np.asarray(np.minimum(room, profile.cooling_set_point) if profile.cools else room)


def indoor_air(
    outdoor_temperature: ArrayLike,
    outdoor_pressure: ArrayLike,
    profile: RoomProfile = SHOP,
    indoor_temperature: ArrayLike | None = None,
) -> RoomAir:
    """Air of a room from the outdoor air's temperature and vapour pressure.

    Parameters
    ----------
    outdoor_temperature : float or array
        Mean of the day; -60 to 60 [degC].
    outdoor_pressure : float or array, broadcast with `outdoor_temperature`
        Vapour pressure; above 0 [Pa].
    profile : RoomProfile
        How the room is kept.
    indoor_temperature : float or array, optional
        As read, instead of `room_temperature`; -10 to 60 [degC].

    Returns
    -------
    RoomAir
        Temperature [degC], relative humidity [% RH], dew point [degC].

    Raises
    ------
    OutOfRange
        When an input is outside nature.

    Notes
    -----
    Outdoor air is warmed at constant vapour pressure, plus the profile's excess, which tapers from full at
    0 degC outdoors to none at 20 degC (EN ISO 13788, its humidity classes; from memory). The temperature is
    that of `room_temperature`. A room that is cooled has at most the cooling dew point, in any weather. A
    humidifier or dehumidifier has the last word.
    """
    outdoors = within(outdoor_temperature, "outdoor_temperature", -60.0, 60.0, "degC")
    pressure = positive(outdoor_pressure, "outdoor_pressure", "Pa")
    outdoors, pressure = np.broadcast_arrays(outdoors, pressure)
    if indoor_temperature is None:
        room = room_temperature(outdoors, profile)
    else:
        room = within(indoor_temperature, "indoor_temperature", -10.0, 60.0, "degC")
    share = np.clip(1.0 - outdoors / TAPER, 0.0, 1.0)
    pressure = pressure + share * excess_pressure(profile.moisture_excess, room)
    if profile.cools:
        pressure = np.minimum(pressure, saturation_pressure(profile.cooling_dew_point))
    humidity = warmed_humidity(pressure, room)
    if profile.humidifier is not None:
        humidity = np.maximum(humidity, profile.humidifier)
    if profile.dehumidifier is not None:
        humidity = np.minimum(humidity, profile.dehumidifier)
    humidity = np.asarray(humidity, dtype=np.float64)
    held = np.maximum(humidity, 1e-6) / 100.0 * saturation_pressure(room)
    room = np.broadcast_to(np.asarray(room, dtype=np.float64), humidity.shape).copy()
    return RoomAir(room, humidity, dew_point(held))


def indoor_humidity(
    outdoor_temperature: ArrayLike,
    relative_humidity: ArrayLike | None = None,
    dew_point: ArrayLike | None = None,
    profile: RoomProfile = SHOP,
    indoor_temperature: ArrayLike | None = None,
) -> RoomAir:
    """Air of a room from the weather as a station reports it.

    Parameters
    ----------
    outdoor_temperature : float or array
        Mean of the day; -40 to 50 [degC].
    relative_humidity, dew_point : float or array, broadcast with `outdoor_temperature`
        Of the outdoor air, exactly one of them; the dew point from -40 on [% RH], [degC].
    profile : RoomProfile
        How the room is kept; `SHOP` (2 g/m3) or `HOME` (3 g/m3) unless said otherwise.
    indoor_temperature : float or array, optional
        As read, instead of `room_temperature`; -10 to 50 [degC].

    Returns
    -------
    RoomAir
        Temperature [degC], relative humidity [% RH], dew point [degC].

    Raises
    ------
    Missing, Contradiction, OutOfRange
        When the outdoor air is not given by exactly one of humidity and dew point, or a temperature lies
        outside the bounds above.

    Notes
    -----
    See `indoor_air` and `vapour_pressure`; refused where the vapour pressure does not hold within 0.4 %.

    >>> dry = RoomProfile(moisture_excess=0.0)
    >>> round(float(indoor_humidity(-15.0, 70.0, profile=dry, indoor_temperature=21.0).relative_humidity), 3)
    5.405
    """
    within(outdoor_temperature, "outdoor_temperature", COLDEST, WARMEST, "degC")
    if dew_point is not None:
        within(dew_point, "dew_point", COLDEST, WARMEST, "degC")
    if indoor_temperature is not None:
        within(indoor_temperature, "indoor_temperature", -10.0, WARMEST, "degC")
    pressure = vapour_pressure(outdoor_temperature, relative_humidity, dew_point)
    return indoor_air(outdoor_temperature, np.maximum(pressure, 1e-3), profile, indoor_temperature)


def vapour_to_add(temperature: ArrayLike, relative_humidity: ArrayLike, wanted: ArrayLike) -> FloatArray:
    """How much vapour a humidifier must bring into a room's air, or a dehumidifier take out of it.

    Parameters
    ----------
    temperature : float or array
        Of the room; -10 to 60 [degC].
    relative_humidity, wanted : float or array, broadcast
        What it has and what it should have; 0 to 100 [% RH].

    Returns
    -------
    array
        Positive = to add; once for the air that is there, again with every change of air [g/m3].

    Raises
    ------
    OutOfRange
        When an input lies outside the bounds above.

    Notes
    -----
    The excess of `indoor_air` asked the other way round: ideal gas, Alduchov & Eskridge (1996) over water.

    >>> round(float(vapour_to_add(20.0, 25.0, 45.0)), 2)
    3.45
    """
    T = within(temperature, "temperature", -10.0, 60.0, "degC")
    lacking = within(wanted, "wanted", 0.0, 100.0, "% RH") - within(
        relative_humidity, "relative_humidity", 0.0, 100.0, "% RH"
    )
    return vapour_density(T, lacking)


def vapour_density(temperature: ArrayLike, relative_humidity: ArrayLike) -> FloatArray:
    """Vapour that air of a temperature holds at a humidity, or at a difference of two.

    Parameters
    ----------
    temperature : float or array
        -60 to 70 [degC].
    relative_humidity : float or array, broadcast
        Humidity, or the difference of two at this temperature [% RH].

    Returns
    -------
    array
        [g/m3]

    Raises
    ------
    OutOfRange
        When an input is not finite or the temperature lies outside its bounds.

    Notes
    -----
    Ideal gas, R = 461.5 J/(kg K); Alduchov & Eskridge (1996) over water.

    >>> round(float(vapour_density(20.0, 100.0)), 2)
    17.25
    """
    T = np.asarray(temperature, dtype=np.float64)
    pressure = within(relative_humidity, "relative_humidity") / 100.0 * saturation_pressure(T)
    return np.asarray(1e3 * pressure / (GAS_CONSTANT * (T + FREEZING)), dtype=np.float64)
