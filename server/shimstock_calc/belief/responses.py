"""What an instrument answers to adjustments: how a job begins with it, and what the job has said of it.

Rod: relief per turn that comes at once, with 45 min and with 400 min. Coupling: what action and nut action
rise per relief beyond the geometry. Compliance: relief per newton of string pull.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

from ..plan.geometry import compliance, side_scale
from ..plan.goals import neck_place
from ..plan.inputs import PlanInput, Responses, RodResponse, SpecItem
from ..response import COMPLIANCE_PRIOR
from ._small import Matrix, Vector, eigen, from_triangle, inverse, minus, plus, scaled, times, triangle
from .geometry import AT_ONCE, COMPLIANCE, COUPLING, NUT_COUPLING, QUICKLY, SLOWLY, Geometry

SHARES = (0.6, 0.2, 0.2)
"""Parts of a rod's response that come at once, quickly and slowly [-]; judgement.

Better to expect too much late than too little.
"""
QUICK_TIME, SLOW_TIME = 45.0, 400.0
"""Time constants (63 %) of the two late parts [min]; judgement."""

RESPONSE_SHARED, RESPONSE_OWN = 0.3, 0.06
"""What the three parts vary by together [-] and each for itself [mm per turn]; judgement."""

BLOCKS: Mapping[str, tuple[str, ...]] = {
    "rod": (AT_ONCE, QUICKLY, SLOWLY),
    "coupling": (COUPLING, NUT_COUPLING),
    "compliance": (COMPLIANCE,),
}
"""Numbers of the state that are learned together."""

DUST = 1e-6
"""Share of the prior's precision below which a job has said nothing [-]."""


class Block(NamedTuple):
    """A few numbers, jointly normal.

    Attributes
    ----------
    mean : list of float
        Means [mm per turn; -; mm/N].
    covariance : list of list of float
        Covariances [the same, squared].
    """

    mean: Vector
    covariance: Matrix


@dataclass(frozen=True)
class Message:
    """What a job, or several, say of a block: information, which adds.

    Attributes
    ----------
    precision : tuple of float
        Inverse of a covariance, its lower triangle row by row; may be singular [1 / unit²].
    pull : tuple of float
        Precision times mean [1 / unit].
    """

    precision: tuple[float, ...]
    pull: tuple[float, ...]


def stated() -> dict[str, Block]:
    """What is believed of any instrument before anything was learned, for relief held at first and last fret.

    Returns
    -------
    dict of str to Block
        By name of the block [mm per turn; -; mm/N].
    """
    usual = Responses()
    pull = COMPLIANCE_PRIOR
    return {
        "rod": _rod(usual.rod),
        "coupling": _coupling(usual),
        "compliance": Block([pull.mean], [[pull.sd**2]]),
    }


def beginning(responses: Responses, geometry: Geometry) -> dict[str, Block]:
    """What a job begins with, brought from the whole neck to the place at which its spec means relief.

    Parameters
    ----------
    responses : Responses
        Stated or learned [mm per turn; -; mm/N].
    geometry : Geometry
        The job's.

    Returns
    -------
    dict of str to Block
        By name of the block [mm per turn; -; mm/N].
    """
    factor = geometry.of_whole
    if responses.neck_compliance is None:
        scale = side_scale(geometry.instrument, None)
        pull = compliance(scale, geometry.joint, geometry.place, geometry.instrument.frets)
        pull_sd = pull * COMPLIANCE_PRIOR.sd / COMPLIANCE_PRIOR.mean
    else:
        pull, pull_sd = responses.neck_compliance * factor, responses.neck_compliance_sd * factor
    return {
        "rod": _times(_rod(responses.rod), factor),
        "coupling": _times(_coupling(responses), 1.0 / factor),
        "compliance": Block([pull], [[pull_sd**2]]),
    }


