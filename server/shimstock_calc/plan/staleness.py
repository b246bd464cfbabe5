"""Which readings an adjustment makes stale."""

from __future__ import annotations

from collections.abc import Sequence

from .goals import Spot
from .inputs import Adjustment, BridgeKind, Part, PlanInput, Quantity, Side

HEIGHT: frozenset[Quantity] = frozenset(
    {"action", "nut-action", "pickup-height", "intonation", "break-clearance"}
)
SOUND: frozenset[Quantity] = HEIGHT | {"relief", "twist"}

AFFECTS: dict[Part, frozenset[Quantity]] = {
    "truss-rod": frozenset({"relief", "twist", "action", "nut-action", "intonation"}),
    "strings": SOUND,
    "bridge-post": HEIGHT,
    "saddle-screw": HEIGHT,
    "saddle": HEIGHT | {"saddle-out"},
    "saddle-position": frozenset({"intonation"}),
    "nut-slot": frozenset({"nut-action", "action", "intonation"}),
    "spring-claw": HEIGHT | {"relief"},
    "neck-shim": HEIGHT,
    "pickup-screw": frozenset({"pickup-height"}),
    "tailpiece": frozenset({"break-clearance"}),
    "frets": SOUND,
    "tuners": frozenset(),
    "instrument": frozenset(),
}
"""Quantities that an adjustment of a part changes.

The height of a pickup is read with the string held at the last fret, beyond the bend: a rod leaves it.
"""


OWN: dict[Quantity, frozenset[Part]] = {
    "relief": frozenset({"truss-rod", "strings"}),
    "action": frozenset({"bridge-post", "saddle-screw", "saddle", "neck-shim", "strings"}),
    "nut-action": frozenset({"nut-slot", "strings"}),
    "pickup-height": frozenset({"pickup-screw"}),
    "intonation": frozenset({"saddle-position", "strings"}),
    "break-clearance": frozenset({"tailpiece"}),
    "saddle-out": frozenset({"saddle"}),
}
"""Parts that are adjusted for the sake of a quantity: it is read before anything more is done to it."""


def own_part_moved(spot: Spot, since: int, plan_input: PlanInput) -> bool:
    """Whether a quantity was adjusted after a reading, for its own sake."""
    return any(
        each.order > since and each.part in OWN.get(spot.quantity, ()) and affects(each, spot, plan_input)
        for each in plan_input.adjustments
    )


def disturbed_since(spot: Spot, plan_input: PlanInput) -> int:
    """Rank of the last adjustment that affects a spot; -1 when none does."""
    ranks = [each.order for each in plan_input.adjustments if affects(each, spot, plan_input)]
    return max(ranks, default=-1)


def affects(adjustment: Adjustment, spot: Spot, plan_input: PlanInput) -> bool:
    """Whether an adjustment changes what is read at a spot."""
    instrument = plan_input.instrument
    return moves(adjustment, spot, instrument.bridge.kind, instrument.numbers)


def moves(adjustment: Adjustment, spot: Spot, bridge: BridgeKind, strings: Sequence[int]) -> bool:
    """Whether an adjustment changes what is read at a spot of an instrument with this bridge and strings."""
    if spot.quantity not in AFFECTS[adjustment.part]:
        return False
    if adjustment.part == "pickup-screw":
        return adjustment.pickup is None or spot.pickup is None or adjustment.pickup == spot.pickup
    if adjustment.part in {"nut-slot", "saddle-screw", "saddle-position"}:
        return _same_string(adjustment, spot, bridge, strings)
    return True


def _same_string(adjustment: Adjustment, spot: Spot, bridge: BridgeKind, strings: Sequence[int]) -> bool:
    def named(side: Side | None, string: int | None) -> int | None:
        return {"bass": strings[-1], "treble": strings[0]}[side] if side and string is None else string

    if adjustment.part == "saddle-position" and bridge in {"one-piece", "movable"}:
        return True
    turned, read = named(adjustment.side, adjustment.string), named(spot.side, spot.string)
    if turned is None or read is None or turned == read:
        return True
    paired = bridge == "paired-saddles" and adjustment.part != "nut-slot"
    return paired and (turned - 1) // 2 == (read - 1) // 2
