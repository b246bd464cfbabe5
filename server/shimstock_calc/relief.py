"""Relief: the bend of the neck, and what a reading between two frets says of a reading between two others.

Body frame: x runs from the nut along the string, y up from the plane of the fret tops over the body. The neck
is a beam of constant curvature from the nut to the body joint and straight beyond (common approximation for a
beam under a constant moment). Positive curvature is forward bow.
"""

from __future__ import annotations

from typing import TypeAlias

import numpy as np
from numpy.typing import ArrayLike

from ._checks import FloatArray, finite, plain, positive, within
from .errors import OutOfRange
from .scale import fret_position

HoldFrets: TypeAlias = tuple[ArrayLike, ArrayLike]
"""The two frets at which a string is held, lower one first."""

GRAVITY_CURVATURE = 3.3e-6
"""Bend that a neck of 648 mm lacks on its back, head free, against playing position [1/mm]; rough."""

GRAVITY_SD = 0.4
"""Standard uncertainty of that, as a share of it [-]; judgement."""

BEND_PER_PULL = 5.1e-8
"""Bending moment over rigidity of a 25.5 in maple neck, per newton of pull [1/(mm N)]; from memory.

Known within a factor 2 alone; the second digit keeps examples as they were printed.
"""

COMPLIANCE_FACTOR = 2.0
"""The beam estimate of the neck's compliance is uncertain by this factor either way [-]; judgement."""

MOST_RELIEF = 5.0


def neck_height(position: ArrayLike, curvature: ArrayLike, joint: ArrayLike) -> FloatArray:
    """Height of the fret tops above the plane of those over the body.

    Parameters
    ----------
    position : float or array
        Distance from the nut [mm].
    curvature : float or array, broadcast
        Curvature of the neck, positive = forward bow [1/mm].
    joint : float or array, broadcast
        Distance from the nut to the body joint [mm].

    Returns
    -------
    float or array
        Height [mm].

    Raises
    ------
    OutOfRange
        When a number is not finite.

    Notes
    -----
    y(x) = k/2·(x_j - x)² before the joint, 0 beyond: a beam under a constant moment, clamped at the joint
    (elementary beam theory).

    >>> float(neck_height(0.0, 1e-5, 400.0))
    0.8
    """
    beyond = np.maximum(finite(joint, "body_joint_fret") - finite(position, "position"), 0.0)
    return plain(0.5 * finite(curvature, "curvature") * beyond**2)


def relief_per_curvature(
    scale_length: ArrayLike,
    body_joint_fret: ArrayLike,
    held: HoldFrets,
    fret: ArrayLike,
) -> FloatArray:
    """Relief that a curvature of one shows at a fret, the string held at two frets.

    Parameters
    ----------
    scale_length : float or array
        Scale length [mm].
    body_joint_fret : float or array, broadcast
        Fret at the body joint, 8 to 24 [-].
    held : pair of float or array, broadcast
        The two frets at which the string is held; 0 = a straightedge that reaches the nut end [-].
    fret : float or array, broadcast
        Fret at which it is read, between the two [-].

    Returns
    -------
    float or array
        Relief over curvature [mm²].

    Raises
    ------
    OutOfRange
        When the reading fret does not lie between the hold frets, or these lie beyond the joint.

    Notes
    -----
    Chord from (x_a, y_a) to (x_b, y_b) minus y(x_m).
    """
    low = within(held[0], "hold_frets", 0, 36)
    high = within(held[1], "hold_frets", 0, 36)
    at = within(fret, "reading_fret", 0, 36)
    joint_fret = within(body_joint_fret, "body_joint_fret", 8, 24)
    if (low >= at).any() or (at >= high).any():
        raise OutOfRange("reading_fret must lie between the two hold frets", "reading_fret")
    if (low >= joint_fret).any():
        raise OutOfRange("the lower hold fret must lie before the body joint", "hold_frets")
    x_a, x_b, x_m = (fret_position(place, scale_length) for place in (low, high, at))
    joint = fret_position(joint_fret, scale_length)
    y_a, y_b, y_m = (neck_height(x, 1.0, joint) for x in (x_a, x_b, x_m))
    return plain((y_a * (x_b - x_m) + y_b * (x_m - x_a)) / (x_b - x_a) - y_m)


def curvature_from_relief(
    relief: ArrayLike,
    scale_length: ArrayLike,
    body_joint_fret: ArrayLike,
    held: HoldFrets,
    fret: ArrayLike,
) -> FloatArray:
    """Curvature of the neck from one relief reading.

    Parameters
    ----------
    relief : float or array
        Relief, -5 to 5, positive = forward bow [mm].
    scale_length, body_joint_fret, held, fret : float or array, broadcast
        As in `relief_per_curvature` [mm; -].

    Returns
    -------
    float or array
        Curvature [1/mm].

    Raises
    ------
    OutOfRange
        As `relief_per_curvature`, and when relief is beyond any neck.
    """
    value = within(relief, "relief", -MOST_RELIEF, MOST_RELIEF, "mm")
    return plain(value / relief_per_curvature(scale_length, body_joint_fret, held, fret))


def relief_conversion(
    scale_length: ArrayLike,
    body_joint_fret: ArrayLike,
    held: HoldFrets,
    fret: ArrayLike,
    *,
    to_held: HoldFrets,
    to_fret: ArrayLike,
) -> FloatArray:
    """Factor that turns relief read at one place into relief at another, and its uncertainty as well.

    Parameters
    ----------
    scale_length, body_joint_fret : float or array
        Geometry [mm; -].
    held, fret : float or array, broadcast
        Hold frets and reading fret of the reading [-].
    to_held, to_fret : float or array, broadcast
        Those wanted [-].

    Returns
    -------
    float or array
        Factor [-].

    Raises
    ------
    OutOfRange
        As `relief_per_curvature`.

    Notes
    -----
    Relief is linear in the curvature, so the ratio of two reliefs per curvature converts.

    >>> round(float(relief_conversion(645.2, 14, (1, 14), 7, to_held=(1, 20), to_fret=8)), 3)
    1.473
    """
    here = relief_per_curvature(scale_length, body_joint_fret, held, fret)
    there = relief_per_curvature(scale_length, body_joint_fret, to_held, to_fret)
    return plain(there / here)


