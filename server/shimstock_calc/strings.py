"""What a string weighs, how hard it pulls, how it sounds and whether it holds."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Literal, TypeAlias

import numpy as np
from numpy.typing import ArrayLike

from ._checks import FloatArray, plain, positive, within
from .errors import OutOfRange
from .stiffness import inharmonicity, inharmonicity_from_partials, octave_stretch, partial_frequency
from .wire import (
    BREAKING_NOTE,
    BREAKING_REFUSAL,
    MATERIALS,
    Material,
    StringBreaking,
    breaking_fraction,
    breaking_words,
    core_section,
    highest_frequency,
    longest_scale_length,
    refuse_breaking,
    tensile_strength,
)

__all__ = [
    "BREAKING_NOTE",
    "BREAKING_REFUSAL",
    "MATERIALS",
    "STEEL_DENSITY",
    "Material",
    "StringBreaking",
    "breaking_fraction",
    "breaking_words",
    "core_section",
    "frequency_at",
    "highest_frequency",
    "inharmonicity",
    "inharmonicity_from_partials",
    "linear_density_for",
    "longest_scale_length",
    "octave_stretch",
    "partial_frequency",
    "plain_diameter",
    "plain_linear_density",
    "refuse_breaking",
    "scale_length_for_tension",
    "tensile_strength",
    "tension",
    "wound_diameter",
    "wound_linear_density",
    "wrap_for",
]

STEEL_DENSITY = MATERIALS["steel"].density
CoreShape = Literal["round", "hex"]
Wrap: TypeAlias = float | FloatArray | Sequence[float | FloatArray]


def _diameter(diameter: ArrayLike, field: str) -> FloatArray:
    return within(diameter, field, 0.02, 10.0, "mm")


def _density(density: ArrayLike, field: str) -> FloatArray:
    return within(density, field, 500.0, 25000.0, "kg/m3")


def plain_linear_density(diameter: ArrayLike, density: ArrayLike = STEEL_DENSITY) -> FloatArray:
    """Mass per length of a plain string.

    Parameters
    ----------
    diameter : float or array
        Diameter; 0.02 to 10 [mm].
    density : float or array, broadcast with `diameter`
        Density of the material; 500 to 25000 [kg/m3].

    Returns
    -------
    float or array
        Linear density [g/m].

    Raises
    ------
    OutOfRange
        When a diameter or density lies outside its range.

    Notes
    -----
    rho·pi·d²/4.

    >>> round(float(plain_linear_density(0.254)), 6)
    0.397765
    """
    area = math.pi / 4.0 * _diameter(diameter, "diameter") ** 2
    return plain(1e-3 * _density(density, "density") * area)


def plain_diameter(linear_density: ArrayLike, density: ArrayLike = STEEL_DENSITY) -> FloatArray:
    """Diameter of a plain string of a given mass per length.

    Parameters
    ----------
    linear_density : float or array
        Linear density [g/m].
    density : float or array, broadcast with `linear_density`
        Density of the material; 500 to 25000 [kg/m3].

    Returns
    -------
    float or array
        Diameter [mm].

    Raises
    ------
    OutOfRange
        When a value lies outside its range.

    Notes
    -----
    Inverse of `plain_linear_density`; with `linear_density_for`: which gauge gives a tension at a pitch.

    >>> gauge = plain_diameter(linear_density_for(72.524, 647.7, 329.6276))
    >>> round(float(gauge), 4)
    0.254
    """
    mass = positive(linear_density, "linear_density", "g/m")
    return plain(np.sqrt(4e3 * mass / (math.pi * _density(density, "density"))))


def _core(core: ArrayLike, core_shape: CoreShape) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Across flats or diameter, area, perimeter that the wrap lies on, and largest width."""
    size = _diameter(core, "core")
    area = core_section(size, core_shape)[0]
    if core_shape == "round":
        return size, area, math.pi * size, size
    root = math.sqrt(3.0)
    return size, area, 2.0 * root * size, 2.0 * size / root


def _layers(wrap: Wrap) -> list[FloatArray]:
    wraps = list(wrap) if isinstance(wrap, Sequence) else [wrap]
    if not wraps:
        raise OutOfRange("wrap must hold at least one layer", "wrap")
    return [_diameter(each, "wrap") for each in wraps]


