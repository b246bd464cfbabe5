"""Where the frets lie: single scale and multi-scale, and which rule an old board was cut to."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from ._checks import FloatArray, finite, plain, positive, whole, within
from .errors import Contradiction, Missing, OutOfRange

EQUAL_RATIO = 2.0 ** (-1.0 / 12.0)
EIGHTEEN_RATIO = 17.0 / 18.0
EQUAL_DIVISOR = 1.0 / (1.0 - EQUAL_RATIO)
"""Remaining length over the next fret's spacing in equal temperament, 17.817154 [-]."""

MOST_FRETS = 36
SHORTEST, LONGEST = 100.0, 2000.0

Rule = Literal["equal temperament", "rule of eighteen"]
RATIOS: dict[Rule, float] = {"equal temperament": EQUAL_RATIO, "rule of eighteen": EIGHTEEN_RATIO}


def _scale(scale_length: ArrayLike, field: str = "scale_length") -> FloatArray:
    return within(scale_length, field, SHORTEST, LONGEST, "mm")


def _ratio(rule: Rule) -> float:
    if rule not in RATIOS:
        raise OutOfRange(f"rule must be one of {', '.join(RATIOS)}; not {rule!r}", "rule")
    return RATIOS[rule]


def fret_position(fret: ArrayLike, scale_length: ArrayLike, rule: Rule = "equal temperament") -> FloatArray:
    """Distance from the nut to a fret along the string.

    Parameters
    ----------
    fret : float or array
        Fret number, 0 = nut; fractions allowed, 0 to 36 [-].
    scale_length : float or array, broadcast with `fret`
        Twice the distance from nut to 12th fret; 100 to 2000 [mm].
    rule : str
        `equal temperament`, or `rule of eighteen` for an old board, whose scale length is then the
        length that the rule divides [-].

    Returns
    -------
    float or array
        Distance from the nut [mm].

    Raises
    ------
    OutOfRange
        When a fret or scale length lies outside its range.

    Notes
    -----
    X0·(1 - 2^(-n/12)); the rule of eighteen takes 1/18 of what remains, X0·(1 - (17/18)^n).

    >>> round(float(fret_position(12, 650.0)), 6), round(float(fret_position(1, 650.0)), 6)
    (325.0, 36.481697)
    """
    remaining = _ratio(rule) ** within(fret, "fret", 0.0, MOST_FRETS)
    return plain(_scale(scale_length) * (1.0 - remaining))


def fret_positions(scale_length: ArrayLike, frets: int, rule: Rule = "equal temperament") -> FloatArray:
    """Distances from the nut to every fret.

    Parameters
    ----------
    scale_length : float or array of shape (strings,)
        Scale length, or one for each string [mm].
    frets : int
        How many frets, 1 to 36 [-].
    rule : str
        See `fret_position` [-].

    Returns
    -------
    array of shape (frets,) or (strings, frets)
        Distance from the nut to frets 1, 2, 3 … [mm].

    Raises
    ------
    OutOfRange
        When the number of frets or a scale length lies outside its range.

    >>> fret_positions(650.0, 3).round(3).tolist()
    [36.482, 70.916, 103.417]
    """
    numbers = np.arange(1, whole(frets, "frets", 1, MOST_FRETS) + 1)
    return fret_position(numbers, np.asarray(scale_length, dtype=np.float64)[..., np.newaxis], rule)


def fret_at(position: ArrayLike, scale_length: ArrayLike, rule: Rule = "equal temperament") -> FloatArray:
    """Fret number, with fractions, at a distance from the nut.

    Parameters
    ----------
    position : float or array
        Distance from the nut, 0 or more and short of the scale length [mm].
    scale_length : float or array, broadcast with `position`
        Scale length [mm].
    rule : str
        See `fret_position` [-].

    Returns
    -------
    float or array
        Fret number [-].

    Raises
    ------
    OutOfRange
        When the place lies before the nut or at or beyond the scale length.

    Notes
    -----
    Inverse of `fret_position` for its first parameter.

    >>> round(float(fret_at(325.0, 650.0)), 9)
    12.0
    """
    place, length = np.broadcast_arrays(within(position, "position", 0.0, unit="mm"), _scale(scale_length))
    if (place >= length).any():
        raise OutOfRange("position must be short of the scale length", "position")
    return plain(np.log1p(-place / length) / np.log(_ratio(rule)))