def relief_at_fret(
    relief: ArrayLike,
    scale_length: ArrayLike,
    body_joint_fret: ArrayLike,
    held: HoldFrets,
    fret: ArrayLike,
    *,
    to_held: HoldFrets,
    to_fret: ArrayLike,
) -> FloatArray:
    """Relief at another fret or between other hold frets, from one reading.

    Parameters
    ----------
    relief : float or array
        As read, -5 to 5 [mm].
    scale_length, body_joint_fret, held, fret, to_held, to_fret
        As in `relief_conversion` [mm; -].

    Returns
    -------
    float or array
        Relief at the place wanted [mm].

    Raises
    ------
    OutOfRange
        As `curvature_from_relief`.
    """
    factor = relief_conversion(scale_length, body_joint_fret, held, fret, to_held=to_held, to_fret=to_fret)
    return plain(within(relief, "relief", -MOST_RELIEF, MOST_RELIEF, "mm") * factor)


def largest_relief_fret(scale_length: float, body_joint_fret: float, held: tuple[int, int]) -> int:
    """Fret at which relief reads largest between two hold frets.

    Parameters
    ----------
    scale_length : float
        Scale length [mm].
    body_joint_fret : float
        Fret at the body joint [-].
    held : pair of int
        Hold frets [-].

    Returns
    -------
    int
        The fret [-].

    Raises
    ------
    OutOfRange
        When no fret lies between the hold frets.
    """
    frets = np.arange(held[0] + 1, held[1])
    if frets.size == 0:
        raise OutOfRange("hold_frets must have at least one fret between them", "hold_frets")
    reliefs = relief_per_curvature(scale_length, body_joint_fret, held, frets)
    return int(frets[int(np.argmax(reliefs))])


def gravity_relief(
    scale_length: ArrayLike, body_joint_fret: ArrayLike, held: HoldFrets, fret: ArrayLike
) -> FloatArray:
    """Relief that a reading lacks on the back, head free, against playing position.

    Parameters
    ----------
    scale_length, body_joint_fret, held, fret : float or array, broadcast
        As in `relief_per_curvature` [mm; -].

    Returns
    -------
    float or array
        To be added to the reading; its standard uncertainty is four tenths of it [mm].

    Raises
    ------
    OutOfRange
        As `relief_per_curvature`.

    Notes
    -----
    The head hangs from a lever as long as the neck: a bend of 3.3e-6 per mm at 648 mm that grows with the
    scale, and the relief with its cube; computed, rough. About 0.07 mm on a guitar, twice that on a bass.

    >>> [round(float(gravity_relief(scale, 16, (1, 21), 8)), 2) for scale in (648.0, 864.0)]
    [0.07, 0.16]
    """
    bend = GRAVITY_CURVATURE * positive(scale_length, "scale_length", "mm") / 648.0
    return plain(bend * relief_per_curvature(scale_length, body_joint_fret, held, fret))


def twist(relief_bass: ArrayLike, relief_treble: ArrayLike) -> FloatArray:
    """Twist: relief on the bass side minus relief on the treble side.

    Parameters
    ----------
    relief_bass, relief_treble : float or array, broadcast
        Read between the same frets [mm].

    Returns
    -------
    float or array
        Twist [mm].

    Raises
    ------
    OutOfRange
        When a relief is beyond any neck.
    """
    bass = within(relief_bass, "relief", -MOST_RELIEF, MOST_RELIEF, "mm")
    return plain(bass - within(relief_treble, "relief", -MOST_RELIEF, MOST_RELIEF, "mm"))


def compliance_estimate(
    scale_length: ArrayLike,
    body_joint_fret: ArrayLike,
    held: HoldFrets,
    fret: ArrayLike,
    *,
    frets: ArrayLike | None = None,
) -> FloatArray:
    """Change of relief per newton of total string pull, estimated from a beam.

    Parameters
    ----------
    scale_length, body_joint_fret, held, fret : float or array, broadcast
        As in `relief_per_curvature` [mm; -].
    frets : float or array, broadcast, optional
        Frets of the neck; the upper hold fret where it is not given [-].

    Returns
    -------
    float or array
        Compliance, uncertain by a factor 2 either way [mm/N].

    Raises
    ------
    OutOfRange
        As `relief_per_curvature`.

    Notes
    -----
    Held at the first and the last fret a neck shows the sag of a beam under a constant moment at mid-span,
    M·l²/(8·E·I), with M/(E·I) about 5e-8 per mm and newton for a 25.5 in maple neck (from memory); usual
    reading frets are near enough to it. What other hold frets show of that bend: `relief_per_curvature`.

    >>> float(f"{compliance_estimate(647.7, 16, (1, 21), 8):.1g}")
    0.001
    """
    last = held[1] if frets is None else frets
    length = fret_position(last, scale_length) - fret_position(1, scale_length)
    sag = BEND_PER_PULL * positive(length, "frets", "mm") ** 2 / 8.0
    shown = relief_per_curvature(scale_length, body_joint_fret, held, fret)
    return plain(sag * shown / relief_per_curvature(scale_length, body_joint_fret, (1, last), fret))