def wound_linear_density(
    core: ArrayLike,
    wrap: Wrap,
    core_density: ArrayLike = STEEL_DENSITY,
    wrap_density: ArrayLike = STEEL_DENSITY,
    core_shape: CoreShape = "round",
) -> FloatArray:
    """Mass per length of a close-wound string.

    Parameters
    ----------
    core : float or array
        Diameter of a round core, or size across flats of a hexagonal one; 0.02 to 10 [mm].
    wrap : float or array, or a list of them
        Diameter of the round wrap wire; a list = one after the other, inner layer first [mm].
    core_density, wrap_density : float or array
        Densities [kg/m3].
    core_shape : str
        `round` or `hex` [-].

    Returns
    -------
    float or array
        Linear density [g/m].

    Raises
    ------
    OutOfRange
        When a value lies outside its range.

    Notes
    -----
    Each turn advances by the wrap's diameter w and is as long as the perimeter at its middle:
    round rho_c·pi·d²/4 + rho_w·pi²·w·(d + w)/4; hexagon of size s: core area (√3/2)·s², wrap
    rho_w·(pi·w/4)·(2√3·s + pi·w). Nothing is deducted where wraps are pressed flat or ground.

    >>> round(float(wound_linear_density(0.4, 0.3)), 3)
    5.054
    """
    _, area, perimeter, _ = _core(core, core_shape)
    mass = _density(core_density, "core_density") * area
    for wire in _layers(wrap):
        mass = mass + _density(wrap_density, "wrap_density") * math.pi * wire / 4.0 * (
            perimeter + math.pi * wire
        )
        perimeter = perimeter + 2.0 * math.pi * wire
    return plain(1e-3 * mass)


def wound_diameter(core: ArrayLike, wrap: Wrap, core_shape: CoreShape = "round") -> FloatArray:
    """Outside diameter of a wound string.

    Parameters
    ----------
    core : float or array
        Diameter of a round core, or size across flats of a hexagonal one [mm].
    wrap : float or array, or a list of them
        Diameter of the wrap wire, layer by layer [mm].
    core_shape : str
        `round` or `hex` [-].

    Returns
    -------
    float or array
        Outside diameter, over the corners of a hexagonal core [mm].

    Raises
    ------
    OutOfRange
        When a value lies outside its range.

    Notes
    -----
    Round d + 2·w; hexagon 2·s/√3 + 2·w.

    >>> round(float(wound_diameter(0.4, 0.3)), 6)
    1.0
    """
    width = _core(core, core_shape)[3]
    for wire in _layers(wrap):
        width = width + 2.0 * wire
    return plain(width)


def wrap_for(
    linear_density: ArrayLike,
    core: ArrayLike,
    core_density: ArrayLike = STEEL_DENSITY,
    wrap_density: ArrayLike = STEEL_DENSITY,
    core_shape: CoreShape = "round",
) -> FloatArray:
    """Wrap wire that brings a core to a given mass per length, in one layer.

    Parameters
    ----------
    linear_density : float or array
        Wanted linear density, above the bare core's [g/m].
    core : float or array
        Diameter of a round core, or size across flats of a hexagonal one [mm].
    core_density, wrap_density : float or array
        Densities [kg/m3].
    core_shape : str
        `round` or `hex` [-].

    Returns
    -------
    float or array
        Diameter of the wrap wire [mm].

    Raises
    ------
    OutOfRange
        When the bare core already weighs as much, or a value lies outside its range.

    Notes
    -----
    Inverse of `wound_linear_density` for the wrap: the positive root of its quadratic.

    >>> round(float(wrap_for(wound_linear_density(0.4, 0.3), 0.4)), 9)
    0.3
    """
    _, area, perimeter, _ = _core(core, core_shape)
    mass = 1e3 * positive(linear_density, "linear_density", "g/m")
    missing = mass - _density(core_density, "core_density") * area
    if (missing <= 0).any():
        raise OutOfRange("linear_density must be above that of the bare core", "linear_density")
    wound_area = 4.0 * missing / (math.pi * _density(wrap_density, "wrap_density"))
    root = np.sqrt(perimeter**2 + 4.0 * math.pi * wound_area)
    return plain(2.0 * wound_area / (perimeter + root))