def _rod(rod: RodResponse) -> Block:
    mean = list(rod.parts) or [share * rod.mean for share in SHARES]
    if rod.covariance:
        return Block(mean, from_triangle(rod.covariance))
    size = range(len(mean))
    spread = [
        [RESPONSE_SHARED**2 * mean[i] * mean[j] + (RESPONSE_OWN**2 if i == j else 0.0) for j in size]
        for i in size
    ]
    return Block(mean, scaled(spread, rod.sd**2 / sum(map(sum, spread))))


def _coupling(responses: Responses) -> Block:
    own, nut = responses.coupling_sd**2, responses.nut_coupling_sd**2
    return Block(list(responses.coupling), [[own, 0.0], [0.0, nut]])


def _times(block: Block, factor: float) -> Block:
    return Block([each * factor for each in block.mean], scaled(block.covariance, factor * factor))


def late_share(parts: Sequence[float]) -> float:
    """Part of a rod's response that comes late.

    Parameters
    ----------
    parts : sequence of float
        What comes at once, quickly and slowly [mm per turn].

    Returns
    -------
    float
        Share, from 0 to 1 [-].

    >>> round(late_share([-0.24, -0.08, -0.08]), 3)
    0.4
    """
    whole = sum(parts)
    return min(max((parts[1] + parts[2]) / whole, 0.0), 1.0) if whole else 0.0


def half_time(parts: Sequence[float]) -> float | None:
    """Time after which half of what comes late has come.

    Parameters
    ----------
    parts : sequence of float
        What comes at once, quickly and slowly [mm per turn].

    Returns
    -------
    float or None
        Time; None where nothing comes late, or the two late parts go against each other [min].

    Notes
    -----
    Halving of the interval; a sum of two falling exponentials crosses the half once.

    >>> round(half_time([-0.24, -0.08, -0.08]))
    78
    >>> round(half_time([-0.24, -0.16, 0.0]))  # 45 min times ln 2
    31
    """
    quick, slow = (abs(each) for each in parts[1:])
    if not quick + slow or parts[1] * parts[2] < 0.0:
        return None
    low, high = 0.0, SLOW_TIME
    for _ in range(40):
        middle = (low + high) / 2.0
        left = quick * math.exp(-middle / QUICK_TIME) + slow * math.exp(-middle / SLOW_TIME)
        low, high = (middle, high) if left > (quick + slow) / 2.0 else (low, middle)
    return low


def at_neck(plan_input: PlanInput) -> PlanInput:
    """The same job under the stated prior, its relief meant where what is learned is kept.

    Parameters
    ----------
    plan_input : PlanInput
        The job.

    Returns
    -------
    PlanInput
        For the belief alone: its targets are not those of the job.
    """
    place = neck_place(plan_input.instrument)
    others = tuple(each for each in plan_input.spec if each.quantity != "relief")
    meant = SpecItem("relief", 0.0, held=place.held, fret=place.fret)
    return replace(plan_input, spec=(meant, *others), responses=Responses())


def said(prior: Block, after: Block) -> Message | None:
    """What lies between a prior and what it became: information, never below nothing.

    Parameters
    ----------
    prior, after : Block
        Before and after the job [any unit].

    Returns
    -------
    Message or None
        None where it says nothing.

    Notes
    -----
    Difference of precisions and of precisions times means; directions in which it is not above `DUST` of the
    prior's say nothing of the mean either.
    """
    before, now = inverse(prior.covariance), inverse(after.covariance)
    gained = minus(now, before)
    pull = [a - b for a, b in zip(times(now, after.mean), times(before, prior.mean), strict=True)]
    least = DUST * min(before[i][i] for i in range(len(before)))
    size = range(len(pull))
    precision: Matrix = [[0.0 for _ in size] for _ in size]
    kept = [0.0 for _ in size]
    for value, vector in zip(*eigen(gained), strict=True):
        if value <= least:
            continue
        along = sum(a * b for a, b in zip(vector, pull, strict=True))
        precision = plus(precision, [[value * a * b for b in vector] for a in vector])
        kept = [each + along * a for each, a in zip(kept, vector, strict=True)]
    if all(precision[i][i] == 0.0 for i in size):
        return None
    return Message(tuple(triangle(precision)), tuple(kept))
