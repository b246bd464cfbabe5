"""Which readings an adjustment makes stale."""

from __future__ import annotations

from collections.abc import Sequence

from ..vocabulary import BRIDGES, DISTURBS, PARTS, QUANTITIES
from .goals import Spot
from .inputs import Adjustment, BridgeKind, PlanInput, Side


def own_part(adjustment: Adjustment, spot: Spot) -> bool:
    """Whether a part is adjusted for the sake of a quantity."""
    return adjustment.part in QUANTITIES[spot.quantity].adjusted_by


def own_part_moved(spot: Spot, since: int, plan_input: PlanInput) -> bool:
    """Whether a quantity was adjusted after a reading, for its own sake."""
    return any(
        each.order > since and own_part(each, spot) and affects(each, spot, plan_input)
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
    if spot.quantity not in DISTURBS[adjustment.part]:
        return False
    if adjustment.part == "pickup-screw":
        return adjustment.pickup is None or spot.pickup is None or adjustment.pickup == spot.pickup
    if PARTS[adjustment.part].of_a_string:
        return _same_string(adjustment, spot, bridge, strings)
    return True


def _same_string(adjustment: Adjustment, spot: Spot, bridge: BridgeKind, strings: Sequence[int]) -> bool:
    def named(side: Side | None, string: int | None) -> int | None:
        return {"bass": strings[-1], "treble": strings[0]}[side] if side and string is None else string

    if adjustment.part == "saddle-position" and BRIDGES[bridge].moves_whole:
        return True
    turned, read = named(adjustment.side, adjustment.string), named(spot.side, spot.string)
    if turned is None or read is None or turned == read:
        return True
    paired = bridge == "paired-saddles" and adjustment.part != "nut-slot"
    return paired and (turned - 1) // 2 == (read - 1) // 2
