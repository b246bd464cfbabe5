"""The belief itself: a job's readings, adjustments and hours, taken in one after another by one rule."""

from __future__ import annotations

import math
from collections.abc import Mapping

from scipy.special import ndtr

from .._checks import FloatArray
from ..intonation import intonation_after_move
from ..plan.geometry import outermost, share, share_across
from ..plan.goals import Spot, spot_of
from ..plan.inputs import Adjustment, PlanInput, Quantity, Reading, RodResponse
from ..plan.records import tool_of
from ..plan.staleness import AFFECTS
from ..relief import GRAVITY_RELIEF
from .expected import Expected, Level, rounding_shared
from .geometry import (
    AT_ONCE,
    COUPLING,
    DIFFERENCE,
    HEIGHTS,
    NUT_COUPLING,
    QUICK,
    QUICKLY,
    RELIEF,
    SLOW,
    SLOWLY,
    Geometry,
)
from .state import DIFFUSE, DIFFUSE_CENTS, Estimate, Row, State, along

SHARES = (0.6, 0.2, 0.2)
"""Parts of a rod's response that come at once, quickly and slowly [-]; judgement.

Better to expect too much late than too little.
"""
RESPONSE_SHARED, RESPONSE_OWN = 0.3, 0.06
"""What the three parts vary by together [-] and each for itself [mm per turn]; judgement."""

QUICK_TIME, SLOW_TIME = 45.0, 400.0
"""Time constants (63 %) of the two late parts [min]; judgement."""

DAY = 1440.0
"""How far ahead tomorrow lies [min]."""

NUT_COUPLING_SD = 0.1
"""Standard uncertainty of d(nut action)/d(relief) [-]; judgement."""

LOST, LOST_SD = 0.08, 0.07
"""What the first turn of a rod, and a turn back, loses before anything moves [turns]; judgement."""

HAND = 0.1
"""Share of an amount by which a hand is off: standard deviation [-]; judgement."""

FILING_SD = 0.03
"""How well the amount that a file took off is known: standard deviation [mm]; judgement."""

PICKUP_SHARE, PICKUP_SHARE_SD = 0.5, 0.25
"""Part of a rise at the saddle that reaches a pickup under a string held at the last fret [-]; judgement."""

DETUNED = 8.0
"""Standard deviation of what a change of height does to intonation [cents per mm]; judgement."""

LYING_SD = 0.03
"""Standard uncertainty of the correction for lying on the back [mm relief]; judgement."""

HOLD_BIAS = 0.02
"""Standard deviation of what another pair of hold frets shows beside the geometry [mm]; judgement."""

WRONG, MOVED = 0.01, 0.003
"""Chance that a reading is wrong, and of an unrecorded move before it [-]; judgement."""

PLAUSIBLE: dict[Quantity, float] = {
    "relief": 4.0,
    "twist": 2.0,
    "action": 5.5,
    "nut-action": 2.0,
    "pickup-height": 9.7,
    "break-clearance": 10.0,
    "saddle-out": 8.0,
    "intonation": 120.0,
}
"""Width of the plausible range, over which a wrong reading may lie anywhere [mm; cents]; common practice."""

SHARED_FROM = 0.02
"""Share of a tool's variance from which the part that its readings of one spot share is kept [-]."""


