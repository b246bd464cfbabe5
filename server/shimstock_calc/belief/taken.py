"""What each reading tells of the state, worked out once for all beliefs about a job."""

from __future__ import annotations

from typing import NamedTuple

from ..plan.goals import Spot
from ..plan.inputs import Reading
from ..plan.records import bench_tool, tool_of
from ..relief import GRAVITY_SD, gravity_relief
from .expected import rounding_shared
from .geometry import Geometry
from .state import Row

SHARED_FROM = 0.02
"""Share of a tool's variance from which the part that its readings of one spot share is kept [-]."""


class Taken(NamedTuple):
    """What a reading tells of the state.

    Attributes
    ----------
    place : int
        Its place among the job's entries.
    spot : Spot
        Where it was read.
    row : Row
        What its tool shows.
    variance : float
        Variance of its own noise [mm²; cents²].
    lying : float
        What lying on the back takes from it [mm].
    offset : int or None
        Place of the rounding that it shares with other readings of its kind.
    bench : int or None
        Place of what is not known of the bench's offset.
    shared : float
        Variance of that rounding [mm²; cents²].
    step : float
        Movement of the level from which that rounding is another one [mm; cents].
    """

    place: int
    spot: Spot
    row: Row
    variance: float
    lying: float
    offset: int | None
    bench: int | None
    shared: float
    step: float


def taken_in(geometry: Geometry, names: dict[object, int]) -> dict[str, Taken]:
    """Work out what each usable reading tells.

    Parameters
    ----------
    geometry : Geometry
        The job's.
    names : dict
        Places of the state's numbers; what readings of one spot with one tool share, and what is not known
        of a bench's offset, are added.

    Returns
    -------
    dict
        By id of a reading.
    """
    found = {}
    for place, reading in enumerate(geometry.entries):
        if not isinstance(reading, Reading):
            continue
        usable = geometry.readings[reading.id]
        if usable is None or (reading.zero_or_less and _outranked(geometry, reading, usable[0])):
            continue
        spot, row, rise = usable
        tool = tool_of(reading)
        resolution, repeatability = tool[0] or 0.0, tool[1] or 0.0
        variance = repeatability**2 + resolution**2 / 12.0
        whose, bench = bench_tool(reading), None
        if whose is not None:
            bench = names.setdefault(whose, len(names))
            row = (*row, (bench, 1.0))
        shared, offset = rounding_shared(repeatability, resolution), None
        if shared > SHARED_FROM * variance:
            offset = names.setdefault((spot, reading.tool, tool, bench), len(names))
            row, variance = (*row, (offset, 1.0)), variance - shared
        if (reading.held, reading.fret) in names:
            row = (*row, (names[reading.held, reading.fret], 1.0))
        variance, lying = max(variance, 1e-12), 0.0
        if reading.position == "on-back":
            scale, at = geometry.scale_at(spot), geometry.place
            lying = -rise * float(gravity_relief(scale, geometry.joint, at.held, at.fret))
            variance += (GRAVITY_SD * lying) ** 2
        found[reading.id] = Taken(place, spot, row, variance, lying, offset, bench, shared, resolution / 2.0)
    return found


def _outranked(geometry: Geometry, reading: Reading, spot: Spot) -> bool:
    """Whether a straightedge tells what a string that merely touched could not."""
    moved = [
        each.order for each in geometry.records.plan_input.adjustments if spot in geometry.moved_by(each)
    ]
    return any(
        other.method == "straightedge"
        and other.value is not None
        and not any(
            min(other.order, reading.order) < order < max(other.order, reading.order) for order in moved
        )
        for other in geometry.records.by_spot.get(spot, [])
    )
