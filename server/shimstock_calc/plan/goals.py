"""What the spec asks of this instrument, place by place, and the reading that answers it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import NamedTuple

from ..errors import Contradiction, Missing, OutOfRange
from ..relief import largest_relief_fret
from ..vocabulary import QUANTITIES
from .geometry import ReliefPlace, outermost, share_across, side_scale
from .model import Instrument, PlanInput, Quantity, Reading, Side, SpecItem

OCTAVE = 12
SIDES: tuple[Side, Side] = ("bass", "treble")
ON_A_SIDE: frozenset[Quantity] = frozenset(
    word for word, term in QUANTITIES.items() if term.outer_is_side and "pickup" not in term.told_apart_by
)
"""Quantities whose readings at an outermost string are readings of that side."""
ORDER: tuple[Quantity, ...] = tuple(QUANTITIES)


class Spot(NamedTuple):
    """Where a quantity is read: on a side, on one string, at one pickup."""

    quantity: Quantity
    side: Side | None = None
    string: int | None = None
    pickup: str | None = None


@dataclass(frozen=True)
class Goal:
    """One spot with its target and limits."""

    spot: Spot
    item: SpecItem

    @property
    def sort_key(self) -> tuple[int, str, int, int]:
        """The trade's order: quantity, pickup by name, bass before treble, string 1 first."""
        side = {"bass": 0, "treble": 1, None: 2}[self.spot.side]
        return ORDER.index(self.spot.quantity), self.spot.pickup or "", side, self.spot.string or 0


def spot_of(reading: Reading, instrument: Instrument) -> Spot:
    """Where a reading was taken; a reading on an outermost string is one of that side."""
    side, string = reading.side, reading.string
    if string is not None and string not in instrument.numbers:
        numbers = instrument.numbers
        raise OutOfRange(
            f"string must be one of this instrument's, {numbers[0]} to {numbers[-1]}; {string} was given",
            "string",
        )
    if string is not None and side is None and reading.quantity in ON_A_SIDE:
        side = next((each for each in SIDES if string == outermost(instrument, each)), None)
    if side is not None:
        string = None if reading.quantity != "intonation" else string
    pickup = reading.pickup
    if reading.quantity == "pickup-height" and pickup is None and len(instrument.pickups) == 1:
        pickup = instrument.pickups[0].name
    return Spot(reading.quantity, side, string, pickup)


def relief_place(plan_input: PlanInput) -> ReliefPlace:
    """Hold and reading frets at which the spec means relief; first, last and 8th when it does not say."""
    frets = plan_input.instrument.frets
    for item in plan_input.spec:
        if item.quantity == "relief":
            held = item.held if len(item.held) == 2 else (1, frets)
            return ReliefPlace((held[0], held[1]), item.fret or 8)
    return ReliefPlace((1, frets), 8)


def neck_place(instrument: Instrument) -> ReliefPlace:
    """Held at the first and last fret, read where relief is largest: there responses are kept."""
    return _largest(side_scale(instrument, None), instrument.body_joint_fret, instrument.frets)


@lru_cache(maxsize=1024)
def _largest(scale: float, joint: float, last: int) -> ReliefPlace:
    return ReliefPlace((1, last), largest_relief_fret(scale, joint, (1, last)))


def whole_place(plan_input: PlanInput) -> ReliefPlace:
    """The same, but for a fret: where the spec reads relief near there. There responses are stated."""
    place = neck_place(plan_input.instrument)
    near = min(max(relief_place(plan_input).fret, place.fret - 1), place.fret + 1)
    return ReliefPlace(place.held, near)


