"""The numbers that one instrument's geometry gives the plan, worked out once an instrument."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from ..bridge import fretboard_radius_at, radius_rise
from ..errors import OutOfRange
from ..neck import relief_coupling, saddle_share
from ..relief import compliance_estimate, relief_conversion
from ..scale import fret_position, string_scale_lengths
from ..strings import plain_linear_density, tension
from .model import Instrument, InstrumentString, Side

OCTAVE = 12


@dataclass(frozen=True)
class ReliefPlace:
    """Where relief is read: the two hold frets and the reading fret."""

    held: tuple[int, int]
    fret: int


@lru_cache(maxsize=4096)
def share(fret: int) -> float:
    """Part of a saddle's rise that reaches a fret [-]."""
    return float(saddle_share(fret))


@lru_cache(maxsize=4096)
def coupling(scale: float, joint: float, place: ReliefPlace, at: int) -> float:
    """Rise of the open string over fret `at` per millimetre of relief read at `place` [-]."""
    return float(relief_coupling(scale, joint, place.held, place.fret, at=at))


@lru_cache(maxsize=4096)
def conversion(scale: float, joint: float, read: ReliefPlace, wanted: ReliefPlace) -> float:
    """Factor from relief as read to relief as wanted [-]."""
    return float(
        relief_conversion(scale, joint, read.held, read.fret, to_held=wanted.held, to_fret=wanted.fret)
    )


@lru_cache(maxsize=1024)
def compliance(scale: float, joint: float, place: ReliefPlace, frets: int) -> float:
    """Beam estimate of relief per newton of pull [mm/N]."""
    return float(compliance_estimate(scale, joint, place.held, place.fret, frets=frets))


@lru_cache(maxsize=1024)
def _scales(bass: float, treble: float, strings: int) -> tuple[float, ...]:
    if strings == 1:
        return (bass,)
    return tuple(float(length) for length in string_scale_lengths(bass, treble, strings))


def outermost(instrument: Instrument, side: Side) -> int:
    """Number of the outermost string of a side."""
    numbers = instrument.numbers
    return numbers[-1] if side == "bass" else numbers[0]


def string_scale(instrument: Instrument, number: int) -> float:
    """Scale length of one string [mm]."""
    numbers = instrument.numbers
    if number not in numbers:
        raise OutOfRange(
            f"string must be one of this instrument's, {numbers[0]} to {numbers[-1]}; {number} was given",
            "string",
        )
    return _scales(instrument.scale_bass, instrument.scale_treble, len(numbers))[numbers.index(number)]


def side_scale(instrument: Instrument, side: Side | None) -> float:
    """Scale length at a side, or in the middle [mm]."""
    if side == "bass":
        return instrument.scale_bass
    if side == "treble":
        return instrument.scale_treble
    return (instrument.scale_bass + instrument.scale_treble) / 2.0


def string_pull(string: InstrumentString, scale: float) -> float | None:
    """Pull of a string at its pitch [N]; None when its linear density is not known."""
    density = string.linear_density
    if density is None and string.material == "steel" and not string.wound and string.gauge is not None:
        density = float(plain_linear_density(string.gauge))
    if density is None:
        return None
    return float(tension(density, scale, string.frequency))


@lru_cache(maxsize=1024)
def total_pull(strings: tuple[InstrumentString, ...], bass: float, treble: float) -> float | None:
    """Pull of a whole set [N]; None when one string's linear density is not known."""
    ordered = sorted(strings, key=lambda string: string.number)
    scales = _scales(bass, treble, len(ordered))
    pulls = [string_pull(string, scale) for string, scale in zip(ordered, scales, strict=True)]
    if any(pull is None for pull in pulls):
        return None
    return sum(pull for pull in pulls if pull is not None)


def pair_of(instrument: Instrument, number: int) -> tuple[int, ...]:
    """Numbers of the strings that share a saddle with a string, where two strings share one."""
    numbers = instrument.numbers
    start = numbers.index(number) // 2 * 2
    return numbers[start : start + 2]


def height_over_outer_line(instrument: Instrument, number: int) -> float | None:
    """Height of a string above the line through the outermost two at the saddle [mm]; None = not known."""
    spread = instrument.bridge.string_spread
    numbers = instrument.numbers
    if spread is None or len(numbers) < 3:
        return None
    scale = string_scale(instrument, number)
    end = float(fret_position(instrument.frets, scale))
    radius = float(fretboard_radius_at(scale, instrument.radius_nut, instrument.radius_end, end))
    offset = (numbers.index(number) / (len(numbers) - 1) - 0.5) * spread
    return float(radius_rise(offset, radius, spread / 2.0))


def share_across(instrument: Instrument, number: int) -> float:
    """Where a string lies between the outermost two: 0 = treble side, 1 = bass side [-]."""
    numbers = instrument.numbers
    return numbers.index(number) / (len(numbers) - 1) if len(numbers) > 1 else 0.5
