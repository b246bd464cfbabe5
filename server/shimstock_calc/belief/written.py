"""The belief's numbers with names in words, for who wants to go on reckoning with them elsewhere."""

from __future__ import annotations

import math
from dataclasses import dataclass

from ..plan.goals import Spot
from ..plan.records import BenchTool
from ..vocabulary import QUANTITIES
from .geometry import AT_ONCE, COUPLING, HEIGHTS, NUT_COUPLING, QUICKLY, SLOWLY
from .update import Belief

UNITS: dict[object, str] = {
    AT_ONCE: "mm/turn",
    QUICKLY: "mm/turn",
    SLOWLY: "mm/turn",
    COUPLING: "mm/mm",
    NUT_COUPLING: "mm/mm",
}
"""Units of the numbers that are no levels."""


@dataclass(frozen=True)
class WrittenNumber:
    """One number of the state.

    Attributes
    ----------
    name : str
        What it means, in words.
    unit : str
        Its unit.
    mean, spread : float
        Mean and standard deviation [unit], to six decimals.
    """

    name: str
    unit: str
    mean: float
    spread: float


@dataclass(frozen=True)
class WrittenState:
    """A belief at one time.

    Attributes
    ----------
    time : float
        Of the newest entry [min, the input's clock].
    numbers : tuple of WrittenNumber
        Every number of the state.
    correlations : tuple of tuple of float
        For each number its correlations with those before it [-], to four decimals.
    """

    time: float
    numbers: tuple[WrittenNumber, ...]
    correlations: tuple[tuple[float, ...], ...]


def write_down(belief: Belief) -> WrittenState:
    """Write a belief's state down.

    Parameters
    ----------
    belief : Belief
        The belief.

    Returns
    -------
    WrittenState
        Its numbers and how they hang together.
    """
    state = belief.state
    spreads = [math.sqrt(max(float(state.covariance[at, at]), 0.0)) for at in range(len(state.mean))]
    numbers = tuple(
        WrittenNumber(_name(name), _unit(name), round(float(state.mean[at]), 6), round(spreads[at], 6))
        for name, at in state.place.items()
    )
    correlations = tuple(
        tuple(
            round(float(state.covariance[at, other]) / (spreads[at] * spreads[other]), 4)
            if spreads[at] > 0.0 and spreads[other] > 0.0
            else 0.0
            for other in range(at)
        )
        for at in range(len(numbers))
    )
    return WrittenState(belief.now, numbers, correlations)


def _spot_of(name: object) -> Spot | None:
    """The spot of a level, or of what its readings with one tool share."""
    if isinstance(name, Spot):
        return name
    return name[0] if isinstance(name, tuple) and isinstance(name[0], Spot) else None


def _unit(name: object) -> str:
    spot = name if isinstance(name, BenchTool) else _spot_of(name)
    return UNITS.get(name, "mm" if spot is None else QUANTITIES[spot.quantity].unit)


def _name(name: object) -> str:
    match name:
        case Spot():
            inner = name.quantity in HEIGHTS and name.string is not None
            return f"{_place(name)}, above the line through the outer strings" if inner else _place(name)
        case BenchTool():
            words = name.quantity.replace("-", " ")
            return f"what is not known of the offset: {words}, {name.tool or 'no tool named'}, {name.bench}"
        case (Spot() as spot, tool, _, _):
            return f"rounding that readings share: {_place(spot)}, {tool or 'no tool named'}"
        case (tuple() as held, fret):
            return f"bias of relief held at {' and '.join(map(str, held))}, read at fret {fret}"
    return str(name)


def _place(spot: Spot) -> str:
    words = spot.quantity.replace("-", " ")
    if spot.pickup:
        words = f"{spot.pickup} {words}"
    if spot.side:
        words += f", {spot.side} side"
    return words if spot.string is None else f"{words}, string {spot.string}"
