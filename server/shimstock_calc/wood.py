"""Wood and the air around it: moisture at rest, movement across the grain, bending of a glued pair."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from ._checks import FloatArray, finite, positive, within
from .errors import OutOfRange

HIGHEST_HUMIDITY = 95.0  # % RH, where Table 4-2 ends; above it Eq. (4-5) runs away
SATURATION = 30.0  # % MC, fibre saturation as Eq. (13-3) takes it


def hailwood_horrobin(relative_humidity: ArrayLike, temperature: ArrayLike) -> FloatArray:
    """Equation (4-5) as printed, without any bound.

    Parameters
    ----------
    relative_humidity : float or array
        Of the air around the wood; below 100 [% RH].
    temperature : float or array, broadcast with `relative_humidity`
        Of the air [degC].

    Returns
    -------
    array
        Equilibrium moisture content of wood [% MC].

    Notes
    -----
    S. V. Glass & S. L. Zelinka, *Wood Handbook*, USDA FPL-GTR-190 (2010), Eq. (4-5).
    """
    h = np.asarray(relative_humidity, dtype=np.float64) / 100.0
    T = np.asarray(temperature, dtype=np.float64)
    W = 349.0 + 1.29 * T + 0.0135 * T**2
    K = 0.805 + 0.000736 * T - 0.00000273 * T**2
    K1 = 6.27 - 0.00938 * T - 0.000303 * T**2
    K2 = 1.91 + 0.0407 * T - 0.000293 * T**2
    kh = K * h
    bound = K1 * kh + K1 * K2 * kh**2
    moisture = 1800.0 / W * (kh / (1.0 - kh) + (bound + K1 * K2 * kh**2) / (1.0 + bound))
    return np.asarray(moisture, dtype=np.float64)


def wood_moisture(relative_humidity: ArrayLike, temperature: ArrayLike) -> FloatArray:
    """Moisture that wood settles at in steady air.

    Parameters
    ----------
    relative_humidity : float or array
        Of the air around the wood; 0 to 100, above 95 answered as 95 [% RH].
    temperature : float or array, broadcast with `relative_humidity`
        Of the air; -50 to 100 [degC].

    Returns
    -------
    array
        Equilibrium moisture content [% MC].

    Raises
    ------
    OutOfRange
        When an input lies outside the bounds above.

    Notes
    -----
    *Wood Handbook*, USDA FPL-GTR-190 (2010), Eq. (4-5); within 0.06 % MC of its Table 4-2, which covers
    -1.1 to 88 degC here and 5 to 95 % RH. One figure for all species; a dense, oily tropical wood settles
    lower.

    >>> round(float(wood_moisture(50.0, 21.1)), 1)
    9.2
    """
    humidity = within(relative_humidity, "relative_humidity", 0.0, 100.0, "% RH")
    air = within(temperature, "temperature", -50.0, 100.0, "degC")
    return hailwood_horrobin(np.minimum(humidity, HIGHEST_HUMIDITY), air)


def humidity_for_moisture(moisture: ArrayLike, temperature: ArrayLike) -> FloatArray:
    """How humid the room must be for wood to settle at a moisture.

    Parameters
    ----------
    moisture : float or array
        Wanted equilibrium moisture content [% MC].
    temperature : float or array, broadcast with `moisture`
        Of the air; -50 to 100 [degC].

    Returns
    -------
    array
        Relative humidity, 0 to 95 [% RH].

    Raises
    ------
    OutOfRange
        When no air up to 95 % RH gives that moisture.

    Notes
    -----
    Inverse of *Wood Handbook* Eq. (4-5), which rises with humidity everywhere; bisection to below 1e-10 % RH.

    >>> round(float(humidity_for_moisture(wood_moisture(47.0, 21.0), 21.0)), 6)
    47.0
    """
    air = within(temperature, "temperature", -50.0, 100.0, "degC")
    wanted = within(moisture, "moisture", 0.0, None, "% MC")
    wanted, air = np.broadcast_arrays(wanted, air)
    highest = hailwood_horrobin(HIGHEST_HUMIDITY, air)
    if (wanted > highest).any():
        worst = float(np.min(highest[wanted > highest]))
        raise OutOfRange(f"moisture must be at most {worst:.1f} % MC, what air of 95 % RH gives", "moisture")
    low = np.zeros(wanted.shape)
    high = np.full(wanted.shape, HIGHEST_HUMIDITY)
    for _ in range(45):
        middle = 0.5 * (low + high)
        short = hailwood_horrobin(middle, air) < wanted
        low = np.where(short, middle, low)
        high = np.where(short, high, middle)
    return np.asarray(0.5 * (low + high), dtype=np.float64)


def moisture_notes(relative_humidity: ArrayLike, temperature: ArrayLike) -> list[str]:
    """Say in words where an answer of `wood_moisture` leaves the ground of its source.

    Parameters
    ----------
    relative_humidity : float or array
        Of the air [% RH].
    temperature : float or array
        Of the air [degC].

    Returns
    -------
    list of str
        One sentence a remark; empty when all is inside.

    Notes
    -----
    Bounds of *Wood Handbook* (2010), Table 4-2.
    """
    notes = []
    humidity = finite(relative_humidity, "relative_humidity")
    air = finite(temperature, "temperature")
    if (humidity > HIGHEST_HUMIDITY).any():
        notes.append("air above 95 % RH is answered as 95 %: the table ends there and water may condense")
    if (humidity < 5.0).any():
        notes.append("the table begins at 5 % RH; drier air is extrapolated")
    if (air < -1.2).any() or (air > 132.0).any():
        notes.append("the table covers -1.1 to 132.2 degC; this temperature is extrapolated")
    return notes


def movement(
    width: ArrayLike, moisture_before: ArrayLike, moisture_after: ArrayLike, coefficient: ArrayLike
) -> FloatArray:
    """Change of a board's width across the grain, from a dimensional-change coefficient.

    Parameters
    ----------
    width : float or array
        At `moisture_before`; above 0 [mm].
    moisture_before, moisture_after : float or array, broadcast with `width`
        Moisture content; 0 to 30, best 6 to 14 [% MC].
    coefficient : float or array, broadcast with `width`
        C_R (radial) or C_T (tangential) of Table 13-5; 0 to 0.01 [1/% MC].

    Returns
    -------
    array
        Change of width; positive = wider [mm].

    Raises
    ------
    OutOfRange
        When an input lies outside the bounds above.

    Notes
    -----
    *Wood Handbook*, USDA FPL-GTR-190 (2010), Eq. (13-2): D_I C (M_F - M_I); printed for 6 to 14 % MC.

    >>> round(232.0 + float(movement(232.0, 8.0, 11.0, 0.00245)), 1)
    233.7
    """
    before = within(moisture_before, "moisture_before", 0.0, SATURATION, "% MC")
    after = within(moisture_after, "moisture_after", 0.0, SATURATION, "% MC")
    rate = within(coefficient, "coefficient", 0.0, 0.01, "per % MC")
    return np.asarray(positive(width, "width", "mm") * rate * (after - before), dtype=np.float64)


def movement_notes(moisture_before: ArrayLike, moisture_after: ArrayLike) -> list[str]:
    """Say in words where an answer of `movement` leaves the ground of its source.

    Parameters
    ----------
    moisture_before, moisture_after : float or array
        Moisture content [% MC].

    Returns
    -------
    list of str
        One sentence, or none.

    Notes
    -----
    *Wood Handbook* (2010), Eq. (13-2) is printed for 6 to 14 % MC.

    >>> movement_notes(8.0, 11.0)
    []
    """
    both = [finite(moisture_before, "moisture_before"), finite(moisture_after, "moisture_after")]
    if all(((each >= 6.0) & (each <= 14.0)).all() for each in both):
        return []
    return ["the coefficients hold from 6 to 14 % of moisture; outside, work from the shrinkage"]


def movement_from_shrinkage(
    width: ArrayLike, moisture_before: ArrayLike, moisture_after: ArrayLike, shrinkage: ArrayLike
) -> FloatArray:
    """Change of a board's width across the grain, from its shrinkage green to ovendry.

    Parameters
    ----------
    width : float or array
        At `moisture_before`; above 0 [mm].
    moisture_before, moisture_after : float or array, broadcast with `width`
        Moisture content; 0 to 30 [% MC].
    shrinkage : float or array, broadcast with `width`
        Radial or tangential, of Table 4-3; above 0, up to 20 [%].

    Returns
    -------
    array
        Change of width; positive = wider [mm].

    Raises
    ------
    OutOfRange
        When an input lies outside the bounds above.

    Notes
    -----
    *Wood Handbook*, USDA FPL-GTR-190 (2010), Eq. (13-3): D_I (M_F - M_I) / (30·100/S - 30 + M_I).

    >>> round(232.0 + float(movement_from_shrinkage(232.0, 8.0, 11.0, 7.0)), 1)
    233.7
    """
    before = within(moisture_before, "moisture_before", 0.0, SATURATION, "% MC")
    after = within(moisture_after, "moisture_after", 0.0, SATURATION, "% MC")
    shrink = within(positive(shrinkage, "shrinkage", "%"), "shrinkage", 0.0, 20.0, "%")
    share = (after - before) / (100.0 * SATURATION / shrink - SATURATION + before)
    return np.asarray(positive(width, "width", "mm") * share, dtype=np.float64)


def moisture_for_width(
    width_before: ArrayLike, width_after: ArrayLike, moisture_before: ArrayLike, coefficient: ArrayLike
) -> FloatArray:
    """Which moisture a board has reached, judged by its width: Eq. (13-2) asked the other way round.

    Parameters
    ----------
    width_before, width_after : float or array
        Across the grain; above 0 [mm].
    moisture_before : float or array, broadcast with the widths
        At `width_before`; 0 to 30 [% MC].
    coefficient : float or array, broadcast with the widths
        C_R or C_T of Table 13-5; above 0, up to 0.01 [1/% MC].

    Returns
    -------
    array
        Moisture content at `width_after` [% MC].

    Raises
    ------
    OutOfRange
        When the widths ask for a moisture outside 0 to 30 % MC.

    Notes
    -----
    *Wood Handbook*, USDA FPL-GTR-190 (2010), Eq. (13-2).

    >>> round(float(moisture_for_width(232.0, 233.7052, 8.0, 0.00245)), 3)
    11.0
    """
    before = within(moisture_before, "moisture_before", 0.0, SATURATION, "% MC")
    rate = within(positive(coefficient, "coefficient", "per % MC"), "coefficient", 0.0, 0.01, "per % MC")
    start = positive(width_before, "width_before", "mm")
    return _possible(before + (positive(width_after, "width_after", "mm") - start) / (start * rate))


def moisture_for_width_from_shrinkage(
    width_before: ArrayLike, width_after: ArrayLike, moisture_before: ArrayLike, shrinkage: ArrayLike
) -> FloatArray:
    """Which moisture a board has reached, judged by its width: Eq. (13-3) asked the other way round.

    Parameters
    ----------
    width_before, width_after : float or array
        Across the grain; above 0 [mm].
    moisture_before : float or array, broadcast with the widths
        At `width_before`; 0 to 30 [% MC].
    shrinkage : float or array, broadcast with the widths
        Green to ovendry, radial or tangential; above 0, up to 20 [%].

    Returns
    -------
    array
        Moisture content at `width_after` [% MC].

    Raises
    ------
    OutOfRange
        When the widths ask for a moisture outside 0 to 30 % MC.

    Notes
    -----
    *Wood Handbook*, USDA FPL-GTR-190 (2010), Eq. (13-3).

    >>> wider = 232.0 + float(movement_from_shrinkage(232.0, 8.0, 20.0, 7.0))
    >>> round(float(moisture_for_width_from_shrinkage(232.0, wider, 8.0, 7.0)), 6)
    20.0
    """
    before = within(moisture_before, "moisture_before", 0.0, SATURATION, "% MC")
    shrink = within(positive(shrinkage, "shrinkage", "%"), "shrinkage", 0.0, 20.0, "%")
    start = positive(width_before, "width_before", "mm")
    share = (positive(width_after, "width_after", "mm") - start) / start
    return _possible(before + share * (100.0 * SATURATION / shrink - SATURATION + before))


def _possible(moisture: FloatArray) -> FloatArray:
    """Return a moisture that wood can have, and refuse any other."""
    # a width of 30 % comes back as 30 % and a rounding
    if ((moisture < -1e-6) | (moisture > SATURATION + 1e-6)).any():
        raise OutOfRange(
            "width_after must be a width that this wood can have between 0 and 30 % MC", "width_after"
        )
    return np.asarray(np.clip(moisture, 0.0, SATURATION), dtype=np.float64)


def coefficient_from_shrinkage(shrinkage: ArrayLike) -> FloatArray:
    """Dimensional-change coefficient that belongs to a shrinkage.

    Parameters
    ----------
    shrinkage : float or array
        Green to ovendry, radial or tangential; above 0, up to 20 [%].

    Returns
    -------
    array
        C_R or C_T around 10 % MC [1/% MC].

    Raises
    ------
    OutOfRange
        When the shrinkage lies outside the bounds above.

    Notes
    -----
    Eq. (13-3) of the *Wood Handbook* at 10 % MC: C = S / (3000 - 20 S); meets Table 13-5 within 1e-5 for
    native hardwoods, except green ash and sweet birch, where the handbook's two tables disagree.

    >>> round(float(coefficient_from_shrinkage(7.8)), 5)
    0.00274
    """
    shrink = within(positive(shrinkage, "shrinkage", "%"), "shrinkage", 0.0, 20.0, "%")
    return np.asarray(shrink / (3000.0 - 20.0 * shrink), dtype=np.float64)


def bilayer_relief(
    board_thickness: ArrayLike,
    neck_thickness: ArrayLike,
    strain_difference: ArrayLike,
    hold_distance: ArrayLike,
    modulus_ratio: ArrayLike = 1.0,
) -> FloatArray:
    """Relief that a fretboard gives its neck when the two swell unequally: a check of size, not a forecast.

    Parameters
    ----------
    board_thickness, neck_thickness : float or array
        Of the glued layers; above 0 [mm].
    strain_difference : float or array, broadcast
        Strain of the board along the grain less that of the neck; positive = the board swells more [-].
    hold_distance : float or array, broadcast
        Between the two hold frets; above 0 [mm].
    modulus_ratio : float or array, broadcast
        Board's modulus over the neck's; above 0 [-].

    Returns
    -------
    array
        Change of relief; negative when the board swells more, which bends the neck back [mm].

    Raises
    ------
    OutOfRange
        When a thickness, distance or ratio is not above 0.

    Notes
    -----
    S. Timoshenko, *Analysis of bi-metal thermostats*, J. Opt. Soc. Am. 11, 233 (1925), Eq. (4): curvature
    6 e (1+m)^2 / (h (3 (1+m)^2 + (1+m n)(m^2 + 1/(m n)))); relief is curvature · l^2 / 8.

    >>> round(float(bilayer_relief(6.0, 14.0, -8e-5, 417.0)), 2)
    0.11
    """
    board = positive(board_thickness, "board_thickness", "mm")
    neck = positive(neck_thickness, "neck_thickness", "mm")
    n = positive(modulus_ratio, "modulus_ratio")
    length = positive(hold_distance, "hold_distance", "mm")
    strain = within(strain_difference, "strain_difference", -0.01, 0.01)
    m = board / neck
    stiffness = 3.0 * (1.0 + m) ** 2 + (1.0 + m * n) * (m**2 + 1.0 / (m * n))
    curvature = 6.0 * strain * (1.0 + m) ** 2 / ((board + neck) * stiffness)
    return np.asarray(-curvature * length**2 / 8.0, dtype=np.float64)
