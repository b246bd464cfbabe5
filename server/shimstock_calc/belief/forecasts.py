"""What the readings of a sheet were expected to show, by the belief as it stood before that sheet."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace
from typing import NamedTuple

from ..plan.inputs import LEAST_REST, PlanInput, Reading
from ..plan.records import tool_of
from ..vocabulary import QUANTITIES
from .expected import Level
from .state import Estimate
from .surprise import weigh
from .update import Belief

NUDGE = 1.01
"""Factor on a tool's scatter by which its part in a forecast is worked out [-]."""


class Forecast(NamedTuple):
    """What a reading was expected to show.

    Attributes
    ----------
    reading : str
        Id of the reading.
    expected : float
        Expected [mm; cents].
    spread : float
        Standard deviation of the reading about it, the tool's own noise included [mm; cents].
    level : float
        Variance of the level alone [mm²; cents²].
    own : float
        Part of it that earlier readings with the same tool brought in, were the tool's noise factor 1
        [mm²; cents²].
    doubtful : bool
        Whether the reading was taken because an earlier one was in doubt, or repeats one that still stood.
    """

    reading: str
    expected: float
    spread: float
    level: float
    own: float
    doubtful: bool


def forecasts(plan_input: PlanInput, sheet: Collection[str]) -> tuple[Forecast, ...]:
    """Forecast the readings of a sheet from all that counts before it.

    Parameters
    ----------
    plan_input : PlanInput
        The job, the sheet's readings among its others.
    sheet : collection of str
        Ids of the sheet's readings.

    Returns
    -------
    tuple of Forecast
        In the order of the readings. Readings that touched, cannot be used, or are the first of their level
        have none.

    Notes
    -----
    All readings of the sheet are forecast for the time at which it was taken, none from another. A variance
    that is made as small as it can be changes with a tool's noise as if its readings kept their weights
    (the derivative of a minimum; elementary): so the tool's part of it is the difference that a nudge of its
    noise makes.
    """
    wanted = [each for each in plan_input.readings if each.id in sheet and each.value is not None]
    order = min((each.order for each in wanted), default=0)
    earlier = tuple(each for each in plan_input.readings if each.order < order)
    if not earlier:
        return ()
    before = replace(
        plan_input,
        readings=earlier,
        adjustments=tuple(each for each in plan_input.adjustments if each.order < order),
    )
    weighed = weigh(before)
    job = replace(before, readings=earlier + tuple(wanted))
    aside = weighed.aside | {each.id for each in wanted}
    belief = Belief(job, aside, weighed.belief.widened)
    nudged = {
        tool: Belief(_nudged(job, tool), aside, weighed.belief.widened)
        for tool in {each.tool for each in wanted if each.repeatability}
    }
    open_spots = {each.expected.spot for each in weighed.open}
    found: list[Forecast] = []
    for reading in wanted:
        shown = belief.expects(reading)
        if shown is None:
            continue
        spot = belief.taken[reading.id].spot
        more = nudged[reading.tool].expects(reading) if reading.repeatability else None
        doubtful = spot in open_spots or _stands(weighed.belief.level(spot), reading, belief)
        open_spots.add(spot)  # a second one on the same sheet repeats the first
        found.append(_forecast(reading, shown, more, doubtful))
    return tuple(found)


def _forecast(reading: Reading, shown: Estimate, nudged: Estimate | None, doubtful: bool) -> Forecast:
    resolution, repeatability = tool_of(reading)
    noise = (repeatability or 0.0) ** 2 + (resolution or 0.0) ** 2 / 12.0
    own = 0.0
    if nudged is not None:
        square = (NUDGE**2 - 1.0) * reading.noise**2
        own = (nudged.variance - shown.variance) / square - (reading.repeatability or 0.0) ** 2
    level = max(shown.variance - noise, 0.0)
    own = min(max(own, 0.0), level / reading.noise**2)
    return Forecast(
        reading.id, round(shown.mean, 6), round(shown.spread, 6), round(level, 10), round(own, 10), doubtful
    )


def _nudged(job: PlanInput, tool: str | None) -> PlanInput:
    """The same job, read with a tool that scatters a little more."""
    readings = tuple(
        replace(each, noise=NUDGE * each.noise) if each.tool == tool else each for each in job.readings
    )
    return replace(job, readings=readings)


def _stands(level: Level, reading: Reading, belief: Belief) -> bool:
    """Whether an earlier reading of the level still stood: nothing moved it, and the neck was at rest."""
    if not level.readings:
        return False
    rested = reading.at - level.readings[-1].at >= LEAST_REST
    return not (rested and belief.still_coming and QUANTITIES[reading.quantity].follows_air)
