"""Which reading counts for each spot, and its verdict."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TypeAlias

from ..belief.price import Limits, chance
from ..belief.update import Belief
from ..conformity import probability_in_spec, standard_uncertainty, verdict, verdict_at_most
from .conversions import Converted, Converter
from .goals import OCTAVE, SIDES, Goal, Spot
from .inputs import PlanInput, Quantity, Reading, Side
from .outputs import Verdict, VerdictWord
from .records import Records, as_read, not_shared, say_offset, tool_assumed, tool_of, uncertainty_source
from .words import Sentence, say

Asked: TypeAlias = tuple[
    Quantity, Side | None, int | None, str | None, int | None, tuple[int, ...],
    float, float | None, float | None, str,
]  # fmt: skip


@dataclass(frozen=True)
class Known:
    """A goal with what is known of it."""

    goal: Goal
    verdict: Verdict
    reading: Reading | None = None
    several: bool = False
    """Whether more than one reading tells of it."""
    reading_uncertainty: float = 0.0
    """Standard uncertainty of one reading with the tool that took the newest."""
    method: str | None = None
    """Another method to read it with, where the one used shows nothing."""

    @property
    def spot(self) -> Spot:
        """The goal's spot."""
        return self.goal.spot

    @property
    def settled_on(self) -> bool:
        """Whether nothing is left to do for it: in spec, or accepted."""
        return self.verdict.usable and (self.verdict.verdict == "in spec" or self.verdict.accepted)


class Sheet:
    """What all readings of the job together say of each goal."""

    def __init__(self, plan_input: PlanInput, records: Records | None = None) -> None:
        self.plan_input = plan_input
        self.records = records or Records(plan_input)
        self.converter = Converter(self.records)
        self.place = self.records.place

    def know(self, goal: Goal, belief: Belief | None = None, aside: frozenset[str] = frozenset()) -> Known:
        """Find the reading for a goal, convert it and say its verdict.

        With a belief several readings are judged together, without one the newest stands for itself.
        """
        spot = goal.spot
        if spot.quantity == "twist" and spot not in self.records.by_spot:
            return self._twist(goal)
        readings = [
            each
            for each in self.records.by_spot.get(spot, [])
            if _at_its_fret(each, goal) and each.id not in aside
        ]
        if not readings:
            return Known(goal, _unread(goal, say("not read yet")))
        since = self.records.disturbed_since(spot)
        reading = _counting(readings, since)
        why = self.records.unusable(reading, since)
        if why is not None:
            return Known(goal, _unread(goal, why, reading, stale=reading.order <= since), reading=reading)
        if reading.zero_or_less:
            return _touching(goal, reading)
        converted = self.converter.convert(goal, reading)
        if isinstance(converted, Sentence):
            return Known(goal, _unread(goal, converted, reading), reading=reading)
        uncertainty = converted.uncertainty(reading)
        several = belief is not None and belief.level(spot).total > 1
        if belief is not None and several:
            found = _believed(goal, reading, belief, converted.factor)
        else:
            found = _judged(goal, reading, converted, uncertainty)
        return Known(goal, found, reading, several, uncertainty)

    def _twist(self, goal: Goal) -> Known:
        bass, treble = (self.records.newest(Spot("relief", side)) for side in SIDES)
        if bass is None or treble is None:
            return Known(goal, _unread(goal, say("needs relief on the bass side and on the treble side")))
        reliefs = [self.converter.relief(bass), self.converter.relief(treble)]
        value = reliefs[0].value - reliefs[1].value
        both = zip(reliefs, (bass, treble), strict=True)
        spreads = [each.own_uncertainty(reading) for each, reading in both]
        uncertainty = (sum(spread**2 for spread in spreads) + not_shared(bass, treble)) ** 0.5
        item = goal.item
        probability = float(probability_in_spec(value, item.lower, item.upper, uncertainty))
        note = say("relief on the bass side minus relief on the treble side")
        accepted = bass.accepted and treble.accepted
        found = _said(goal, bass, (value, uncertainty), probability, note, accepted=accepted)
        return Known(goal, found, bass)


def _judged(goal: Goal, reading: Reading, converted: Converted, uncertainty: float) -> Verdict:
    """Verdict by one reading alone."""
    resolution, repeatability = tool_of(reading)
    low, high, value = goal.item.lower, goal.item.upper, converted.value
    unsure = converted.extra or (reading.offset is not None and reading.offset.spread)
    if repeatability is None and not unsure and resolution is not None:
        step = resolution * abs(converted.factor)
        probability = float(probability_in_spec(value, low, high, resolution=step))
    else:
        probability = float(probability_in_spec(value, low, high, uncertainty))
    note = converted.note
    if tool_assumed(reading) and note is None:
        note = say("no tool named: taken as the coarsest usual tool")
    found = _said(goal, reading, (value, uncertainty), probability, note, accepted=reading.accepted)
    return _without_offset(found, reading, converted.factor)


