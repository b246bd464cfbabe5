"""Readings brought to the spec's frets, to the open string and to playing position."""

from __future__ import annotations

import math
from functools import lru_cache
from typing import NamedTuple

from ..conformity import standard_uncertainty
from ..neck import action_at, nut_action_from_gap, open_action_from_capo, string_line
from ..relief import GRAVITY_SD, curvature_from_relief, gravity_relief
from .geometry import ReliefPlace, conversion, coupling, share, side_scale
from .goals import OCTAVE, SIDES, Goal, Spot
from .inputs import Reading
from .records import Records, tool_of
from .words import Sentence, say

CAPO_SHARE = 0.53
"""Part of the nut action that a capo at fret 1 takes from the 12th fret [-]."""

GAP_FACTOR = 1.0 / (1.0 - share(1) / share(3)) * (1.0 - share(1) / share(OCTAVE))
"""Nut action per gap over the 1st fret with the string held at fret 3, the 12th left alone [-]."""

PLAYING = say("read on its back; taken to playing position")


class Converted(NamedTuple):
    """A reading at the spec's frets."""

    value: float
    factor: float = 1.0
    """On the reading's own uncertainty."""
    extra: float = 0.0
    """Further standard uncertainty, from the conversion."""
    note: Sentence | None = None

    def uncertainty(self, reading: Reading) -> float:
        """Standard uncertainty of the converted reading, what is not known of the bench's offset included."""
        own = self.own_uncertainty(reading)
        if reading.offset is None or reading.zero_or_less:
            return own
        return math.hypot(own, reading.offset.spread * self.factor)

    def own_uncertainty(self, reading: Reading) -> float:
        """The same without the bench's offset."""
        resolution, repeatability = tool_of(reading)
        return math.hypot(_own_uncertainty(repeatability, resolution, self.factor), self.extra)


@lru_cache(maxsize=1024)
def _own_uncertainty(repeatability: float | None, resolution: float | None, factor: float) -> float:
    return float(standard_uncertainty(repeatability, resolution, factor))


class Converter:
    """Converts readings with the help of those beside them."""

    def __init__(self, records: Records) -> None:
        self.records = records
        self.instrument = records.plan_input.instrument

    def convert(self, goal: Goal, reading: Reading) -> Converted | Sentence:
        """Bring a reading to its goal's frets, or say what is missing for it."""
        value = reading.value or 0.0
        if reading.quantity == "relief":
            return self.relief(reading)
        if reading.quantity == "action":
            return self._action(goal, reading, value)
        if reading.quantity == "nut-action":
            return self._nut_action(goal, reading, value)
        return Converted(value)

    def relief(self, reading: Reading) -> Converted:
        """Relief at the spec's hold and reading frets."""
        low, high = reading.held
        read = ReliefPlace((low, high), reading.fret or 0)
        scale = side_scale(self.instrument, reading.side)
        factor = conversion(scale, self.instrument.body_joint_fret, read, self.records.place)
        value = (reading.value or 0.0) * factor
        if reading.position == "on-back":
            lacks = self._gravity(scale)
            return Converted(value + lacks, factor, GRAVITY_SD * lacks, PLAYING)
        if read == self.records.place:
            return Converted(value, factor)
        note = say(
            "read held at {low} and {high} at fret {fret}; converted by {factor}",
            low=low,
            high=high,
            fret=read.fret,
            factor=f"{factor:.3f}",
        )
        return Converted(value, factor, note=note)

    def _gravity(self, scale: float) -> float:
        """Relief at the spec's frets that a reading on the back lacks [mm]."""
        place = self.records.place
        return float(gravity_relief(scale, self.instrument.body_joint_fret, place.held, place.fret))

    def _lying(self, reading: Reading, spot: Spot, at: int) -> tuple[float, float]:
        """What lying on the back takes from a height, and how unsure that is [mm]."""
        if reading.position != "on-back":
            return 0.0, 0.0
        scale, joint = self.records.scale_at(spot), self.instrument.body_joint_fret
        lacks = self._gravity(scale) * coupling(scale, joint, self.records.place, at)
        return lacks, GRAVITY_SD * lacks

    def _action(self, goal: Goal, reading: Reading, value: float) -> Converted | Sentence:
        at, wanted = reading.fret or OCTAVE, goal.item.fret or OCTAVE
        rise, extra = self._lying(reading, goal.spot, at)
        note = PLAYING if rise else None
        nut = self.records.newest(goal.spot._replace(quantity="nut-action"))
        if reading.capo == 1:
            if nut is None or nut.held:
                return say("read with a capo at fret 1: the nut action is needed to convert it")
            value = float(open_action_from_capo(value, nut.value or 0.0, at))
            extra = math.hypot(extra, CAPO_SHARE * Converted(0.0).uncertainty(nut))
            note = say("read with a capo at fret 1; converted with the nut action")
        if at != wanted:
            moved = self._at_fret(goal.spot, value, nut, at=at, wanted=wanted)
            if isinstance(moved, Sentence):
                return moved
            value, note = moved, say("read at fret {at}; converted to fret {wanted}", at=at, wanted=wanted)
        return Converted(value + rise, extra=extra, note=note)

    def _at_fret(
        self, spot: Spot, value: float, nut: Reading | None, *, at: int, wanted: int
    ) -> float | Sentence:
        bend = self._bend(spot)
        if bend is None or nut is None or nut.value is None or nut.held:
            return say(
                "read at fret {at}: relief and nut action are needed to convert it to fret {wanted}",
                at=at,
                wanted=wanted,
            )
        scale, joint, place = self.records.scale_at(spot), self.instrument.body_joint_fret, self.records.place
        line = string_line(
            bend,
            nut.value,
            value,
            scale_length=scale,
            body_joint_fret=joint,
            held=place.held,
            fret=place.fret,
            action_fret=at,
            slack=math.inf,
        )
        return float(action_at(line, wanted, scale, joint))

    def _nut_action(self, goal: Goal, reading: Reading, value: float) -> Converted | Sentence:
        spot = goal.spot
        if not reading.held:
            rise, extra = self._lying(reading, spot, 1)
            return Converted(value + rise, extra=extra, note=PLAYING if rise else None)
        if reading.held != (3,):
            return say("nut action is read on the open string, or with the string held at fret 3")
        action, bend = self.records.newest(spot._replace(quantity="action")), self._bend(spot)
        if action is None or action.value is None or action.capo is not None or bend is None:
            return say("the gap with the string held at fret 3 needs relief and action to be converted")
        scale, joint, place = self.records.scale_at(spot), self.instrument.body_joint_fret, self.records.place
        curvature = curvature_from_relief(bend, scale, joint, place.held, place.fret)
        converted = float(nut_action_from_gap(value, action.value, curvature, scale, joint))
        note = say("read with the string held at fret 3; converted to the open string")
        return Converted(converted, GAP_FACTOR, note=note)

    def _bend(self, spot: Spot) -> float | None:
        """Relief at the spec's frets on the spot's side, or wherever it was read [mm]."""
        for side in (spot.side, None, *SIDES):
            reading = self.records.newest(Spot("relief", side))
            if reading is not None:
                return self.relief(reading).value
        return None
