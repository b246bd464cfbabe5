"""Is the rod healthy, dead or reversed? Judged from turns and relief readings alone, beside the belief.

A normal response has tails that a rod has not: a healthy rod is never quite dead. So the odds come from a
grid of responses, each with a filter of its own for the level of relief.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from .._checks import FloatArray
from ..plan.inputs import Adjustment, PlanInput, Reading
from ..plan.records import not_shared, tool_of
from ..vocabulary import QUANTITIES
from .geometry import Geometry
from .responses import QUICK_TIME, SHARES, SLOW_TIME
from .state import DIFFUSE
from .update import HAND, LOST, LOST_SD, WRONG

HEALTHY, DEAD, REVERSED = 0.97, 0.02, 0.01
"""Chances before anything was turned [-]; judgement."""

MEDIAN, LOG_SD, LEAST = 0.40, 0.38, 0.12
"""Healthy rods: log-normal response per turn of tightening, none below the last [mm; -; mm]; judgement."""

DEAD_SD = 0.02
"""Response of a dead rod: standard deviation about nothing [mm per turn]; judgement."""

LATE_SD = 0.25
"""How unsure the late part of a turn's effect is, as a share of the whole effect [-]; judgement."""

OTHERS = (QUANTITIES["relief"].moved_by - {"truss-rod"}) | {"neck-shim"}
"""Work beside the rod after which the level of relief is read anew."""

STEPS = 24
"""Responses on the grid for healthy rods, and as many for reversed ones [-]."""


@dataclass(frozen=True)
class RodOdds:
    """How likely the rod is each of three [-]."""

    healthy: float
    dead: float
    reversed: float

    @property
    def faulty(self) -> float:
        """Chance that it is dead or reversed."""
        return self.dead + self.reversed


def _grid() -> tuple[FloatArray, FloatArray, FloatArray]:
    """Responses [mm per turn, positive = less relief], their chances, and which kind each is."""
    z = (np.arange(STEPS) + 0.5) / STEPS * 5.0 - 2.5
    responses = np.array([MEDIAN * math.exp(LOG_SD * float(each)) for each in z])
    weights = np.array([math.exp(-0.5 * float(each) ** 2) for each in z])
    weights = np.where(responses < LEAST, 0.0, weights)
    weights = weights / float(sum(float(each) for each in weights))
    dead = np.array([-DEAD_SD, 0.0, DEAD_SD])
    dead_weights = np.array([0.25, 0.5, 0.25])
    return (
        np.concatenate([responses, dead, -responses]),
        np.concatenate([HEALTHY * weights, DEAD * dead_weights, REVERSED * weights]),
        np.concatenate([np.zeros(STEPS), np.ones(3), np.full(STEPS, 2.0)]),
    )


GRID = _grid()


class _Filters:
    """For each response of the grid: how likely it is, and where the level of relief lies under it."""

    def __init__(self) -> None:
        self.responses, self.chances, self.kinds = GRID[0], GRID[1].copy(), GRID[2]
        self.level: FloatArray = np.zeros(len(self.responses))
        self.variance: FloatArray = np.full(len(self.responses), DIFFUSE**2)
        self.late = [0.0, 0.0]
        """Turns whose quick and slow parts are still to come."""

    def pass_time(self, minutes: float) -> None:
        if minutes <= 0.0 or not any(self.late):
            return
        came = 0.0
        for place, (share, time) in enumerate(zip(SHARES[1:], (QUICK_TIME, SLOW_TIME), strict=True)):
            part = self.late[place] * (1.0 - math.exp(-minutes / time))
            self.late[place] -= part
            came += share * part
        self.level -= self.responses * came

    def turn(self, turns: float, lost: float, unsure: float) -> None:
        moved = math.copysign(max(abs(turns) - lost, 0.0), turns)
        self.level -= self.responses * (SHARES[0] * moved)
        self.late = [each + moved for each in self.late]
        spread = unsure**2 + (LATE_SD * moved) ** 2
        self.variance += self.responses * self.responses * spread

    def read(self, value: float, variance: float, factor: float) -> None:
        """Take in a reading; each is wrong with a small chance, and then tells nothing."""
        total = self.variance * (factor * factor) + variance
        away = value - self.level * factor
        square = away * away / total
        fits = np.array([math.exp(-0.5 * each) for each in square.tolist()])
        fits = fits / np.sqrt(total * (2.0 * math.pi))
        wide = WRONG / QUANTITIES["relief"].width
        fits *= 1.0 - WRONG
        density = fits + wide
        right = fits / density
        if float(self.variance[0]) > QUANTITIES["relief"].width ** 2:
            density, right = np.ones(len(fits)), np.ones(len(fits))  # the first reading fixes the level
        gain = self.variance * factor / total * right
        self.level += gain * away
        self.variance -= gain * factor * self.variance
        chances = self.chances * density
        self.chances = chances / sum(chances.tolist())


def rod_odds(
    plan_input: PlanInput,
    aside: frozenset[str] = frozenset(),
    geometry: Geometry | None = None,
) -> RodOdds:
    """How likely the rod is healthy, dead or reversed.

    Parameters
    ----------
    plan_input : PlanInput
        The job.
    aside : frozenset of str
        Readings that are left out.
    geometry : Geometry, optional
        The job's, where it is worked out already.

    Returns
    -------
    RodOdds
        Chances that add up to one.
    """
    geometry = geometry or Geometry(plan_input)
    filters, reached, now, last = _Filters(), 0.0, 0.0, 0.0
    free = plan_input.instrument.rod.free_play
    first_read: Reading | None = None
    for entry in geometry.entries:
        now = max(entry.at, now)
        if isinstance(entry, Adjustment):
            if entry.part in OTHERS:
                filters.variance += DIFFUSE**2
            if entry.part != "truss-rod" or not entry.turns:
                continue
        elif entry.quantity != "relief" or entry.id in aside:
            continue
        filters.pass_time(now - reached)
        reached = now
        if isinstance(entry, Reading):
            first_read = first_read or entry
            _read(filters, geometry, entry, not_shared(first_read, entry))
        elif entry.turns:
            first = last * entry.turns <= 0.0
            lost = LOST + free / 2.0 if first else 0.0
            slack = math.hypot(LOST_SD, free / math.sqrt(12.0)) if first else 0.0
            filters.turn(entry.turns, lost, math.hypot(HAND * entry.turns, slack))
            last = entry.turns
    kinds = [float(sum(float(each) for each in filters.chances[filters.kinds == kind])) for kind in (0, 1, 2)]
    return RodOdds(*kinds)


def _read(filters: _Filters, geometry: Geometry, reading: Reading, other_bench: float) -> None:
    found = geometry.readings[reading.id]
    if found is None or found[0].side == "treble":
        return
    factor = geometry.of_whole * next(part for place, part in found[1] if place == geometry.at("relief"))
    resolution, repeatability = tool_of(reading)
    variance = (repeatability or 0.0) ** 2 + (resolution or 0.0) ** 2 / 12.0 + other_bench
    filters.read(reading.value or 0.0, variance, factor)