def _believed(goal: Goal, reading: Reading, belief: Belief, factor: float) -> Verdict:
    """Verdict by all that is known of a level, where more than one reading tells of it."""
    estimate, item = belief.estimate(goal.spot), goal.item
    value, spread = round(estimate.mean, 6), round(estimate.spread, 6)
    probability = chance(value, spread, Limits(item.target, item.lower, item.upper))
    note = say("with {count} earlier readings", count=belief.level(goal.spot).total - 1)
    found = _said(goal, reading, (value, spread), probability, note, accepted=reading.accepted)
    return _without_offset(found, reading, factor)


def _without_offset(found: Verdict, reading: Reading, factor: float) -> Verdict:
    """Say with a verdict that the bench's offset was taken off, where it shows."""
    told = say_offset(reading)
    if reading.offset is None or told is None:
        return found
    if found.reason is not None:
        told = Sentence(f"{found.reason.template}; {told.template}", (*found.reason.values, *told.values))
    return replace(found, taken_off=round(reading.offset.mean * factor, 6), reason=told)


def _at_its_fret(reading: Reading, goal: Goal) -> bool:
    if reading.quantity != "intonation":
        return True
    return (reading.fret or OCTAVE) == (goal.item.fret or OCTAVE)


def _counting(readings: list[Reading], since: int) -> Reading:
    """The reading that counts: the newest one at pitch, or a straightedge where a string merely touches."""
    fresh = [each for each in readings if each.order > since and each.at_pitch]
    if not fresh:
        return readings[0]
    newest = fresh[0]
    if newest.zero_or_less:
        # a straightedge that says how far below zero outranks a string that merely touches
        return next((each for each in fresh if _shows_below(each)), newest)
    return newest


def _shows_below(reading: Reading) -> bool:
    return reading.method == "straightedge" and reading.value is not None and reading.value <= 0


def _touching(goal: Goal, reading: Reading) -> Known:
    """Verdict of a string that touches: zero or less."""
    resolution, repeatability = tool_of(reading)
    uncertainty = float(standard_uncertainty(repeatability, resolution))
    word: VerdictWord = verdict_at_most(0.0, goal.item.lower, goal.item.upper, uncertainty)  # type: ignore[assignment]
    why = say("the string touches, zero or less: how far below needs a notched straightedge")
    found = Verdict(
        *_asked(goal),
        reading=reading.id,
        value=None,
        uncertainty=uncertainty,
        probability=None,
        verdict=word,
        usable=True,
        stale=False,
        zero_or_less=True,
        reason=why,
        uncertainty_source=uncertainty_source(reading),
    )
    return Known(goal, found, reading, method="straightedge")


def _said(
    goal: Goal,
    reading: Reading,
    value: tuple[float, float],
    probability: float,
    note: Sentence | None,
    *,
    accepted: bool,
) -> Verdict:
    """Verdict of a converted reading or of a belief; the value comes with its uncertainty."""
    word: VerdictWord = verdict(probability)  # type: ignore[assignment]
    return Verdict(
        *_asked(goal),
        reading=reading.id,
        value=value[0],
        uncertainty=value[1],
        probability=probability,
        verdict=word,
        usable=True,
        stale=False,
        accepted=accepted,
        reason=note,
        uncertainty_source=uncertainty_source(reading),
    )


def _unread(
    goal: Goal, why: Sentence | None, reading: Reading | None = None, *, stale: bool = False
) -> Verdict:
    """Verdict of a goal without a usable reading."""
    return Verdict(
        *_asked(goal),
        reading=reading.id if reading else None,
        value=as_read(reading) if reading else None,
        uncertainty=None,
        probability=None,
        verdict=None,
        usable=False,
        stale=stale,
        zero_or_less=bool(reading and reading.zero_or_less),
        reason=why,
    )


def _asked(goal: Goal) -> Asked:
    """What a verdict says of its goal, in the order of its fields."""
    spot, item = goal.spot, goal.item
    return (
        spot.quantity, spot.side, spot.string, spot.pickup, item.fret, item.held,
        item.target, item.lower, item.upper, item.source,
    )  # fmt: skip
