"""Readings that cannot all be true of one string."""

from __future__ import annotations

import math

from ..errors import Contradiction
from ..neck import string_line
from .geometry import side_scale
from .goals import OCTAVE, SIDES, Spot
from .inputs import Side
from .outputs import Verdict
from .readings import Known, Sheet

MODEL_SLACK = 0.05
"""How far solved heights may fall below zero because no neck bends quite evenly [mm]; judgement."""

LOW_SLOT = 0.30
"""How far below the frets a slot may come out: slots do get filed too low [mm]; judgement."""


def refuse_contradictions(known: dict[Spot, Known], sheet: Sheet) -> None:
    """Refuse relief, nut action and action that cannot all be true of one string.

    Raises
    ------
    Contradiction
        Naming the reading to look at first.
    """
    for side in SIDES:
        relief = known.get(Spot("relief", side)) or known.get(Spot("relief"))
        three = (relief, known.get(Spot("nut-action", side)), known.get(Spot("action", side)))
        found = [each.verdict for each in three if each is not None and each.verdict.usable]
        if len(found) < 3 or any(each.value is None for each in found):
            continue
        slack = MODEL_SLACK + 2.0 * math.hypot(*(each.uncertainty or 0.0 for each in found))
        contradiction = _contradiction(sheet, side, found, slack)
        if contradiction is not None and contradiction.field == "nut_action":
            # a slot filed too low is a fault, not a contradiction, as long as the string clears its frets
            contradiction = _contradiction(sheet, side, found, max(slack, LOW_SLOT))
        if contradiction is not None:
            raise Contradiction(f"{side} side: {contradiction.message}", contradiction.field)


def _contradiction(sheet: Sheet, side: Side, found: list[Verdict], slack: float) -> Contradiction | None:
    instrument = sheet.plan_input.instrument
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