def scale_length_for(fret: ArrayLike, position: ArrayLike, rule: Rule = "equal temperament") -> FloatArray:
    """Scale length from one measured distance, nut to fret.

    Parameters
    ----------
    fret : float or array
        Fret that was measured to, 0.1 or more [-].
    position : float or array, broadcast with `fret`
        Distance from the nut [mm].
    rule : str
        See `fret_position` [-].

    Returns
    -------
    float or array
        Scale length [mm].

    Raises
    ------
    OutOfRange
        When the fret is below 0.1 or the distance is not above zero.

    Notes
    -----
    Inverse of `fret_position` for its second parameter.

    >>> round(float(scale_length_for(12, 323.85)), 9)
    647.7
    """
    number = within(fret, "fret", 0.1, MOST_FRETS)
    return plain(positive(position, "position", "mm") / (1.0 - _ratio(rule) ** number))


def string_scale_lengths(bass: float, treble: float, strings: int) -> FloatArray:
    """Scale length of each string of a multi-scale instrument.

    Parameters
    ----------
    bass : float
        Scale length of the outermost string on the bass side [mm].
    treble : float
        Scale length of string 1 [mm].
    strings : int
        How many strings or courses, 1 to 24 [-].

    Returns
    -------
    array of shape (strings,)
        Index 0 = string 1, treble side [mm].

    Raises
    ------
    OutOfRange
        When a scale length or the number of strings lies outside its range.

    Notes
    -----
    Linear between the outer strings across a straight nut and saddle line; equal on one scale.

    >>> string_scale_lengths(686.0, 648.0, 3).tolist()
    [648.0, 667.0, 686.0]
    """
    count = whole(strings, "strings", 1, 24)
    lengths: FloatArray = np.linspace(
        float(_scale(treble, "treble")), float(_scale(bass, "bass")), count, dtype=np.float64
    )
    return lengths


@dataclass(frozen=True)
class MultiScaleBoard:
    """Places on a multi-scale board, along the middle line, 0 = nut end of string 1.

    Parameters
    ----------
    scale_lengths : array of shape (strings,)
        Index 0 = string 1 [mm].
    nut : array of shape (strings,)
        Where each string leaves the nut; negative = farther toward the head than string 1 [mm].
    saddle : array of shape (strings,)
        Where each string's scale ends [mm].
    frets : array of shape (strings, frets)
        Where each fret crosses each string [mm].
    """

    scale_lengths: FloatArray
    nut: FloatArray
    saddle: FloatArray
    frets: FloatArray


def multi_scale_board(
    bass: float, treble: float, strings: int, frets: int, perpendicular_fret: float
) -> MultiScaleBoard:
    """Lay out a multi-scale board with one fret square to the middle line.

    Parameters
    ----------
    bass, treble : float
        Scale lengths of the outer strings [mm].
    strings : int
        How many strings, 1 to 24 [-].
    frets : int
        How many frets, 1 to 36 [-].
    perpendicular_fret : float
        The fret that is square to the middle line; 0 = the nut, fractions allowed [-].

    Returns
    -------
    MultiScaleBoard
        Places along the middle line [mm].

    Raises
    ------
    OutOfRange
        When a value lies outside its range.

    Notes
    -----
    Every string crosses the square fret at the same place, so string i's nut lies
    fret_position(p, X_1) - fret_position(p, X_i) from string 1's. Strings taken as parallel.

    >>> board = multi_scale_board(686.0, 648.0, 6, 24, 7)
    >>> float(np.ptp(board.frets[:, 6]).round(9)), board.nut[5] < 0 < board.saddle[5] - board.saddle[0]
    (0.0, np.True_)
    """
    lengths = string_scale_lengths(bass, treble, strings)
    square = fret_position(perpendicular_fret, lengths)
    nut = square[0] - square
    return MultiScaleBoard(
        scale_lengths=lengths,
        nut=nut,
        saddle=nut + lengths,
        frets=nut[:, np.newaxis] + fret_positions(lengths, frets),
    )