class Belief:
    """Everything believed of one instrument after a job's entries.

    Parameters
    ----------
    plan_input : PlanInput
        The job.
    aside : mapping
        Ids of readings that are set aside.
    widened : mapping
        By id of a reading: variance that its level gains just before it [mm²; cents²].
    geometry : Geometry, optional
        The job's, where it is worked out already.
    """

    def __init__(
        self,
        plan_input: PlanInput,
        aside: frozenset[str] = frozenset(),
        widened: Mapping[str, float] | None = None,
        geometry: Geometry | None = None,
    ) -> None:
        self.plan_input = plan_input
        self.geometry = geometry or Geometry(plan_input)
        self.aside, self.widened = aside, widened or {}
        self.places = self._other_places()
        self.offsets: dict[object, tuple[float, float]] = {}
        """By nuisance: variance, and the level's mean when it was last started anew."""
        names = [*self.geometry.names, *self._nuisances()]
        self.state = State(names)
        self.over_neck = self.state.weights(self.geometry.over_neck)
        self.both = [self.state.weights(self.geometry.both[quantity]) for quantity in HEIGHTS]
        self.expected: list[Expected] = []
        self.likelihood = 0.0
        """Log of the density of all readings that were not set aside."""
        self.levels: dict[Spot, Level] = {}
        self.now = 0.0
        self.turned = 0.0
        """Last turn of the rod, signed [turns]."""
        self._start()
        for entry in self.geometry.entries:
            self._pass_time(entry.at)
            if isinstance(entry, Reading):
                self._read(entry)
            else:
                self._adjust(entry)

    # ------------------------------------------------------------ asking

    def level(self, spot: Spot) -> Level:
        """History of a spot."""
        found = self.levels.get(spot)
        if found is None:
            found = self.levels[spot] = Level()
        return found

    def estimate(self, spot: Spot) -> Estimate:
        """A spot's value as it is now [mm; cents]."""
        return self.state.estimate(self.geometry.row(spot))

    def told(self, spot: Spot, reading: Reading) -> float:
        """Variance that one more reading like this one would take from a spot [mm²; cents²].

        What all readings of a spot with one tool share they cannot tell.
        """
        resolution, repeatability = tool_of(reading)
        noise = (repeatability or 0.0) ** 2 + (resolution or 0.0) ** 2 / 12.0
        row, name = self.geometry.row(spot), self._offset_name(reading)
        seen = row
        if name in self.offsets:
            seen, noise = (*row, (self.state.place[name], 1.0)), noise - self.offsets[name][0]
        shared = self.state.shared(seen)
        return along(shared, row) ** 2 / max(along(shared, seen) + noise, 1e-12)

    def after(self, minutes: float) -> Belief:
        """The same belief so many minutes later, nothing more being done."""
        later = object.__new__(Belief)
        later.__dict__.update(self.__dict__)
        later.state = self.state.copy()
        later.now = self.now
        later._pass_time(self.now + minutes)
        return later

    def response(self) -> Estimate:
        """Change of relief per turn of tightening, all that comes late included [mm per turn]."""
        return self.state.estimate([(self.geometry.at(name), 1.0) for name in (AT_ONCE, QUICKLY, SLOWLY)])

    @property
    def still_coming(self) -> bool:
        """Whether relief has not come to rest."""
        state, at = self.state, self.geometry.at
        return any(state.covariance[at(name), at(name)] > 1e-8 for name in (QUICK, SLOW))

    # ------------------------------------------------------------ the beginning

    def _nuisances(self) -> list[object]:
        """What readings of one spot with one tool share, and what another pair of hold frets shows."""
        readings = self.plan_input.readings
        shared = [self._offset_name(each) for each in readings if self._shared(each) > 0.0]
        return [*dict.fromkeys(shared), *self.places]

    def _shared(self, reading: Reading) -> float:
        resolution, repeatability = tool_of(reading)
        shared = rounding_shared(repeatability, resolution)
        total = (repeatability or 0.0) ** 2 + (resolution or 0.0) ** 2 / 12.0
        return shared if shared > SHARED_FROM * total else 0.0

    def _offset_name(self, reading: Reading) -> object:
        return spot_of(reading, self.geometry.instrument), reading.tool, tool_of(reading)

    def _other_places(self) -> tuple[object, ...]:
        """Where relief was read beside the place that the spec means, when it was read at more than one."""
        reliefs = [each for each in self.plan_input.readings if each.quantity == "relief"]
        found = dict.fromkeys((each.held, each.fret) for each in reliefs)
        meant = self.geometry.place.held, self.geometry.place.fret
        return tuple(each for each in found if each != meant) if len(found) > 1 else ()

    def _start(self) -> None:
        state, at = self.state, self.geometry.at
        response = self.plan_input.responses.rod
        parts = [share * response.mean for share in SHARES]
        state.set(at(AT_ONCE), parts[0], 0.0)
        state.set(at(QUICKLY), parts[1], 0.0)
        state.set(at(SLOWLY), parts[2], 0.0)
        scale = response_scale(response)
        for name, part in zip((AT_ONCE, QUICKLY, SLOWLY), parts, strict=True):
            for other, beside in zip((AT_ONCE, QUICKLY, SLOWLY), parts, strict=True):
                together = RESPONSE_SHARED**2 * part * beside + (RESPONSE_OWN**2 if name == other else 0.0)
                state.covariance[at(name), at(other)] = together * scale
        state.set(at(COUPLING), 0.0, self.plan_input.responses.coupling_sd)
        state.set(at(NUT_COUPLING), 0.0, NUT_COUPLING_SD)
        state.set(at(RELIEF), 0.0, DIFFUSE)
        state.set(at(DIFFERENCE), 0.0, DIFFUSE)
        for spot in self.geometry.levels:
            self._lose(spot)
        for place in self.places:
            state.set(state.place[place], 0.0, HOLD_BIAS)

    def _lose(self, spot: Spot) -> None:
        """Forget a level altogether."""
        wide = DIFFUSE_CENTS if spot.quantity == "intonation" else DIFFUSE
        if spot.quantity in HEIGHTS and spot.side is None:
            wide = self.geometry.inner_spread(spot.quantity)
        self.state.set(self.geometry.at(spot), 0.0, wide)

    # ------------------------------------------------------------ time

    def _pass_time(self, until: float) -> None:
        passed = until - self.now
        self.now = max(self.now, until)
        if passed <= 0.0 or not self.turned:
            return
        at = self.geometry.at
        left = math.exp(-passed / QUICK_TIME), math.exp(-passed / SLOW_TIME)
        self._move_relief(((at(QUICK), 1.0 - left[0]), (at(SLOW), 1.0 - left[1])))
        self.state.fade(at(QUICK), left[0])
        self.state.fade(at(SLOW), left[1])

    def _move_relief(self, row: Row) -> None:
        """Let relief change by a combination of the state, and the heights over the neck with it.

        The couplings' own uncertainty multiplies an uncertain change: mean + cov, variance + σg²σd² + cov²
        beside the linear part, as for any product of two normal variables.
        """
        state, at = self.state, self.geometry.at
        places = at(COUPLING), at(NUT_COUPLING)
        extra = float(state.mean[places[0]]), float(state.mean[places[1]])
        change = state.estimate(row)
        shared = state.shared(row)
        products = [(float(shared[place]), float(state.covariance[place, place])) for place in places]
        state.move(self._over_neck(), row)
        for place, mean, both, (joint, variance) in zip(places, extra, self.both, products, strict=True):
            state.move(both * change.mean, ((place, 1.0),))
            state.shift(both, joint - change.mean * mean, variance * change.variance + joint * joint)

    def _over_neck(self) -> FloatArray:
        """Weights with which relief and the heights over the neck follow a change of relief."""
        weights = self.over_neck.copy()
        for name, both in zip((COUPLING, NUT_COUPLING), self.both, strict=True):
            weights += both * self.state.mean[self.geometry.at(name)]
        return weights

    # ------------------------------------------------------------ readings

    def _read(self, reading: Reading) -> None:
        found = self.geometry.readings[reading.id]
        if found is None:
            return
        spot, row, rise = found
        level = self.level(spot)
        if reading.zero_or_less and self._outranked(reading, spot):
            return
        if reading.id in self.aside:
            self.likelihood += math.log(WRONG / PLAUSIBLE[reading.quantity])
            return
        variance, row = self._noise(reading, spot, row)
        lying = 0.0
        if reading.position == "on-back":
            lying, variance = -GRAVITY_RELIEF * rise, variance + (LYING_SD * rise) ** 2
        self._widen(reading, spot)
        self._expect(reading, spot, row, variance, lying)
        if reading.zero_or_less:
            self._touch(row, variance, spot)
        else:
            self.state.observe(row, (reading.value or 0.0) - lying, variance)
        level.readings.append(reading)
        level.total, level.turned = level.total + 1, 0.0
        level.last = 0.0 if reading.zero_or_less else reading.value

    def _outranked(self, reading: Reading, spot: Spot) -> bool:
        """Whether a straightedge tells what a string that merely touched could not."""
        moved = [each.order for each in self.plan_input.adjustments if spot in self.geometry.moved[each.id]]
        return any(
            other.method == "straightedge"
            and other.value is not None
            and not any(
                min(other.order, reading.order) < order < max(other.order, reading.order) for order in moved
            )
            for other in self.geometry.records.by_spot.get(spot, [])
        )

    def _noise(self, reading: Reading, spot: Spot, row: Row) -> tuple[float, Row]:
        """Variance of a reading's own noise, and its row with what it shares with others of its kind."""
        resolution, repeatability = tool_of(reading)
        variance = (repeatability or 0.0) ** 2 + (resolution or 0.0) ** 2 / 12.0
        shared = self._shared(reading)
        if shared:
            name = self._offset_name(reading)
            level = self.estimate(spot).mean
            started = self.offsets.get(name)
            if started is None or abs(level - started[1]) > (resolution or 0.0) / 2.0:
                self.state.set(self.state.place[name], 0.0, math.sqrt(shared))
                self.offsets[name] = shared, level
            row = (*row, (self.state.place[name], 1.0))
            variance -= shared
        if (reading.held, reading.fret) in self.places:
            row = (*row, (self.state.place[reading.held, reading.fret], 1.0))
        return max(variance, 1e-12), row

    def _widen(self, reading: Reading, spot: Spot) -> None:
        more = self.widened.get(reading.id, 0.0)
        if more:
            self.state.shift(self.state.weights(self.geometry.row(spot)[:1]), 0.0, more)
            self.likelihood += math.log(MOVED)

    def _expect(self, reading: Reading, spot: Spot, row: Row, variance: float, lying: float) -> None:
        known = self.state.estimate(row)
        level = self.level(spot)
        value = 0.0 if reading.zero_or_less else reading.value or 0.0
        spread = math.sqrt(known.variance + variance)
        wide = PLAUSIBLE[reading.quantity]
        first = spread > wide
        self.expected.append(
            Expected(
                reading, spot, value, known.mean + lying, spread, first,
                level.turned, level.last if level.total else None,
            )
        )  # fmt: skip
        if first:
            self.likelihood -= math.log(wide)
        elif reading.zero_or_less:
            self.likelihood += math.log(max(float(ndtr(-known.mean / spread)), 1e-300))
        else:
            away = (value - known.mean - lying) / spread
            self.likelihood -= 0.5 * away * away + math.log(spread * math.sqrt(2.0 * math.pi))

    def _touch(self, row: Row, variance: float, spot: Spot) -> None:
        """Take in that a string touched: the value as read lies at or below zero.

        Likelihood Φ(-r/u), matched to the posterior's first two moments. Where nothing else is known of
        relief the likelihood has no width of its own: half a millimetre about the target, then.
        """
        known = self.state.estimate(row)
        if known.spread > PLAUSIBLE["relief"]:
            item = self.geometry.items.get(spot)
            self.state.observe(self.geometry.row(spot), item.target if item else 0.0, 0.25)
            known = self.state.estimate(row)
        width = math.sqrt(known.variance + variance)
        z = -known.mean / width
        below = max(float(ndtr(z)), 1e-300)
        ratio = math.exp(-0.5 * z * z) / math.sqrt(2.0 * math.pi) / below
        mean = known.mean - known.variance * ratio / width
        after = known.variance - known.variance**2 * ratio * (ratio + z) / width**2
        after = min(max(after, 1e-9), known.variance * (1.0 - 1e-9))
        seen = 1.0 / (1.0 / after - 1.0 / known.variance)
        self.state.observe(row, seen * (mean / after - known.mean / known.variance), seen)

    # ------------------------------------------------------------ adjustments

    def _adjust(self, adjustment: Adjustment) -> None:
        for spot in self.geometry.moved[adjustment.id]:
            if spot in self.levels:
                self.levels[spot].readings = []
        part = adjustment.part
        if part == "truss-rod":
            self._turn(adjustment.turns or 0.0)
        elif part in {"bridge-post", "saddle-screw", "saddle"}:
            self._lift(adjustment)
        elif part == "nut-slot":
            self._file(adjustment)
        elif part in {"saddle-position", "pickup-screw"}:
            self._set(adjustment)
        else:
            self._forget(*AFFECTS[part])

    def _turn(self, turns: float) -> None:
        if not turns:
            return
        state, at = self.state, self.geometry.at
        slack = (LOST, LOST_SD) if self.turned * turns <= 0.0 else (0.0, 0.0)
        free = self.geometry.instrument.rod.free_play if slack[0] else 0.0
        lost = slack[0] + free / 2.0
        moved = math.copysign(max(abs(turns) - lost, 0.0), turns)
        unsure = HAND**2 * turns**2 + slack[1] ** 2 + free**2 / 12.0
        names = AT_ONCE, QUICKLY, SLOWLY
        means = [float(state.mean[at(name)]) for name in names]
        common = self._over_neck() * means[0]
        self._move_relief(((at(AT_ONCE), moved),))
        for name, store in zip(names[1:], (QUICK, SLOW), strict=True):
            state.move(state.weights(((at(store), 1.0),)), ((at(name), moved),))
        common += state.weights([(at(QUICK), means[1]), (at(SLOW), means[2])])
        state.shift(common, 0.0, unsure)
        for spot in self._named("intonation"):
            self._detune(spot, self.geometry.rise(Spot("action", "bass")) * means[0] * moved)
        self.turned = turns
        for spot, level in self.levels.items():
            if spot.quantity == "relief":
                level.turned += turns

    def _lift(self, adjustment: Adjustment) -> None:
        bridge = self.geometry.instrument.bridge
        height = adjustment.amount
        if height is not None and adjustment.part == "saddle":
            height = -height  # what was taken off
        if height is None:
            pitch = bridge.height_thread_pitch
            height = None if adjustment.turns is None or pitch is None else adjustment.turns * pitch
        self._forget("break-clearance")
        if height is None:
            self._forget(*HEIGHTS, "pickup-height", "intonation", "saddle-out")
            return
        rises = self.geometry.saddle_rises(adjustment, 1.0)
        weights = self.state.weights([*self.geometry.heights(rises), *self._beneath(adjustment, rises)])
        variance = (HAND * height) ** 2 + (FILING_SD**2 if adjustment.part == "saddle" else 0.0)
        self.state.shift(weights, height, variance)
        for spot in self._named("pickup-height"):
            rise = self._outer_rise(spot, rises) * height
            self.state.widen(self.geometry.at(spot), (PICKUP_SHARE_SD * rise) ** 2)
        for spot in self._named("intonation"):
            rise = rises.get(spot.string or 0, 0.0) * height
            self._detune(spot, rise * share(self.geometry.meant_fret(spot)))

    def _beneath(self, adjustment: Adjustment, rises: Mapping[int, float]) -> list[tuple[int, float]]:
        """Places of pickup heights and of the saddle out of its slot, with what they gain per rise."""
        at = self.geometry.at
        found = [
            (at(spot), PICKUP_SHARE * self._outer_rise(spot, rises)) for spot in self._named("pickup-height")
        ]
        if adjustment.part == "saddle":
            found += [
                (at(spot), 1.0) for spot in self._named("saddle-out") if adjustment.side in (None, spot.side)
            ]
        return found

    def _outer_rise(self, spot: Spot, rises: Mapping[int, float]) -> float:
        return rises.get(outermost(self.geometry.instrument, spot.side or "bass"), 0.0)

    def _named(self, quantity: Quantity) -> list[Spot]:
        return [spot for spot in self.geometry.levels if spot.quantity == quantity]

    def _detune(self, spot: Spot, rise: float) -> None:
        """A string that lies higher or lower over its frets is stretched more or less when fretted."""
        self.state.widen(self.geometry.at(spot), (DETUNED * rise) ** 2)

    def _file(self, adjustment: Adjustment) -> None:
        number = self.geometry.string_of(adjustment.side, adjustment.string)
        if number is None or adjustment.amount is None:
            self._forget(*HEIGHTS, "intonation")
            return
        if Spot("intonation", None, number) in self.geometry.names:
            self._detune(Spot("intonation", None, number), adjustment.amount)
        weights = self.state.weights(self.geometry.heights({number: -1.0}, at_nut=True))
        self.state.shift(weights, adjustment.amount, (HAND * adjustment.amount) ** 2 + FILING_SD**2)

    def _set(self, adjustment: Adjustment) -> None:
        """Move a saddle along its string, or a pickup's screw; without an amount the level is lost."""
        for spot in self.geometry.levels:
            if spot not in self.geometry.moved[adjustment.id]:
                continue
            known = self.estimate(spot)
            amount = self._moved(adjustment, spot)
            if amount is None or known.spread > PLAUSIBLE[spot.quantity]:
                self._lose(spot)
                continue
            by = -amount
            if spot.quantity == "intonation":
                fret = self.geometry.meant_fret(spot)
                after = intonation_after_move(known.mean, amount, self.geometry.scale_at(spot), fret)
                by = float(after) - known.mean
            weights = self.state.weights(self.geometry.row(spot))
            self.state.shift(weights, by, (HAND * by) ** 2)

    def _moved(self, adjustment: Adjustment, spot: Spot) -> float | None:
        """How far a saddle goes along its string, or a pickup up, at one spot [mm]; None = not recorded."""
        instrument, amount = self.geometry.instrument, adjustment.amount
        if amount is None and adjustment.turns is not None:
            pitch = instrument.bridge.intonation_screw_pitch
            if spot.quantity == "pickup-height":
                named = {each.name: each.thread_pitch for each in instrument.pickups}
                pitch = named.get(spot.pickup or "")
            amount = None if pitch is None else adjustment.turns * pitch
        if amount is None or adjustment.side is None or adjustment.string is not None:
            return amount
        if spot.quantity == "pickup-height":
            return amount if adjustment.side == spot.side else 0.0
        part = share_across(instrument, spot.string or 1)
        return amount * (part if adjustment.side == "bass" else 1.0 - part)

    def _forget(self, *quantities: Quantity) -> None:
        state, at = self.state, self.geometry.at
        for spot in self.geometry.levels:
            if spot.quantity in quantities:
                self._lose(spot)
        if "relief" in quantities:
            state.set(at(RELIEF), 0.0, DIFFUSE)
            state.set(at(DIFFERENCE), 0.0, DIFFUSE)
            state.set(at(QUICK), 0.0, 0.0)
            state.set(at(SLOW), 0.0, 0.0)
        for spot, level in self.levels.items():
            if spot.quantity in quantities:
                level.total, level.readings, level.last, level.turned = 0, [], None, 0.0


def response_scale(response: RodResponse) -> float:
    """Factor on the covariance of a response's parts, so that all of it has the spread that is stated.

    Parameters
    ----------
    response : RodResponse
        Mean and standard uncertainty of the whole response [mm per turn].

    Returns
    -------
    float
        Factor [-].
    """
    stated = (RESPONSE_SHARED * response.mean) ** 2 + len(SHARES) * RESPONSE_OWN**2
    return response.sd**2 / stated
