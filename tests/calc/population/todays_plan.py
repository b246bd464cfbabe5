"""The service's plan as a policy."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace

from shimstock_calc.errors import Contradiction
from shimstock_calc.plan import make_plan
from shimstock_calc.plan.model import (
    Instrument,
    Move,
    Plan,
    PlanInput,
    ReadingWanted,
    Responses,
    RodResponse,
    Step,
)
from shimstock_calc.response import AdjustmentSample, adjustment_response

from .policy import Act, Answer, Do, Job, Read, Spot, Word
from .policy import Step as ToDo

GEOMETRY = frozenset({"relief", "nut-action", "action"})
ROD_WORDS = frozenset({"rod-no-response", "rod-wrong-way", "rod-unproven"})
SILENT = frozenset({"judgement", "delicate-finish"})
"""Notes that end no job."""


class TodaysPlan:
    """Follows the plan word by word, and reads everything once more when nothing is left to do."""

    def __init__(self) -> None:
        self.final_check = False
        self.refused = 0
        self.response = RodResponse()
        self.samples = 0
        self.plan: Plan | None = None

    def answer(self, job: Job) -> Answer:
        """Do as the plan says."""
        given = replace(job.plan_input, responses=Responses(rod=self.learned(job.plan_input)))
        self.plan = None
        try:
            plan = self.plan = make_plan(given)
        except Contradiction:
            return self.contradicted(given)
        steps = to_do(plan, given.instrument)
        rest = plan.settled.read_from if resting(plan) else None
        doubts = doubt(plan)
        if rest is not None:
            asked = next(step for step in plan.steps if step.do_now and step.kind == "settle").readings_next
            return Answer(steps, rest, Read(asked), rod_doubt=doubts)
        if steps:
            return Answer(steps, rod_doubt=doubts)
        word = last_word(plan)
        if not self.final_check and word != "rod given up":
            self.final_check = True
            return Answer((Read(every(plan, given.instrument)),), rod_doubt=doubts)
        return Answer(word=word, chances=chances(plan), rod_doubt=doubts)

    def contradicted(self, given: PlanInput) -> Answer:
        """Read again what cannot all be true; give up after three times."""
        self.refused += 1
        if self.refused > 3:
            return Answer()
        relief = next(item for item in given.spec if item.quantity == "relief")
        again = [ReadingWanted("relief", fret=relief.fret, held=relief.held)]
        again += [
            ReadingWanted(what, side) for what in ("nut-action", "action") for side in ("bass", "treble")
        ]
        return Answer((Read(tuple(again)),))

    def learned(self, given: PlanInput) -> RodResponse:
        """What the shop's statistics make of this instrument's rod turns so far."""
        turns = [each for each in given.adjustments if each.part == "truss-rod" and each.turns]
        reliefs = [each for each in given.readings if each.quantity == "relief" and each.value is not None]
        samples = []
        for turn in turns:
            before = [each for each in reliefs if each.order < turn.order]
            after = [each for each in reliefs if each.order > turn.order]
            if before and after:
                old, new = before[-1], after[0]
                samples.append(
                    AdjustmentSample(
                        turn.turns or 0.0,
                        old.value or 0.0,
                        new.value or 0.0,
                        old.repeatability or 0.03,
                        new.repeatability or 0.03,
                        instrument="this",
                        model="its model",
                    )
                )
        if len(samples) != self.samples:
            self.samples = len(samples)
            belief = adjustment_response(samples).of("this", "its model")
            self.response = RodResponse(min(belief.mean, -0.1), belief.sd, belief.samples, belief.source)
        return self.response


def resting(plan: Plan) -> bool:
    """Whether the plan lets the neck rest now."""
    return (
        any(step.do_now and step.kind == "settle" for step in plan.steps) and plan.settled.state == "waiting"
    )


def to_do(plan: Plan, instrument: Instrument) -> tuple[ToDo, ...]:
    """Steps that are to be done now, in order; what a settling step asks for is read after the rest."""
    found: list[ToDo] = []
    for step in plan.steps:
        if not step.do_now or step.kind == "settle":
            continue
        acts = tuple(acts_of(step, instrument)) if step.changes_instrument else ()
        if acts:
            found.append(Do(acts))
        elif step.readings_next and not step.changes_instrument:
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


def every(plan: Plan, instrument: Instrument) -> tuple[ReadingWanted, ...]:
    """Every quantity of the spec, for the final check."""
    held: Mapping[str, tuple[int, ...]] = {"pickup-height": (instrument.frets,)}
    return tuple(
        ReadingWanted(
            each.quantity,
            each.side,
            each.string,
            each.pickup,
            each.fret,
            each.held or held.get(each.quantity, ()),
            why="final",
        )
        for each in plan.verdicts
        if each.quantity != "twist"
    )


def doubt(plan: Plan) -> float:
    """Certain once the plan gives the rod up; suspected once it asks again because relief does not follow."""
    if ROD_WORDS & {note.code for note in plan.notes}:
        return 1.0
    asks = any(
        wanted.why == "the rod did not answer as expected"
        for step in plan.steps
        for wanted in step.readings_next
    )
    return 0.5 if asks else 0.0


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
    """Chance of each quantity as its verdict states it, taken for tomorrow's too."""
    return {
        Spot(each.quantity, each.side, each.string, each.pickup): each.probability
        for each in plan.verdicts
        if each.probability is not None and each.usable
    }
