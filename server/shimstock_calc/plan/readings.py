"""Which reading counts for each spot, converted to the spec's frets, and its verdict."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from ..conformity import probability_in_spec, standard_uncertainty, verdict, verdict_at_most
from ..errors import Contradiction
from ..neck import action_at, nut_action_from_gap, open_action_from_capo, string_line
from ..relief import GRAVITY_RELIEF, curvature_from_relief
from .geometry import ReliefPlace, conversion, coupling, outermost, side_scale, string_scale
from .goals import OCTAVE, SIDES, Goal, Spot, relief_place, spot_of
from .model import Adjustment, Part, PlanInput, Quantity, Reading, Side, Verdict, VerdictWord
from .words import Sentence, say

CAPO_SHARE = 0.53
"""Part of the nut action that a capo at fret 1 takes from the 12th fret [-]."""

GRAVITY_UNCERTAINTY = 0.03
"""Standard uncertainty of the correction for lying on the back [mm relief]; judgement."""

COARSEST: dict[Quantity, tuple[float, float]] = {
    "relief": (0.05, 0.03),
    "twist": (0.05, 0.042),
    "action": (0.5, 0.08),
    "nut-action": (0.25, 0.06),
    "pickup-height": (0.5, 0.08),
    "break-clearance": (0.5, 0.08),
    "saddle-out": (0.5, 0.08),
    "intonation": (1.0, 1.2),
}
"""Resolution and repeatability of the coarsest usual tool [mm; cents]; repeatabilities from memory."""

ALL: frozenset[Quantity] = frozenset(COARSEST)
_HEIGHT: frozenset[Quantity] = frozenset(
    {"action", "nut-action", "pickup-height", "intonation", "break-clearance"}
)
AFFECTS: dict[Part, frozenset[Quantity]] = {
    "truss-rod": frozenset({"relief", "twist", "action", "nut-action", "intonation"}),
    "strings": ALL - {"saddle-out"},
    "bridge-post": _HEIGHT,
    "saddle-screw": _HEIGHT,
    "saddle": _HEIGHT | {"saddle-out"},
    "saddle-position": frozenset({"intonation"}),
    "nut-slot": frozenset({"nut-action", "action", "intonation"}),
    "spring-claw": _HEIGHT | {"relief"},
    "neck-shim": _HEIGHT,
    "pickup-screw": frozenset({"pickup-height"}),
    "tailpiece": frozenset({"break-clearance"}),
    "frets": ALL - {"saddle-out"},
    "tuners": frozenset(),
    "instrument": frozenset(),
}
"""Which readings an adjustment of a part makes stale."""

WEATHER: frozenset[Quantity] = frozenset({"relief", "twist", "action", "nut-action"})
"""No verdict on these while the instrument is cold or the room too dry or damp."""


MODEL_SLACK, LOW_SLOT = 0.05, 0.30
"""How far solved heights may fall below zero because no neck bends quite evenly, and because slots get filed
too low [mm]; judgement."""

UNSAID = Sentence("")


@dataclass(frozen=True)
class Known:
    """A goal with what is known of it."""

    goal: Goal
    verdict: Verdict
    repeats: int = 0
    """Usable readings since the spot was last disturbed."""
    reading: Reading | None = None
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


def disturbed_since(spot: Spot, adjustments: tuple[Adjustment, ...], plan_input: PlanInput) -> int:
    """Rank of the last adjustment that affects a spot; -1 when none does."""
    ranks = [each.order for each in adjustments if _affects(each, spot, plan_input)]
    return max(ranks, default=-1)


def _affects(adjustment: Adjustment, spot: Spot, plan_input: PlanInput) -> bool:
    if spot.quantity not in AFFECTS[adjustment.part]:
        return False
    if adjustment.part == "pickup-screw":
        return adjustment.pickup is None or spot.pickup is None or adjustment.pickup == spot.pickup
    if adjustment.part in {"nut-slot", "saddle-screw", "saddle-position"}:
        return _same_string(adjustment, spot, plan_input)
    return True


def _same_string(adjustment: Adjustment, spot: Spot, plan_input: PlanInput) -> bool:
    def strings(side: Side | None, string: int | None) -> int | None:
        return outermost(plan_input.instrument, side) if side and string is None else string

    turned, read = strings(adjustment.side, adjustment.string), strings(spot.side, spot.string)
    if turned is None or read is None or turned == read:
        return True
    paired = plan_input.instrument.bridge.kind == "paired-saddles" and adjustment.part != "nut-slot"
    return paired and (turned - 1) // 2 == (read - 1) // 2


class Sheet:
    """All readings of the job, newest first, with what each is worth."""

    def __init__(self, plan_input: PlanInput) -> None:
        self.plan_input = plan_input
        self.place = relief_place(plan_input)
        by_spot: dict[Spot, list[Reading]] = {}
        for reading in sorted(plan_input.readings, key=lambda each: (-each.order, each.id)):
            by_spot.setdefault(spot_of(reading, plan_input.instrument), []).append(reading)
        self.by_spot = by_spot

    def know(self, goal: Goal) -> Known:
        """Find the reading for a goal, convert it and say its verdict."""
        spot = goal.spot
        if spot.quantity == "twist" and spot not in self.by_spot:
            return self._twist(goal)
        readings = [each for each in self._candidates(spot) if self._at_its_fret(each, goal)]
        if not readings:
            return Known(goal, _unread(goal, say("not read yet")))
        since = disturbed_since(spot, self.plan_input.adjustments, self.plan_input)
        newest = self._newest(readings, since)
        why = self._unusable(newest, since)
        if why is not None:
            stale = newest.order <= since
            return Known(goal, _unread(goal, why, newest, stale=stale), reading=newest)
        fresh = [each for each in readings if each.order > since and self._unusable(each, since) is None]
        known = self._judged(goal, newest, len(fresh))
        if known.verdict.verdict == "too close to call" and len(fresh) > 1 and not newest.accepted:
            return self._averaged(known, fresh)
        return known

    def _averaged(self, known: Known, fresh: list[Reading]) -> Known:
        """A newest reading that is too close to call is taken together with those it repeats."""
        newest, item = known.reading, known.goal.item
        assert newest is not None
        resolution, repeatability, _ = _tool(newest)
        alike = [each for each in fresh if each.value is not None and _repeats(each, newest)]
        if repeatability is None or len(alike) < 2:
            return known
        converted = [self._convert(known.goal, each) for each in alike]
        values = [each[0] for each in converted if not isinstance(each, Sentence)]
        factor = next(each[1] for each in converted if not isinstance(each, Sentence))
        value = sum(values) / len(values)
        uncertainty = float(standard_uncertainty(repeatability, resolution, factor, len(values)))
        probability = float(probability_in_spec(value, item.lower, item.upper, uncertainty))
        word: VerdictWord = verdict(probability)  # type: ignore[assignment]
        found = replace(
            known.verdict,
            value=value,
            uncertainty=uncertainty,
            probability=probability,
            verdict=word,
            reason=say("mean of {count} readings", count=len(values)),
        )
        return replace(known, verdict=found)

    def _candidates(self, spot: Spot) -> list[Reading]:
        found = list(self.by_spot.get(spot, []))
        if spot.quantity in {"relief", "break-clearance"} and spot.side is None and spot.string is None:
            return found
        return found

    def _at_its_fret(self, reading: Reading, goal: Goal) -> bool:
        if reading.quantity == "intonation":
            return (reading.fret or OCTAVE) == (goal.item.fret or OCTAVE)
        return True

    @staticmethod
    def _newest(readings: list[Reading], since: int) -> Reading:
        newest = readings[0]
        if not newest.zero_or_less:
            return newest
        for other in readings[1:]:
            # a straightedge that says how far below zero outranks a string that merely touches
            if other.order > since and other.value is not None and other.value <= 0 and other.at_pitch:
                return other
        return newest

    def _unusable(self, reading: Reading, since: int) -> Sentence | None:
        settings = self.plan_input.settings
        if reading.order <= since:
            return say("older than the last adjustment that affects it")
        if not reading.at_pitch:
            return say("taken off pitch: kept, but no plan is built on it")
        if reading.quantity in WEATHER:
            if not reading.acclimatised:
                return say("the instrument had not yet taken the room's temperature")
            humidity = reading.humidity
            if humidity is not None and not settings.humidity_low <= humidity <= settings.humidity_high:
                return say(
                    "the room was too {state}: no verdict until the instrument has recovered",
                    state="dry" if humidity < settings.humidity_low else "damp",
                )
        if reading.quantity == "relief" and (len(reading.held) != 2 or reading.fret is None):
            return say("relief without its hold frets and reading fret cannot be used")
        if reading.capo is not None and (reading.quantity != "action" or reading.capo != 1):
            return say(
                "read with a capo at fret {fret}; only action with a capo at fret 1 can be converted",
                fret=reading.capo,
            )
        return None

    def _judged(self, goal: Goal, reading: Reading, repeats: int) -> Known:
        resolution, repeatability, assumed = _tool(reading)
        if reading.zero_or_less:
            return self._censored(goal, reading, resolution, repeatability, repeats)
        converted = self._convert(goal, reading)
        if isinstance(converted, Sentence):
            return Known(goal, _unread(goal, converted, reading), reading=reading)
        value, factor, extra, note = converted
        item = goal.item
        if repeatability is None and extra == 0.0 and resolution is not None:
            step = resolution * abs(factor)
            probability = float(probability_in_spec(value, item.lower, item.upper, resolution=step))
            uncertainty = step / math.sqrt(12.0)
        else:
            uncertainty = math.hypot(float(standard_uncertainty(repeatability, resolution, factor)), extra)
            probability = float(probability_in_spec(value, item.lower, item.upper, uncertainty))
        if assumed and note is None:
            note = say("no tool named: taken as the coarsest usual tool")
        word: VerdictWord = verdict(probability)  # type: ignore[assignment]
        return Known(
            goal,
            replace(
                _unread(goal, UNSAID, reading),
                value=value,
                uncertainty=uncertainty,
                probability=probability,
                verdict=word,
                usable=True,
                stale=False,
                accepted=reading.accepted,
                reason=note,
            ),
            repeats,
            reading,
        )

    def _censored(
        self,
        goal: Goal,
        reading: Reading,
        resolution: float | None,
        repeatability: float | None,
        repeats: int,
    ) -> Known:
        item = goal.item
        uncertainty = float(standard_uncertainty(repeatability, resolution))
        word: VerdictWord = verdict_at_most(0.0, item.lower, item.upper, uncertainty)  # type: ignore[assignment]
        found = replace(
            _unread(goal, UNSAID, reading),
            value=None,
            uncertainty=uncertainty,
            probability=None,
            verdict=word,
            usable=True,
            stale=False,
            zero_or_less=True,
            reason=say("the string touches, zero or less: how far below needs a notched straightedge"),
        )
        return Known(goal, found, repeats, reading, method="straightedge")

    def _convert(
        self, goal: Goal, reading: Reading
    ) -> tuple[float, float, float, Sentence | None] | Sentence:
        """Value at the spec's frets, factor on its uncertainty, further uncertainty, remark; or why not."""
        assert reading.value is not None
        if reading.quantity == "relief":
            return self._relief(reading, reading.value)
        if reading.quantity == "action":
            return self._action(goal, reading, reading.value)
        if reading.quantity == "nut-action":
            return self._nut_action(goal, reading, reading.value)
        return reading.value, 1.0, 0.0, None

    def _relief(self, reading: Reading, value: float) -> tuple[float, float, float, Sentence | None]:
        instrument = self.plan_input.instrument
        low, high = reading.held
        read = ReliefPlace((low, high), reading.fret or 0)
        scale = side_scale(instrument, reading.side)
        factor = conversion(scale, instrument.body_joint_fret, read, self.place)
        note = None
        if read != self.place:
            note = say(
                "read held at {low} and {high} at fret {fret}; converted by {factor}",
                low=low,
                high=high,
                fret=read.fret,
                factor=f"{factor:.3f}",
            )
        lying = reading.position == "on-back"
        extra = GRAVITY_UNCERTAINTY if lying else 0.0
        if lying:
            note = say("read on its back; taken to playing position")
        return value * factor + (GRAVITY_RELIEF if lying else 0.0), factor, extra, note

    def _lying(self, reading: Reading, spot: Spot, at: int) -> tuple[float, float]:
        if reading.position != "on-back":
            return 0.0, 0.0
        instrument = self.plan_input.instrument
        rise = coupling(self.scale_at(spot), instrument.body_joint_fret, self.place, at)
        return GRAVITY_RELIEF * rise, GRAVITY_UNCERTAINTY * rise

    def _action(
        self, goal: Goal, reading: Reading, value: float
    ) -> tuple[float, float, float, Sentence | None] | Sentence:
        spot, wanted = goal.spot, goal.item.fret or OCTAVE
        at = reading.fret or OCTAVE
        note = None
        rise, extra = self._lying(reading, spot, at)
        if reading.capo == 1:
            nut = self.newest(spot._replace(quantity="nut-action"))
            if nut is None or nut.held:
                return say("read with a capo at fret 1: the nut action is needed to convert it")
            value = float(open_action_from_capo(value, nut.value or 0.0, at))
            resolution, repeatability, _ = _tool(nut)
            extra = math.hypot(extra, CAPO_SHARE * float(standard_uncertainty(repeatability, resolution)))
            note = say("read with a capo at fret 1; converted with the nut action")
        if at != wanted:
            known = self._bend(spot), self.newest(spot._replace(quantity="nut-action"))
            if known[0] is None or known[1] is None or known[1].value is None or known[1].held:
                return say(
                    "read at fret {at}: relief and nut action are needed to convert it to fret {wanted}",
                    at=at,
                    wanted=wanted,
                )
            scale, joint = self.scale_at(spot), self.plan_input.instrument.body_joint_fret
            line = string_line(
                known[0],
                known[1].value,
                value,
                scale_length=scale,
                body_joint_fret=joint,
                held=self.place.held,
                fret=self.place.fret,
                action_fret=at,
                slack=1.0,
            )
            value = float(action_at(line, wanted, scale, joint))
            note = say("read at fret {at}; converted to fret {wanted}", at=at, wanted=wanted)
        if rise:
            note = say("read on its back; taken to playing position")
        return value + rise, 1.0, extra, note

    def _nut_action(
        self, goal: Goal, reading: Reading, value: float
    ) -> tuple[float, float, float, Sentence | None] | Sentence:
        spot = goal.spot
        rise, extra = self._lying(reading, spot, 1)
        if not reading.held:
            note = say("read on its back; taken to playing position") if rise else None
            return value + rise, 1.0, extra, note
        if reading.held != (3,):
            return say("nut action is read on the open string, or with the string held at fret 3")
        action, bend = self.newest(spot._replace(quantity="action")), self._bend(spot)
        if action is None or action.value is None or action.capo is not None or bend is None:
            return say("the gap with the string held at fret 3 needs relief and action to be converted")
        scale, joint = self.scale_at(spot), self.plan_input.instrument.body_joint_fret
        curvature = curvature_from_relief(bend, scale, joint, self.place.held, self.place.fret)
        converted = float(nut_action_from_gap(value, action.value, curvature, scale, joint))
        return (
            converted,
            1.0 / 0.647,
            0.0,
            say("read with the string held at fret 3; converted to the open string"),
        )

    def scale_at(self, spot: Spot) -> float:
        """Scale length at a spot [mm]."""
        if spot.string is not None:
            return string_scale(self.plan_input.instrument, spot.string)
        return side_scale(self.plan_input.instrument, spot.side)

    def newest(self, spot: Spot) -> Reading | None:
        """Newest usable reading of a spot, unconverted."""
        since = disturbed_since(spot, self.plan_input.adjustments, self.plan_input)
        for reading in self.by_spot.get(spot, []):
            if reading.value is not None and self._unusable(reading, since) is None:
                return reading
        return None

    def _bend(self, spot: Spot) -> float | None:
        """Relief at the spec's frets on the spot's side, or wherever it was read [mm]."""
        for side in (spot.side, None, *SIDES):
            reading = self.newest(Spot("relief", side))
            if reading is not None and reading.value is not None:
                return self._relief(reading, reading.value)[0]
        return None

    def _twist(self, goal: Goal) -> Known:
        sides = [self.newest(Spot("relief", side)) for side in SIDES]
        bass, treble = sides
        if bass is None or treble is None or bass.value is None or treble.value is None:
            return Known(goal, _unread(goal, say("needs relief on the bass side and on the treble side")))
        values = [self._relief(reading, reading.value or 0.0) for reading in (bass, treble)]
        spreads = []
        for reading, (_, factor, extra, _) in zip((bass, treble), values, strict=True):
            resolution, repeatability, _ = _tool(reading)
            spreads.append(math.hypot(float(standard_uncertainty(repeatability, resolution, factor)), extra))
        value, uncertainty = values[0][0] - values[1][0], math.hypot(*spreads)
        item = goal.item
        probability = float(probability_in_spec(value, item.lower, item.upper, uncertainty))
        word: VerdictWord = verdict(probability)  # type: ignore[assignment]
        found = replace(
            _unread(goal, UNSAID, bass),
            value=value,
            uncertainty=uncertainty,
            probability=probability,
            verdict=word,
            usable=True,
            stale=False,
            accepted=bass.accepted and treble.accepted,
            reason=say("relief on the bass side minus relief on the treble side"),
        )
        return Known(goal, found, 1, bass)

    def relief_history(self) -> list[tuple[Reading, float, float]]:
        """Relief readings in order: reading, value at the spec's frets, uncertainty [mm]; stale ones too."""
        history = []
        for spot in sorted((spot for spot in self.by_spot if spot.quantity == "relief"), key=str):
            for reading in self.by_spot[spot]:
                if reading.value is None or self._unusable(reading, -1) is not None:
                    continue
                value, factor, extra, _ = self._relief(reading, reading.value)
                resolution, repeatability, _ = _tool(reading)
                spread = math.hypot(float(standard_uncertainty(repeatability, resolution, factor)), extra)
                history.append((reading, value, spread))
        return sorted(history, key=lambda each: each[0].order)


