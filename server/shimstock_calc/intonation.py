"""Saddle position: how far a saddle (and the nut) must go for fretted notes to come in tune."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from ._checks import FloatArray, finite, plain, positive, within
from .errors import Missing, OutOfRange
from .scale import fret_position

CENTS_PER_OCTAVE = 1200.0
OCTAVE = 12
MOST_CENTS = 100.0


def _ratio(intonation: ArrayLike) -> FloatArray:
    cents = within(intonation, "intonation", -MOST_CENTS, MOST_CENTS, "cents")
    return np.asarray(2.0 ** (cents / CENTS_PER_OCTAVE))


def _step(fret: ArrayLike) -> FloatArray:
    return np.asarray(2.0 ** (within(fret, "fret", 1, 36) / 12.0))


def saddle_move(intonation: ArrayLike, scale_length: ArrayLike, fret: ArrayLike = OCTAVE) -> FloatArray:
    """How far a saddle goes so that a fretted note comes in tune, the open string retuned afterwards.

    Parameters
    ----------
    intonation : float or array
        Fretted note against the equal-tempered interval above the open string, -100 to 100; positive =
        sharp [cents].
    scale_length : float or array, broadcast
        Twice the distance from nut to 12th fret [mm].
    fret : float or array, broadcast
        Where it was read; 1 or more [-].

    Returns
    -------
    float or array
        Movement along the string; positive = away from the nut [mm].

    Raises
    ------
    OutOfRange
        When the note is so sharp that no saddle could cure it.

    Notes
    -----
    Geometry of an ideal string: dS = X0·(r - 1)/(g - r), r = 2^(cents/1200), g = 2^(fret/12).

    >>> round(float(saddle_move(10.0, 650.0)), 6)
    3.787352
    """
    r, g = _ratio(intonation), _step(fret)
    if (r >= g).any():
        raise OutOfRange("intonation is so sharp at that fret that no saddle could cure it", "intonation")
    return plain(positive(scale_length, "scale_length", "mm") * (r - 1.0) / (g - r))


def intonation_after_move(
    intonation: ArrayLike, move: ArrayLike, scale_length: ArrayLike, fret: ArrayLike = OCTAVE
) -> FloatArray:
    """Intonation after a saddle has been moved and the open string retuned.

    Parameters
    ----------
    intonation : float or array
        Before, -100 to 100 [cents].
    move : float or array, broadcast
        Movement; positive = away from the nut [mm].
    scale_length : float or array, broadcast
        Scale length [mm].
    fret : float or array, broadcast
        Where it is read [-].

    Returns
    -------
    float or array
        After [cents].

    Raises
    ------
    OutOfRange
        When the saddle would reach the fret.

    Notes
    -----
    r' = r·(X0 + dS)/(X0 + g·dS), the inverse of `saddle_move`.

    >>> round(float(intonation_after_move(14.0, 2.0, 647.7)), 1)
    8.7
    """
    length, g = positive(scale_length, "scale_length", "mm"), _step(fret)
    moved = finite(move, "move")
    if (length + g * moved <= 0).any():
        raise OutOfRange("move would bring the saddle to the fret", "move")
    ratio = _ratio(intonation) * (length + moved) / (length + g * moved)
    return plain(CENTS_PER_OCTAVE * np.log2(ratio))


def saddle_turns(move: ArrayLike, thread_pitch: ArrayLike) -> FloatArray:
    """Turns of the intonation screw for a movement of the saddle.

    Parameters
    ----------
    move : float or array
        Movement; positive = away from the nut [mm].
    thread_pitch : float or array, broadcast
        Of the intonation screw [mm per turn].

    Returns
    -------
    float or array
        Turns; positive = away from the nut, whichever way that screw turns [turns].

    Raises
    ------
    OutOfRange
        When the pitch is not positive.
    """
    return plain(finite(move, "move") / positive(thread_pitch, "thread_pitch", "mm"))


@dataclass(frozen=True)
class SaddlePosition:
    """Saddle and nut setback that bring several fretted notes closest to tune.

    Attributes
    ----------
    saddle : float
        Movement of the saddle; positive = away from the nut [mm].
    nut : float
        Change of the string's length at the nut; negative = the nut comes closer to the frets [mm].
    residual : array of shape (frets,)
        What stays at each fret [cents].
    rms : float
        Root mean square of the residual [cents].
    """

    saddle: float
    nut: float
    residual: FloatArray
    rms: float


def saddle_position(
    intonation: ArrayLike, frets: ArrayLike, scale_length: float, move_nut: bool = False
) -> SaddlePosition:
    """Saddle position, and the nut's if wanted, from readings at one or several frets.

    Parameters
    ----------
    intonation : float or array of shape (frets,)
        Reading at each fret; positive = sharp [cents].
    frets : float or array of shape (frets,)
        Where each was read [-].
    scale_length : float
        Scale length [mm].
    move_nut : bool
        Solve the nut's setback together with the saddle's; needs two different frets [-].

    Returns
    -------
    SaddlePosition
        Movements [mm] with what stays at each fret [cents].

    Raises
    ------
    OutOfRange
        When a reading or fret lies outside its range.
    Missing
        When there are fewer readings than things to move.

    Notes
    -----
    Least squares (Gauss-Newton) on the exact change
    1200·log2((X0 + dS + dN)/X0) - 1200·log2((Xn + dS)/Xn), Xn = X0/g.
    """
    cents = np.atleast_1d(within(intonation, "intonation", -MOST_CENTS, MOST_CENTS, "cents"))
    at = np.atleast_1d(within(frets, "frets", 1, 36))
    if cents.shape != at.shape or cents.ndim != 1:
        raise OutOfRange("intonation and frets must be lists of the same length", "frets")
    unknowns = 2 if move_nut else 1
    if np.unique(at).size < unknowns:
        raise Missing("saddle and nut together need readings at two different frets or more", "frets")
    length = float(positive(scale_length, "scale_length", "mm"))
    moves = np.zeros(2)
    for _ in range(20):
        residual = _detuned(cents, at, length, moves)
        slope = _slopes(at, length, moves)[:, :unknowns]
        step = np.linalg.lstsq(slope, -residual, rcond=None)[0]
        moves[:unknowns] += step
        if np.abs(step).max() < 1e-12 * length:
            break
    residual = _detuned(cents, at, length, moves)
    return SaddlePosition(float(moves[0]), float(moves[1]), residual, float(np.sqrt(np.mean(residual**2))))


def _detuned(cents: FloatArray, frets: FloatArray, length: float, moves: FloatArray) -> FloatArray:
    fretted = length - fret_position(frets, length)
    if length + moves.sum() <= 0 or (fretted + moves[0] <= 0).any():
        raise OutOfRange("intonation is so far out that no saddle position could cure it", "intonation")
    open_longer = np.log2((length + moves.sum()) / length)
    return np.asarray(cents + CENTS_PER_OCTAVE * (open_longer - np.log2((fretted + moves[0]) / fretted)))


def _slopes(frets: FloatArray, length: float, moves: FloatArray) -> FloatArray:
    per_log = CENTS_PER_OCTAVE / np.log(2.0)
    fretted = length - fret_position(frets, length)
    by_open = np.full(frets.shape, per_log / (length + moves.sum()))
    return np.column_stack([by_open - per_log / (fretted + moves[0]), by_open])
