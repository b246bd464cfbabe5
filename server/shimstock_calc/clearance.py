"""Where a swinging string comes near its frets: a map of strings, fretted positions, frets beyond."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ._checks import FloatArray, finite, within
from .errors import Contradiction, Missing, OutOfRange
from .pluck import Pluck, swing_per_amplitude

MOST_STRINGS = 24
MOST_FRETS = 36


@dataclass(frozen=True)
class Fretwork:
    """Frets and strings of an instrument in the plane of each string; string 1 first, fret 1 first.

    Parameters
    ----------
    fret_positions : array, shape (frets,) or (strings, frets)
        From the nut, rising [mm].
    fret_heights : array, shape (frets,) or (strings, frets)
        Fret tops above the plane of the frets over the body: the neck's bow and any high or low fret [mm].
    nut_height : float or array, shape (strings,)
        Underside of the string in its slot, above the same plane [mm].
    saddle_height : float or array, shape (strings,)
        Underside of the string at the saddle, above the same plane [mm].
    saddle_position : float or array, shape (strings,)
        From the nut; beyond the last fret [mm].

    Raises
    ------
    OutOfRange
        When a value is not finite or there are too many strings or frets.
    Contradiction
        When shapes do not fit, frets do not rise, or the saddle does not lie beyond them.
    """

    fret_positions: ArrayLike
    fret_heights: ArrayLike
    nut_height: ArrayLike
    saddle_height: ArrayLike
    saddle_position: ArrayLike

    def __post_init__(self) -> None:
        x = np.atleast_2d(within(self.fret_positions, "fret_positions", 0.0, 2000.0, "mm"))
        y = np.atleast_2d(within(self.fret_heights, "fret_heights", -10.0, 10.0, "mm"))
        within(self.nut_height, "nut_height", -5.0, 10.0, "mm")
        within(self.saddle_height, "saddle_height", -5.0, 60.0, "mm")
        end = within(self.saddle_position, "saddle_position", 100.0, 2000.0, "mm")
        if x.shape[1] != y.shape[1]:
            raise Contradiction(
                f"fret_heights must give as many frets as fret_positions, {x.shape[1]}", "fret_heights"
            )
        if not 1 <= x.shape[1] <= MOST_FRETS:
            raise OutOfRange(f"fret_positions must give 1 to {MOST_FRETS} frets", "fret_positions")
        if (np.diff(x, axis=1) <= 0.0).any() or (x[:, 0] <= 0.0).any():
            raise Contradiction("fret_positions must rise from fret to fret, from above 0", "fret_positions")
        if (np.atleast_1d(end) <= x[:, -1]).any():
            raise Contradiction("saddle_position must lie beyond the last fret", "saddle_position")
        if self.strings > MOST_STRINGS:
            raise OutOfRange(f"at most {MOST_STRINGS} strings", "nut_height")

    @property
    def strings(self) -> int:
        """Number of strings; refuses arrays that speak of different numbers."""
        counts = {
            np.atleast_2d(np.asarray(self.fret_positions)).shape[0],
            np.atleast_2d(np.asarray(self.fret_heights)).shape[0],
            *(np.size(v) for v in (self.nut_height, self.saddle_height, self.saddle_position)),
        }
        many = counts - {1}
        if len(many) > 1:
            raise Contradiction(
                f"nut_height, saddle_height and the other lists speak of {sorted(many)} strings", "nut_height"
            )
        return many.pop() if many else 1

    @property
    def frets(self) -> int:
        """Number of frets."""
        return int(np.atleast_2d(np.asarray(self.fret_positions)).shape[1])


@dataclass(frozen=True)
class Place:
    """A place of the map: string, fretted position (0 = open), the fret beyond it, its margin [mm]."""

    string: int
    position: int
    fret: int
    margin: float


@dataclass(frozen=True)
class ClearanceMap:
    """Gaps, swings and margins; arrays (strings, positions from 0, frets), NaN where nothing can touch.

    Parameters
    ----------
    gap : array
        String at rest above the top of each fret beyond the fretted one [mm].
    swing : array
        Toward the board there [mm].
    margin : array
        gap less swing; below 0 = touches [mm].
    touching_fret : array of int, shape (strings, positions)
        The fret that is touched first when played harder and harder; 0 where the string cannot be plucked.
    free_amplitude : array, shape (strings, positions)
        Largest amplitude that stays free; below 0 when the string lies on a fret at rest [mm].
    free_force : array, shape (strings, positions), or None
        The same as a pluck's force; None when no tension was given [N].
    """

    gap: FloatArray
    swing: FloatArray
    margin: FloatArray
    touching_fret: NDArray[np.int64]
    free_amplitude: FloatArray
    free_force: FloatArray | None

    def worst(self, count: int = 10) -> list[Place]:
        """Places with the least margin, the tightest first; at most `count`."""
        flat = np.where(np.isnan(self.margin), np.inf, self.margin).ravel()
        order = np.argsort(flat, kind="stable")[: max(count, 0)]
        places = []
        for i in order[np.isfinite(flat[order])]:
            string, position, fret = np.unravel_index(int(i), self.margin.shape)
            places.append(Place(int(string) + 1, int(position), int(fret) + 1, float(flat[i])))
        return places


@dataclass(frozen=True)
class _Laid:
    """Everything as (strings, positions, frets): the held point, the fret beyond, the swing per amplitude."""

    held_x: FloatArray
    held_y: FloatArray
    fret_x: FloatArray
    fret_y: FloatArray
    saddle_x: FloatArray
    saddle_y: FloatArray
    beyond: NDArray[np.bool_]
    length: FloatArray
    p: FloatArray
    envelope: FloatArray


def _lay_out(work: Fretwork, pluck: Pluck) -> _Laid:
    strings, frets = work.strings, work.frets
    x = np.broadcast_to(np.atleast_2d(np.asarray(work.fret_positions, dtype=np.float64)), (strings, frets))
    y = np.broadcast_to(np.atleast_2d(np.asarray(work.fret_heights, dtype=np.float64)), (strings, frets))
    nut = np.broadcast_to(np.atleast_1d(np.asarray(work.nut_height, dtype=np.float64)), (strings,))
    end = _per_string(work.saddle_position, strings)
    held_x = np.concatenate([np.zeros((strings, 1)), x[:, :-1]], axis=1)[:, :, None]
    held_y = np.concatenate([nut[:, None], y[:, :-1]], axis=1)[:, :, None]
    length = end - held_x
    distance = _per_string(pluck.distance, strings)
    if (distance[:, 0, 0] >= length[:, 0, 0]).any():
        raise OutOfRange(
            "pluck_distance must be shorter than the open string, counted from the bridge", "pluck_distance"
        )
    p = np.where(distance < length, distance / length, np.nan)
    fret_x = x[:, None, :]
    beyond = np.broadcast_to(
        np.arange(frets)[None, None, :] >= np.arange(frets)[None, :, None], (1, frets, frets)
    )
    share = np.where(beyond, (end - fret_x) / length, np.nan)
    return _Laid(
        held_x,
        held_y,
        fret_x,
        y[:, None, :],
        end,
        _per_string(work.saddle_height, strings),
        np.broadcast_to(beyond, (strings, frets, frets)),
        length,
        p,
        swing_per_amplitude(share, p, pluck.direction),
    )


def _per_string(value: ArrayLike, strings: int) -> FloatArray:
    flat = np.atleast_1d(np.asarray(value, dtype=np.float64))
    if flat.shape not in {(1,), (strings,)}:
        raise Contradiction(
            f"every list must give {strings} strings; {flat.size} were given", "pluck_distance"
        )
    return np.broadcast_to(flat, (strings,))[:, None, None]


def _amplitude(laid: _Laid, pluck: Pluck) -> FloatArray:
    """Amplitude at each string and position, shape (strings, positions, 1)."""
    strings = laid.length.shape[0]
    if pluck.amplitude is not None:
        return np.broadcast_to(_per_string(pluck.amplitude, strings), laid.length.shape)
    if pluck.force is None or pluck.tension is None:
        raise Missing("give the amplitude, or the force with the tension", "force")
    drawn = _per_string(pluck.force, strings) * laid.p * (1.0 - laid.p) * laid.length
    return np.asarray(drawn / _per_string(pluck.tension, strings), dtype=np.float64)


def string_clearance(work: Fretwork, pluck: Pluck) -> ClearanceMap:
    """Margins of every string at every fretted position over every fret beyond it.

    Parameters
    ----------
    work : Fretwork
        Frets, nut and saddle [mm].
    pluck : Pluck
        How the strings are played.

    Returns
    -------
    ClearanceMap
        Gaps, swings, margins [mm], the fret touched first, the largest free amplitude [mm] and force [N].

    Raises
    ------
    OutOfRange
        When the pluck lies beyond the open string.
    Contradiction
        When lists speak of different numbers of strings.

    Notes
    -----
    A fretted string is a straight line from the top of its fret to the saddle; the swing is that of
    `swing`, the amplitude that of `amplitude_from_force`. A position whose fret lies on the bridge's side
    of the pluck cannot be plucked there: NaN. It ranks places, it does not promise freedom from buzz; the
    ear decides.

    >>> flat = Fretwork([36.1, 70.2, 102.4], [0.0, 0.0, 0.0], 0.4, 3.4, 648.0)
    >>> found = string_clearance(flat, Pluck(130.0, amplitude=1.0))
    >>> found.worst(1)[0].position, found.worst(1)[0].fret
    (1, 3)
    """
    laid = _lay_out(work, pluck)
    line = laid.held_y + (laid.saddle_y - laid.held_y) * (laid.fret_x - laid.held_x) / laid.length
    gap = np.where(laid.beyond, line - laid.fret_y, np.nan)
    swung = _amplitude(laid, pluck) * laid.envelope
    free = gap / laid.envelope
    playable = ~np.isnan(laid.p[:, :, 0])
    tightest = np.where(np.isnan(free), np.inf, free)
    # over a straight board several frets are touched at once: the nearest is told, whatever the rounding
    least = np.min(tightest, axis=2, keepdims=True)
    touching = np.where(playable, np.argmax(tightest <= least + 1e-9, axis=2) + 1, 0)
    amplitude = np.where(playable, np.min(tightest, axis=2), np.nan)
    force = None
    if pluck.tension is not None:
        p = laid.p[:, :, 0]
        tension = _per_string(pluck.tension, work.strings)[:, :, 0]
        force = np.asarray(amplitude * tension / (p * (1.0 - p) * laid.length[:, :, 0]), dtype=np.float64)
    return ClearanceMap(gap, swung, gap - swung, touching.astype(np.int64), amplitude, force)


@dataclass(frozen=True)
class ClearanceAction:
    """The lowest action at which the wanted margin is kept everywhere.

    Parameters
    ----------
    saddle_height : array, shape (strings,)
        Underside of the string above the plane of the frets over the body [mm].
    action : array, shape (strings,)
        Open string above the reading fret [mm].
    position, fret : array of int, shape (strings,)
        The place that decides.
    """

    saddle_height: FloatArray
    action: FloatArray
    position: NDArray[np.int64]
    fret: NDArray[np.int64]


def action_for_clearance(
    work: Fretwork, pluck: Pluck, margin: float = 0.0, reading_fret: int = 12, open_string: bool = False
) -> ClearanceAction:
    """Lowest action that keeps a margin over every fret: the map asked the other way round.

    Parameters
    ----------
    work : Fretwork
        Frets and nut; its saddle height is not used [mm].
    pluck : Pluck
        How the strings are played.
    margin : float
        Wanted between swing and fret; -5 to 10 [mm].
    reading_fret : int
        Where the action is read.
    open_string : bool
        Whether the open string counts too. By default it does not: over the first frets it is the nut slot,
        not the saddle, that clears it.

    Returns
    -------
    ClearanceAction
        Saddle height and action [mm] for each string, and the place that decides.

    Raises
    ------
    OutOfRange
        When the reading fret is not on the board or there is one fret only.

    Notes
    -----
    The gap grows linearly with the saddle's height, so each place asks for one height and the largest counts.

    >>> flat = Fretwork([36.1, 70.2, 102.4], [0.0, 0.0, 0.0], 0.4, 3.4, 648.0)
    >>> asked = action_for_clearance(flat, Pluck(130.0, amplitude=1.0), reading_fret=3)
    >>> round(float(asked.saddle_height[0]), 3)
    4.707
    """
    wanted = float(within(margin, "margin", -5.0, 10.0, "mm"))
    if not 1 <= reading_fret <= work.frets:
        raise OutOfRange(
            f"reading_fret must be from 1 to {work.frets}; {reading_fret} was given", "reading_fret"
        )
    if work.frets < 2 and not open_string:
        raise OutOfRange("fret_positions must give at least 2 frets", "fret_positions")
    laid = _lay_out(work, pluck)
    need = wanted + _amplitude(laid, pluck) * laid.envelope + laid.fret_y - laid.held_y
    asked = np.where(laid.beyond, laid.held_y + need * laid.length / (laid.fret_x - laid.held_x), -np.inf)
    asked = np.where(np.isnan(asked), -np.inf, asked)
    if not open_string:
        asked[:, 0, :] = -np.inf
    flat = asked.reshape(work.strings, -1)
    at = np.argmax(flat, axis=1)
    saddle = flat[np.arange(work.strings), at]
    position, fret = np.unravel_index(at, asked.shape[1:])
    nut = laid.held_y[:, 0, 0]
    x = np.broadcast_to(laid.fret_x[:, 0, :], (work.strings, work.frets))[:, reading_fret - 1]
    y = laid.fret_y[:, 0, reading_fret - 1]
    action = nut + (saddle - nut) * x / laid.saddle_x[:, 0, 0] - y
    return ClearanceAction(
        np.asarray(saddle, dtype=np.float64),
        np.asarray(action, dtype=np.float64),
        np.asarray(position, dtype=np.int64),
        np.asarray(fret + 1, dtype=np.int64),
    )


def line_from_actions(
    nut_action: ArrayLike,
    action: ArrayLike,
    fret_positions: ArrayLike,
    fret_heights: ArrayLike,
    saddle_position: ArrayLike,
    *,
    reading_fret: int = 12,
) -> tuple[FloatArray, FloatArray]:
    """Heights of nut and saddle from the two actions that a bench reads.

    Parameters
    ----------
    nut_action, action : float or array, shape (strings,)
        Open string above fret 1 and above the reading fret [mm].
    fret_positions, fret_heights : array, shape (frets,) or (strings, frets)
        From the nut, and tops above the plane of the frets over the body [mm].
    saddle_position : float or array, shape (strings,)
        From the nut [mm].
    reading_fret : int
        Where the action was read; 2 or more.

    Returns
    -------
    tuple of array
        Nut height and saddle height above the plane, shape (strings,) [mm].

    Raises
    ------
    OutOfRange
        When the reading fret is not on the board.

    Notes
    -----
    The open string is a straight line through the two points.

    >>> nut, saddle = line_from_actions(0.4, 1.6, [36.0, 324.0], [0.0, 0.0], 648.0, reading_fret=2)
    >>> round(float(nut[0]), 3), round(float(saddle[0]), 3)
    (0.25, 2.95)
    """
    x = np.atleast_2d(finite(fret_positions, "fret_positions"))
    y = np.atleast_2d(finite(fret_heights, "fret_heights"))
    if not 2 <= reading_fret <= x.shape[1]:
        raise OutOfRange(
            f"reading_fret must be from 2 to {x.shape[1]}; {reading_fret} was given", "reading_fret"
        )
    low = np.atleast_1d(finite(nut_action, "nut_action")) + y[:, 0]
    high = np.atleast_1d(finite(action, "action")) + y[:, reading_fret - 1]
    slope = (high - low) / (x[:, reading_fret - 1] - x[:, 0])
    nut = low - slope * x[:, 0]
    saddle = nut + slope * np.atleast_1d(finite(saddle_position, "saddle_position"))
    return np.asarray(nut, dtype=np.float64), np.asarray(saddle, dtype=np.float64)
