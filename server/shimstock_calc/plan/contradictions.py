"""Readings that cannot all be true of one string: read again before anything is done."""

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


def contradicted(known: dict[Spot, Known], sheet: Sheet) -> list[tuple[list[Known], str]]:
    """Relief, nut action and action that cannot all be true of one string.

    Returns
    -------
    list of (list of Known, str)
        For each side, the readings concerned, the likeliest slip first, and what is wrong with them. Readings
        that were all taken twice are believed: necks bend otherwise than the model says.
    """
    found = []
    for side in SIDES:
        relief = known.get(Spot("relief", side)) or known.get(Spot("relief"))
        three = [relief, known.get(Spot("nut-action", side)), known.get(Spot("action", side))]
        given = [each for each in three if each is not None and each.verdict.usable]
        if len(given) < 3 or any(each.verdict.value is None for each in given):
            continue
        if all(each.several for each in given):
            continue
        verdicts = [each.verdict for each in given]
        slack = MODEL_SLACK + 2.0 * math.hypot(*(each.uncertainty or 0.0 for each in verdicts))
        contradiction = _contradiction(sheet, side, verdicts, slack)
        if contradiction is not None and contradiction.field == "nut_action":
            # a slot filed too low is a fault, not a contradiction, as long as the string clears its frets
            contradiction = _contradiction(sheet, side, verdicts, max(slack, LOW_SLOT))
        if contradiction is not None:
            blamed = (contradiction.field or "").replace("_", "-")
            given.sort(key=lambda each: each.spot.quantity != blamed)
            found.append((given, f"{side} side: {contradiction.message}"))
    return found


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
