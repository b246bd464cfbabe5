"""The ideal plucked string: how far it is drawn aside, and how far it swings toward the board."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from ._checks import FloatArray, positive, within
from .errors import Contradiction, Missing, OutOfRange

DIRECTIONS = ("toward", "away", "either")


def swing(
    place: ArrayLike,
    pluck: ArrayLike,
    length: ArrayLike,
    amplitude: ArrayLike = 1.0,
    direction: str = "either",
) -> FloatArray:
    """How far an ideal plucked string swings toward the board at a place.

    Parameters
    ----------
    place : float or array
        From the bridge; 0 to `length` [mm].
    pluck : float or array, broadcast
        Where it is plucked, from the bridge; above 0, below `length` [mm].
    length : float or array, broadcast
        Of the sounding string; above 0 [mm].
    amplitude : float or array, broadcast
        How far it is drawn aside at the pluck; 0 or more [mm].
    direction : str
        Drawn `toward` the board, `away` from it, or `either`, the larger of the two.

    Returns
    -------
    array
        Largest excursion toward the board, 0 or more [mm].

    Raises
    ------
    OutOfRange
        When the place or the pluck lies off the string, or the direction is none of the three.

    Notes
    -----
    N. H. Fletcher & T. D. Rossing, *The Physics of Musical Instruments*, ch. 2 (from memory; equals the
    Fourier sum to 4e-4). With p = pluck / length and x from the bridge: the side it was drawn to a x / (p
    l) up to the pluck and a (l-x) / ((1-p) l) beyond, the other side a x / ((1-p) l) up to (1-p) l and a
    (l-x) / (p l) beyond. No damping, no stiffness: the first swing of the string itself.

    >>> float(swing(65.0, 130.0, 650.0, direction="toward"))
    0.5
    >>> float(swing(65.0, 130.0, 650.0, direction="away"))
    0.125
    """
    if direction not in DIRECTIONS:
        raise OutOfRange(
            f"direction must be one of {', '.join(DIRECTIONS)}; {direction!r} was given", "direction"
        )
    whole = positive(length, "length", "mm")
    x = within(place, "place", 0.0, None, "mm") / whole
    p = positive(pluck, "pluck", "mm") / whole
    if (x > 1.0 + 1e-12).any():
        raise OutOfRange("place must lie on the string, at most its length from the bridge", "place")
    if (p >= 1.0).any():
        raise OutOfRange("pluck must lie on the string, nearer to the bridge than its other end", "pluck")
    return np.asarray(
        within(amplitude, "amplitude", 0.0, None, "mm") * swing_per_amplitude(x, p, direction),
        dtype=np.float64,
    )


def swing_per_amplitude(x: FloatArray, p: FloatArray, direction: str) -> FloatArray:
    """Excursion toward the board per amplitude, without checks.

    Parameters
    ----------
    x, p : array, broadcast
        Place and pluck as shares of the length from the bridge; p inside (0, 1) [-].
    direction : str
        As in `swing`.

    Returns
    -------
    array
        [-]

    Notes
    -----
    See `swing`; NaN in, NaN out.
    """
    same = np.minimum(x / p, (1.0 - x) / (1.0 - p))
    other = np.minimum(x / (1.0 - p), (1.0 - x) / p)
    if direction == "toward":
        return np.asarray(same, dtype=np.float64)
    if direction == "away":
        return np.asarray(other, dtype=np.float64)
    return np.asarray(np.maximum(same, other), dtype=np.float64)


def amplitude_from_force(
    force: ArrayLike, pluck: ArrayLike, length: ArrayLike, tension: ArrayLike
) -> FloatArray:
    """How far a force draws a string aside at the pluck.

    Parameters
    ----------
    force : float or array
        Of the pluck; 0 or more [N].
    pluck : float or array, broadcast
        From the bridge; above 0, below `length` [mm].
    length : float or array, broadcast
        Of the sounding string; above 0 [mm].
    tension : float or array, broadcast
        Above 0 [N].

    Returns
    -------
    array
        [mm]

    Raises
    ------
    OutOfRange
        When an input lies outside the bounds above.

    Notes
    -----
    Balance of forces on a string drawn to a triangle, small angles: a = F p (1-p) l / T.

    >>> round(float(amplitude_from_force(1.0, 130.0, 650.0, 72.5)), 3)
    1.434
    """
    whole = positive(length, "length", "mm")
    p = positive(pluck, "pluck", "mm") / whole
    if (p >= 1.0).any():
        raise OutOfRange("pluck must lie on the string, nearer to the bridge than its other end", "pluck")
    drawn = within(force, "force", 0.0, None, "N") * p * (1.0 - p) * whole
    return np.asarray(drawn / positive(tension, "tension", "N"), dtype=np.float64)


@dataclass(frozen=True)
class Pluck:
    """How the strings are played.

    Parameters
    ----------
    distance : float or array, shape (strings,)
        From the bridge; kept when a string is fretted; above 0 [mm].
    amplitude : float or array, shape (strings,), optional
        How far the string is drawn aside, whatever the fretted position; exactly one of this and `force`
        [mm].
    force : float or array, shape (strings,), optional
        Of the pluck [N].
    tension : float or array, shape (strings,), optional
        Of the open string; needed with `force` and for the largest free force [N].
    direction : str
        Drawn `toward` the board, `away` from it, or `either`, the worse of the two.

    Raises
    ------
    Missing
        When neither amplitude nor force was given, or the tension is needed.
    Contradiction
        When both were given.
    OutOfRange
        When a value lies outside the bounds above.
    """

    distance: ArrayLike
    amplitude: ArrayLike | None = None
    force: ArrayLike | None = None
    tension: ArrayLike | None = None
    direction: str = "either"

    def __post_init__(self) -> None:
        positive(self.distance, "pluck_distance", "mm")
        if self.amplitude is None and self.force is None:
            raise Missing("give the amplitude or the force of the pluck", "amplitude")
        if self.amplitude is not None and self.force is not None:
            raise Contradiction("give the amplitude or the force of the pluck, not both", "force")
        if self.force is not None and self.tension is None:
            raise Missing("tension of the strings is needed to turn a force into an amplitude", "tension")
        if self.amplitude is not None:
            within(self.amplitude, "amplitude", 0.0, 30.0, "mm")
        if self.force is not None:
            within(self.force, "force", 0.0, 100.0, "N")
        if self.tension is not None:
            positive(self.tension, "tension", "N")
        if self.direction not in DIRECTIONS:
            raise OutOfRange(
                f"direction must be one of {', '.join(DIRECTIONS)}; {self.direction!r} was given", "direction"
            )
