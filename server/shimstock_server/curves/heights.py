"""The newest heights of an instrument, brought to its spec's frets, string by string."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

import numpy as np

from shimstock_calc.board import Board, board_from_readings
from shimstock_calc.plan.conversions import Converter
from shimstock_calc.plan.geometry import share_across, side_scale, string_scale
from shimstock_calc.plan.goals import OCTAVE, SIDES, Goal, Spot
from shimstock_calc.plan.model import Instrument, Reading, SpecItem
from shimstock_calc.plan.records import Records
from shimstock_calc.plan.words import Sentence
from shimstock_calc.relief import curvature_from_relief
from shimstock_server.bench import WholeLife

from .problems import ReadingsMissing

TOUCHES = "the string touches, zero or less: read how far below with a notched straightedge"
UNREAD = "not read yet"


@dataclass(frozen=True)
class Used:
    """A reading that a map or a curve stands on, at the frets of the spec."""

    quantity: str
    side: str | None
    string: int | None
    value: float
    taken_at: datetime


@dataclass(frozen=True)
class Heights:
    """An instrument as it was last read: its board, and each string's own heights [mm].

    Parameters
    ----------
    numbers : tuple of int
        The strings, string 1 first.
    board : Board
        Every string over its frets.
    relief, nut_action, action : tuple of float
        At the spec's frets, string by string.
    used : tuple of Used
        The readings behind it.
    """

    numbers: tuple[int, ...]
    board: Board
    relief: tuple[float, ...]
    nut_action: tuple[float, ...]
    action: tuple[float, ...]
    used: tuple[Used, ...]

    @property
    def read_at(self) -> datetime:
        """When the newest of them was taken."""
        return max(each.taken_at for each in self.used)


def newest_heights(life: WholeLife) -> Heights:
    """Return the heights of an instrument from its newest readings that can be used.

    Raises
    ------
    ReadingsMissing
        Naming each reading that is to be taken, and why.
    """
    reader = _Reader(life)
    relief = reader.relief()
    heights = {quantity: reader.heights(quantity) for quantity in ("nut-action", "action")}
    if reader.lacking:
        raise ReadingsMissing.of(reader.lacking)
    instrument = life.source.instrument
    numbers = instrument.numbers
    nut_action, action = (
        tuple(_at_string(instrument, number, heights[quantity]) for number in numbers)
        for quantity in ("nut-action", "action")
    )
    scales = [string_scale(instrument, number) for number in numbers]
    shares = [share_across(instrument, number) for number in numbers]
    bends = [reader.curvature(relief[side], side) for side in ("treble", "bass")]
    board = board_from_readings(
        scales,
        np.interp(shares, [0.0, 1.0], bends),
        nut_action,
        action,
        frets=instrument.frets,
        body_joint_fret=instrument.body_joint_fret,
        action_fret=OCTAVE,
    )
    across = np.interp(shares, [0.0, 1.0], [relief["treble"], relief["bass"]])
    return Heights(numbers, board, tuple(map(float, across)), nut_action, action, tuple(reader.used))


def _at_string(instrument: Instrument, number: int, found: dict[Spot, float]) -> float:
    """Return a string's own reading, else what lies between those of the two sides: along the radius."""
    for spot, value in found.items():
        if spot.string == number:
            return value
    sides = {spot.side: value for spot, value in found.items() if spot.side is not None}
    share = share_across(instrument, number)
    return sides["treble"] + (sides["bass"] - sides["treble"]) * share


class _Reader:
    """Looks through the readings, and remembers what is lacking."""

    def __init__(self, life: WholeLife) -> None:
        self.life = life
        self.records = Records(life.source)
        self.converter = Converter(self.records)
        self.instrument = life.source.instrument
        self.lacking: dict[tuple[str, ...], str] = {}
        self.used: list[Used] = []

    def relief(self) -> dict[str, float]:
        """Return relief under the two sides; one that was read on no side, or on one only, holds for both."""
        anywhere = [spot for spot in self.records.by_spot if spot.quantity == "relief" and spot.side is None]
        general = self._newest(anywhere)
        sides = {side: self._newest([Spot("relief", side), *anywhere]) for side in SIDES}
        found = {side: reading or general for side, reading in sides.items()}
        other = next((reading for reading in found.values() if reading is not None), None)
        if other is None:
            read = [spot for spot in self.records.by_spot if spot.quantity == "relief"]
            self.lacking["relief",] = self._why(read)
            return {}
        chosen = {side: reading or other for side, reading in found.items()}
        converted: dict[str, float] = {
            side: self.converter.relief(reading).value for side, reading in chosen.items()
        }
        for reading in dict.fromkeys(chosen.values()):
            self._use(reading, reading.side, self.converter.relief(reading).value)
        return converted

    def curvature(self, relief: float, side: str) -> float:
        """Return the curvature of the neck under a side [1/mm]."""
        place = self.records.place
        scale = side_scale(self.instrument, "bass" if side == "bass" else "treble")
        return float(
            curvature_from_relief(relief, scale, self.instrument.body_joint_fret, place.held, place.fret)
        )

    def heights(self, quantity: str) -> dict[Spot, float]:
        """Return a height on both sides, and on every inner string that was read."""
        inner = [
            spot
            for spot in self.records.by_spot
            if spot.quantity == quantity and spot.string is not None and spot.side is None
        ]
        found: dict[Spot, float] = {}
        for spot in [*(Spot(quantity, side) for side in SIDES), *inner]:  # type: ignore[arg-type]
            reading = self._newest([spot])
            value = None if reading is None else self._converted(spot, reading)
            if isinstance(value, float):
                found[spot] = value
                assert reading is not None
                self._use(reading, spot.side, value)
            elif spot.side is not None:
                why = self._why([spot]) if value is None else value.text()
                self.lacking[quantity, spot.side] = why
        return found

    def _converted(self, spot: Spot, reading: Reading) -> float | Sentence:
        item = SpecItem(spot.quantity, 0.0, fret=OCTAVE)
        converted = self.converter.convert(Goal(spot, item), reading)
        return converted if isinstance(converted, Sentence) else float(converted.value)

    def _newest(self, spots: list[Spot]) -> Reading | None:
        """Return the newest usable reading of some spots; none when its string merely touches."""
        fresh = self._usable(spots)
        if not fresh:
            return None
        if fresh[0].zero_or_less:
            # a straightedge that says how far below zero outranks a string that merely touches
            return next((each for each in fresh if each.value is not None and each.value <= 0), None)
        return fresh[0]

    def _usable(self, spots: list[Spot]) -> list[Reading]:
        found = [
            reading
            for spot in spots
            for reading in self.records.by_spot.get(spot, [])
            if self.records.unusable(reading, self.records.disturbed_since(spot)) is None
        ]
        return sorted(found, key=lambda reading: reading.order, reverse=True)

    def _why(self, spots: list[Spot]) -> str:
        """Return why no reading of some spots can be used."""
        if self._usable(spots):
            return TOUCHES
        found = [(spot, reading) for spot in spots for reading in self.records.by_spot.get(spot, [])]
        if not found:
            return UNREAD
        spot, newest = max(found, key=lambda each: each[1].order)
        why = self.records.unusable(newest, self.records.disturbed_since(spot))
        return UNREAD if why is None else why.text()

    def _use(self, reading: Reading, side: str | None, value: float) -> None:
        taken_at = self.life.taken_at[reading.id]
        string = None if side is not None else reading.string
        self.used.append(Used(reading.quantity, side, string, value, taken_at))
