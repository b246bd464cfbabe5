"""The service's plan as a policy."""

from __future__ import annotations

import math
from collections.abc import Iterable

from shimstock_calc.belief.surprise import weigh
from shimstock_calc.plan.build import make_plan
from shimstock_calc.plan.goals import goals
from shimstock_calc.plan.model import (
    Instrument,
    Move,
    Plan,
    PlanInput,
    Quantity,
    Step,
)

from .policy import Act, Answer, Do, Job, Read, Spot, Word
from .policy import Step as ToDo

GEOMETRY = frozenset({"relief", "nut-action", "action"})
ROD_WORDS = frozenset({"rod-no-response", "rod-wrong-way", "rod-unproven"})
SILENT = frozenset({"judgement", "delicate-finish"})
"""Notes that end no job."""


class PlanPolicy:
    """Follows the plan word by word."""

    def __init__(self) -> None:
        self.plan: Plan | None = None

    def answer(self, job: Job) -> Answer:
        """Do as the plan says."""
        plan = self.plan = make_plan(job.plan_input)
        steps = to_do(plan, job.plan_input.instrument)
        said = {"chances": chances(plan), "forecasts": forecasts(plan, job), "rod_doubt": plan.rod_doubt}
        rest = next((step for step in plan.steps if step.do_now and step.kind == "settle"), None)
        if rest is not None and plan.settled.read_from is not None:
            if not steps:
                said["forecasts"] = forecasts_at(plan.settled.read_from, job.plan_input, job)
            return Answer(steps, plan.settled.read_from, Read(rest.readings_next), **said)
        if steps:
            return Answer(steps, **said)
        return Answer(word=last_word(plan), **said)


def to_do(plan: Plan, instrument: Instrument) -> tuple[ToDo, ...]:
    """Steps that are to be done now, in order; what a settling step asks for is read after the rest."""
    found: list[ToDo] = []
    for step in plan.steps:
        if not step.do_now or step.kind == "settle":
            continue
        acts = tuple(acts_of(step, instrument)) if step.changes_instrument else ()
        if acts:
            found.append(Do(acts))
        if step.readings_next and (acts or not step.changes_instrument):
            found.append(Read(step.readings_next))
    return tuple(found)


def acts_of(step: Step, instrument: Instrument) -> Iterable[Act]:
    """What the hands do for a step, the direction taken from its words alone."""
    if step.kind == "restring":
        yield Act("strings")
    elif step.kind == "balance":
        yield Act("spring-claw")
    for move in step.moves:
        if move.turns or (move.turns is None and move.amount):
            yield Act(
                move.part,
                turns=move.turns,
                amount=move.amount if move.turns is None else None,
                side=None if move.part == "nut-slot" else move.side,
                string=move.string,
                pickup=move.pickup,
                filing=move.direction == "file",
                stop=stop_of(step, move) if move.part == "nut-slot" else None,
                by_hand=None if move.turns is None else by_hand(move, instrument),
            )


def by_hand(move: Move, instrument: Instrument) -> float:
    """Turn as its words say: clockwise or not; right-hand threads, common practice, no published source."""
    turns = abs(move.turns or 0.0)
    clockwise = move.seen.startswith("clockwise")
    assert clockwise or move.seen.startswith("counter-clockwise"), move.seen
    forward = {
        "truss-rod": True,
        "bridge-post": False,
        "saddle-screw": True,
        "saddle-position": instrument.bridge.intonation_screw_head == "tail",
        "pickup-screw": next(
            (each.screw == "ring" for each in instrument.pickups if each.name == move.pickup), True
        ),
    }[move.part]
    return turns if clockwise == forward else -turns


def stop_of(step: Step, move: Move) -> float:
    """Reading at which the filing of a slot stops."""
    for change in step.changes:
        if (change.side, change.string) in {(move.side, None), (None, move.string)} and (
            move.side is None or change.side == move.side
        ):
            return change.after
    raise AssertionError(f"no stop for slot {move.string}")


def last_word(plan: Plan) -> Word | None:
    """Why nothing is left to do, if the plan says so."""
    codes = {note.code for note in plan.notes}
    if plan.complete:
        return "done"
    if ROD_WORDS & codes:
        return "rod given up"
    if any(block.code == "consent" for step in plan.steps for block in step.blocked_by):
        return "waits for the owner"
    refused = any(block.code == "refused" for step in plan.steps for block in step.blocked_by)
    return "beyond a setup" if refused or codes - SILENT else None


def chances(plan: Plan) -> dict[Spot, float]:
    """Stated chance of each quantity to be in spec tomorrow."""
    return {
        Spot(each.quantity, each.side, each.string, each.pickup): each.tomorrow.chance
        for each in plan.verdicts
        if each.tomorrow is not None
    }


def forecasts(plan: Plan, job: Job) -> dict[Spot, tuple[float, float]]:
    """What the next reading of each spot with the usual tool is expected to show.

    Without what is read again because it did not fit: that reading was chosen for being doubtful.
    """
    doubtful = {(each.quantity, each.side, each.string, each.pickup) for each in plan.surprises if each.open}
    return {
        Spot(each.quantity, each.side, each.string, each.pickup): (
            each.now.value,
            math.hypot(each.now.spread, noise_of(each.quantity, job)),
        )
        for each in plan.verdicts
        if each.now is not None and (each.quantity, each.side, each.string, each.pickup) not in doubtful
    }


def forecasts_at(time: float, given: PlanInput, job: Job) -> dict[Spot, tuple[float, float]]:
    """What relief is expected to show after a rest."""
    belief = weigh(given).belief
    later = belief.after(time - belief.now)
    found = {}
    for goal in goals(given):
        if goal.spot.quantity == "relief":
            known = later.estimate(goal.spot)
            found[Spot(*goal.spot)] = known.mean, math.hypot(known.spread, noise_of("relief", job))
    return found


def noise_of(quantity: Quantity, job: Job) -> float:
    """Standard deviation of a reading with the usual tool [mm; cents]."""
    tool = job.tools[quantity][0]
    factor = next((each.noise for each in job.plan_input.readings if each.tool == tool.name), 1.0)
    return math.hypot(tool.repeatability * factor, tool.resolution / math.sqrt(12.0))
