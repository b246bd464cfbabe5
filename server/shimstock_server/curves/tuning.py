"""How sharp each fretted note is, and where the saddles should stand."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from shimstock_calc.compensation import FRETS, compensation, intonation_curve
from shimstock_calc.errors import CalculationError
from shimstock_calc.plan.geometry import string_pull, string_scale
from shimstock_calc.plan.goals import OCTAVE, Spot
from shimstock_calc.plan.model import Instrument, PlanInput
from shimstock_calc.plan.records import Records
from shimstock_calc.setback import Stretch, setback_for_intonation, string_stretch

from .heights import Heights

USUAL_LIMITS = (-3.0, 3.0)
"""Of intonation where the spec says nothing; judgement [cents]."""


@dataclass(frozen=True)
class StringCurve:
    """One string's fretted notes.

    Parameters
    ----------
    number : int
        Which string.
    stretch : Stretch
        How it answers stretching.
    read : float or None
        Its intonation as read, where there is a reading that counts [cents].
    read_fret : int
        Where it was read.
    now_setback : float or None
        Saddle beyond the scale length, judged by that reading [mm].
    now : tuple of float
        Cents of every fret with the saddle there; empty without a reading [cents].
    setback : float
        Where the saddle leaves the first twelve frets least wrong, the nut as it is [mm].
    suggested : tuple of float
        Cents of every fret with the saddle there [cents].
    """

    number: int
    stretch: Stretch
    read: float | None
    read_fret: int
    now_setback: float | None
    now: tuple[float, ...]
    setback: float
    suggested: tuple[float, ...]

    @property
    def move(self) -> float | None:
        """How far the saddle should go; positive = away from the nut [mm]."""
        return None if self.now_setback is None else self.setback - self.now_setback


@dataclass(frozen=True)
class Tuning:
    """The intonation curves of an instrument.

    Parameters
    ----------
    heights : Heights
        As it was last read.
    curves : tuple of StringCurve
        Of each string that enough is known of.
    unknown : dict
        Of each other string: why nothing can be said.
    limits : tuple of float
        Of the spec, else ± 3 cents [cents].
    """

    heights: Heights
    curves: tuple[StringCurve, ...]
    unknown: dict[int, str]
    limits: tuple[float, float] = USUAL_LIMITS


def tuning_of(source: PlanInput, heights: Heights) -> Tuning:
    """Return the intonation curves of an instrument."""
    records = Records(source)
    curves, unknown = [], {}
    for place, number in enumerate(heights.numbers):
        stretch = _stretch(source.instrument, number)
        if stretch is None:
            unknown[number] = "its pull, or what bears it, is not known: enter core and weight of the string"
            continue
        try:
            curves.append(_curve(source.instrument, records, heights, place, stretch))
        except CalculationError as error:
            unknown[number] = error.message
    return Tuning(heights, tuple(curves), unknown, _limits(source))


def _limits(source: PlanInput) -> tuple[float, float]:
    """Return the limits of the spec that hold for every string."""
    for item in source.spec:
        if item.quantity == "intonation" and item.string is None and None not in (item.lower, item.upper):
            return float(item.lower or 0.0), float(item.upper or 0.0)
    return USUAL_LIMITS


def _stretch(instrument: Instrument, number: int) -> Stretch | None:
    string = next(each for each in instrument.strings if each.number == number)
    scale = string_scale(instrument, number)
    return string_stretch(
        string.material,
        scale,
        string_pull(string, scale),
        string.core_diameter,
        string.gauge,
        core_shape=string.core_shape,
    )


def _curve(
    instrument: Instrument, records: Records, heights: Heights, place: int, stretch: Stretch
) -> StringCurve:
    number = heights.numbers[place]
    answer = stretch.kappa, stretch.stiffness
    judged = heights.board.geometry(FRETS, [place])
    board = heights.board.geometry(instrument.frets, [place])
    setback = float(compensation(judged, *answer, move_nut=False).saddle_setback[0])

    def cents(saddle: float) -> tuple[float, ...]:
        found = intonation_curve(board, *answer, saddle_setback=saddle, frets=instrument.frets)
        return tuple(map(float, found.cents[0]))

    reading = records.newest(Spot("intonation", None, number))
    if reading is None or reading.value is None:
        return StringCurve(number, stretch, None, OCTAVE, None, (), setback, cents(setback))
    fret = reading.fret or OCTAVE
    now = float(setback_for_intonation(board, *answer, reading.value, fret)[0])
    return StringCurve(number, stretch, reading.value, fret, now, cents(now), setback, cents(setback))


def rms(cents: tuple[float, ...]) -> float:
    """Return the root mean square over the first twelve frets [cents]."""
    return float(np.sqrt(np.mean(np.square(cents[:FRETS]))))
