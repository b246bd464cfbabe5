"""Bridge height: what to turn, take off or shim for a wanted change of action, for each kind of bridge."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from ._checks import FloatArray, finite, plain, positive, within
from .errors import Missing, OutOfRange
from .neck import saddle_share

EIGHTH = 0.125
OCTAVE = 12


def round_to_eighth(turns: float) -> float:
    """Round turns to the nearest eighth, ties toward zero.

    Parameters
    ----------
    turns : float
        Wanted [turns].

    Returns
    -------
    float
        Rounded [turns].

    Raises
    ------
    OutOfRange
        When the number is not finite.

    >>> round_to_eighth(-0.166), round_to_eighth(0.0625), round_to_eighth(0.63)
    (-0.125, 0.0, 0.625)
    """
    eighths = abs(float(finite(turns, "turns"))) / EIGHTH
    return math.copysign(max(math.ceil(eighths - 0.5 - 1e-9), 0) * EIGHTH, turns) + 0.0


def saddle_change(action_change: ArrayLike, fret: ArrayLike = OCTAVE) -> FloatArray:
    """How far a saddle goes up for a wanted change of action.

    Parameters
    ----------
    action_change : float or array
        Wanted; positive = higher [mm].
    fret : float or array, broadcast
        Fret at which action is read [-].

    Returns
    -------
    float or array
        Rise of the saddle [mm].

    Raises
    ------
    OutOfRange
        When a number lies outside its range.

    >>> float(saddle_change(-0.1))
    -0.2
    """
    change = within(action_change, "action_change", -25, 25, "mm")
    return plain(change / saddle_share(within(fret, "fret", 1, 36)))


@dataclass(frozen=True)
class TwoPosts:
    """Changes at the two height screws of a bridge.

    Attributes
    ----------
    bass, treble : float or array
        Rise of each end [mm].
    """

    bass: FloatArray
    treble: FloatArray


def _overhang(post_spacing: ArrayLike, string_spread: ArrayLike) -> FloatArray:
    posts = positive(post_spacing, "post_spacing", "mm")
    spread = positive(string_spread, "string_spread", "mm")
    if (spread > posts).any():
        raise OutOfRange(
            "string_spread must not exceed post_spacing: the strings sit between the posts", "string_spread"
        )
    return plain((posts - spread) / 2.0 / posts)


def post_changes(
    bass: ArrayLike, treble: ArrayLike, post_spacing: ArrayLike, string_spread: ArrayLike
) -> TwoPosts:
    """What each post must do for wanted rises at the outermost strings.

    Parameters
    ----------
    bass, treble : float or array
        Wanted rise of the bridge under the bass and treble string [mm].
    post_spacing : float or array, broadcast
        Between the two height screws [mm].
    string_spread : float or array, broadcast
        Between the outermost strings at the bridge, centred between the posts [mm].

    Returns
    -------
    TwoPosts
        Rise at each post [mm].

    Raises
    ------
    OutOfRange
        When a length is not positive or the strings lie outside the posts.

    Notes
    -----
    The bridge is rigid, so each string's rise is a mix of the two posts' rises, (1 - c) and c with
    c = (posts - spread)/(2·posts); the 2×2 system is solved.

    >>> posts = post_changes(-0.1654, 0.0346, 74.0, 52.0)
    >>> round(float(posts.bass), 3), round(float(posts.treble), 3)
    (-0.208, 0.077)
    """
    c = _overhang(post_spacing, string_spread)
    at_bass, at_treble = finite(bass, "bass"), finite(treble, "treble")
    return TwoPosts(
        plain(((1.0 - c) * at_bass - c * at_treble) / (1.0 - 2.0 * c)),
        plain(((1.0 - c) * at_treble - c * at_bass) / (1.0 - 2.0 * c)),
    )


def string_changes(
    bass_post: ArrayLike, treble_post: ArrayLike, post_spacing: ArrayLike, string_spread: ArrayLike
) -> TwoPosts:
    """Rise under the outermost strings when the posts are turned; the inverse of `post_changes`.

    Parameters
    ----------
    bass_post, treble_post : float or array
        Rise at each post [mm].
    post_spacing, string_spread : float or array, broadcast
        As in `post_changes` [mm].

    Returns
    -------
    TwoPosts
        Rise under the bass and the treble string [mm].

    Raises
    ------
    OutOfRange
        As `post_changes`.
    """
    c = _overhang(post_spacing, string_spread)
    at_bass, at_treble = finite(bass_post, "bass_post"), finite(treble_post, "treble_post")
    return TwoPosts(plain((1.0 - c) * at_bass + c * at_treble), plain(c * at_bass + (1.0 - c) * at_treble))


def height_turns(height: ArrayLike, thread_pitch: ArrayLike) -> FloatArray:
    """Turns of a height screw for a rise.

    Parameters
    ----------
    height : float or array
        Rise; negative = lower [mm].
    thread_pitch : float or array, broadcast
        ISO 261 and ASME B1.1 pitches suit most bridges [mm per turn].

    Returns
    -------
    float or array
        Turns; positive = raise, whichever way that screw turns [turns].

    Raises
    ------
    OutOfRange
        When the pitch is not positive.
    """
    return plain(finite(height, "height") / positive(thread_pitch, "thread_pitch", "mm"))


def fretboard_radius_at(
    position: ArrayLike, radius_nut: float | None, radius_end: float | None, board_length: float
) -> FloatArray:
    """Radius of the board, or of its continuation to the saddle.

    Parameters
    ----------
    position : float or array
        Distance from the nut [mm].
    radius_nut, radius_end : float or None
        Radius at the nut and at the board's body end; both None = flat [mm].
    board_length : float
        Nut to the board's body end [mm].

    Returns
    -------
    float or array
        Radius; infinite for a flat board [mm].

    Raises
    ------
    Missing
        When only one of the two radii is given.

    Notes
    -----
    A compound radius is a cone: the radius grows along a straight line through its two ends.

    >>> float(fretboard_radius_at(600.0, 250.0, 400.0, 450.0))
    450.0
    """
    at = finite(position, "position")
    if radius_nut is None and radius_end is None:
        return plain(np.full_like(at, np.inf))
    if radius_nut is None or radius_end is None:
        raise Missing(
            "fretboard radius is needed at the nut and at the body end, or at neither (flat)", "radius"
        )
    start, end = positive(radius_nut, "radius", "mm"), positive(radius_end, "radius", "mm")
    return plain(start + (end - start) * at / positive(board_length, "board_length", "mm"))


def radius_rise(offset: ArrayLike, radius: ArrayLike, outer: ArrayLike) -> FloatArray:
    """How far a string lies above the straight line through the outermost strings, on a curved board.

    Parameters
    ----------
    offset : float or array
        Distance of the string from the board's middle [mm].
    radius : float or array, broadcast
        Fretboard radius at that place; infinite = flat [mm].
    outer : float or array, broadcast
        Distance of the outermost strings from the middle [mm].

    Returns
    -------
    float or array
        Rise above the outer line [mm].

    Raises
    ------
    OutOfRange
        When a string would lie outside the circle.

    >>> round(float(radius_rise(9.5, 241.3, 28.5)), 2)
    1.5
    """
    r = np.asarray(radius, dtype=np.float64)
    across, edge = finite(offset, "offset"), finite(outer, "outer")
    if np.isnan(r).any() or (r <= np.maximum(np.abs(across), np.abs(edge))).any():
        raise OutOfRange("radius must be larger than half the string spread", "radius")
    if np.isinf(r).all():
        return plain(np.zeros(np.broadcast(across, edge, r).shape))
    with np.errstate(invalid="ignore"):
        # written so that a large radius does not cancel: √(R²-x²) - √(R²-e²) = (e²-x²)/(√(R²-x²)+√(R²-e²))
        rise = (edge**2 - across**2) / (np.sqrt(r**2 - across**2) + np.sqrt(r**2 - edge**2))
    return plain(rise)


@dataclass(frozen=True)
class SaddleFiling:
    """What may be taken off a fixed saddle, or put under it.

    Attributes
    ----------
    wanted : float
        Taken off for the target; negative = the saddle must come up [mm].
    allowed : float
        What may be taken off or, negative, put under [mm].
    least, most : float
        Least and greatest height above the slot that were kept [mm].
    """

    wanted: float
    allowed: float
    least: float
    most: float

    @property
    def short(self) -> float:
        """What stays undone; negative when the saddle cannot come up enough [mm]."""
        return self.wanted - self.allowed


def saddle_filing(wanted: float, out: float, least: float, total_height: float | None = None) -> SaddleFiling:
    """How much of a wanted change a fixed saddle allows.

    Parameters
    ----------
    wanted : float
        To be taken off; negative = to be raised [mm].
    out : float
        Height of the saddle above its slot now [mm].
    least : float
        Least height that must stay, about 2 for steel and 1.5 for nylon strings [mm].
    total_height : float, optional
        Whole height of the saddle, slot included; at most half of it may stand out [mm].

    Returns
    -------
    SaddleFiling
        Wanted and allowed [mm].

    Raises
    ------
    OutOfRange
        When a height lies outside its range.

    Notes
    -----
    Common practice, no published source.

    >>> saddle_filing(1.5, 3.25, 2.0).allowed
    1.25
    """
    off = float(within(wanted, "wanted", -10, 10, "mm"))
    stands = float(within(out, "saddle_out", 0, 15, "mm"))
    floor = float(within(least, "least_saddle_out", 0, 5, "mm"))
    most = math.inf
    if total_height is not None:
        whole = float(positive(total_height, "saddle_total_height", "mm"))
        if whole < stands:
            raise OutOfRange(
                "saddle_total_height must be at least what stands out of the slot", "saddle_total_height"
            )
        # a shim underneath lifts the saddle out of the slot; what is in the slot shrinks by as much
        most = max(whole / 2.0, stands)
    if off >= 0:
        allowed = min(off, max(stands - floor, 0.0))
    else:
        allowed = -min(-off, most - stands)
    return SaddleFiling(wanted=off, allowed=allowed, least=floor, most=most)


def spring_change(old_pull: ArrayLike, new_pull: ArrayLike) -> FloatArray:
    """By which share the springs of a floating tremolo must pull harder after a change of strings.

    Parameters
    ----------
    old_pull, new_pull : float or array
        Total pull of the strings before and after [N].

    Returns
    -------
    float or array
        Share; 0.225 = 22.5 % more [-].

    Raises
    ------
    OutOfRange
        When a pull is not positive.

    Notes
    -----
    Balance of moments about the pivots: with unchanged lever arms springs and strings grow alike.
    """
    return plain(positive(new_pull, "new_pull", "N") / positive(old_pull, "old_pull", "N") - 1.0)
