"""The hidden state of an instrument: what every quantity truly is, and how it answers to hand and time."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from shimstock_calc.plan.model import PlanInput, Quantity, ReadingWanted, Side, SpecItem

from .neck import ALONG, Neck, gap_under_chord
from .policy import SIDES, Act, Spot
from .rod import Rod

OCTAVE = 12
TOP_OF_NUT = 1
ON_POSTS = frozenset({"two-post", "one-piece", "movable", "floating-tremolo", "locking-tremolo"})
WHOLE = frozenset({"one-piece", "movable"})
"""Bridges that move along the strings as a whole."""


@dataclass
class Hidden:
    """What nobody sees."""

    plan_input: PlanInput
    """As the catalogue describes the instrument, before anything was read."""
    neck: Neck
    rod: Rod
    twist: float
    """Relief on the bass side minus relief on the treble side [mm]."""
    slots: dict[int, float]
    """Height of each nut slot above the plane of the frets at the nut [mm]."""
    saddles: dict[int, float]
    """Height of each string at the saddle above the plane over the body [mm]."""
    cents: dict[int, float]
    pickups: dict[tuple[str, str], float]
    pickup_shares: dict[str, float]
    """Part of a rise at the saddle that reaches each pickup under a string held at the last fret."""
    saddle_out: dict[str, float]
    compliance: float
    """Relief per newton of pull [mm/N]."""
    more_pull: float
    """What the strings that are wanted pull more [N]."""
    cents_per_rise: float
    """How much sharper a higher string plays [cents per mm at the 12th fret]."""
    numbers: tuple[int, ...] = field(init=False)

    def __post_init__(self) -> None:
        instrument = self.plan_input.instrument
        self.numbers = tuple(sorted(string.number for string in instrument.strings))
        self.scale = instrument.scale_bass
        self.spec_relief = next(item for item in self.plan_input.spec if item.quantity == "relief")

    # -------------------------------------------------------- what is there

    def across(self, number: int) -> float:
        """Where a string lies: 0 = treble side, 1 = bass side."""
        return (number - 1) / (len(self.numbers) - 1)

    def outermost(self, side: str | None) -> int:
        """Outermost string of a side."""
        return self.numbers[-1] if side == "bass" else self.numbers[0]

    def side_of(self, number: int) -> Side | None:
        """Side that an outermost string is on; None for those between."""
        return next((side for side in SIDES if self.outermost(side) == number), None)

    def relief(self, held: tuple[int, ...] = (), fret: int | None = None, side: str | None = None) -> float:
        """Gap under a string held down at two frets [mm]."""
        item = self.spec_relief
        low, high = held or item.held
        sides = {"bass": 0.5, "treble": -0.5, None: 0.0}
        gap = gap_under_chord(self.neck.tops(), (low, high), fret or item.fret or 8)
        return gap + sides[side] * self.twist

    def height(self, number: int, fret: int) -> float:
        """Height of an open string over a fret [mm]."""
        start = self.neck.top(0) + self.slots[number]
        return start + (self.saddles[number] - start) * ALONG[fret] - self.neck.top(fret)

    def value(self, wanted: ReadingWanted) -> float:
        """What a reading would show without any error."""
        number = wanted.string or self.outermost(wanted.side)
        if wanted.quantity == "relief":
            return self.relief(wanted.held, wanted.fret, wanted.side)
        if wanted.quantity == "action":
            return self.height(number, wanted.fret or OCTAVE)
        if wanted.quantity == "nut-action":
            return self.height(number, TOP_OF_NUT)
        if wanted.quantity == "intonation":
            return self.cents[number]
        if wanted.quantity == "saddle-out":
            return self.saddle_out[wanted.side or "bass"]
        if wanted.quantity == "pickup-height":
            return self.pickups[wanted.pickup or self.plan_input.instrument.pickups[0].name, str(wanted.side)]
        if wanted.quantity == "twist":
            return self.twist
        raise AssertionError(f"{wanted.quantity} is not simulated")

    def spots(self) -> list[tuple[Spot, SpecItem]]:
        """Every spot that the spec speaks of."""
        found: list[tuple[Spot, SpecItem]] = []
        instrument = self.plan_input.instrument
        for item in self.plan_input.spec:
            if item.quantity == "intonation":
                found += [(Spot("intonation", None, number), item) for number in self.numbers]
            elif item.quantity == "pickup-height":
                for pickup in instrument.pickups:
                    found += [(Spot("pickup-height", side, None, pickup.name), item) for side in SIDES]
            elif item.quantity == "relief" or item.side is not None:
                found.append((Spot(item.quantity, item.side), item))
            else:
                found += [(Spot(item.quantity, side), item) for side in SIDES]
        return found

    def inside(self, spot: Spot, item: SpecItem) -> bool:
        """Whether a spot truly lies within its limits."""
        value = self.value(ReadingWanted(spot.quantity, spot.side, spot.string, spot.pickup))
        return (item.lower is None or value >= item.lower) and (item.upper is None or value <= item.upper)

    def inner_inside(self) -> bool:
        """Whether the strings between the outer two lie within limits between theirs."""
        limits = {(item.quantity, item.side): item for item in self.plan_input.spec}
        frets: dict[Quantity, int] = {"nut-action": TOP_OF_NUT, "action": OCTAVE}
        for quantity, fret in frets.items():
            bass, treble = limits[quantity, "bass"], limits[quantity, "treble"]
            for number in self.numbers[1:-1]:
                part, value = self.across(number), self.height(number, fret)
                low = (treble.lower or 0.0) * (1 - part) + (bass.lower or 0.0) * part
                high = (treble.upper or 9.0) * (1 - part) + (bass.upper or 9.0) * part
                if not low <= value <= high:
                    return False
        return True

    # -------------------------------------------------------- hand and time

    def wait(self, minutes: float) -> None:
        """Let time pass."""
        if self.rod.to_come:
            self._bend(self.rod.wait(minutes), by_rod=True)

    def _bend(self, relief: float, *, by_rod: bool) -> None:
        before = {number: self.height(number, OCTAVE) for number in self.numbers}
        if by_rod:
            self.neck.rod_bend += relief
        else:
            self.neck.strings_bend += relief
        self._sharpen(before)

    def _sharpen(self, before: dict[int, float]) -> None:
        for number, height in before.items():
            self.cents[number] += self.cents_per_rise * (self.height(number, OCTAVE) - height)

    def do(self, act: Act, hand: float) -> None:
        """Adjust a part; the hand does `hand` times what was asked for."""
        before = {number: self.height(number, OCTAVE) for number in self.numbers}
        turns = act.by_hand if act.by_hand is not None else act.turns
        turns = None if turns is None else turns * hand
        amount = (act.amount or 0.0) * hand
        bridge = self.plan_input.instrument.bridge
        if act.part == "truss-rod":
            self.neck.rod_bend += self.rod.turn(turns or 0.0)
        elif act.part == "bridge-post":
            self._turn_post(act.side or "bass", (turns or 0.0) * (bridge.height_thread_pitch or 0.0))
        elif act.part == "saddle-screw":
            own = bridge.screws_per_saddle == 2  # a pair's saddle has a screw beside each string
            moved = [act.string or 1] if own else self._sharing(act.string or 1)
            self._raise(moved, (turns or 0.0) * (bridge.height_thread_pitch or 0.0))
        elif act.part == "saddle":
            self._saddle(act.side or "bass", -amount if act.filing else amount)
        elif act.part == "nut-slot":
            self.slots[act.string or 1] -= amount
        elif act.part == "pickup-screw":
            self._pickup(act, turns or 0.0)
        elif act.part == "saddle-position":
            self._shift(act, amount if turns is None else turns * (bridge.intonation_screw_pitch or 0.0))
        elif act.part == "strings":
            self.neck.strings_bend += self.rod.give(self.compliance * self.more_pull)
        elif act.part != "spring-claw":
            raise AssertionError(f"{act.part} is not simulated")
        self._sharpen(before)

    def _raise(self, numbers: list[int], rise: float) -> None:
        for number in numbers:
            self.saddles[number] += rise
            for (name, side), gap in self.pickups.items():
                if number == self.outermost(side):
                    self.pickups[name, side] = gap + self.pickup_shares[name] * rise

    def _sharing(self, number: int) -> list[int]:
        if self.plan_input.instrument.bridge.kind != "paired-saddles":
            return [number]
        first = (number - 1) // 2 * 2 + 1
        return [first, first + 1]

    def _turn_post(self, side: str, rise: float) -> None:
        bridge = self.plan_input.instrument.bridge
        posts, spread = bridge.post_spacing or 0.0, bridge.string_spread or 0.0
        for number in self.numbers:
            place = ((posts - spread) / 2 + spread * self.across(number)) / posts
            self._raise([number], rise * (place if side == "bass" else 1 - place))

    def _saddle(self, side: str, rise: float) -> None:
        self.saddle_out[side] += rise
        for number in self.numbers:
            part = self.across(number)
            self._raise([number], rise * (part if side == "bass" else 1 - part))

    def _pickup(self, act: Act, turns: float) -> None:
        pickup = next(each for each in self.plan_input.instrument.pickups if each.name == act.pickup)
        self.pickups[pickup.name, act.side or "bass"] -= turns * (pickup.thread_pitch or 0.0)

    def _shift(self, act: Act, away: float) -> None:
        whole = self.plan_input.instrument.bridge.kind in WHOLE
        numbers = list(self.numbers) if whole else self._sharing(act.string or 1)
        for number in numbers:
            part = self.across(number) if act.side == "bass" else 1 - self.across(number)
            moved = away * (part if whole else 1.0)
            # the octave of an ideal string: r' = r (X + d) / (X + 2 d)
            self.cents[number] += 1200 * math.log2((self.scale + moved) / (self.scale + 2 * moved))
