"""What the state's numbers mean on one instrument, and the rows that turn them into what a tool shows.

Levels are kept as the spec means them: relief at its hold and reading frets, as the mean of both sides
and their difference; action and nut action of the two outermost strings; of an inner string what it
departs from the line between them (each is read over its own fret, so that a radius that the saddles
follow shows nothing).
"""

from __future__ import annotations

from functools import lru_cache

from ..bridge import string_changes
from ..neck import saddle_share
from ..plan.geometry import (
    ReliefPlace,
    conversion,
    coupling,
    outermost,
    pair_of,
    share,
    share_across,
    side_scale,
    string_scale,
)
from ..plan.goals import OCTAVE, ORDER, SIDES, Spot, goals, whole_place
from ..plan.inputs import Adjustment, Instrument, PlanInput, Quantity, Reading, Side
from ..plan.records import Records
from ..plan.staleness import affects
from ..relief import curvature_from_relief, neck_height
from ..scale import fret_position
from ..vocabulary import BRIDGES, DISTURBS, PARTS, QUANTITIES
from .state import Row

RELIEF, DIFFERENCE = "relief", "difference of relief between the sides"
QUICK, SLOW = "relief to come quickly", "relief to come slowly"
AT_ONCE, QUICKLY, SLOWLY = "response at once", "response that comes quickly", "response that comes slowly"
COUPLING, NUT_COUPLING = "coupling of action", "coupling of nut action"
COMPLIANCE = "relief per pull of the strings"
NECK = (RELIEF, DIFFERENCE, QUICK, SLOW, AT_ONCE, QUICKLY, SLOWLY, COUPLING, NUT_COUPLING, COMPLIANCE)
HEIGHTS: tuple[Quantity, Quantity] = ("action", "nut-action")

FOLLOWED: frozenset[Quantity] = frozenset(
    {"relief", "twist", *(word for word, term in QUANTITIES.items() if term.follows_height)}
)
"""What the geometry moves with the neck and the strings; what else an adjustment changes is lost."""

INNER_NUT, INNER_SADDLES, INNER_ONE_SADDLE = 0.10, 0.10, 0.03
"""How far an inner string departs from the line through the outer two: standard deviations at the nut, over
saddles of its own and over one saddle for all [mm]; judgement."""


@lru_cache(maxsize=4096)
def height_at(
    scale: float, joint: float, place: ReliefPlace, read: int, meant: int
) -> tuple[float, float, float]:
    """Factors of relief, nut action and action in the open string's height over a fret.

    Parameters
    ----------
    scale, joint : float
        Scale length, and fret of the body joint [mm; -].
    place : ReliefPlace
        Where relief is meant.
    read, meant : int
        Fret over which the height is read, and that of the action it is made from [-].

    Returns
    -------
    tuple of float
        Factors [-].
    """
    x_1, x_read, x_meant = (float(fret_position(fret, scale)) for fret in (1, read, meant))
    at = float(fret_position(joint, scale))
    curvature = float(curvature_from_relief(1.0, scale, joint, place.held, place.fret))
    h_1, h_read, h_meant = (float(neck_height(x, curvature, at)) for x in (x_1, x_read, x_meant))
    part = (x_read - x_1) / (x_meant - x_1)
    return (1.0 - part) * h_1 + part * h_meant - h_read, 1.0 - part, part


@lru_cache(maxsize=4096)
def gap_at_nut(scale: float, joint: float, place: ReliefPlace, meant: int) -> tuple[float, float, float]:
    """Factors of relief, nut action and action in the gap over fret 1, string held at fret 3.

    Parameters
    ----------
    scale, joint : float
        Scale length, and fret of the body joint [mm; -].
    place : ReliefPlace
        Where relief is meant.
    meant : int
        Fret over which action is meant [-].

    Returns
    -------
    tuple of float
        Factors [-].
    """
    x_1, x_3, x_n = (float(fret_position(fret, scale)) for fret in (1, 3, meant))
    at = float(fret_position(joint, scale))
    curvature = float(curvature_from_relief(1.0, scale, joint, place.held, place.fret))
    h_0, h_1, h_n = (float(neck_height(x, curvature, at)) for x in (0.0, x_1, x_n))
    part = x_1 / x_n
    # nut action = (1 - part)·line at the nut + part·line at the meant fret - neck at fret 1
    slot_share = (x_3 - x_1) / x_3
    bend = 0.5 * curvature * x_1 * (x_3 - x_1)
    of_line = slot_share / (1.0 - part)
    return (
        bend + of_line * (h_1 - part * h_n) - slot_share * h_0,
        of_line,
        -of_line * part,
    )


