"""What strings are made of, and how much of its strength a string uses."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from ._checks import FloatArray, plain, positive, within
from .errors import OutOfRange, Refused

BREAKING_NOTE = 0.80
"""Share of its strength from which a string is noted; judgement [-]."""
BREAKING_REFUSAL = 0.95
"""Share of its strength from which a string is refused; judgement [-]."""

STEEL_MODULUS = 203400.0
"""Young's modulus of steel music wire below 0.81 mm, looked up; taken wherever a string is of steel [MPa]."""


@dataclass(frozen=True)
class Material:
    """What a string or its core is made of.

    Parameters
    ----------
    density : float
        Density [kg/m3].
    modulus : float or None
        Young's modulus; None where none is given [MPa].
    steel : bool
        Whether the strength of steel music wire may be used for it [-].
    source : str
        Where the numbers come from [-].
    """

    density: float
    modulus: float | None
    steel: bool
    source: str

    @property
    def metal(self) -> bool:
        """Whether it is a metal: none of the metals here is as light as a nylon, a fluorocarbon or gut."""
        return self.density > 5000.0


MATERIALS: dict[str, Material] = {
    "steel": Material(
        7850.0,
        STEEL_MODULUS,
        True,
        "music wire A228: density from memory; modulus looked up, d below 0.81 mm",
    ),
    "stainless steel": Material(7750.0, 200000.0, False, "type 430, from memory"),
    "phosphor bronze": Material(8858.0, 110000.0, False, "C51000, looked up"),
    "nickel": Material(8890.0, 207000.0, False, "commercially pure, from memory"),
    "copper": Material(8940.0, 117000.0, False, "C11000, from memory"),
    "brass 80/20": Material(8670.0, 110000.0, False, "C24000, from memory"),
    "brass 90/10": Material(8800.0, 115000.0, False, "C22000, from memory"),
    "silver": Material(10490.0, 83000.0, False, "from memory"),
    "nylon": Material(
        1130.0, 2910.0, False, "polyamide 6: density looked up; modulus middle of 2620 to 3200"
    ),
    "nylon 6,6": Material(1145.0, None, False, "looked up, middle of a range"),
    "nylon 6/12": Material(1065.0, None, False, "from memory"),
    "fluorocarbon": Material(1780.0, None, False, "PVDF, from memory"),
    "gut": Material(1300.0, None, False, "from memory"),
}

StrengthFit = Literal[
    "Shigley Table 10-4",
    "FE reference handbook",
    "Computer Aided Engineering Design Table 1.2",
    "ASTM A228 minimum",
]
SHIGLEY: StrengthFit = "Shigley Table 10-4"
ASTM: StrengthFit = "ASTM A228 minimum"

# S = A/d^m for steel music wire: A [MPa·mm^m], m, from, to [mm]
_FITS: dict[str, tuple[float, float, float, float]] = {
    "Shigley Table 10-4": (2211.0, 0.145, 0.1, 6.5),
    "FE reference handbook": (2060.0, 0.163, 0.1, 6.5),
    "Computer Aided Engineering Design Table 1.2": (2153.5, 0.1625, 0.3, 6.0),
}

# ASTM A228 table as printed by a wire distributor: diameter [0.001 in], least tensile strength [ksi]
_ASTM_THOU = (
    4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15, 16, 18, 20, 22,
    24, 26, 28, 30, 32, 34, 36, 38, 40, 42, 45, 48, 51, 55, 59, 63,
)  # fmt: skip
_ASTM_KSI = (
    439, 426, 415, 407, 399, 393, 387, 382, 377, 373, 369, 365, 362, 356, 350, 345,
    341, 337, 333, 330, 327, 324, 321, 318, 315, 313, 309, 306, 303, 300, 296, 293,
)  # fmt: skip
_ASTM_DIAMETER = np.round(np.array(_ASTM_THOU) * 0.0254, 4)
_ASTM_STRENGTH = np.array(_ASTM_KSI) * 6.894757


class StringBreaking(Refused):
    """The string would be strained to within a twentieth of its strength, or beyond it.

    Parameters
    ----------
    message : str
        Which string, how far, and what would be right, in one sentence [-].
    field : str, optional
        The parameter it concerns [-].
    fraction : float, optional
        Share of the strength, the highest where there are several [-].
    """

    code = "string-breaking"

    def __init__(self, message: str, field: str | None = None, fraction: float | None = None) -> None:
        super().__init__(message, field)
        self.fraction = fraction