def _length(scale_length: ArrayLike) -> FloatArray:
    return within(scale_length, "scale_length", 50.0, 2000.0, "mm")


def _frequency(frequency: ArrayLike) -> FloatArray:
    return within(frequency, "frequency", 5.0, 5000.0, "Hz")


def _mass(linear_density: ArrayLike) -> FloatArray:
    return within(linear_density, "linear_density", 0.005, 300.0, "g/m")


def _pull(tension: ArrayLike) -> FloatArray:
    return within(tension, "tension", 0.01, 2000.0, "N")


def tension(linear_density: ArrayLike, scale_length: ArrayLike, frequency: ArrayLike) -> FloatArray:
    """How hard a string pulls at a pitch.

    Parameters
    ----------
    linear_density : float or array
        Mass per length; 0.005 to 300 [g/m].
    scale_length : float or array
        Speaking length; 50 to 2000 [mm].
    frequency : float or array
        Pitch of the open string; 5 to 5000 [Hz].

    Returns
    -------
    float or array
        Tension [N].

    Raises
    ------
    OutOfRange
        When a value lies outside its range.

    Notes
    -----
    mu·(2·X·f)², the ideal string (M. Mersenne 1636; B. Taylor 1713).

    >>> round(float(tension(plain_linear_density(0.254), 647.7, 329.6276)), 3)
    72.524
    """
    speed = 2e-3 * _length(scale_length) * _frequency(frequency)
    return plain(1e-3 * _mass(linear_density) * speed**2)


def frequency_at(tension: ArrayLike, linear_density: ArrayLike, scale_length: ArrayLike) -> FloatArray:
    """Pitch that a tension gives.

    Parameters
    ----------
    tension : float or array
        Pull; 0.01 to 2000 [N].
    linear_density : float or array
        Mass per length [g/m].
    scale_length : float or array
        Speaking length [mm].

    Returns
    -------
    float or array
        Frequency of the open string [Hz].

    Raises
    ------
    OutOfRange
        When a value lies outside its range.

    Notes
    -----
    Inverse of `tension`.

    >>> round(float(frequency_at(104.0, 1.6, 650.0)), 1)
    196.1
    """
    speed = np.sqrt(1e3 * _pull(tension) / _mass(linear_density))
    return plain(speed / (2e-3 * _length(scale_length)))


def linear_density_for(tension: ArrayLike, scale_length: ArrayLike, frequency: ArrayLike) -> FloatArray:
    """Mass per length that gives a tension at a pitch.

    Parameters
    ----------
    tension : float or array
        Wanted pull [N].
    scale_length : float or array
        Speaking length [mm].
    frequency : float or array
        Pitch of the open string [Hz].

    Returns
    -------
    float or array
        Linear density [g/m]; `plain_diameter` and `wrap_for` turn it into a gauge.

    Raises
    ------
    OutOfRange
        When a value lies outside its range.

    Notes
    -----
    Inverse of `tension`.

    >>> round(float(linear_density_for(104.0, 650.0, 196.116)), 3)
    1.6
    """
    speed = 2e-3 * _length(scale_length) * _frequency(frequency)
    return plain(1e3 * _pull(tension) / speed**2)


def scale_length_for_tension(
    tension: ArrayLike, linear_density: ArrayLike, frequency: ArrayLike
) -> FloatArray:
    """Speaking length at which a string pulls so hard at a pitch.

    Parameters
    ----------
    tension : float or array
        Pull [N].
    linear_density : float or array
        Mass per length [g/m].
    frequency : float or array
        Pitch of the open string [Hz].

    Returns
    -------
    float or array
        Speaking length [mm].

    Raises
    ------
    OutOfRange
        When a value lies outside its range.

    Notes
    -----
    Inverse of `tension`.

    >>> round(float(scale_length_for_tension(104.0, 1.6, 196.116)), 1)
    650.0
    """
    speed = np.sqrt(1e3 * _pull(tension) / _mass(linear_density))
    return plain(speed / (2e-3 * _frequency(frequency)))
