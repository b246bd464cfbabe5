"""Every string of an instrument over its frets, from the heights that a bench reads."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from ._checks import FloatArray, finite, whole
from .clearance import MOST_FRETS, Fretwork, line_from_actions
from .compensation import StringGeometry
from .relief import neck_height
from .scale import fret_position


@dataclass(frozen=True)
class Board:
    """Strings and frets in the body frame, string 1 first, fret 1 first.

    Parameters
    ----------
    scale_lengths : array, shape (strings,)
        Of each string [mm].
    fret_positions : array, shape (strings, frets)
        From the nut [mm].
    fret_heights : array, shape (strings, frets)
        Tops above the plane of the frets over the body [mm].
    at_nut : array, shape (strings,)
        Where the fret tops' line stands at the nut, above that plane [mm].
    nut_heights, saddle_heights : array, shape (strings,)
        Undersides of the strings above that plane [mm].
    """

    scale_lengths: FloatArray
    fret_positions: FloatArray
    fret_heights: FloatArray
    at_nut: FloatArray
    nut_heights: FloatArray
    saddle_heights: FloatArray

    @property
    def slot_heights(self) -> FloatArray:
        """Undersides of the strings in their slots, above the fret tops there [mm]."""
        return self.nut_heights - self.at_nut

    def fretwork(self) -> Fretwork:
        """Return it as the clearance map takes it."""
        return Fretwork(
            self.fret_positions,
            self.fret_heights,
            self.nut_heights,
            self.saddle_heights,
            self.scale_lengths,
        )

    def geometry(self, frets: int, strings: ArrayLike | slice = slice(None)) -> StringGeometry:
        """Return some of its strings as the intonation curve takes them, up to a fret."""
        which = strings if isinstance(strings, slice) else np.asarray(strings, dtype=np.intp)
        return StringGeometry(
            self.scale_lengths[which],
            self.nut_heights[which],
            self.saddle_heights[which],
            fret_heights=self.fret_heights[which, :frets],
        )


def board_from_readings(
    scale_lengths: ArrayLike,
    curvature: ArrayLike,
    nut_action: ArrayLike,
    action: ArrayLike,
    *,
    frets: int,
    body_joint_fret: float,
    action_fret: int = 12,
) -> Board:
    """Lay every string over its frets.

    Parameters
    ----------
    scale_lengths : float or array, shape (strings,)
        Of each string [mm].
    curvature : float or array, shape (strings,)
        Of the neck under each string, from `relief.curvature_from_relief` [1/mm].
    nut_action, action : float or array, shape (strings,)
        Open string above fret 1 and above `action_fret` [mm].
    frets : int
        How many there are, 2 to 36.
    body_joint_fret : float
        Fret at the body joint [-].
    action_fret : int
        Where the action was read.

    Returns
    -------
    Board
        Places and heights [mm].

    Raises
    ------
    OutOfRange
        When a value is not finite or the frets are too many.

    Notes
    -----
    The neck of `relief.neck_height`, the open string a straight line (`clearance.line_from_actions`).

    >>> level = board_from_readings(
    ...     [648.0, 648.0], 0.0, [0.4, 0.5], [1.6, 1.8], frets=22, body_joint_fret=16
    ... )
    >>> level.saddle_heights.round(2).tolist()
    [2.95, 3.26]
    """
    count = whole(frets, "frets", 2, MOST_FRETS)
    scales, bend, low, high = np.broadcast_arrays(
        np.atleast_1d(finite(scale_lengths, "scale_length")),
        finite(curvature, "relief"),
        finite(nut_action, "nut_action"),
        finite(action, "action"),
    )
    column = scales[:, None]
    places = np.asarray(fret_position(np.arange(1, count + 1)[None, :], column))
    joint = np.asarray(fret_position(body_joint_fret, column))
    heights = np.asarray(neck_height(places, bend[:, None], joint))
    nut, saddle = line_from_actions(low, high, places, heights, scales, reading_fret=action_fret)
    at_nut = np.asarray(neck_height(np.zeros_like(column), bend[:, None], joint))[:, 0]
    return Board(np.array(scales), places, heights, at_nut, nut, saddle)