def tensile_strength(diameter: ArrayLike, fit: StrengthFit = SHIGLEY) -> FloatArray:
    """Least tensile strength of plain steel music wire.

    Parameters
    ----------
    diameter : float or array
        Wire diameter; 0.1 to 6.5, 0.3 to 6 or 0.1016 to 1.6002 by fit [mm].
    fit : str
        Which published fit: one of `StrengthFit` [-].

    Returns
    -------
    float or array
        Tensile strength [MPa].

    Raises
    ------
    OutOfRange
        When the fit is not known or does not cover a diameter.

    Notes
    -----
    A/d^m. Budynas & Nisbett, *Shigley's Mechanical Engineering Design*, Table 10-4: 2211 MPa·mm^m, m 0.145;
    the others as named. `ASTM A228 minimum` interpolates it in logarithms; the fits differ by 1 to 6 %.
    Never for nylon, fluorocarbon, gut, or a core that is not steel.

    >>> round(float(tensile_strength(0.254)))
    2697
    """
    if fit == ASTM:
        size = within(diameter, "diameter", float(_ASTM_DIAMETER[0]), float(_ASTM_DIAMETER[-1]), "mm")
        return plain(np.exp(np.interp(np.log(size), np.log(_ASTM_DIAMETER), np.log(_ASTM_STRENGTH))))
    if fit not in _FITS:
        raise OutOfRange(f"fit must be one of {', '.join(_FITS)}, {ASTM}; not {fit!r}", "fit")
    factor, exponent, thinnest, thickest = _FITS[fit]
    return plain(factor / within(diameter, "diameter", thinnest, thickest, "mm") ** exponent)


_SECTIONS = {
    "round": (math.pi / 4.0, math.pi / 64.0),
    "hex": (math.sqrt(3.0) / 2.0, 5.0 * math.sqrt(3.0) / 144.0),
}


def core_section(core: ArrayLike, core_shape: str = "round") -> tuple[FloatArray, FloatArray]:
    """What bears a string's pull, seen from its end.

    Parameters
    ----------
    core : float or array
        Diameter of the plain string or round core, or size across flats of a hexagonal core [mm].
    core_shape : str
        `round` or `hex` [-].

    Returns
    -------
    tuple of two floats or arrays
        Area [mm2] and second moment of area [mm4].

    Raises
    ------
    OutOfRange
        When the size is not above 0 or the shape is neither.

    Notes
    -----
    Circle: pi·d²/4 and pi·d⁴/64; regular hexagon of size s across flats: (√3/2)·s² and (5√3/144)·s⁴, the
    same in whichever direction it bends (elementary geometry).

    >>> area, second = core_section(0.4, "hex")
    >>> round(float(area), 6), round(float(second), 8)
    (0.138564, 0.0015396)
    """
    if core_shape not in _SECTIONS:
        raise OutOfRange(f"core_shape must be round or hex; not {core_shape!r}", "core_shape")
    size = positive(core, "core", "mm")
    area, second = _SECTIONS[core_shape]
    return plain(area * size**2), plain(second * size**4)


def breaking_fraction(
    tension: ArrayLike, core: ArrayLike, core_shape: str = "round", fit: StrengthFit = SHIGLEY
) -> FloatArray:
    """Share of its tensile strength that a steel string or steel core uses.

    Parameters
    ----------
    tension : float or array
        Pull, above 0 [N].
    core : float or array, broadcast with `tension`
        Diameter of the plain string or round core, or size across flats of a hexagonal core [mm].
    core_shape : str
        `round` or `hex` [-].
    fit : str
        Which published strength; see `tensile_strength` [-].

    Returns
    -------
    float or array
        Stress over strength; 1 = breaks [-].

    Raises
    ------
    OutOfRange
        When a value lies outside its range.

    Notes
    -----
    Stress is tension over core area: the wrap carries nothing. For a plain string it depends on pitch and
    scale length, hardly on gauge. Nicks, corrosion and the bend at the ball end come on top.

    >>> round(float(breaking_fraction(72.524, 0.254)), 3)
    0.531
    """
    size = positive(core, "core", "mm")
    stress = positive(tension, "tension", "N") / core_section(size, core_shape)[0]
    return plain(stress / tensile_strength(size, fit))


