"""Which way a part turns, and seen from where. Right-hand threads unless the model says otherwise.

Common practice, no published source.
"""

from __future__ import annotations

from .model import Bridge, Pickup, TrussRod

CLOCKWISE, COUNTER = "clockwise", "counter-clockwise"


def _way(clockwise: bool) -> str:
    return CLOCKWISE if clockwise else COUNTER


def rod(turns: float, truss_rod: TrussRod) -> tuple[str, str]:
    """Direction and turning sense of a truss rod nut; clockwise tightens, unless the rod is reversed.

    >>> rod(0.25, TrussRod("single-action"))
    ('tighten', 'clockwise, facing the nut from the wrench end')
    """
    way = _way((turns > 0) != bool(truss_rod.reversed))
    return "tighten" if turns > 0 else "loosen", f"{way}, facing the nut from the wrench end"


def post(height: float, bridge: Bridge) -> tuple[str, str]:
    """Post, stud, pivot or thumbwheel of a bridge: clockwise lowers."""
    return (
        "raise" if height > 0 else "lower",
        f"{_way((height < 0) != bridge.left_hand_thread)}, seen from above",
    )


def saddle_screw(height: float, bridge: Bridge) -> tuple[str, str]:
    """Height screw of a single saddle: clockwise raises."""
    return (
        "raise" if height > 0 else "lower",
        f"{_way((height > 0) != bridge.left_hand_thread)}, seen from above",
    )


def saddle_position(move: float, bridge: Bridge) -> tuple[str, str]:
    """Intonation screw: head at the tail, clockwise pulls the saddle away from the nut; else toward it."""
    direction = "away from the nut" if move > 0 else "toward the nut"
    if bridge.intonation_screw_pitch is None:
        return direction, ""
    clockwise = (move > 0) == (bridge.intonation_screw_head == "tail")
    where = "the tail" if bridge.intonation_screw_head == "tail" else "the nut side"
    return direction, f"{_way(clockwise)}, facing the screw's head from {where}"


def claw(more_pull: bool) -> tuple[str, str]:
    """Spring claw screws: clockwise gives more spring pull, and the tail of the plate goes down."""
    return (
        "more spring pull" if more_pull else "less spring pull",
        f"{_way(more_pull)}, facing the screws' heads",
    )


def pickup(closer: bool, screw: Pickup | None) -> tuple[str, str]:
    """Pickup screw: through a ring or guard clockwise raises; through the pickup into the body lowers."""
    direction = "raise" if closer else "lower"
    if screw is None or screw.screw is None:
        return direction, ""
    return direction, f"{_way(closer == (screw.screw == 'ring'))}, seen from above"
