"""The belief itself: a job's readings, adjustments and hours, taken in one after another by one rule."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from functools import cached_property
from typing import NamedTuple

from scipy.special import ndtr

from .._checks import FloatArray
from ..intonation import intonation_after_move
from ..plan.geometry import outermost, share, share_across
from ..plan.goals import Spot
from ..plan.inputs import Adjustment, PlanInput, Quantity, Reading
from ..plan.records import tool_of
from ..vocabulary import QUANTITIES
from .expected import Expected, Level
from .geometry import (
    AT_ONCE,
    COMPLIANCE,
    DIFFERENCE,
    HEIGHTS,
    QUICK,
    QUICKLY,
    RELIEF,
    SLOW,
    SLOWLY,
    Geometry,
)
from .responses import BLOCKS, QUICK_TIME, SLOW_TIME, beginning
from .state import DIFFUSE, DIFFUSE_CENTS, Estimate, Row, State, along
from .taken import Taken, taken_in

DAY = 1440.0
"""How far ahead tomorrow lies [min]."""

LOST, LOST_SD = 0.08, 0.07
"""What the first turn of a rod, and a turn back, loses before anything moves [turns]; judgement."""

HAND = 0.1
"""Share of an amount by which a hand is off: standard deviation [-]; judgement."""

FILING_SD = 0.03
"""How well the amount that a file took off is known: standard deviation [mm]; judgement."""

SEATED_SD = 0.05
"""How far relief and heights come out elsewhere when strings of the same pull are put on: standard deviation
[mm]; judgement."""

PICKUP_SHARE, PICKUP_SHARE_SD = 0.5, 0.25
"""Part of a rise at the saddle that reaches a pickup under a string held at the last fret [-]; judgement."""

DETUNED = 8.0
"""Standard deviation of what a change of height does to intonation [cents per mm]; judgement."""

HOLD_BIAS = 0.02
"""Standard deviation of what another pair of hold frets shows beside the geometry [mm]; judgement."""

WRONG, MOVED = 0.01, 0.003
"""Chance that a reading is wrong, and of an unrecorded move before it [-]; judgement."""

SAVE_EVERY = 8
"""Entries after which the belief is kept, so that a job need not be taken in from its start again [-]."""


class Shift(NamedTuple):
    """What an adjustment by a known amount does, whatever is believed.

    Attributes
    ----------
    weights : array
        How much each number moves per millimetre [-; cents per mm].
    by, variance : float
        The amount and its variance [mm; mm²].
    wider : tuple of (int, float)
        Places that become less sure, with the variance that they gain [mm²; cents²].
    """

    weights: FloatArray
    by: float
    variance: float
    wider: tuple[tuple[int, float], ...]


class Belief:
    """Everything believed of one instrument after a job's entries.

    Parameters
    ----------
    plan_input : PlanInput
        The job.
    aside : frozenset of str
        Ids of readings that are set aside.
    widened : mapping
        By id of a reading: variance that its level gains just before it [mm²; cents²].

    Attributes
    ----------
    likelihood : float
        Log of the density of all readings that were not set aside.
    """

    def __init__(
        self,
        plan_input: PlanInput,
        aside: frozenset[str] = frozenset(),
        widened: Mapping[str, float] | None = None,
    ) -> None:
        self.plan_input = plan_input
        self.geometry = Geometry(plan_input)
        self.aside = aside
        self.widened = widened or {}
        self.places = self._other_places()
        names = {name: place for place, name in enumerate([*self.geometry.names, *self.places])}
        self.taken = taken_in(self.geometry, names)
        self.state = State(names)
        self.over_neck = self.state.weights(self.geometry.over_neck)
        self.shifts = {each.id: self._known_shift(each) for each in plan_input.adjustments}
        self.offsets: dict[int, float] = {}
        """By place of a shared rounding: its level's mean after the reading that started it anew."""
        self.shown: dict[str, Estimate] = {}
        """By id of a reading: what its tool was expected to show, its noise included."""
        self.likelihood = 0.0
        self.now = 0.0
        self.turned = 0.0
        """Last turn of the rod, signed [turns]."""
        self.saved: list[Belief] = []
        """The belief as it stood before every `SAVE_EVERY`th entry."""
        self._start()
        self._take_in(0)

    def otherwise(self, reading: Reading, *, aside: bool = False, more: float = 0.0) -> Belief:
        """The belief if a reading were set aside, or if its level had gained some variance just before it.

        Parameters
        ----------
        reading : Reading
            The reading in doubt; it and the entries after it are taken in again.
        aside : bool
            Whether it is set aside.
        more : float
            Variance that its level gains [mm²; cents²].
        """
        start = self.taken[reading.id].place // SAVE_EVERY
        other = self.saved[start]._copy()
        other.aside = self.aside | {reading.id} if aside else self.aside
        other.widened = {**self.widened, reading.id: more} if more else self.widened
        other._take_in(start * SAVE_EVERY)
        return other

    def _copy(self) -> Belief:
        other = object.__new__(Belief)
        other.__dict__.update(self.__dict__)
        other.state = self.state.copy()
        other.offsets, other.shown, other.saved = dict(self.offsets), dict(self.shown), self.saved[:]
        return other

    def _take_in(self, start: int) -> None:
        """Take in the job's entries from one on."""
        for place, entry in enumerate(self.geometry.entries[start:], start):
            if place % SAVE_EVERY == 0:
                self.saved.append(self._copy())
            self._pass_time(entry.at)
            if isinstance(entry, Reading):
                self._read(entry)
            else:
                self._adjust(entry)

    # ------------------------------------------------------------ asking

    def level(self, spot: Spot) -> Level:
        """History of a spot."""
        return self.levels.get(spot) or Level()

    @property
    def levels(self) -> dict[Spot, Level]:
        """What happened to each level that was read."""
        return self._course[0]

    @property
    def expected(self) -> list[Expected]:
        """What every reading was expected to show, in order; without those that are set aside."""
        return self._course[1]

    @cached_property
    def _course(self) -> tuple[dict[Spot, Level], list[Expected]]:
        """Go through the entries once more, for what happened to each level."""
        levels: dict[Spot, Level] = {}
        found: list[Expected] = []
        for entry in self.geometry.entries:
            if isinstance(entry, Adjustment):
                moved, lost = self.geometry.moved_by(entry), self.geometry.lost_by(entry)
                for spot, level in levels.items():
                    if spot.quantity in lost:
                        levels[spot] = Level()
                        continue
                    if level.readings and spot in moved:
                        level.readings = []
                    if entry.part == "truss-rod" and spot.quantity == "relief":
                        level.turned += entry.turns or 0.0
            elif (taken := self.taken.get(entry.id)) is not None:
                level = levels.setdefault(taken.spot, Level())
                if entry.id not in self.shown:
                    continue
                value, known = 0.0 if entry.zero_or_less else entry.value or 0.0, self.shown[entry.id]
                first = known.spread > QUANTITIES[entry.quantity].width
                before = level.last if level.total else None
                found.append(
                    Expected(entry, taken.spot, value, known.mean, known.spread, first, level.turned, before)
                )
                level.readings.append(entry)
                level.total, level.turned, level.last = level.total + 1, 0.0, value
        return levels, found

    def estimate(self, spot: Spot) -> Estimate:
        """A spot's value as it is now [mm; cents]."""
        return self.state.estimate(self.geometry.row(spot))

    def expects(self, reading: Reading) -> Estimate | None:
        """What a reading of the job that is set aside would show now, its tool's noise included [mm; cents].

        None = the reading cannot be used, or nothing is known of its level.
        """
        taken = self.taken.get(reading.id)
        if taken is None:
            return None
        if taken.offset is not None:
            self._round_alike(taken)
        known = self.state.estimate(taken.row)
        shown = Estimate(known.mean + taken.lying, known.variance + taken.variance)
        return None if shown.spread > QUANTITIES[reading.quantity].width else shown

    def told(self, spot: Spot, reading: Reading) -> float:
        """Variance that one more reading like this one would take from a spot [mm²; cents²].

        What all readings of a spot with one tool share they cannot tell, nor what all of a bench share.
        """
        resolution, repeatability = tool_of(reading)
        noise = (repeatability or 0.0) ** 2 + (resolution or 0.0) ** 2 / 12.0
        row, taken = self.geometry.row(spot), self.taken.get(reading.id)
        seen = self._at_bench(spot, reading)
        if taken is not None and taken.offset in self.offsets:
            seen, noise = (*seen, (taken.offset, 1.0)), noise - taken.shared
        shared = self.state.shared(seen)
        return along(shared, row) ** 2 / max(along(shared, seen) + noise, 1e-12)

    def shows(self, spot: Spot, reading: Reading) -> Estimate:
        """What a tool shows of a spot at the bench that took a reading, without the tool's noise."""
        known = self.state.estimate(self._at_bench(spot, reading))
        return known if reading.offset is None else known._replace(mean=known.mean + reading.offset.mean)

    def _at_bench(self, spot: Spot, reading: Reading) -> Row:
        """A spot with what is not known of a bench's offset."""
        row, taken = self.geometry.row(spot), self.taken.get(reading.id)
        return row if taken is None or taken.bench is None else (*row, (taken.bench, 1.0))

    def after(self, minutes: float) -> Belief:
        """The same belief so many minutes later, nothing more being done."""
        later = self._copy()
        later._pass_time(self.now + minutes)
        return later

    def adjusted(self, adjustments: Iterable[Adjustment]) -> Belief:
        """The same belief at the moment at which some more adjustments have been made."""
        later = self._copy()
        for each in adjustments:
            later._adjust(each)
        return later

    def number(self, name: str) -> Estimate:
        """A number of the state by its name."""
        return self.state.estimate(((self.geometry.at(name), 1.0),))

    def response(self) -> Estimate:
        """Change of relief per turn of tightening, all that comes late included [mm per turn]."""
        return self.state.estimate([(self.geometry.at(name), 1.0) for name in (AT_ONCE, QUICKLY, SLOWLY)])

    @property
    def still_coming(self) -> bool:
        """Whether relief has not come to rest."""
        state, at = self.state, self.geometry.at
        return any(state.covariance[at(name), at(name)] > 1e-8 for name in (QUICK, SLOW))

    # ------------------------------------------------------------ the beginning

    def _other_places(self) -> tuple[object, ...]:
        """Where relief was read beside the place that the spec means, when it was read at more than one."""
        reliefs = [each for each in self.plan_input.readings if each.quantity == "relief"]
        found = dict.fromkeys((each.held, each.fret) for each in reliefs)
        meant = self.geometry.place.held, self.geometry.place.fret
        return tuple(each for each in found if each != meant) if len(found) > 1 else ()

    def _start(self) -> None:
        state, at = self.state, self.geometry.at
        for name, block in beginning(self.plan_input.responses, self.geometry).items():
            places = [at(each) for each in BLOCKS[name]]
            for number, mean, row in zip(places, block.mean, block.covariance, strict=True):
                state.mean[number] = mean
                for other, together in zip(places, row, strict=True):
                    state.covariance[number, other] = together
        state.set(at(RELIEF), 0.0, DIFFUSE)
        state.set(at(DIFFERENCE), 0.0, DIFFUSE)
        for spot in self.geometry.levels:
            self._lose(spot)
        for place in self.places:
            state.set(state.place[place], 0.0, HOLD_BIAS)
        for reading in self.plan_input.readings:
            taken = self.taken.get(reading.id)
            if taken is not None and taken.bench is not None and reading.offset is not None:
                state.set(taken.bench, 0.0, reading.offset.spread)

    def _lose(self, spot: Spot) -> None:
        """Forget a level altogether."""
        wide = DIFFUSE_CENTS if QUANTITIES[spot.quantity].unit == "cents" else DIFFUSE
        if spot.quantity in HEIGHTS and spot.side is None:
            wide = self.geometry.inner_spread(spot.quantity)
        self.state.set(self.geometry.at(spot), 0.0, wide)

    # ------------------------------------------------------------ time

    def _pass_time(self, until: float) -> None:
        passed = until - self.now
        if passed <= 0.0:
            return
        self.now = until
        if not self.turned:
            return
        quick, slow = self.geometry.at(QUICK), self.geometry.at(SLOW)
        left = math.exp(-passed / QUICK_TIME), math.exp(-passed / SLOW_TIME)
        self._move_relief(((quick, 1.0 - left[0]), (slow, 1.0 - left[1])))
        self.state.fade(slice(quick, slow + 1), left)

    def _move_relief(self, row: Row) -> None:
        """Let relief change by a combination of the state, and the heights over the neck with it.

        The couplings' own uncertainty multiplies an uncertain change: mean + cov, variance + σg²σd² + cov²
        beside the linear part, as for any product of two normal variables.
        """
        mean, covariance, couplings = self.state.mean, self.state.covariance, self.geometry.couplings
        shared, weights = self.state.shared(row), self._over_neck()
        change, variance = along(mean, row), along(shared, row)
        moved = weights * change
        crossed = weights[:, None] * (shared + weights * (0.5 * variance))
        for place, both in couplings:
            joint = shared.item(place)
            outer, rows = moved[both], crossed[both]
            outer += joint
            beside = covariance[place] + weights * joint
            beside *= change
            for other, its in couplings:
                product = change * change * covariance.item(place, other)
                if other == place:
                    product += covariance.item(place, place) * variance + joint * joint
                outer = beside[its]
                outer += 0.5 * product
            rows += beside
        mean += moved
        covariance += crossed + crossed.T

    def _over_neck(self) -> FloatArray:
        """Weights with which relief and the heights over the neck follow a change of relief."""
        weights = self.over_neck.copy()
        for place, both in self.geometry.couplings:
            outer = weights[both]
            outer += self.state.mean.item(place)
        return weights

    # ------------------------------------------------------------ readings

    def _read(self, reading: Reading) -> None:
        taken = self.taken.get(reading.id)
        if taken is None:
            return
        wide = QUANTITIES[reading.quantity].width
        if reading.id in self.aside:
            self.likelihood += math.log(WRONG / wide)
            return
        state, spot, row, variance = self.state, taken.spot, taken.row, taken.variance
        if taken.offset is not None:
            self._round_alike(taken)
        if reading.id in self.widened:
            state.shift(state.weights(self.geometry.row(spot)[:1]), 0.0, self.widened[reading.id])
            self.likelihood += math.log(MOVED)
        known = state.estimate(row)
        shown = self.shown[reading.id] = Estimate(known.mean + taken.lying, known.variance + variance)
        spread = shown.spread
        if spread > wide:
            self.likelihood -= math.log(wide)
        elif reading.zero_or_less:
            self.likelihood += math.log(max(float(ndtr(-known.mean / spread)), 1e-300))
        else:
            away = ((reading.value or 0.0) - known.mean - taken.lying) / spread
            self.likelihood -= 0.5 * away * away + math.log(spread * math.sqrt(2.0 * math.pi))
        if reading.zero_or_less:
            self._touch(row, variance, spot)
        else:
            state.observe(row, (reading.value or 0.0) - taken.lying, variance, known)
        if taken.offset is not None and math.isnan(self.offsets[taken.offset]):
            self.offsets[taken.offset] = self.estimate(spot).mean

    def _round_alike(self, taken: Taken) -> None:
        """Start the rounding that readings share anew, once their level has moved."""
        assert taken.offset is not None
        level, started = self.estimate(taken.spot).mean, self.offsets.get(taken.offset)
        if started is None or abs(level - started) > taken.step:
            self.state.set(taken.offset, 0.0, math.sqrt(taken.shared))
            self.offsets[taken.offset] = math.nan  # where the level lies is known once this is taken in

    def _touch(self, row: Row, variance: float, spot: Spot) -> None:
        """Take in that a string touched: the value as read lies at or below zero.

        Likelihood Φ(-r/u), matched to the posterior's first two moments. Where nothing else is known of
        relief the likelihood has no width of its own: half a millimetre about the target, then.
        """
        known = self.state.estimate(row)
        if known.spread > QUANTITIES["relief"].width:
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
        self._forget(self.geometry.lost_by(adjustment))
        known = adjustment.id in self.shifts
        shift = self.shifts[adjustment.id] if known else self._known_shift(adjustment)
        if shift is not None:
            self.state.shift(shift.weights, shift.by, shift.variance)
            for place, variance in shift.wider:
                self.state.widen(place, variance)
        elif adjustment.part == "truss-rod":
            self._turn(adjustment.turns or 0.0)
        elif adjustment.part in {"saddle-position", "pickup-screw"}:
            self._set(adjustment)
        elif adjustment.part == "strings" and adjustment.pull_change is not None:
            self._restring(adjustment.pull_change)

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
        for name, store, mean in zip(names[1:], (QUICK, SLOW), means[1:], strict=True):
            state.follow(at(store), at(name), moved)
            common[at(store)] = mean
        state.shift(common, 0.0, unsure)
        rise = float(self.over_neck[at(Spot("action", "bass"))]) * means[0] * moved
        for spot in self.geometry.named("intonation"):
            state.widen(at(spot), (DETUNED * rise) ** 2)
        self.turned = turns

    def _restring(self, change: float) -> None:
        """Let relief follow the pull of other strings; what hangs on each string itself is lost."""
        at = self.geometry.at
        self._move_relief(((at(COMPLIANCE), change),))
        outer = [spot for quantity in HEIGHTS for spot in self.geometry.outer(quantity)]
        for name in (RELIEF, DIFFERENCE, *outer):
            self.state.widen(at(name), SEATED_SD**2)

    def _known_shift(self, adjustment: Adjustment) -> Shift | None:
        """What lifting a saddle or filing a slot does; None = another part, or no amount was recorded."""
        if adjustment.part == "nut-slot":
            return self._filed(adjustment)
        height = self.geometry.height(adjustment)
        if height is None:
            return None
        at, named = self.geometry.at, self.geometry.named
        rises = self.geometry.saddle_rises(adjustment, 1.0)
        under = {spot: self._outer_rise(spot, rises) for spot in named("pickup-height")}
        row = [*self.geometry.heights(rises), *((at(spot), PICKUP_SHARE * up) for spot, up in under.items())]
        variance = (HAND * height) ** 2
        if adjustment.part == "saddle":
            variance += FILING_SD**2
            row += [(at(spot), 1.0) for spot in named("saddle-out") if adjustment.side in (None, spot.side)]
        wider = [(at(spot), (PICKUP_SHARE_SD * up * height) ** 2) for spot, up in under.items()]
        for spot in named("intonation"):
            up = rises.get(spot.string or 0, 0.0) * height * share(self.geometry.meant_fret(spot))
            wider.append((at(spot), (DETUNED * up) ** 2))
        return Shift(self.state.weights(row), height, variance, tuple(wider))

    def _outer_rise(self, spot: Spot, rises: Mapping[int, float]) -> float:
        return rises.get(outermost(self.geometry.instrument, spot.side or "bass"), 0.0)

    def _filed(self, adjustment: Adjustment) -> Shift | None:
        number, amount = self.geometry.string_of(adjustment.side, adjustment.string), adjustment.amount
        if number is None or amount is None:
            return None
        weights = self.state.weights(self.geometry.heights({number: -1.0}, at_nut=True))
        wider = [
            (self.geometry.at(spot), (DETUNED * amount) ** 2)
            for spot in self.geometry.named("intonation")
            if spot.string == number
        ]
        return Shift(weights, amount, (HAND * amount) ** 2 + FILING_SD**2, tuple(wider))

    def _set(self, adjustment: Adjustment) -> None:
        """Move a saddle along its string, or a pickup's screw; without an amount the level is lost."""
        moved = self.geometry.moved_by(adjustment)
        for spot in self.geometry.levels:
            if spot not in moved:
                continue
            known = self.estimate(spot)
            amount = self._moved(adjustment, spot)
            if amount is None or known.spread > QUANTITIES[spot.quantity].width:
                self._lose(spot)
                continue
            by = -amount
            if spot.quantity == "intonation":
                fret = self.geometry.meant_fret(spot)
                after = intonation_after_move(known.mean, amount, self.geometry.scale_at(spot), fret)
                by = float(after) - known.mean
            self.state.mean[self.geometry.at(spot)] += by
            self.state.widen(self.geometry.at(spot), (HAND * by) ** 2)

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

    def _forget(self, quantities: frozenset[Quantity]) -> None:
        """Lose the levels of some quantities."""
        state, at = self.state, self.geometry.at
        for quantity in quantities:
            for spot in self.geometry.named(quantity):
                self._lose(spot)
        if "relief" in quantities:
            state.set(at(RELIEF), 0.0, DIFFUSE)
            state.set(at(DIFFERENCE), 0.0, DIFFUSE)
            state.set(at(QUICK), 0.0, 0.0)
            state.set(at(SLOW), 0.0, 0.0)
