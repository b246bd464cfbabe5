"""How hard each string may be plucked before it touches a fret, and which one."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from shimstock_calc.clearance import ClearanceMap, Place, string_clearance
from shimstock_calc.plan.geometry import string_pull, string_scale
from shimstock_calc.plan.model import Instrument
from shimstock_calc.pluck import Pluck

from .heights import Heights

TOUCHES = {"light": 0.25, "usual": 0.4, "hard": 0.8}
"""Force of a pluck toward or away from the board [N]; judgement, no published source."""
PLUCK_SHARE = 0.2
"""Of the open string, from the bridge: where it is plucked; common practice, no published source."""
TIGHTEST = 10


@dataclass(frozen=True)
class Clearance:
    """The clearance map of an instrument.

    Parameters
    ----------
    heights : Heights
        As it was last read.
    pulls : tuple of float or None
        Of each open string; None where its weight is not known [N].
    force : float or None
        Of the pluck that the margins stand for; None without all pulls, then they are those at rest [N].
    distance : tuple of float
        Where each string is plucked, from the bridge [mm].
    found : ClearanceMap
        Gaps, margins, and what stays free.
    """

    heights: Heights
    pulls: tuple[float | None, ...]
    force: float | None
    distance: tuple[float, ...]
    found: ClearanceMap

    @property
    def margins(self) -> np.ndarray:
        """Least margin of each string at each position; inf where it cannot be plucked [mm]."""
        margin = self.found.margin
        return np.asarray(np.where(np.isnan(margin), np.inf, margin).min(axis=2))

    @property
    def tightest(self) -> list[Place]:
        """The tightest places, one for each string and position, the tightest first."""
        places: dict[tuple[int, int], Place] = {}
        for place in self.found.worst(self.found.margin.size):
            places.setdefault((place.string, place.position), place)
        return list(places.values())[:TIGHTEST]


def clearance_of(instrument: Instrument, heights: Heights, touch: str) -> Clearance:
    """Return the clearance map for a touch: `light`, `usual` or `hard`."""
    by_number = {string.number: string for string in instrument.strings}
    scales = {number: string_scale(instrument, number) for number in heights.numbers}
    pulls = tuple(string_pull(by_number[number], scales[number]) for number in heights.numbers)
    distance = tuple(PLUCK_SHARE * scales[number] for number in heights.numbers)
    force = None if None in pulls else TOUCHES[touch]
    pluck = Pluck(
        np.array(distance),
        None if force is not None else 0.0,
        force,
        tension=None if None in pulls else np.array(pulls, dtype=np.float64),
    )
    found = string_clearance(heights.board.fretwork(), pluck)
    return Clearance(heights, pulls, force, distance, found)
