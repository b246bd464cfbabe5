"""Does relief follow the rod? The odds say when to look again, and when to give it up."""

from __future__ import annotations

import math

from ..belief.rods import RodOdds
from .draft import Draft
from .model import Adjustment, Step
from .reading_steps import settling
from .readings import Known
from .words import Measure, say

TEST_TURN = 0.125
"""First turn of a rod whose direction is not proven [turns]."""

SUSPECTED, GIVEN_UP = 0.3, 0.8
"""Chance of a dead or reversed rod from which it is not turned before it was read again, and from which it is
given up [-]; judgement."""

DOUBTED = 0.035
"""Chance of a dead or reversed rod from which a turn is read twice, once with the finest tool; judgement."""

LOOKS = 3
"""Readings that a suspected rod gets before it is turned once more [-]; judgement."""


def rod_turns(draft: Draft) -> list[Adjustment]:
    """Turns of the rod in this job, in order, since the strings or frets were last worked on."""
    made = sorted(draft.plan_input.adjustments, key=lambda each: each.order)
    since = max((each.order for each in made if each.part in {"strings", "frets"}), default=-1)
    return [each for each in made if each.part == "truss-rod" and each.turns and each.order > since]


def turns_back(draft: Draft, now: float) -> bool:
    """Whether this turn goes another way than the last one, or how the last one went is not known."""
    turned = rod_turns(draft)
    return not turned or ((turned[-1].turns or 0.0) > 0) != (now > 0)


def proven(draft: Draft) -> bool:
    """Whether relief has been seen to follow the rod: once clearly, or in two turns that were read."""
    turned = rod_turns(draft)
    if not turned:
        return False
    read = [each for each in draft.belief.expected if each.spot.quantity == "relief" and each.after_turn]
    clear = any(
        each.before is not None
        and (each.before - each.value) * math.copysign(1.0, each.after_turn) > 2.0 * UNSURE
        for each in read
    )
    return clear or (len(read) >= 2 and draft.odds.reversed <= UNLIKELY)


UNLIKELY = 0.01
"""Chance of a reversed rod up to which two turns that were read prove its direction [-]; judgement."""

UNSURE = 0.03
"""Standard uncertainty of a usual relief reading [mm]; judgement."""


def rod_answers(draft: Draft, goals: list[Known]) -> bool:
    """Stop when the rod is likely dead or reversed: look again first, and give it up when that stays so."""
    turned = rod_turns(draft)
    if not turned:
        return True
    odds = draft.odds
    if odds.faulty < SUSPECTED:
        return True
    looks = sum(
        each.quantity == "relief" and each.order > turned[-1].order for each in draft.plan_input.readings
    )
    if odds.faulty >= GIVEN_UP:
        _say_stop(draft, odds)
        draft.relief_unreachable = True
        return False
    if looks > LOOKS:
        if settling(draft).state != "waiting":
            return True
        draft.held = True  # what comes late has come after a rest: only then it is turned once more
        return False
    _look_again(draft, goals, odds)
    return False


def _look_again(draft: Draft, goals: list[Known], odds: RodOdds) -> None:
    draft.place_reading(
        Step(
            0,
            "read-again",
            None,
            say("Read relief three times with the finest tool before the rod is turned further"),
            why=say(
                "relief hardly follows the rod: the chance that it is dead or reversed is {chance}",
                chance=Measure("probability", odds.faulty),
            ),
            readings_next=tuple(
                draft.wanted(known, "the rod did not answer as expected", finest=True)
                for known in goals
                for _ in range(LOOKS)
            ),
        ),
        gate="everything",
    )


def _say_stop(draft: Draft, odds: RodOdds) -> None:
    if odds.reversed > odds.dead:
        draft.note(
            "rod-wrong-way", say("relief goes the wrong way: turn the rod back, record if it is reversed")
        )
    elif draft.instrument.rod.reversed is None:
        text = say("relief does not follow: find out which way the rod tightens and if the wrench grips")
        draft.note("rod-unproven", text)
    else:
        text = say("the rod was turned and relief does not follow: stop turning it")
        draft.note("rod-no-response", text, [say("quote: repair of the truss rod")], quote=True)