def capo_share(fret: int) -> float:
    """Part of the nut action that a capo at fret 1 takes from a height.

    Parameters
    ----------
    fret : int
        Fret over which the height is read [-].

    Returns
    -------
    float
        Share [-].

    >>> round(capo_share(12), 3)
    0.53
    """
    return float((1.0 - saddle_share(fret)) / (1.0 - saddle_share(1)))


class Geometry:
    """The state's names for one job, and its rows.

    Parameters
    ----------
    plan_input : PlanInput
        The job.
    """

    def __init__(self, plan_input: PlanInput) -> None:
        self.instrument: Instrument = plan_input.instrument
        self.records = Records(plan_input)
        self.place = self.records.place
        self.joint = self.instrument.body_joint_fret
        scale = side_scale(self.instrument, None)
        self.of_whole = conversion(scale, self.joint, whole_place(plan_input), self.place)
        """Relief at the place that the spec means per relief held at the first and last fret [-]."""
        self.numbers = self.instrument.numbers
        self.goals = goals(plan_input, self.records.spots)
        self.items = {goal.spot: goal.item for goal in self.goals}
        self.spots = tuple(dict.fromkeys([*self.items, *self.records.spots.values()]))
        entries: list[Reading | Adjustment] = [*plan_input.readings, *plan_input.adjustments]
        self.entries = sorted(entries, key=lambda each: (each.order, len(each.id), each.id))
        """All readings and adjustments of the job in the order in which they happened."""
        self.inner = {number: share_across(self.instrument, number) for number in self.numbers[1:-1]}
        levels = [Spot(quantity, side) for quantity in HEIGHTS for side in SIDES]
        asked = {spot.string for spot in self.spots if spot.quantity in HEIGHTS}
        levels += [
            Spot(quantity, None, number) for quantity in HEIGHTS for number in self.inner if number in asked
        ]
        levels += [spot for spot in self.spots if spot.quantity not in {*HEIGHTS, "relief", "twist"}]
        self.levels: tuple[Spot, ...] = tuple(dict.fromkeys(levels))
        """Spots with a number of their own in the state."""
        self.names: list[object] = [*NECK, *self.levels]
        self._at = {name: place for place, name in enumerate(self.names)}
        self._named = {
            quantity: [spot for spot in self.levels if spot.quantity == quantity] for quantity in ORDER
        }
        self.over_neck: Row = [(self.at(RELIEF), 1.0)] + [
            (self.at(spot), self.rise(spot)) for quantity in HEIGHTS for spot in self.outer(quantity)
        ]
        """How relief and the outer strings' heights follow a change of relief [-]."""
        self.couplings = tuple(
            (self.at(name), slice(self.at(self.outer(quantity)[0]), self.at(self.outer(quantity)[1]) + 1))
            for name, quantity in zip((COUPLING, NUT_COUPLING), HEIGHTS, strict=True)
        )
        """Places of a coupling and of the two outer strings' heights that it moves."""
        self.readings = {each.id: self._usable(each) for each in plan_input.readings}
        """By id: spot, row and rise of each reading; None where it cannot be used."""
        self._moved: dict[tuple[object, ...], frozenset[Spot]] = {}

    # ------------------------------------------------------------ rows

    def named(self, quantity: Quantity) -> list[Spot]:
        """Spots of a quantity that have a number of their own in the state."""
        return self._named[quantity]

    def at(self, name: object) -> int:
        """Place of a number in the state."""
        return self._at[name]

    def row(self, spot: Spot) -> Row:
        """What a spot's value is made of, at the frets that the spec means."""
        if spot.quantity == "relief":
            half = {"bass": 0.5, "treble": -0.5}.get(spot.side or "", 0.0)
            relief = ((self.at(RELIEF), 1.0),)
            return (*relief, (self.at(DIFFERENCE), half)) if half else relief
        if spot.quantity == "twist":
            return ((self.at(DIFFERENCE), 1.0),)
        if spot.quantity in HEIGHTS and spot.side is None and spot.string in self.inner:
            part = self.inner[spot.string]
            return (
                (self.at(Spot(spot.quantity, "treble")), 1.0 - part),
                (self.at(Spot(spot.quantity, "bass")), part),
                (self.at(spot), 1.0),
            )
        return ((self.at(spot), 1.0),)

    def _usable(self, reading: Reading) -> tuple[Spot, Row, float] | None:
        found = None if self.records.unusable(reading, -1) is not None else self.reading_row(reading)
        return None if found is None else (self.records.spots[reading.id], *found)

    def reading_row(self, reading: Reading) -> tuple[Row, float] | None:
        """What a tool shows, and its rise per millimetre of relief; None = the reading cannot be used."""
        spot = self.records.spots[reading.id]
        if reading.quantity == "relief":
            return self._relief_row(reading, spot)
        if reading.quantity == "action":
            return self._action_row(reading, spot)
        if reading.quantity == "nut-action" and reading.held:
            if reading.held != (3,):
                return None
            meant = self.meant_fret(spot._replace(quantity="action"))
            factors = gap_at_nut(self.scale_at(spot), self.joint, self.place, meant)
            return self._three(spot, factors), 0.0
        if reading.quantity == "intonation" and (reading.fret or OCTAVE) != self.meant_fret(spot):
            return None
        rise = self.rise(spot) if reading.quantity == "nut-action" else 0.0
        return self.row(spot), rise

    def _relief_row(self, reading: Reading, spot: Spot) -> tuple[Row, float] | None:
        if len(reading.held) != 2 or reading.fret is None:
            return None
        read = ReliefPlace((reading.held[0], reading.held[1]), reading.fret)
        factor = conversion(side_scale(self.instrument, reading.side), self.joint, self.place, read)
        return tuple((place, part * factor) for place, part in self.row(spot)), factor

    def _action_row(self, reading: Reading, spot: Spot) -> tuple[Row, float] | None:
        at, meant = reading.fret or OCTAVE, self.meant_fret(spot)
        if reading.capo not in (None, 1):
            return None
        scale = self.scale_at(spot)
        rise = coupling(scale, self.joint, self.place, at)
        if at == meant and reading.capo is None:
            return self.row(spot), rise
        factors = (0.0, 0.0, 1.0) if at == meant else height_at(scale, self.joint, self.place, at, meant)
        if reading.capo == 1:
            factors = (factors[0], factors[1] - capo_share(at), factors[2])
        return self._three(spot, factors), rise

    def _three(self, spot: Spot, factors: tuple[float, float, float]) -> Row:
        relief = Spot("relief", spot.side)
        nut, action = (self.row(spot._replace(quantity=quantity)) for quantity in ("nut-action", "action"))
        parts = zip((self.row(relief), nut, action), factors, strict=True)
        return tuple((place, part * factor) for row, factor in parts for place, part in row if factor)

    # ------------------------------------------------------------ geometry of a spot

    def scale_at(self, spot: Spot) -> float:
        """Scale length at a spot [mm]."""
        if spot.string is not None:
            return string_scale(self.instrument, spot.string)
        return side_scale(self.instrument, spot.side)

    def meant_fret(self, spot: Spot) -> int:
        """Fret over which the spec means a height or a note."""
        if spot.quantity == "nut-action":
            return 1
        item = self.items.get(spot) or self.items.get(Spot(spot.quantity, "bass"))
        return (item.fret if item else None) or OCTAVE

    def rise(self, spot: Spot) -> float:
        """Rise of the open string at a spot per millimetre of relief [-]."""
        return coupling(self.scale_at(spot), self.joint, self.place, self.meant_fret(spot))

    def outer(self, quantity: Quantity) -> tuple[Spot, Spot]:
        """The two outermost strings' spots."""
        return Spot(quantity, "bass"), Spot(quantity, "treble")

    def string_of(self, side: Side | None, string: int | None) -> int | None:
        """Number of the string that is meant by a side or by its number."""
        return outermost(self.instrument, side) if side is not None and string is None else string

    # ------------------------------------------------------------ what adjustments move

    def moved_by(self, adjustment: Adjustment) -> frozenset[Spot]:
        """Spots whose readings an adjustment makes stale."""
        alike = adjustment.part, adjustment.side, adjustment.string, adjustment.pickup
        found = self._moved.get(alike)
        if found is None:
            every = {*self.spots, *self.levels}
            found = frozenset(spot for spot in every if affects(adjustment, spot, self.records.plan_input))
            self._moved[alike] = found
        return found

    def lost_by(self, adjustment: Adjustment) -> frozenset[Quantity]:
        """Quantities that an adjustment changes by an amount which was not recorded."""
        part = adjustment.part
        lost = DISTURBS[part] - FOLLOWED
        if part in {"truss-rod", "saddle-position", "pickup-screw"}:
            return lost
        if PARTS[part].lifts:
            return lost if self.height(adjustment) is not None else DISTURBS[part]
        if part == "nut-slot":
            number = self.string_of(adjustment.side, adjustment.string)
            known = number is not None and adjustment.amount is not None
            return lost if known else DISTURBS[part]
        if part == "strings" and adjustment.pull_change is not None:
            return DISTURBS[part] - {"relief", "twist", *HEIGHTS}
        return DISTURBS[part]

    def height(self, adjustment: Adjustment) -> float | None:
        """How far an adjustment raises the strings' far end [mm]; None = not at all, or not recorded."""
        if not PARTS[adjustment.part].lifts:
            return None
        if adjustment.amount is not None:  # of a saddle: what was taken off
            return -adjustment.amount if adjustment.part == "saddle" else adjustment.amount
        pitch = self.instrument.bridge.height_thread_pitch
        return None if adjustment.turns is None or pitch is None else adjustment.turns * pitch

    def heights(self, rises: dict[int, float], *, at_nut: bool = False) -> Row:
        """How heights follow rises of single strings, at the saddle or in the nut slot.

        Inner strings are kept as departures from the line through the outer two: what moves an outer string
        alone moves them the other way in that measure.
        """
        found: dict[int, float] = {}
        bass, treble = self.numbers[-1], self.numbers[0]
        for quantity in HEIGHTS:
            for number in self.numbers:
                spot = self._string_spot(quantity, number)
                if spot not in self._at:
                    continue
                by = rises.get(number, 0.0)
                if number in self.inner:
                    part = self.inner[number]
                    by -= (1.0 - part) * rises.get(treble, 0.0) + part * rises.get(bass, 0.0)
                reach = share(self.meant_fret(spot))
                moved = by * ((1.0 - reach) if at_nut else reach)
                if moved:
                    found[self.at(spot)] = found.get(self.at(spot), 0.0) + moved
        return tuple(found.items())

    def _string_spot(self, quantity: Quantity, number: int) -> Spot:
        if number == self.numbers[-1]:
            return Spot(quantity, "bass")
        return Spot(quantity, "treble") if number == self.numbers[0] else Spot(quantity, None, number)

    def saddle_rises(self, adjustment: Adjustment, height: float) -> dict[int, float]:
        """Rise of each string at the saddle from one recorded adjustment of the bridge [mm]."""
        bridge = self.instrument.bridge
        if adjustment.part == "bridge-post":
            bass, treble = self._post_rises(adjustment.side, height)
        elif adjustment.part == "saddle":
            bass = height if adjustment.side in (None, "bass") else 0.0
            treble = height if adjustment.side in (None, "treble") else 0.0
        else:
            number = self.string_of(adjustment.side, adjustment.string)
            if number is None:
                return dict.fromkeys(self.numbers, height)
            paired = bridge.kind == "paired-saddles" and bridge.screws_per_saddle == 1
            return dict.fromkeys(pair_of(self.instrument, number) if paired else (number,), height)
        rises = {number: treble + (bass - treble) * part for number, part in self.inner.items()}
        return {**rises, self.numbers[0]: treble, self.numbers[-1]: bass}

    def _post_rises(self, side: Side | None, height: float) -> tuple[float, float]:
        bridge = self.instrument.bridge
        bass = height if side in (None, "bass") else 0.0
        treble = height if side in (None, "treble") else 0.0
        if side is None or bridge.post_spacing is None or bridge.string_spread is None:
            return bass, treble
        found = string_changes(bass, treble, bridge.post_spacing, bridge.string_spread)
        return float(found.bass), float(found.treble)

    def inner_spread(self, quantity: Quantity) -> float:
        """How far an inner string may depart from the line through the outer two [mm]."""
        if quantity == "nut-action":
            return INNER_NUT
        return INNER_ONE_SADDLE if BRIDGES[self.instrument.bridge.kind].one_saddle else INNER_SADDLES
