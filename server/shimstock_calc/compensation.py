"""How sharp each fretted note comes out, why, and where saddle and nut should stand so that it does not."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from ._checks import FloatArray, positive, within
from .errors import Contradiction, OutOfRange
from .wire import core_section

FRETS = 12  # the source judges a string by its first octave
MOST_FRETS = 36


@dataclass(frozen=True)
class StringGeometry:
    """Where a string runs, in the plane of its own length; floats, or arrays of shape (strings,).

    Parameters
    ----------
    scale_length : float or array
        Twice the distance from nut to 12th fret; 100 to 2000 [mm].
    nut_height : float or array
        String at the nut above the plane of the fret tops over the body; -5 to 10 [mm].
    saddle_height : float or array
        String at the saddle above the same plane; 0 to 60 [mm].
    pressing_distance : float or array
        Between the fret and the finger behind it; 0 = pressed at the fret [mm].
    fret_heights : array, shape (frets,) or (strings, frets), optional
        Fret tops above the plane, fret 1 first; the neck's bow and any high or low fret; default 0 [mm].

    Raises
    ------
    OutOfRange
        When a value lies outside the bounds above.

    Notes
    -----
    In the source's letters nut_height is b and saddle_height b + c. With a bowed neck the nut's height is
    y(0) plus the slot's and the frets' heights are y(x_n), which is exact for every fret.
    """

    scale_length: ArrayLike
    nut_height: ArrayLike
    saddle_height: ArrayLike
    pressing_distance: ArrayLike = 0.0
    fret_heights: ArrayLike | None = None

    def __post_init__(self) -> None:
        within(self.scale_length, "scale_length", 100.0, 2000.0, "mm")
        within(self.nut_height, "nut_height", -5.0, 10.0, "mm")
        within(self.saddle_height, "saddle_height", 0.0, 60.0, "mm")
        within(self.pressing_distance, "pressing_distance", 0.0, 40.0, "mm")
        if self.fret_heights is not None:
            within(self.fret_heights, "fret_heights", -10.0, 10.0, "mm")


@dataclass(frozen=True)
class IntonationCurve:
    """Cents of each fretted note against equal temperament above its open string, and what causes them.

    Parameters
    ----------
    cents : array, shape (strings, frets)
        Sum of the four causes; positive = sharp [cents].
    length, mass, tension, stiffness : array, shape (strings, frets)
        Shares of the vibrating length, the linear density thinned by stretching, the tension that pressing
        adds, and the string's stiffness [cents].
    stretch : array, shape (strings, frets)
        Relative lengthening by pressing, Qn [-].
    """

    cents: FloatArray
    length: FloatArray
    mass: FloatArray
    tension: FloatArray
    stiffness: FloatArray
    stretch: FloatArray


@dataclass(frozen=True)
class Compensation:
    """Setbacks that bring a string closest to equal temperament.

    Parameters
    ----------
    saddle_setback : array, shape (strings,)
        Beyond the scale length; positive = away from the nut [mm].
    nut_setback : array, shape (strings,)
        Positive = away from the saddle, negative shortens the string [mm].
    rms : array, shape (strings,)
        Root mean square of the residual over the frets judged [cents].
    curve : IntonationCurve
        What remains at each fret.
    """

    saddle_setback: FloatArray
    nut_setback: FloatArray
    rms: FloatArray
    curve: IntonationCurve


def kappa_from_section(core_area: ArrayLike, modulus: ArrayLike, tension: ArrayLike) -> FloatArray:
    """How strongly a string answers stretching: relative rise of tension per relative lengthening.

    Parameters
    ----------
    core_area : float or array
        Section of the part that bears the tension: the whole of a plain string, the core of a wound one;
        above 0 [mm2].
    modulus : float or array, broadcast
        Of that part; above 0 [MPa].
    tension : float or array, broadcast
        Of the open string; above 0 [N].

    Returns
    -------
    array
        kappa [-].

    Raises
    ------
    OutOfRange
        When an input is not above 0.

    Notes
    -----
    kappa = A E / T0, M. B. Anderson & R. G. Beausoleil, J. Acoust. Soc. Am. 156(1), 683 (2024). Right for
    steel; nylon and gut creep, so that their measured stretch says more (`kappa_from_stretch`).

    >>> round(float(kappa_from_section(0.0506707, 203400.0, 72.524)), 1)
    142.1
    """
    section = positive(core_area, "core_area", "mm2") * positive(modulus, "modulus", "MPa")
    return np.asarray(section / positive(tension, "tension", "N"), dtype=np.float64)


def kappa_from_stretch(stretch_coefficient: ArrayLike) -> FloatArray:
    """Answer of a string to stretching from its measured coefficient R.

    Parameters
    ----------
    stretch_coefficient : float or array
        R, relative change of pitch per relative change of length when the string is stretched; 0 or more [-].

    Returns
    -------
    array
        kappa = 2 R + 1 [-].

    Raises
    ------
    OutOfRange
        When R is below 0.

    Notes
    -----
    Anderson & Beausoleil (2024).

    >>> float(kappa_from_stretch(25.0))
    51.0
    """
    R = within(stretch_coefficient, "stretch_coefficient", 0.0)
    return np.asarray(2.0 * R + 1.0, dtype=np.float64)


def bending_radius(core: ArrayLike, core_shape: str = "round") -> FloatArray:
    """Radius of the round section that resists bending as a core does, for its area.

    Parameters
    ----------
    core : float or array
        Diameter of the plain string or round core, or size across flats of a hexagonal core [mm].
    core_shape : str
        `round` or `hex` [-].

    Returns
    -------
    array
        For `open_stiffness` [mm].

    Raises
    ------
    OutOfRange
        When the size is not above 0 or the shape is neither.

    Notes
    -----
    2·√(I/A), twice the radius of gyration: half the diameter of a round core, s·√(5/18) of a hexagonal one.

    >>> float(bending_radius(0.4)), round(float(bending_radius(0.4, "hex")), 4)
    (0.2, 0.2108)
    """
    area, second = core_section(core, core_shape)
    return np.asarray(2.0 * np.sqrt(second / area), dtype=np.float64)


def open_stiffness(kappa: ArrayLike, core_radius: ArrayLike, scale_length: ArrayLike) -> FloatArray:
    """Stiffness of the open string, B0.

    Parameters
    ----------
    kappa : float or array
        [-]
    core_radius : float or array, broadcast
        Of the part that bears the tension, `bending_radius`; above 0 [mm].
    scale_length : float or array, broadcast
        Above 0 [mm].

    Returns
    -------
    array
        B0 [-].

    Raises
    ------
    OutOfRange
        When an input is not above 0.

    Notes
    -----
    B0 = sqrt(kappa) r / (2 X0), Anderson & Beausoleil (2024); equals sqrt(E I / T) / X0.

    >>> round(float(open_stiffness(51.0, 0.43, 650.0)), 5)
    0.00236
    """
    root = np.sqrt(positive(kappa, "kappa"))
    length = positive(scale_length, "scale_length", "mm")
    return np.asarray(root * positive(core_radius, "core_radius", "mm") / (2.0 * length), dtype=np.float64)


@dataclass(frozen=True)
class _Shape:
    """The geometry laid out as columns (strings, 1) and rows (strings, frets)."""

    X0: FloatArray
    Xn: FloatArray
    g: FloatArray
    nut: FloatArray
    saddle: FloatArray
    fret: FloatArray
    d: FloatArray
    kappa: FloatArray
    B0: FloatArray


def _column(value: ArrayLike) -> FloatArray:
    return np.atleast_1d(np.asarray(value, dtype=np.float64))[:, None]


def _shape(geometry: StringGeometry, kappa: ArrayLike, stiffness: ArrayLike, frets: int) -> _Shape:
    if not 1 <= frets <= MOST_FRETS:
        raise OutOfRange(f"frets must be from 1 to {MOST_FRETS}; {frets} was given", "frets")
    X0 = _column(geometry.scale_length)
    g = 2.0 ** (np.arange(1, frets + 1) / 12.0)[None, :]
    Xn = X0 / g
    heights = np.zeros((1, frets))
    if geometry.fret_heights is not None:
        heights = np.atleast_2d(np.asarray(geometry.fret_heights, dtype=np.float64))
        if heights.shape[1] < frets:
            raise Contradiction(
                f"fret_heights must give all {frets} frets; {heights.shape[1]} were given", "fret_heights"
            )
        heights = heights[:, :frets]
    d = _column(geometry.pressing_distance)
    if (d >= Xn[..., -2:-1] - Xn[..., -1:] if frets > 1 else d >= X0 - Xn).any():
        raise OutOfRange(
            "pressing_distance must be smaller than the narrowest fret spacing", "pressing_distance"
        )
    answer = within(kappa, "kappa", 1.0, 1000.0)
    bend = within(stiffness, "stiffness", 0.0, 0.05)
    return _Shape(
        X0,
        Xn,
        g,
        _column(geometry.nut_height),
        _column(geometry.saddle_height),
        heights,
        d,
        _column(answer),
        _column(bend),
    )


def _curve(s: _Shape, dS: FloatArray, dN: FloatArray) -> IntonationCurve:
    """Cents for setbacks in columns (strings, 1)."""
    open_length = np.hypot(s.X0 + dS + dN, s.saddle - s.nut)
    reach = s.Xn + dS
    sounding = np.hypot(reach, s.saddle - s.fret)
    drop = (s.saddle - s.fret) * s.d / reach
    behind = sounding * s.d / reach + np.hypot(s.X0 - s.Xn + dN - s.d, s.nut - s.fret + drop)
    Q = (sounding + behind - open_length) / open_length
    strain = 1.0 + s.kappa * Q
    if (strain <= 0.0).any():
        raise Contradiction(
            "fret_heights and nut_height must leave the string above its frets; it would go slack",
            "nut_height",
        )
    Bn = s.g * s.B0 / np.sqrt(strain)
    length = 1200.0 * np.log2(open_length / (s.g * sounding))
    mass = 600.0 * np.log2(1.0 + Q)
    tension = 600.0 * np.log2(strain)
    stiffness = 1200.0 * np.log2(_stiffening(Bn) / _stiffening(s.B0))
    return IntonationCurve(length + mass + tension + stiffness, length, mass, tension, stiffness, Q)


def _stiffening(B: FloatArray) -> FloatArray:
    """Frequency of a clamped stiff string over that of a flexible one, to second order."""
    return np.asarray(1.0 + B + (1.0 + np.pi**2 / 2.0) * B**2, dtype=np.float64)


def intonation_curve(
    geometry: StringGeometry,
    kappa: ArrayLike,
    stiffness: ArrayLike,
    *,
    saddle_setback: ArrayLike = 0.0,
    nut_setback: ArrayLike = 0.0,
    frets: int = FRETS,
) -> IntonationCurve:
    """How sharp each fretted note is, and which cause it comes from.

    Parameters
    ----------
    geometry : StringGeometry
        Scale, heights, pressing distance and fret heights [mm].
    kappa : float or array, shape (strings,)
        Answer to stretching, A E / T0 or 2 R + 1; 1 to 1000 [-].
    stiffness : float or array, shape (strings,)
        B0 of the open string; 0 to 0.05 [-].
    saddle_setback, nut_setback : float or array, shape (strings,)
        Beyond the scale length; positive lengthens; -20 to 20 [mm].
    frets : int
        How many frets from the first; 1 to 36.

    Returns
    -------
    IntonationCurve
        Arrays of shape (strings, frets) [cents], the stretch [-].

    Raises
    ------
    OutOfRange
        When a value lies outside the bounds above.
    Contradiction
        When the fret heights do not cover the frets or the string would go slack.

    Notes
    -----
    M. B. Anderson & R. G. Beausoleil, *Classical guitar intonation and compensation: the well-tempered
    guitar*, J. Acoust. Soc. Am. 156(1), 683 (2024). The printed Bn has sqrt(1 + kappa Qn) in the numerator
    although the tension stands in the denominator of its definition; here it divides; with it the published
    setbacks come out within 0.011 mm. Equal-tempered frets.

    >>> flat = StringGeometry(650.0, nut_height=1.0, saddle_height=5.0)
    >>> round(float(intonation_curve(flat, 51.0, 0.00236).cents[0, 11]), 2)
    5.98
    """
    shape = _shape(geometry, kappa, stiffness, frets)
    dS = _column(within(saddle_setback, "saddle_setback", -20.0, 20.0, "mm"))
    dN = _column(within(nut_setback, "nut_setback", -20.0, 20.0, "mm"))
    return _curve(shape, dS, dN)


def compensation(
    geometry: StringGeometry,
    kappa: ArrayLike,
    stiffness: ArrayLike,
    *,
    frets: int = FRETS,
    move_nut: bool = True,
) -> Compensation:
    """Setbacks of saddle and nut that make the fretted notes least wrong.

    Parameters
    ----------
    geometry : StringGeometry
        Scale, heights, pressing distance and fret heights [mm].
    kappa : float or array, shape (strings,)
        Answer to stretching, A E / T0 or 2 R + 1; 1 to 1000 [-].
    stiffness : float or array, shape (strings,)
        B0 of the open string; 0 to 0.05 [-].
    frets : int
        How many frets from the first are judged; 2 to 36.
    move_nut : bool
        False keeps the nut where the scale has it and sets the saddle alone.

    Returns
    -------
    Compensation
        Setbacks [mm], residual [cents].

    Raises
    ------
    OutOfRange
        When a value lies outside the bounds above, or no setback within 20 mm helps.

    Notes
    -----
    Least squares over the frets of the source's equation (see `intonation_curve`); Gauss-Newton, which
    converges in a few steps because cents are nearly linear in the setbacks. Starting values for a new
    string: the last word has the tuner.

    >>> flat = StringGeometry(650.0, nut_height=1.0, saddle_height=5.0)
    >>> found = compensation(flat, 48.2, 0.00190)
    >>> round(float(found.saddle_setback[0]), 2), round(float(found.nut_setback[0]), 2)
    (1.48, -0.36)
    """
    if frets < 2:
        raise OutOfRange(f"frets must be from 2 to {MOST_FRETS}; {frets} was given", "frets")
    shape = _shape(geometry, kappa, stiffness, frets)
    strings = np.broadcast_shapes(shape.X0.shape, shape.kappa.shape, shape.B0.shape, shape.nut.shape)[0]
    strings = max(strings, shape.saddle.shape[0], shape.fret.shape[0], shape.d.shape[0])
    setbacks = np.zeros((strings, 2))
    for _ in range(25):
        step = _gauss_newton_step(shape, setbacks, move_nut)
        setbacks = setbacks + step
        if np.abs(setbacks).max() > 20.0:
            raise OutOfRange(
                "no setback within 20 mm brings these notes in tune: check heights and kappa", "kappa"
            )
        if np.abs(step).max() < 1e-10:
            break
    curve = _curve(shape, setbacks[:, :1], setbacks[:, 1:])
    rms = np.sqrt(np.mean(curve.cents**2, axis=1))
    return Compensation(setbacks[:, 0], setbacks[:, 1], np.asarray(rms, dtype=np.float64), curve)


def _gauss_newton_step(shape: _Shape, setbacks: FloatArray, move_nut: bool) -> FloatArray:
    """One least-squares step of every string at once; shape (strings, 2)."""
    h = 1e-4
    dS, dN = setbacks[:, :1], setbacks[:, 1:]
    residual = _curve(shape, dS, dN).cents
    by_saddle = (_curve(shape, dS + h, dN).cents - _curve(shape, dS - h, dN).cents) / (2.0 * h)
    if not move_nut:
        along = -(by_saddle * residual).sum(axis=1) / (by_saddle**2).sum(axis=1)
        return np.stack([along, np.zeros_like(along)], axis=1)
    by_nut = (_curve(shape, dS, dN + h).cents - _curve(shape, dS, dN - h).cents) / (2.0 * h)
    jacobian = np.stack([by_saddle, by_nut], axis=2)
    normal = np.einsum("sfi,sfj->sij", jacobian, jacobian)
    pull = np.einsum("sfi,sf->si", jacobian, residual)
    return np.asarray(-np.linalg.solve(normal, pull[..., None])[..., 0], dtype=np.float64)