def _repeats(one: Reading, other: Reading) -> bool:
    """Whether a reading was taken like another: same frets, tool and position."""
    return (one.fret, one.held, one.capo, one.position, one.resolution, one.repeatability) == (
        other.fret,
        other.held,
        other.capo,
        other.position,
        other.resolution,
        other.repeatability,
    )


def _tool(reading: Reading) -> tuple[float | None, float | None, bool]:
    if reading.resolution is None and reading.repeatability is None:
        resolution, repeatability = COARSEST[reading.quantity]
        return resolution, repeatability, True
    return reading.resolution, reading.repeatability, False


def _unread(goal: Goal, why: Sentence, reading: Reading | None = None, stale: bool = False) -> Verdict:
    """Verdict of a goal without a usable reading."""
    spot, item = goal.spot, goal.item
    return Verdict(
        quantity=spot.quantity,
        side=spot.side,
        string=spot.string,
        pickup=spot.pickup,
        fret=item.fret,
        held=item.held,
        target=item.target,
        lower=item.lower,
        upper=item.upper,
        source=item.source,
        reading=reading.id if reading else None,
        value=reading.value if reading else None,
        uncertainty=None,
        probability=None,
        verdict=None,
        usable=False,
        stale=stale,
        zero_or_less=bool(reading and reading.zero_or_less),
        reason=why,
    )