@dataclass(frozen=True)
class FretRule:
    """Which rule a board was cut to.

    Parameters
    ----------
    rule : str
        `equal temperament`, `rule of eighteen`, `neither`, or `cannot tell` when the readings fit both [-].
    scale_lengths : dict of str to float
        Best-fitting scale length by rule [mm].
    misfits : dict of str to float
        Root mean square of the residuals by rule [mm].
    residuals : dict of str to array
        Measured minus computed place of each fret, by rule [mm].
    divisor : float
        Divisor of the best free fit, 17.817 for equal temperament, 18 for the old rule [-].
    """

    rule: str
    scale_lengths: dict[str, float]
    misfits: dict[str, float]
    residuals: dict[str, FloatArray]
    divisor: float


def _fit_length(shape: FloatArray, places: FloatArray, known: float | None) -> float:
    return known if known is not None else float(shape @ places / (shape @ shape))


def _free_divisor(numbers: FloatArray, places: FloatArray, known: float | None) -> float:
    # one smooth valley between the octave-stretching 16 and the octave-shrinking 20: golden section is enough
    def misfit(divisor: float) -> float:
        shape = 1.0 - (1.0 - 1.0 / divisor) ** numbers
        residual = places - _fit_length(shape, places, known) * shape
        return float(residual @ residual)

    low, high, golden = 16.0, 20.0, (5.0**0.5 - 1.0) / 2.0
    for _ in range(80):
        span = golden * (high - low)
        left, right = high - span, low + span
        if misfit(left) < misfit(right):
            high = right
        else:
            low = left
    return 0.5 * (low + high)


def fret_rule(
    frets: Sequence[float],
    positions: Sequence[float],
    scale_length: float | None = None,
    uncertainty: float = 0.1,
) -> FretRule:
    """Tell which rule an old board was cut to, from distances measured nut to fret.

    Parameters
    ----------
    frets : sequence of float
        Frets that were measured, at least three, all different [-].
    positions : sequence of float
        Distance from the nut to each [mm].
    scale_length : float, optional
        The length that the maker divided, when known; else fitted for each rule [mm].
    uncertainty : float
        Standard uncertainty of one distance, above 0 [mm].

    Returns
    -------
    FretRule
        Verdict, fitted scale lengths, misfits and residuals.

    Raises
    ------
    Missing
        When fewer than three frets were measured.
    Contradiction
        When the two lists differ in length, a fret comes twice, or distances do not rise with the frets.
    OutOfRange
        When a value lies outside its range.

    Notes
    -----
    Least squares of the scale length under each rule. A rule fits when the root mean square of its
    residuals is within twice the uncertainty. The rule of eighteen puts fret 12 of 650 mm at 322.636 mm.

    >>> fret_rule([1, 5, 7, 12], [36.48, 163.05, 216.18, 325.0], 650.0).rule
    'equal temperament'
    """
    numbers = np.atleast_1d(within(frets, "frets", 0.0, MOST_FRETS))
    places = np.atleast_1d(finite(positions, "positions"))
    spread = float(positive(uncertainty, "uncertainty", "mm"))
    if numbers.shape != places.shape or numbers.ndim != 1:
        raise Contradiction("positions must hold one distance for each fret", "positions")
    if numbers.size < 3:
        raise Missing("measure at least three frets, far apart", "frets")
    order = np.argsort(numbers)
    numbers, places = numbers[order], places[order]
    if (np.diff(numbers) <= 0).any() or numbers[0] <= 0:
        raise Contradiction("frets must all be different and above 0", "frets")
    if (np.diff(places) <= 0).any() or places[0] <= 0:
        raise Contradiction("positions must rise from fret to fret", "positions")
    known = None if scale_length is None else float(_scale(scale_length))
    lengths: dict[str, float] = {}
    misfits: dict[str, float] = {}
    residuals: dict[str, FloatArray] = {}
    for rule, ratio in RATIOS.items():
        shape = 1.0 - ratio**numbers
        lengths[rule] = _fit_length(shape, places, known)
        residual = places - lengths[rule] * shape
        misfits[rule] = float(np.sqrt(np.mean(residual**2)))
        residuals[rule] = residual[np.argsort(order)]
    fitting = [rule for rule, misfit in misfits.items() if misfit <= 2.0 * spread]
    verdict = {0: "neither", 1: fitting[0] if fitting else ""}.get(len(fitting), "cannot tell")
    return FretRule(verdict, lengths, misfits, residuals, _free_divisor(numbers, places, known))
