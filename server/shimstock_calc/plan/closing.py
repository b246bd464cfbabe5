"""What the plan says beside its steps: what tools will show, what a step is worth, what is not asked."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

from ..belief.update import Belief
from ..vocabulary import PARTS
from .choice import fixed
from .goals import Spot
from .inputs import Adjustment
from .outputs import Change, Move, NotAsked, ReadingWanted, Shown, Step, SurprisingReading, Worth
from .reading_steps import named
from .readings import Known
from .records import bench_tool, say_offset
from .words import say

if TYPE_CHECKING:
    from .draft import Draft

SILENT = frozenset({"judgement", "delicate-finish", "too-close"})
"""Notes that do not say why a job ends."""


def spot_at(place: Change | ReadingWanted | SurprisingReading) -> Spot:
    """Where a change happens, or a reading is or was taken."""
    return Spot(place.quantity, place.side, place.string, place.pickup)


# ---------------------------------------------------------------- what tools will show


def with_expected(draft: Draft) -> list[Step]:
    """The steps with what a tool should show at once after each of those to do now, one after another."""
    belief = draft.belief
    steps: list[Step] = []
    for step in draft.steps:
        if step.do_now and step.changes_instrument:
            if not step.moves:
                return [*steps, *draft.steps[len(steps) :]]  # by how much only the technician knows
            moves = [move for move in step.moves if move.turns or move.amount]
            belief = belief.adjusted(_made(place, move) for place, move in enumerate(moves))
            wanted = (replace(each, expected_now=_shown(draft, belief, each)) for each in step.readings_next)
            steps.append(replace(step, readings_next=tuple(wanted)))
        else:
            steps.append(step)
    return steps


def _made(place: int, move: Move) -> Adjustment:
    """The adjustment that a move asks for."""
    amount = move.amount
    if amount is not None and PARTS[move.part].is_filed:
        amount = abs(amount) if move.direction == "file" else -abs(amount)
    return Adjustment(
        f"planned {place}", move.part, 0,
        turns=move.turns, amount=amount, side=move.side, string=move.string, pickup=move.pickup,
    )  # fmt: skip


def _shown(draft: Draft, belief: Belief, wanted: ReadingWanted) -> Shown | None:
    spot = spot_at(wanted)
    known, estimate = draft.known.get(spot), belief.estimate(spot)
    if known is None or not fixed(spot.quantity, estimate):
        return None
    if spot.quantity == "relief" and estimate.mean <= 0.0:
        return None  # a string shows nothing below zero
    last = draft.choice.last(known)
    shown = estimate if last is None else belief.shows(spot, last)
    spread = math.sqrt(shown.variance + draft.choice.noise(known))
    return Shown(round(shown.mean, 6), round(spread, 6))


# ---------------------------------------------------------------- what it is worth


def with_worth(draft: Draft, steps: list[Step]) -> list[Step]:
    """The steps with the minutes that each saves and costs, where its price decided."""
    return [replace(step, worth=_worth(draft, step)) for step in steps]


def _worth(draft: Draft, step: Step) -> Worth | None:
    """The worth of a step for the quantity that gains most by it."""
    reading = step.kind == "read-again"
    if not (reading or step.moves):
        return None
    places = step.readings_next if reading else step.changes
    known = [draft.known[spot] for spot in dict.fromkeys(map(spot_at, places)) if spot in draft.known]
    if reading and any(each.spot in _surprising(draft) for each in known):
        return None
    found = [draft.choice.worth(each, reading=reading) for each in known]
    gains = [each for each in found if each is not None and each.saves > each.costs]
    if not reading or not gains:
        return max(gains, key=lambda each: each.saves - each.costs, default=None)
    costs = sum(each.costs for each in gains) + draft.choice.prices.prompt
    return Worth(round(sum(each.saves for each in gains), 1), round(costs, 1))


def _surprising(draft: Draft) -> set[Spot]:
    """What is read again because it does not fit, whatever that costs."""
    return {spot_at(each) for each in draft.surprises if each.open}


# ---------------------------------------------------------------- what is not asked


def not_asked(draft: Draft) -> tuple[NotAsked, ...]:
    """Quantities in some doubt that no step reads or adjusts, as nothing about them is worth its minutes."""
    if draft.stopped or draft.relief_unreachable:
        return ()
    return tuple(
        NotAsked(*known.spot, draft.choice.chance(known), _alone(draft, known))
        for known in _left_alone(draft)
        if known.spot in draft.tomorrow and not draft.choice.reads(known)
    )


def _alone(draft: Draft, known: Known) -> Worth | None:
    """The worth of a reading that no other joins: its prompt is its own."""
    found = draft.choice.worth(known, reading=True)
    return found and replace(found, costs=round(found.costs + draft.choice.prices.prompt, 1))


def _left_alone(draft: Draft) -> list[Known]:
    """What is neither known by a reading that says where it stands, nor read or adjusted by any step."""
    steps = [step for step in draft.steps if step.do_now or step.kind != "final-readings"]
    asked = {spot_at(wanted) for step in steps for wanted in step.readings_next}
    asked |= {spot_at(change) for step in steps for change in step.changes}
    return [
        known
        for known in draft.known.values()
        if known.spot not in asked
        and not known.settled_on
        and (not known.verdict.usable or known.verdict.verdict == "too close to call")
    ]


def say_offsets(draft: Draft) -> None:
    """Say which bench's readings were taken with its known offset taken off."""
    told: set[object] = set()
    for known in draft.known.values():
        reading = known.reading
        if reading is None or not known.verdict.taken_off or bench_tool(reading) in told:
            continue
        told.add(bench_tool(reading))
        sentence = say_offset(reading, whole=True)
        if sentence is not None:
            draft.note("bench-offset", sentence)


def say_stays_out(draft: Draft) -> None:
    """Say what is left out of spec where nothing is to do and nothing else has said why."""
    if any(note.code not in SILENT for note in draft.notes):
        return
    left = [known.spot for known in draft.known.values() if not known.settled_on]
    draft.note(
        "stays-out",
        say(
            "nothing more is to do here, and this is not in spec: {what}; accept it with a note, or quote "
            "what goes beyond a setup",
            what=named(left) if left else "the instrument",
        ),
    )


def say_too_close(draft: Draft) -> None:
    """Say what remains where a quantity is too close to call and no step is worth its minutes."""
    close = [
        known.spot
        for known in _left_alone(draft)
        if known.verdict.usable and not any(note.code == "relief-left" for note in draft.notes)
    ]
    if close:
        # without alternatives: it is for the bench, and does not stand on the owner's card
        draft.note(
            "too-close",
            say(
                "too close to call: {what}; neither another reading nor a step is worth its minutes: "
                "take a finer tool, or accept it with a note",
                what=named(close),
            ),
        )
