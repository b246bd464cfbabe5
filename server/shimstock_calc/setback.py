"""Where a saddle stands, judged by what a tuner reads; and how a string answers stretching."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from ._checks import FloatArray, finite, positive, whole, within
from .compensation import (
    MOST_FRETS,
    StringGeometry,
    bending_radius,
    intonation_curve,
    kappa_from_section,
    kappa_from_stretch,
    open_stiffness,
)
from .errors import Contradiction
from .wire import STEEL_MODULUS, core_section

MOST_SETBACK = 20.0
STRETCH = 25.0
"""Measured stretch coefficient of nylon and fluorocarbon strings: the source's default guitar [-]."""


def setback_for_intonation(
    geometry: StringGeometry,
    kappa: ArrayLike,
    stiffness: ArrayLike,
    intonation: ArrayLike,
    fret: int = 12,
) -> FloatArray:
    """Setback of the saddle that makes a fretted note as sharp as it was read: the curve asked backwards.

    Parameters
    ----------
    geometry : StringGeometry
        With the heights of at least `fret` frets, or none [mm].
    kappa, stiffness : float or array, shape (strings,)
        As in `compensation.intonation_curve` [-].
    intonation : float or array, shape (strings,)
        As read; positive = sharp; -100 to 100 [cents].
    fret : int
        Where it was read.

    Returns
    -------
    array, shape (strings,)
        Beyond the scale length [mm].

    Raises
    ------
    Contradiction
        When no setback within 20 mm explains the reading.
    OutOfRange
        When a value lies outside the bounds above.

    Notes
    -----
    Bisection: a note gets flatter all the way as its saddle goes back.

    >>> flat = StringGeometry(650.0, nut_height=1.0, saddle_height=5.0)
    >>> sharp = intonation_curve(flat, 51.0, 0.00236, saddle_setback=0.5).cents[0, 11]
    >>> round(float(setback_for_intonation(flat, 51.0, 0.00236, sharp)[0]), 6)
    0.5
    """
    place = whole(fret, "fret", 1, MOST_FRETS)
    wanted = np.atleast_1d(within(intonation, "intonation", -100.0, 100.0, "cents"))

    def cents(setback: FloatArray) -> FloatArray:
        found = intonation_curve(geometry, kappa, stiffness, saddle_setback=setback, frets=max(place, 2))
        return found.cents[:, place - 1]

    shape = np.broadcast_shapes(wanted.shape, cents(np.zeros(1)).shape)
    low, high = np.full(shape, -MOST_SETBACK), np.full(shape, MOST_SETBACK)
    if ((cents(low) < wanted) | (cents(high) > wanted)).any():
        raise Contradiction("no saddle within 20 mm of its place explains this intonation", "intonation")
    for _ in range(50):
        middle = 0.5 * (low + high)
        sharper = cents(middle) > wanted
        low = np.where(sharper, middle, low)
        high = np.where(sharper, high, middle)
    return np.asarray(0.5 * (low + high), dtype=np.float64)


@dataclass(frozen=True)
class Stretch:
    """How a string answers stretching.

    Parameters
    ----------
    kappa : float
        Relative rise of pull per relative lengthening [-].
    stiffness : float
        B0 of the open string [-].
    source : str
        In words [-].
    """

    kappa: float
    stiffness: float
    source: str


def string_stretch(
    material: str,
    scale_length: float,
    pull: float | None,
    core: float | None,
    gauge: float | None,
    *,
    core_shape: str = "round",
) -> Stretch | None:
    """How a string answers stretching, from what is known of it.

    Parameters
    ----------
    material : str
        Of what bears the pull: `steel`, `nylon`, `fluorocarbon`, `gut` [-].
    scale_length : float
        [mm]
    pull : float or None
        Of the open string; needed for steel [N].
    core : float or None
        Diameter of what bears the pull, or its size across flats; needed for steel [mm].
    gauge : float or None
        Outside diameter; needed for the others [mm].
    core_shape : str
        `round` or `hex` [-].

    Returns
    -------
    Stretch or None
        None when what is needed is not known.

    Raises
    ------
    OutOfRange
        When a size is not above 0.

    Notes
    -----
    Steel: kappa = A E / T. Nylon, fluorocarbon and gut creep, so the measured coefficient of M. B. Anderson
    & R. G. Beausoleil's default guitar (R = 25, J. Acoust. Soc. Am. 156(1), 683 (2024)) stands for all of
    them; the twelve strings that they measured lie between 21.8 and 28.8.

    >>> string_stretch("nylon", 650.0, None, None, 0.86).kappa
    51.0
    """
    length = float(positive(finite(scale_length, "scale_length"), "scale_length", "mm"))
    if material == "steel":
        if core is None or pull is None:
            return None
        kappa = float(kappa_from_section(core_section(core, core_shape)[0], STEEL_MODULUS, pull))
        radius = bending_radius(core, core_shape)
        return Stretch(kappa, float(open_stiffness(kappa, radius, length)), "from core and pull")
    if gauge is None:
        return None
    kappa = float(kappa_from_stretch(STRETCH))
    bend = float(open_stiffness(kappa, gauge / 2.0, length))
    return Stretch(kappa, bend, "measured on nylon strings of another maker, 2024")
