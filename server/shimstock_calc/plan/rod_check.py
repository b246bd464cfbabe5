"""Does relief follow the rod? One that does not answer is left alone; an unproven one is tried first."""

from __future__ import annotations

import math
from dataclasses import dataclass

from .draft import Draft
from .model import RodResponse, Step
from .readings import Known
from .words import Measure, say

TEST_TURN = 0.125
"""First turn of a rod whose direction is not proven [turns]."""

ENOUGH = 0.25
"""Turns, free play left out, from which relief must have followed [turns]."""

USUAL_RESPONSE = RodResponse().mean
NO_ANSWER = 0.35
"""Share of a usual rod's response below which relief does not follow it [-]; judgement.

Judged against a usual rod, not a learned response: what was learned from a dead rod would excuse it.
"""


@dataclass(frozen=True)
class Run:
    """The last turns in one direction, and how relief went with them."""

    turns: float
    """In all, free play left out; positive = tighten [turns]."""
    slope: float
    """Change of relief per turn, by least squares [mm per turn]."""
    spread: float
    """Standard uncertainty of the slope [mm per turn]."""
    after: int
    """Readings since the last of them."""

    @property
    def along(self) -> float:
        """Slope in the sense a rod should have; negative when relief went the wrong way [mm per turn]."""
        return self.slope * math.copysign(1.0, USUAL_RESPONSE)


def _rod_turns(draft: Draft) -> list[tuple[int, float]]:
    turned = [each for each in draft.plan_input.adjustments if each.part == "truss-rod" and each.turns]
    return [(each.order, each.turns or 0.0) for each in sorted(turned, key=lambda each: each.order)]


def turns_back(draft: Draft, now: float) -> bool:
    """Whether this turn goes another way than the last one, or nobody knows how the last one went."""
    turned = _rod_turns(draft)
    return not turned or (turned[-1][1] > 0) != (now > 0)


def proven(draft: Draft) -> bool:
    """Whether relief has been seen to follow the rod in this job."""
    run = last_run(draft)
    return run is not None and run.along > run.spread


def last_run(draft: Draft) -> Run | None:
    """The last turns in one direction with the relief read before and after them; None without both."""
    turned = _rod_turns(draft)
    other = [each.order for each in draft.plan_input.adjustments if each.part in {"strings", "frets"}]
    floor = max(other, default=-1)
    turned = [each for each in turned if each[0] > floor]
    if not turned:
        return None
    way = math.copysign(1.0, turned[-1][1])
    start = len(turned)
    while start > 0 and math.copysign(1.0, turned[start - 1][1]) == way:
        start -= 1
    if start:
        floor = turned[start - 1][0]
    run = turned[start:]
    side = next((known.spot.side for known in draft.of("relief")), None)
    history = [
        (reading.order, value, spread)
        for reading, value, spread in draft.sheet.converter.history()
        if reading.order > floor and reading.side == side
    ]
    after = [each for each in history if each[0] > run[-1][0]]
    if not after or history[0][0] > run[0][0]:
        return None
    return _fitted(draft, run, history, len(after))


def _fitted(
    draft: Draft, run: list[tuple[int, float]], history: list[tuple[int, float, float]], after: int
) -> Run | None:
    rod = draft.instrument.rod
    free = rod.free_play if rod.kind == "dual-action" else 0.0

    def turned_by(order: int) -> float:
        turns = sum(each for at, each in run if at < order)
        return math.copysign(max(abs(turns) - free, 0.0), turns)

    places = [turned_by(order) for order, _, _ in history]
    middle = sum(places) / len(places)
    width = sum((place - middle) ** 2 for place in places)
    if width == 0.0:
        return None
    slope = (
        sum((place - middle) * value for place, (_, value, _) in zip(places, history, strict=True)) / width
    )
    spread = max(each for _, _, each in history) / math.sqrt(width)
    return Run(places[-1], slope, spread, after)


def rod_answers(draft: Draft, goals: list[Known]) -> bool:
    """Stop when relief went the wrong way, or does not follow once a quarter turn is past the free play."""
    run = last_run(draft)
    if run is None or abs(run.turns) < TEST_TURN - 1e-9:
        return True
    wrong_way = run.along < -2.0 * run.spread
    enough, little = abs(run.turns) >= ENOUGH - 1e-9, NO_ANSWER * abs(USUAL_RESPONSE)
    nothing = enough and run.along + run.spread < little
    if not (wrong_way or nothing):
        if enough and run.along < little and run.after < 2:
            # a quarter turn that seems to change nothing is never followed by another on one reading
            _ask_again(draft, goals, run)
            return False
        return True
    if run.after < 3:
        _ask_again(draft, goals, run)
    else:
        _say_stop(draft, run, wrong_way=wrong_way)
        draft.relief_unreachable = True
    return False


def _ask_again(draft: Draft, goals: list[Known], run: Run) -> None:
    draft.place_reading(
        Step(
            0,
            "read-again",
            None,
            say("Read relief again before the rod is turned further"),
            why=say(
                "relief seems to move by {slope}, where a rod usually gives {usual}",
                slope=Measure("rod-response", run.slope),
                usual=Measure("rod-response", USUAL_RESPONSE),
            ),
            readings_next=tuple(draft.wanted(known, "the rod did not answer as expected") for known in goals),
        ),
        gate="everything",
    )


def _say_stop(draft: Draft, run: Run, *, wrong_way: bool) -> None:
    if wrong_way:
        text = say(
            "relief goes the wrong way, {slope} of tightening: turn the rod back, record if it is reversed",
            slope=Measure("rod-response", run.slope),
        )
        draft.note("rod-wrong-way", text)
    elif draft.instrument.rod.reversed is None:
        text = say("relief does not follow: find out which way the rod tightens and if the wrench grips")
        draft.note("rod-unproven", text)
    else:
        text = say("the rod was turned and relief does not follow: stop turning it")
        draft.note("rod-no-response", text, [say("quote: repair of the truss rod")], quote=True)
