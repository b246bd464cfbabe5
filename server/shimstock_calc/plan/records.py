"""The job's readings by spot, newest first, and whether each can be used."""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

from ..vocabulary import QUANTITIES
from .geometry import side_scale, string_scale
from .goals import Spot, relief_place, spot_of
from .inputs import PlanInput, Quantity, Reading
from .staleness import disturbed_since
from .words import Measure, Sentence, say

LEAST_TOLD = 0.005, 0.05
"""Least offset that is told: what would be written as more than nothing [mm; cents]."""


class BenchTool(NamedTuple):
    """A bench with a tool, and what it reads: what an offset belongs to."""

    bench: str
    tool: str | None
    quantity: Quantity


class Records:
    """All readings of the job."""

    def __init__(self, plan_input: PlanInput) -> None:
        self.plan_input = plan_input
        self.place = relief_place(plan_input)
        self.spots: dict[str, Spot] = {}
        """By id: where a reading was taken."""
        self.by_spot: dict[Spot, list[Reading]] = {}
        for reading in sorted(plan_input.readings, key=_age, reverse=True):
            spot = self.spots[reading.id] = spot_of(reading, plan_input.instrument)
            self.by_spot.setdefault(spot, []).append(reading)
        self._disturbed: dict[Spot, int] = {}

    def disturbed_since(self, spot: Spot) -> int:
        """Rank of the last adjustment that affects a spot."""
        found = self._disturbed.get(spot)
        if found is None:
            found = self._disturbed[spot] = disturbed_since(spot, self.plan_input)
        return found

    def newest(self, spot: Spot) -> Reading | None:
        """Newest reading of a spot that can be used and has a value."""
        since = self.disturbed_since(spot)
        for reading in self.by_spot.get(spot, []):
            if reading.value is not None and self.unusable(reading, since) is None:
                return reading
        return None

    def scale_at(self, spot: Spot) -> float:
        """Scale length at a spot [mm]."""
        if spot.string is not None:
            return string_scale(self.plan_input.instrument, spot.string)
        return side_scale(self.plan_input.instrument, spot.side)

    def unusable(self, reading: Reading, since: int) -> Sentence | None:
        """Why a reading cannot be used; None when it can."""
        if reading.order <= since:
            return say("older than the last adjustment that affects it")
        if not reading.at_pitch:
            return say("taken off pitch: kept, but no plan is built on it")
        if reading.quantity == "relief" and (len(reading.held) != 2 or reading.fret is None):
            return say("relief without its hold frets and reading fret cannot be used")
        if reading.capo is not None and (reading.quantity != "action" or reading.capo != 1):
            return say(
                "read with a capo at fret {fret}; only action with a capo at fret 1 can be converted",
                fret=reading.capo,
            )
        return self._bad_air(reading) if QUANTITIES[reading.quantity].follows_air else None

    def bad_air(self, reading: Reading) -> bool:
        """Whether the instrument was cold, too dry or too damp for a verdict."""
        return QUANTITIES[reading.quantity].follows_air and self._bad_air(reading) is not None

    def _bad_air(self, reading: Reading) -> Sentence | None:
        settings, humidity = self.plan_input.settings, reading.humidity
        if not reading.acclimatised:
            return say("the instrument had not yet taken the room's temperature")
        if humidity is None or settings.humidity_low <= humidity <= settings.humidity_high:
            return None
        return say(
            "the room was too {state}: no verdict until the instrument has recovered",
            state="dry" if humidity < settings.humidity_low else "damp",
        )


def _age(reading: Reading) -> tuple[int, int, str]:
    """Rank of a reading; of two on one sheet the one with the higher number is the newer."""
    return reading.order, len(reading.id), reading.id


def tool_of(reading: Reading) -> tuple[float | None, float | None]:
    """Resolution and repeatability of a reading's tool, or of the coarsest usual one when none is named."""
    if reading.resolution is None and reading.repeatability is None:
        return QUANTITIES[reading.quantity].coarsest
    repeatability = reading.repeatability
    return reading.resolution, None if repeatability is None else repeatability * reading.noise


def as_read(reading: Reading) -> float | None:
    """What the tool showed, the bench's offset included."""
    if reading.value is None or reading.offset is None:
        return reading.value
    return round(reading.value + reading.offset.mean, 6)


def bench_tool(reading: Reading) -> BenchTool | None:
    """Whose offset a reading carries; None where nothing is known of it, or no tool was in it."""
    if reading.offset is None or reading.zero_or_less:
        return None
    return BenchTool(reading.offset.bench, reading.tool, reading.quantity)


def not_shared(one: Reading, other: Reading) -> float:
    """Variance of two readings' offsets that does not cancel in their difference."""
    if bench_tool(one) == bench_tool(other):
        return 0.0
    return sum(each.offset.spread**2 for each in (one, other) if each.offset and bench_tool(each))


def say_offset(reading: Reading, *, whole: bool = False) -> Sentence | None:
    """Say what the bench's offset did to a reading; None where it did nothing that could be seen."""
    offset = reading.offset
    if offset is None or reading.zero_or_less:
        return None
    if abs(offset.mean) < LEAST_TOLD[reading.quantity == "intonation"]:
        return None
    told = "{who} reads {what} {by} too {way}, by {source}" if whole else "{who} reads {by} too {way}"
    return say(
        told + "; {done}",
        who=" at ".join(each for each in (reading.tool, offset.bench) if each) or "this bench",
        what=reading.quantity.replace("-", " "),
        source=offset.source,
        by=Measure(reading.quantity, abs(offset.mean)),
        way="high" if offset.mean > 0.0 else "low",
        done="taken off" if offset.mean > 0.0 else "added",
    )


def looks(readings: Iterable[Reading]) -> int:
    """How often something was looked at: a confirmed reading stands for two."""
    return sum(2 if reading.confirmed else 1 for reading in readings)


def uncertainty_source(reading: Reading) -> str:
    """What the uncertainty of a reading comes from: see `standard_uncertainty`, whose larger part it is."""
    if tool_assumed(reading):
        return "no tool named: the coarsest usual tool"
    tool, step = reading.tool or "the tool", (reading.resolution or 0.0) / 12.0**0.5
    repeatability = tool_of(reading)[1]
    if reading.offset is not None and reading.offset.spread > max(repeatability or 0.0, step):
        return f"how well this bench's offset is known, by {reading.offset.source}"
    if repeatability is None or repeatability < step:
        return f"the step of {tool}"
    if reading.repeatability_source is not None:
        return f"how well this bench repeats, by {reading.repeatability_source}"
    times = f"{reading.noise:.1f}"
    scatter = "" if times == "1.0" else f"; it scatters {times} times as much on this bench"
    return f"how well {tool} repeats{scatter}"


def tool_assumed(reading: Reading) -> bool:
    """Whether no tool was named."""
    return reading.resolution is None and reading.repeatability is None
