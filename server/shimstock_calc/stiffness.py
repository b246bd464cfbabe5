"""How a string's stiffness stretches its partials."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from ._checks import FloatArray, plain, positive, within
from .errors import Contradiction
from .wire import STEEL_MODULUS, core_section


def inharmonicity(
    diameter: ArrayLike,
    tension: ArrayLike,
    scale_length: ArrayLike,
    modulus: ArrayLike = STEEL_MODULUS,
    core_shape: str = "round",
) -> FloatArray:
    """Coefficient B of a stiff string's partials.

    Parameters
    ----------
    diameter : float or array
        Diameter of the plain string or round core, or size across flats of a hexagonal core: the wrap adds
        hardly any stiffness [mm].
    tension : float or array
        Pull [N].
    scale_length : float or array
        Speaking length [mm].
    modulus : float or array
        Young's modulus of the string or its core [MPa].
    core_shape : str
        `round` or `hex` [-].

    Returns
    -------
    float or array
        B [-].

    Raises
    ------
    OutOfRange
        When a value is not above zero, or the shape is neither.

    Notes
    -----
    B = pi²·E·I/(T·X²), I the second moment of area of `core_section`; pi³·E·d⁴/(64·T·X²) of a round one: H.
    Fletcher, *Normal vibration frequencies of a stiff piano string*, J. Acoust. Soc. Am. 36, 203 (1964),
    pinned ends. Same constant as R. W. Young, J. Acoust. Soc. Am. 24, 267 (1952).

    >>> round(float(inharmonicity(0.43, 75.0, 650.0)) * 1e6, 1)
    106.3
    """
    second = core_section(positive(diameter, "diameter", "mm"), core_shape)[1]
    stiff = math.pi**2 * positive(modulus, "modulus", "MPa") * second
    pull = positive(tension, "tension", "N") * positive(scale_length, "scale_length", "mm") ** 2
    return plain(stiff / pull)


def _coefficient(inharmonicity: ArrayLike) -> FloatArray:
    return within(inharmonicity, "inharmonicity", 0.0, 1.0)


def partial_frequency(partial: ArrayLike, ideal_frequency: ArrayLike, inharmonicity: ArrayLike) -> FloatArray:
    """Frequency of a partial of a stiff string.

    Parameters
    ----------
    partial : float or array
        Number of the partial, 1 = fundamental [-].
    ideal_frequency : float or array
        Fundamental of the same string without stiffness [Hz].
    inharmonicity : float or array
        B, 0 to 1 [-].

    Returns
    -------
    float or array
        Frequency [Hz].

    Raises
    ------
    OutOfRange
        When a value lies outside its range.

    Notes
    -----
    f_n = n·f0·√(1 + B·n²), f0 the ideal string's (Fletcher 1964): the sounding fundamental is f0·√(1 + B).

    >>> float(partial_frequency(2, 110.0, 0.0))
    220.0
    """
    number = within(partial, "partial", 1.0, 1000.0)
    stretch = np.sqrt(1.0 + _coefficient(inharmonicity) * number**2)
    return plain(number * positive(ideal_frequency, "ideal_frequency", "Hz") * stretch)


def octave_stretch(inharmonicity: ArrayLike) -> FloatArray:
    """How much sharper the 12th-fret harmonic is than the octave of the open string.

    Parameters
    ----------
    inharmonicity : float or array
        B of the open string, 0 to 1 [-].

    Returns
    -------
    float or array
        Interval above the octave [cents].

    Raises
    ------
    OutOfRange
        When B lies outside its range.

    Notes
    -----
    600·log2((1 + 4B)/(1 + B)). A note compared with the harmonic reads flatter by this than one compared with
    the octave of the open string.

    >>> round(float(octave_stretch(1e-4)), 3)
    0.26
    """
    stiffness = _coefficient(inharmonicity)
    return plain(600.0 * np.log2((1.0 + 4.0 * stiffness) / (1.0 + stiffness)))


def inharmonicity_from_partials(
    lower_partial: int, lower_frequency: ArrayLike, upper_partial: int, upper_frequency: ArrayLike
) -> FloatArray:
    """Coefficient B from two partials that were heard.

    Parameters
    ----------
    lower_partial : int
        Number of the first partial [-].
    lower_frequency : float or array
        Its frequency [Hz].
    upper_partial : int
        Number of the second partial, above the first [-].
    upper_frequency : float or array
        Its frequency [Hz].

    Returns
    -------
    float or array
        B [-].

    Raises
    ------
    Contradiction
        When the partials lie closer than harmonics do, or farther than any stiff string's.
    OutOfRange
        When a value lies outside its range.

    Notes
    -----
    Inverse of `partial_frequency`: with q = (f_m·n)/(f_n·m) squared, B = (q - 1)/(m² - q·n²).

    >>> low, high = partial_frequency(1, 110.0, 2e-4), partial_frequency(5, 110.0, 2e-4)
    >>> round(float(inharmonicity_from_partials(1, low, 5, high)), 9)
    0.0002
    """
    low, high = (
        float(within(lower_partial, "lower_partial", 1.0)),
        float(within(upper_partial, "upper_partial", 2.0)),
    )
    if high <= low:
        raise Contradiction("upper_partial must be above lower_partial", "upper_partial")
    first, second = (
        positive(lower_frequency, "lower_frequency", "Hz"),
        positive(upper_frequency, "upper_frequency", "Hz"),
    )
    ratio = (second * low / (first * high)) ** 2
    if (ratio < 1.0 - 1e-9).any() or (ratio >= (high / low) ** 2).any():
        raise Contradiction("these two cannot be partials of one stiff string", "upper_frequency")
    return plain(np.maximum(ratio - 1.0, 0.0) / (high**2 - ratio * low**2))