def goals(plan_input: PlanInput, spots: Mapping[str, Spot] | None = None) -> tuple[Goal, ...]:
    """Every spot that the spec speaks of, in the trade's order.

    Parameters
    ----------
    plan_input : PlanInput
        The job.
    spots : mapping, optional
        By id: where each reading was taken, where that is worked out already.

    Raises
    ------
    Contradiction
        When a limit lies on the wrong side of its target.
    Missing
        When there is no spec at all.
    """
    if not plan_input.spec:
        raise Missing("a setup spec is needed: a target for at least one quantity", "spec")
    ordered = sorted(plan_input.readings, key=lambda reading: (reading.order, reading.id))
    instrument = plan_input.instrument
    read = [spots[each.id] if spots else spot_of(each, instrument) for each in ordered]
    found: dict[Spot, tuple[int, Goal]] = {}
    for item in plan_input.spec:
        _check(item)
        rank = sum(part is not None for part in (item.side, item.string, item.pickup))
        for spot in _spots(item, instrument, read):
            # an item that names its side, string or pickup goes before one that holds for all
            if spot not in found or rank >= found[spot][0]:
                found[spot] = rank, Goal(spot, item)
    given = {spot: goal for spot, (_, goal) in found.items()}
    inner = _between(given, instrument, read)
    return tuple(sorted([*given.values(), *inner], key=lambda goal: goal.sort_key))


def _check(item: SpecItem) -> None:
    low = item.lower is not None and item.lower > item.target
    high = item.upper is not None and item.upper < item.target
    if low or high:
        raise Contradiction(
            f"{item.quantity} must have lower ≤ target ≤ upper", f"spec.{item.quantity.replace('-', '_')}"
        )


def _spots(item: SpecItem, instrument: Instrument, read: Sequence[Spot]) -> list[Spot]:
    quantity = item.quantity
    sides = (item.side,) if item.side else SIDES
    if quantity == "intonation":
        numbers = (item.string,) if item.string is not None else instrument.numbers
        return [Spot(quantity, None, number) for number in numbers]
    if quantity == "pickup-height":
        names = (
            (item.pickup,) if item.pickup else tuple(pickup.name for pickup in instrument.pickups) or (None,)
        )
        return [Spot(quantity, side, None, name) for name in names for side in sides]
    if quantity == "saddle-out" and instrument.bridge.kind != "fixed-saddle":
        return []
    place = QUANTITIES[quantity].place
    if place in ("neck", "string") and item.side is None and item.string is None:
        return _as_read(quantity, read)
    if place == "across":
        return [Spot(quantity)]
    if item.string is not None:
        for side in SIDES:
            if item.string == outermost(instrument, side):
                return [Spot(quantity, side)]
        return [Spot(quantity, None, item.string)]
    return [Spot(quantity, side) for side in sides]


def _as_read(quantity: Quantity, read: Sequence[Spot]) -> list[Spot]:
    """Sides or strings on which a quantity is read now; what the newest reading no longer names is left."""
    seen = [spot for spot in read if spot.quantity == quantity]
    if not seen:
        return [Spot(quantity)]
    sided = seen[-1].side is not None
    return sorted(
        {spot for spot in seen if (spot.side is not None) == sided and (sided or spot == seen[-1])}, key=str
    )


def _between(given: dict[Spot, Goal], instrument: Instrument, read: Sequence[Spot]) -> list[Goal]:
    """Inner strings that were read are held to limits between those of the two sides."""
    inner = []
    for spot in sorted({spot for spot in read if spot.string is not None}, key=str):
        bass, treble = given.get(Spot(spot.quantity, "bass")), given.get(Spot(spot.quantity, "treble"))
        if (
            spot.quantity in {"action", "nut-action"}
            and spot not in given
            and bass
            and treble
            and spot.string
        ):
            part = share_across(instrument, spot.string)
            inner.append(Goal(spot, _mixed(treble.item, bass.item, part)))
    return inner


def _mixed(treble: SpecItem, bass: SpecItem, part: float) -> SpecItem:
    def mix(low: float | None, high: float | None) -> float | None:
        return None if low is None or high is None else low + (high - low) * part

    target = treble.target + (bass.target - treble.target) * part
    return replace(
        bass,
        side=None,
        target=target,
        lower=mix(treble.lower, bass.lower),
        upper=mix(treble.upper, bass.upper),
    )