def breaking_words(fraction: float | None) -> str:
    """Say what a share of the strength means.

    Parameters
    ----------
    fraction : float or None
        Stress over strength; None = the core is not known or not steel [-].

    Returns
    -------
    str
        `holds`, `near its limit` from 0.80, `would break` from 0.95, or `margin unknown` [-].

    Raises
    ------
    OutOfRange
        When the share is negative or not finite.

    Notes
    -----
    The limits are judgement: an ordinary 12-string's octave G4, .009 in plain steel at 647.7 mm, stands at
    0.75 (computed).

    >>> breaking_words(0.75), breaking_words(0.80), breaking_words(0.95), breaking_words(None)
    ('holds', 'near its limit', 'would break', 'margin unknown')
    """
    if fraction is None:
        return "margin unknown"
    share = float(within(fraction, "fraction", 0.0))
    if share >= BREAKING_REFUSAL:
        return "would break"
    return "near its limit" if share >= BREAKING_NOTE else "holds"


def refuse_breaking(fraction: float | None, name: str = "the string", field: str = "frequency") -> None:
    """Refuse a string that would not hold.

    Parameters
    ----------
    fraction : float or None
        Stress over strength; None is let through: its margin is not known [-].
    name : str
        How to call the string in the message [-].
    field : str
        Which field to blame [-].

    Raises
    ------
    StringBreaking
        From 0.95 up.
    """
    if fraction is not None and breaking_words(fraction) == "would break":
        raise StringBreaking(
            f"{name} would be at {fraction:.0%} of its tensile strength, and is refused from "
            f"{BREAKING_REFUSAL:.0%}: tune lower or take a shorter scale; a thinner gauge hardly helps",
            field,
            float(fraction),
        )


def highest_frequency(
    core: ArrayLike,
    scale_length: ArrayLike,
    linear_density: ArrayLike | None = None,
    fraction: float = BREAKING_NOTE,
    core_shape: str = "round",
    *,
    fit: StrengthFit = SHIGLEY,
) -> FloatArray:
    """Highest pitch at which a steel string stays within a share of its strength.

    Parameters
    ----------
    core : float or array
        Diameter of the plain string or round core, or size across flats of a hexagonal core [mm].
    scale_length : float or array
        Speaking length [mm].
    linear_density : float or array, optional
        Mass per length of a wound string; a plain steel string's own when absent [g/m].
    fraction : float
        Share of the strength, above 0 to below 0.95 [-].
    core_shape : str
        `round` or `hex` [-].
    fit : str
        See `tensile_strength` [-].

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
    √(fraction·S·A/mu)/(2·X): inverse of `breaking_fraction` for the pitch.

    >>> round(float(highest_frequency(0.2286, 647.7)), 1)
    407.8
    """
    speed = _greatest_speed(core, linear_density, fraction, core_shape, fit)
    return plain(speed / (2e-3 * positive(scale_length, "scale_length", "mm")))


def longest_scale_length(
    core: ArrayLike,
    frequency: ArrayLike,
    linear_density: ArrayLike | None = None,
    fraction: float = BREAKING_NOTE,
    core_shape: str = "round",
    *,
    fit: StrengthFit = SHIGLEY,
) -> FloatArray:
    """Longest scale at which a steel string holds a pitch within a share of its strength.

    Parameters
    ----------
    core : float or array
        Diameter of the plain string or round core, or size across flats of a hexagonal core [mm].
    frequency : float or array
        Pitch of the open string [Hz].
    linear_density : float or array, optional
        Mass per length of a wound string; a plain steel string's own when absent [g/m].
    fraction : float
        Share of the strength, above 0 to below 0.95 [-].
    core_shape : str
        `round` or `hex` [-].
    fit : str
        See `tensile_strength` [-].

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
    √(fraction·S·A/mu)/(2·f).

    >>> round(float(longest_scale_length(0.2286, 391.995)), 1)
    673.8
    """
    speed = _greatest_speed(core, linear_density, fraction, core_shape, fit)
    return plain(1e3 * speed / (2.0 * positive(frequency, "frequency", "Hz")))


def _greatest_speed(
    core: ArrayLike, linear_density: ArrayLike | None, fraction: float, core_shape: str, fit: StrengthFit
) -> FloatArray:
    """Wave speed at the given share of the strength [m/s]."""
    share = float(positive(fraction, "fraction"))
    if share >= BREAKING_REFUSAL:
        raise OutOfRange(
            f"fraction must lie above 0 and below {BREAKING_REFUSAL}; {share:g} was given", "fraction"
        )
    size = positive(core, "core", "mm")
    area = core_section(size, core_shape)[0]
    if linear_density is None:
        mass = 1e-3 * MATERIALS["steel"].density * area
    else:
        mass = positive(linear_density, "linear_density", "g/m")
    speed: FloatArray = np.sqrt(1e3 * share * tensile_strength(size, fit) * area / mass)
    return speed
