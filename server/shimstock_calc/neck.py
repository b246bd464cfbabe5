"""Neck, relief and action as one geometry: a bent neck, a straight string, and what one says of the other.

The body frame is that of `relief.py`; its functions are offered here too.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from ._checks import FloatArray, finite, plain, positive, within
from .errors import Contradiction, OutOfRange
from .relief import (
    COMPLIANCE_FACTOR,
    MOST_RELIEF,
    HoldFrets,
    compliance_estimate,
    curvature_from_relief,
    gravity_relief,
    largest_relief_fret,
    neck_height,
    relief_at_fret,
    relief_conversion,
    relief_per_curvature,
    twist,
)
from .scale import fret_position

__all__ = [
    "COMPLIANCE_FACTOR",
    "COUPLING_SD",
    "ActionForecast",
    "StringLine",
    "action_at",
    "action_forecast",
    "compliance_estimate",
    "curvature_from_relief",
    "gravity_relief",
    "largest_relief_fret",
    "neck_height",
    "nut_action_from_gap",
    "open_action_from_capo",
    "relief_at_fret",
    "relief_conversion",
    "relief_coupling",
    "relief_per_curvature",
    "saddle_share",
    "shim_drop",
    "string_line",
    "twist",
]

COUPLING_SD = 0.3
"""Standard uncertainty of d(action at 12)/d(relief) until learned [-]; judgement."""

MOST_HEIGHT = 25.0
OCTAVE = 12


@dataclass(frozen=True)
class StringLine:
    """Where the open string runs over the neck.

    Attributes
    ----------
    curvature : float or array
        Of the neck [1/mm].
    slot : float or array
        Bottom of the nut slot above the fret tops there [mm].
    saddle : float or array
        Saddle's top above the plane of the fret tops over the body [mm].
    """

    curvature: FloatArray
    slot: FloatArray
    saddle: FloatArray


def string_line(
    relief: ArrayLike,
    nut_action: ArrayLike,
    action: ArrayLike,
    *,
    scale_length: ArrayLike,
    body_joint_fret: ArrayLike,
    held: HoldFrets,
    fret: ArrayLike,
    action_fret: ArrayLike = OCTAVE,
    slack: float = 0.0,
) -> StringLine:
    """Nut slot and saddle height from relief, nut action and action.

    Parameters
    ----------
    relief : float or array
        Relief, positive = forward bow [mm].
    nut_action : float or array, broadcast
        Open string above the 1st fret [mm].
    action : float or array, broadcast
        Open string above `action_fret` [mm].
    scale_length, body_joint_fret, held, fret
        As in `relief_per_curvature` [mm; -].
    action_fret : float or array
        Fret at which action was read [-].
    slack : float
        How far below zero slot, saddle or clearance may come out before the readings are held to contradict
        each other: what the readings' own uncertainty allows [mm].

    Returns
    -------
    StringLine
        Curvature [1/mm], slot and saddle [mm].

    Raises
    ------
    Contradiction
        When the slot or saddle comes out negative, or the string would touch a fret: the readings cannot
        all be true of one instrument. The field names the reading to look at first.
    OutOfRange
        When a reading is beyond any instrument.
    """
    k = curvature_from_relief(relief, scale_length, body_joint_fret, held, fret)
    at_nut = within(nut_action, "nut_action", 0.0, MOST_HEIGHT, "mm")
    at_fret = within(action, "action", 0.0, MOST_HEIGHT, "mm")
    joint = fret_position(body_joint_fret, scale_length)
    x_1, x_n = (
        fret_position(1, scale_length),
        fret_position(within(action_fret, "action_fret", 2, 36), scale_length),
    )
    line_1 = at_nut + neck_height(x_1, k, joint)
    line_n = at_fret + neck_height(x_n, k, joint)
    slope = (line_n - line_1) / (x_n - x_1)
    line_0 = line_1 - slope * x_1
    slot = line_0 - neck_height(0.0, k, joint)
    saddle = line_0 + slope * np.asarray(scale_length, dtype=np.float64)
    line = StringLine(plain(k), plain(slot), plain(saddle))
    _refuse_contradiction(line, scale_length, body_joint_fret, slack)
    return line


def _refuse_contradiction(
    line: StringLine, scale_length: ArrayLike, body_joint_fret: ArrayLike, slack: float
) -> None:
    together = "relief, nut action and action cannot all be true of one string: "
    if (np.asarray(line.saddle) < -slack).any():
        low = float(np.min(line.saddle))
        raise Contradiction(
            f"{together}the saddle would lie {-low:.2f} mm below the frets; read the action again", "action"
        )
    axes = max(np.ndim(each) for each in (line.curvature, line.slot, scale_length, body_joint_fret))
    frets = np.arange(2, 25)
    heights = action_at(line, frets.reshape(-1, *[1] * axes), scale_length, body_joint_fret)
    lowest = heights.reshape(frets.size, -1).min(axis=1)
    if lowest.min() < -slack:
        at = int(np.argmin(lowest))
        raise Contradiction(
            f"{together}the open string would lie {-lowest[at]:.2f} mm below the top of fret {frets[at]}; "
            "read relief again, in back-bow with a notched straightedge",
            "relief",
        )
    if (np.asarray(line.slot) < -slack).any():
        low = float(np.min(line.slot))
        raise Contradiction(
            f"{together}the nut slot would lie {-low:.2f} mm below the frets; read the nut action again",
            "nut_action",
        )


def action_at(
    line: StringLine, fret: ArrayLike, scale_length: ArrayLike, body_joint_fret: ArrayLike
) -> FloatArray:
    """Height of the open string above a fret.

    Parameters
    ----------
    line : StringLine
        Curvature, slot and saddle, as `string_line` gives them [1/mm; mm; mm].
    fret : float or array
        Fret [-].
    scale_length, body_joint_fret : float or array, broadcast
        Geometry [mm; -].

    Returns
    -------
    float or array
        Height [mm].

    Raises
    ------
    OutOfRange
        When a fret or the scale length lies outside its range.

    >>> line = string_line(0.2, 0.35, 1.5, scale_length=628.65, body_joint_fret=16, held=(1, 22), fret=9)
    >>> round(float(action_at(line, 12, 628.65, 16)), 6)
    1.5
    """
    length = positive(scale_length, "scale_length", "mm")
    joint = fret_position(body_joint_fret, length)
    x = fret_position(fret, length)
    nut = line.slot + neck_height(0.0, line.curvature, joint)
    return plain(nut + (line.saddle - nut) * x / length - neck_height(x, line.curvature, joint))


def relief_coupling(
    scale_length: ArrayLike,
    body_joint_fret: ArrayLike,
    held: HoldFrets,
    fret: ArrayLike,
    *,
    at: ArrayLike = OCTAVE,
) -> FloatArray:
    """How much the open string's height over a fret follows a change of relief, slot and saddle left alone.

    Parameters
    ----------
    scale_length, body_joint_fret, held, fret
        Where relief is read, as in `relief_per_curvature` [mm; -].
    at : float or array
        Fret over which the string's height is wanted: 12 for action, 1 for nut action [-].

    Returns
    -------
    float or array
        d(height)/d(relief) [-].

    Raises
    ------
    OutOfRange
        As `relief_per_curvature`.

    >>> round(float(relief_coupling(628.65, 16, (1, 22), 9)), 2)
    1.67
    """
    length = positive(scale_length, "scale_length", "mm")
    joint = fret_position(body_joint_fret, length)
    x = fret_position(within(at, "at", 0, 36), length)
    rise = neck_height(0.0, 1.0, joint) * (1.0 - x / length) - neck_height(x, 1.0, joint)
    return plain(rise / relief_per_curvature(length, body_joint_fret, held, fret))


@dataclass(frozen=True)
class ActionForecast:
    """Heights after a change of relief, saddle or nut slot.

    Attributes
    ----------
    action, nut_action : float or array
        Forecast [mm].
    action_uncertainty : float or array
        Standard uncertainty from the coupling alone [mm].
    coupling, nut_coupling : float or array
        d(action)/d(relief) and d(nut action)/d(relief) used [-].
    """

    action: FloatArray
    nut_action: FloatArray
    action_uncertainty: FloatArray
    coupling: FloatArray
    nut_coupling: FloatArray


def action_forecast(
    action: ArrayLike,
    nut_action: ArrayLike,
    relief_change: ArrayLike,
    *,
    scale_length: ArrayLike,
    body_joint_fret: ArrayLike,
    held: HoldFrets,
    fret: ArrayLike,
    saddle_raised: ArrayLike = 0.0,
    slot_lowered: ArrayLike = 0.0,
    action_fret: ArrayLike = OCTAVE,
    coupling_sd: float = COUPLING_SD,
) -> ActionForecast:
    """Forecast action and nut action after relief, saddle or slot have changed.

    Parameters
    ----------
    action, nut_action : float or array
        Heights before [mm].
    relief_change : float or array, broadcast
        Change of relief at its hold and reading frets, negative = less relief [mm].
    scale_length, body_joint_fret, held, fret
        As in `relief_per_curvature` [mm; -].
    saddle_raised : float or array
        How far the saddle goes up [mm].
    slot_lowered : float or array
        How far the nut slot goes down [mm].
    action_fret : float or array
        Fret at which action is read [-].
    coupling_sd : float
        Standard uncertainty of the coupling [-].

    Returns
    -------
    ActionForecast
        Heights after, with what was used.

    Raises
    ------
    OutOfRange
        When a reading or the geometry lies outside its range.

    Notes
    -----
    Saddle raised by h: fret n rises by h·x_n/X; slot lowered by s: fret n sinks by s·(1 - x_n/X).
    """
    before = within(action, "action", -MOST_HEIGHT, MOST_HEIGHT, "mm")
    nut_before = within(nut_action, "nut_action", -MOST_HEIGHT, MOST_HEIGHT, "mm")
    change = within(relief_change, "relief_change", -MOST_RELIEF, MOST_RELIEF, "mm")
    raised = within(saddle_raised, "saddle_raised", -MOST_HEIGHT, MOST_HEIGHT, "mm")
    lowered = within(slot_lowered, "slot_lowered", -MOST_HEIGHT, MOST_HEIGHT, "mm")
    place = (scale_length, body_joint_fret, held, fret)
    coupling, nut_coupling = relief_coupling(*place, at=action_fret), relief_coupling(*place, at=1)
    share, nut_share = saddle_share(action_fret), saddle_share(1)
    return ActionForecast(
        action=plain(before + coupling * change + share * raised - (1 - share) * lowered),
        nut_action=plain(nut_before + nut_coupling * change + nut_share * raised - (1 - nut_share) * lowered),
        action_uncertainty=plain(np.abs(change) * within(coupling_sd, "coupling_sd", 0, 5)),
        coupling=coupling,
        nut_coupling=nut_coupling,
    )


def saddle_share(fret: ArrayLike) -> FloatArray:
    """Part of a saddle's rise that reaches a fret, x_n/X; the nut slot's part is one minus it.

    Parameters
    ----------
    fret : float or array
        Fret [-].

    Returns
    -------
    float or array
        Share [-].

    Raises
    ------
    OutOfRange
        When the fret lies outside 0 to 36.

    >>> float(saddle_share(12))
    0.5
    """
    return plain(1.0 - 2.0 ** (-within(fret, "fret", 0, 36) / 12.0))


def open_action_from_capo(action: ArrayLike, nut_action: ArrayLike, fret: ArrayLike = OCTAVE) -> FloatArray:
    """Action of the open string from a reading with a capo at fret 1.

    Parameters
    ----------
    action : float or array
        Read with the capo on [mm].
    nut_action : float or array, broadcast
        Open string above the 1st fret, without the capo [mm].
    fret : float or array
        Where action was read [-].

    Returns
    -------
    float or array
        Action without the capo [mm].

    Raises
    ------
    OutOfRange
        When a reading lies outside its range or the fret is not beyond the capo.

    Notes
    -----
    The capo pulls the string down by the nut action at fret 1; at fret n by (X - x_n)/(X - x_1) of it,
    0.530 at the 12th.

    >>> round(float(open_action_from_capo(1.0, 1.0)), 3)
    1.53
    """
    share = saddle_share(within(fret, "fret", 2, 36))
    part = (1.0 - share) / (1.0 - saddle_share(1))
    return plain(
        within(action, "action", 0, MOST_HEIGHT, "mm")
        + within(nut_action, "nut_action", 0, MOST_HEIGHT, "mm") * part
    )


def nut_action_from_gap(
    gap: ArrayLike,
    action: ArrayLike,
    curvature: ArrayLike,
    scale_length: ArrayLike,
    body_joint_fret: ArrayLike,
) -> FloatArray:
    """Nut action from the gap over the 1st fret with the string held at fret 3.

    Parameters
    ----------
    gap : float or array
        Between string and fret 1, string held at fret 3 [mm].
    action : float or array, broadcast
        Open string above the 12th fret [mm].
    curvature : float or array, broadcast
        Of the neck [1/mm].
    scale_length, body_joint_fret : float or array, broadcast
        Geometry [mm; -].

    Returns
    -------
    float or array
        Open string above the 1st fret [mm].

    Raises
    ------
    OutOfRange
        When a reading lies outside its range.

    Notes
    -----
    On a straight neck gap = slot·(x_3 - x_1)/x_3 = 0.647·slot; the neck's curve between nut and fret 3 adds
    k/2·x_1·(x_3 - x_1). The slot and the 12th-fret action then fix the string.
    """
    k = finite(curvature, "curvature")
    joint = fret_position(body_joint_fret, scale_length)
    x_1, x_3, x_12 = (fret_position(fret, scale_length) for fret in (1, 3, OCTAVE))
    slot = (within(gap, "nut_action", 0, MOST_HEIGHT, "mm") - 0.5 * k * x_1 * (x_3 - x_1)) * x_3 / (x_3 - x_1)
    line_0 = slot + neck_height(0.0, k, joint)
    line_12 = within(action, "action", 0, MOST_HEIGHT, "mm") + neck_height(x_12, k, joint)
    return plain(line_0 + (line_12 - line_0) * x_1 / x_12 - neck_height(x_1, k, joint))


def shim_drop(
    thickness: ArrayLike, pocket_length: ArrayLike, pocket_front: ArrayLike, scale_length: ArrayLike
) -> FloatArray:
    """How far a shim at the body end of a neck pocket drops the board's plane at the saddle.

    Parameters
    ----------
    thickness : float or array
        Of the shim at the pocket's body end, 0 to 3 [mm].
    pocket_length : float or array, broadcast
        Length of the pocket along the strings [mm].
    pocket_front : float or array, broadcast
        Nut to the pocket's front edge [mm].
    scale_length : float or array, broadcast
        Scale length [mm].

    Returns
    -------
    float or array
        Drop at the saddle; action at the 12th falls by half of it [mm].

    Raises
    ------
    OutOfRange
        When a length lies outside its range.

    Notes
    -----
    Similar triangles: t/Lp·(X - x_front).

    >>> round(float(shim_drop(0.5, 76.0, 379.2, 628.65)), 2)
    1.64
    """
    beyond = positive(scale_length, "scale_length", "mm") - positive(pocket_front, "pocket_front", "mm")
    if (np.asarray(beyond) <= 0).any():
        raise OutOfRange("pocket_front must lie before the saddle", "pocket_front")
    slope = within(thickness, "shim", 0, 3, "mm") / positive(pocket_length, "pocket_length", "mm")
    return plain(slope * beyond)
