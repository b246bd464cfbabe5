"""Readings that cannot all be true of one string: read again before anything is done."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from ..errors import Contradiction
from ..neck import string_line
from ..vocabulary import QUANTITIES
from .geometry import side_scale
from .goals import OCTAVE, SIDES, Spot
from .inputs import Side
from .outputs import Verdict
from .readings import Known, Sheet

MODEL_SLACK = 0.05
"""How far solved heights may fall below zero because no neck bends quite evenly [mm]; judgement."""

LOW_SLOT = 0.30
"""How far below the frets a slot may come out: slots do get filed too low [mm]; judgement."""


ARRIVES = 1.0
"""How far from its target a quantity comes in: standard deviation, as a share of its tolerance from limit to
limit [-]; judgement."""

FARTHEST = 4.0
"""Distance beyond which a value is no less likely [standard deviations]; judgement."""


@dataclass(frozen=True)
class Contradicted:
    """Relief, nut action and action that cannot all be true of one string.

    Attributes
    ----------
    side : str
        The side.
    several : tuple of Known
        The readings concerned, the likeliest slip first and then the one that it fits least.
    chance : float
        That the first and not the second is wrong [-].
    message : str
        What would follow if they were true.
    """

    side: Side
    several: tuple[Known, ...]
    chance: float
    message: str


def contradicted(known: dict[Spot, Known], sheet: Sheet) -> list[Contradicted]:
    """Relief, nut action and action that cannot all be true of one string.

    Returns
    -------
    list of Contradicted
        For each side at most one. Readings that were all taken twice are believed: necks bend otherwise than
        the model says.
    """
    found = []
    for side in SIDES:
        relief = known.get(Spot("relief", side)) or known.get(Spot("relief"))
        three = [relief, known.get(Spot("nut-action", side)), known.get(Spot("action", side))]
        given = [each for each in three if each is not None and each.verdict.usable]
        if len(given) < 3 or any(each.verdict.value is None for each in given):
            continue
        if all(each.several or (each.reading and each.reading.confirmed) for each in given):
            continue
        verdicts = [each.verdict for each in given]
        slack = MODEL_SLACK + 2.0 * math.hypot(*(each.uncertainty or 0.0 for each in verdicts))
        contradiction = _contradiction(sheet, side, verdicts, slack)
        if contradiction is not None:
            blamed = (contradiction.field or "").replace("_", "-")
            ordered, chance = _likeliest(sheet, side, given, slack, blamed)
            message = contradiction.message.partition(": ")[2].partition(";")[0]
            found.append(Contradicted(side, ordered, chance, message))
    return found


def _likeliest(
    sheet: Sheet, side: Side, given: list[Known], slack: float, blamed: str
) -> tuple[tuple[Known, ...], float]:
    """Put the likeliest slip first, then the reading that it fits least, and weigh the two.

    A slip explains the contradiction when the other two fit a reading at its target; the farther a value lies
    from its target, and the narrower the range over which it may be wrong, the likelier it is the slip.
    """
    weights = {}
    for place, each in enumerate(given):
        meant = [known.verdict for known in given]
        meant[place] = replace(meant[place], value=each.goal.item.target)
        explains = _contradiction(sheet, side, meant, slack) is None
        weights[each.spot] = _unusual(each) * (1.0 if explains else 1e-3)
    first = max(given, key=lambda each: weights[each.spot])
    others = [each for each in given if each is not first]
    others.sort(key=lambda each: (each.spot.quantity != blamed, -weights[each.spot]))
    together = weights[first.spot] + weights[others[0].spot]
    return (first, *others), weights[first.spot] / together


def _unusual(known: Known) -> float:
    """Density of a slip against that of an instrument that comes in like this."""
    item, value = known.goal.item, known.verdict.value or 0.0
    low = item.target if item.lower is None else item.lower
    high = item.target if item.upper is None else item.upper
    spread = ARRIVES * (high - low) or 0.25
    away = min(abs(value - item.target) / spread, FARTHEST)
    return spread * math.exp(0.5 * away * away) / QUANTITIES[known.spot.quantity].width


def _contradiction(sheet: Sheet, side: Side, found: list[Verdict], slack: float) -> Contradiction | None:
    contradiction = _solved(sheet, side, found, slack)
    if contradiction is not None and contradiction.field == "nut_action":
        # a slot filed too low is a fault, not a contradiction, as long as the string clears its frets
        return _solved(sheet, side, found, max(slack, LOW_SLOT))
    return contradiction


def _solved(sheet: Sheet, side: Side, found: list[Verdict], slack: float) -> Contradiction | None:
    instrument = sheet.plan_input.instrument
    nut, height = found[1:]
    unsure = 2.0 * math.hypot(nut.uncertainty or 0.0, height.uncertainty or 0.0)
    if (nut.value or 0.0) - (height.value or 0.0) > unsure:
        message = "{}: the string would fall toward the bridge; read both again"
        return Contradiction(message.format("nut action and action do not fit"), "action")
    try:
        string_line(
            *(
                max(each.value or 0.0, 0.0) if place else each.value or 0.0
                for place, each in enumerate(found)
            ),
            scale_length=side_scale(instrument, side),
            body_joint_fret=instrument.body_joint_fret,
            held=sheet.place.held,
            fret=sheet.place.fret,
            action_fret=found[2].fret or OCTAVE,
            slack=slack,
        )
    except Contradiction as contradiction:
        return contradiction
    return None
