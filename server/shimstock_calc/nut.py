"""Nut slots: when filing stops, what a slot does to action, and how a high slot sharpens the first frets."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from ._checks import FloatArray, finite, plain, positive, within
from .errors import Missing, OutOfRange, Refused
from .neck import saddle_share
from .scale import fret_position
from .wire import STEEL_MODULUS, core_section


def slot_effect(lowered: ArrayLike, fret: ArrayLike) -> FloatArray:
    """How far the open string sinks over a fret when its nut slot is lowered.

    Parameters
    ----------
    lowered : float or array
        How far the slot goes down, -5 to 5 [mm].
    fret : float or array, broadcast
        Fret; 1 for nut action, 12 for action [-].

    Returns
    -------
    float or array
        How far the string sinks there [mm].

    Raises
    ------
    OutOfRange
        When a number lies outside its range.

    Notes
    -----
    Straight string: s·(1 - x_n/X).

    >>> round(float(slot_effect(1.0, 1)), 3), float(slot_effect(1.0, 12))
    (0.944, 0.5)
    """
    return plain(within(lowered, "lowered", -5, 5, "mm") * (1.0 - saddle_share(fret)))


@dataclass(frozen=True)
class SlotFiling:
    """What may be filed from a nut slot.

    Attributes
    ----------
    stop : float
        Nut action at which filing stops [mm].
    slot : float
        How far the slot goes down until then [mm].
    nut_action : float
        How far nut action comes down until then [mm].
    """

    stop: float
    slot: float
    nut_action: float


def slot_filing(
    nut_action: float, target: float, lower: float, upper: float, uncertainty: float
) -> SlotFiling:
    """How far a nut slot may be filed, read after every pass.

    Parameters
    ----------
    nut_action : float
        Newest reading [mm].
    target, lower, upper : float
        Of the spec [mm].
    uncertainty : float
        Standard uncertainty of the reading [mm].

    Returns
    -------
    SlotFiling
        Where to stop and how far that is; zeros when the reading is there already [mm].

    Raises
    ------
    Refused
        When the slot lies below its lower limit (fill it or replace the nut), or the tool is too coarse to
        tell when to stop.
    OutOfRange
        When lower, target and upper are not in order.

    Notes
    -----
    Filing stops at target + 2u, so that what the tool cannot see never takes the slot below its target
    (judgement).

    >>> round(slot_filing(0.70, 0.45, 0.35, 0.60, 0.03).stop, 2)
    0.51
    """
    low, goal, high = (float(finite(value, "nut_action")) for value in (lower, target, upper))
    if not low <= goal <= high:
        raise OutOfRange("nut action must have lower ≤ target ≤ upper", "nut_action")
    reading = float(within(nut_action, "nut_action", 0, 10, "mm"))
    if reading < low:
        raise Refused(
            f"the slot is already {low - reading:.2f} mm below its lower limit: fill it or replace the nut",
            "nut_action",
        )
    stop = goal + 2.0 * float(within(uncertainty, "uncertainty", 0, 10, "mm"))
    if stop > high:
        raise Refused(
            f"filing would have to stop at {stop:.2f} mm, above the upper limit of {high:.2f} mm: "
            "this tool is too coarse, read with a finer one",
            "uncertainty",
        )
    down = max(reading - stop, 0.0)
    return SlotFiling(stop=stop, slot=down / float(slot_effect(1.0, 1)), nut_action=down)


def sharpening(
    nut_action: ArrayLike,
    diameter: ArrayLike,
    tension: ArrayLike,
    scale_length: ArrayLike,
    *,
    fret: ArrayLike = 1,
    modulus: float = STEEL_MODULUS,
    core_shape: str = "round",
) -> FloatArray:
    """How much pressing a plain string down at a low fret stretches it sharp.

    Parameters
    ----------
    nut_action : float or array
        How far the string is pressed down at that fret [mm].
    diameter : float or array, broadcast
        Diameter of the plain string or round core, or size across flats of a hexagonal core [mm].
    tension : float or array, broadcast
        Pull of the open string [N].
    scale_length : float or array, broadcast
        Scale length [mm].
    fret : float or array, broadcast
        Where it is pressed [-].
    modulus : float
        Young's modulus [MPa].
    core_shape : str
        `round` or `hex` [-].

    Returns
    -------
    float or array
        Sharpening from the added pull [cents].

    Raises
    ------
    OutOfRange
        When a number lies outside its range.

    Notes
    -----
    Stretch of a string bent by h at distance x: Q = h²/2·(1/x + 1/(X - x))/X; pull grows by E·A·Q, pitch by
    600·log2(1 + E·A·Q/T) (elementary; small angles).
    """
    length, x = positive(scale_length, "scale_length", "mm"), fret_position(fret, scale_length)
    pressed = within(nut_action, "nut_action", 0, 10, "mm")
    stretch = 0.5 * pressed**2 * (1.0 / x + 1.0 / (length - x)) / length
    area = core_section(positive(diameter, "diameter", "mm"), core_shape)[0]
    growth = positive(modulus, "modulus", "MPa") * area * stretch / positive(tension, "tension", "N")
    return plain(600.0 * np.log2(1.0 + growth))


def nut_action_for_sharpening(
    sharp: ArrayLike,
    diameter: ArrayLike,
    tension: ArrayLike,
    scale_length: ArrayLike,
    *,
    fret: ArrayLike = 1,
    modulus: float = STEEL_MODULUS,
    core_shape: str = "round",
) -> FloatArray:
    """How far a plain string may be pressed down at a low fret before it sounds so much sharper.

    Parameters
    ----------
    sharp : float or array
        Most that the added pull may sharpen, 0 to 100 [cents].
    diameter : float or array, broadcast with `sharp`
        Diameter of the plain string or round core, or size across flats of a hexagonal core [mm].
    tension : float or array, broadcast
        Pull of the open string [N].
    scale_length : float or array, broadcast
        Scale length [mm].
    fret : float or array, broadcast
        Where it is pressed [-].
    modulus : float
        Young's modulus [MPa].
    core_shape : str
        `round` or `hex` [-].

    Returns
    -------
    float or array
        How far it is pressed down there [mm].

    Raises
    ------
    OutOfRange
        When a number lies outside its range.

    Notes
    -----
    Inverse of `sharpening`.

    >>> round(float(nut_action_for_sharpening(sharpening(0.5, 0.254, 72.5, 647.7), 0.254, 72.5, 647.7)), 6)
    0.5
    """
    length, x = positive(scale_length, "scale_length", "mm"), fret_position(fret, scale_length)
    cents = within(sharp, "sharp", 0, 100, "cents")
    area = core_section(positive(diameter, "diameter", "mm"), core_shape)[0]
    growth = np.exp2(cents / 600.0) - 1.0
    stretch = growth * positive(tension, "tension", "N") / (positive(modulus, "modulus", "MPa") * area)
    return plain(np.sqrt(2.0 * stretch * length / (1.0 / x + 1.0 / (length - x))))


def slot_width_fits(slot_width: float | None, gauge: float | None, clearance: float = 0.05) -> bool:
    """Whether a string lies free in its nut slot.

    Parameters
    ----------
    slot_width : float or None
        Width of the slot [mm].
    gauge : float or None
        Diameter of the string [mm].
    clearance : float
        Least difference of the two; common practice, no published source [mm].

    Returns
    -------
    bool
        True when the slot is wide enough.

    Raises
    ------
    Missing
        When either is not known.
    """
    if slot_width is None:
        raise Missing("the width of the nut slot is not known", "slot_width")
    if gauge is None:
        raise Missing("the gauge of the string is not known", "gauge")
    return (
        float(positive(slot_width, "slot_width", "mm")) >= float(positive(gauge, "gauge", "mm")) + clearance
    )