def refuse_contradictions(known: dict[Spot, Known], sheet: Sheet) -> None:
    """Refuse relief, nut action and action that cannot all be true of one string.

    Raises
    ------
    Contradiction
        Naming the reading to look at first.
    """
    for side in SIDES:
        relief = known.get(Spot("relief", side)) or known.get(Spot("relief"))
        three = (relief, known.get(Spot("nut-action", side)), known.get(Spot("action", side)))
        found = [each.verdict for each in three if each is not None and each.verdict.usable]
        values = [each.value for each in found]
        if len(found) < 3 or any(value is None for value in values):
            continue
        slack = MODEL_SLACK + 2.0 * math.hypot(*(each.uncertainty or 0.0 for each in found))
        try:
            _line_of(sheet, side, [value or 0.0 for value in values], found[2].fret or OCTAVE, slack)
        except Contradiction as contradiction:
            if contradiction.field == "nut_action" and _slot_may_be_low(sheet, side, found, slack):
                continue
            raise Contradiction(f"{side} side: {contradiction.message}", contradiction.field) from None


def _line_of(sheet: Sheet, side: Side, values: list[float], fret: int, slack: float) -> None:
    instrument = sheet.plan_input.instrument
    string_line(
        *values,
        scale_length=side_scale(instrument, side),
        body_joint_fret=instrument.body_joint_fret,
        held=sheet.place.held,
        fret=sheet.place.fret,
        action_fret=fret,
        slack=slack,
    )


def _slot_may_be_low(sheet: Sheet, side: Side, found: list[Verdict], slack: float) -> bool:
    """A slot filed too low is a fault, not a contradiction, as long as the string still clears its frets."""
    values = [each.value or 0.0 for each in found]
    try:
        _line_of(sheet, side, values, found[2].fret or OCTAVE, max(slack, LOW_SLOT))
    except Contradiction:
        return False
    return True
