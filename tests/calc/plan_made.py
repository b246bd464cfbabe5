"""Short ways to make a plan from readings of one guitar, and to look into it."""

from __future__ import annotations

from shimstock_calc.plan.build import make_plan
from shimstock_calc.plan.model import Move, Plan, Step
from tests import cases
from tests.calc.plan_inputs import plan_input

CASE = cases.TWO_POST_ELECTRIC
YES = [{"given": True, "steps": []}]


def relief(value, **more):
    return cases.read("relief", value, cases.FEELERS, held=[1, 22], fret=9, method="string", **more)


def action(bass, treble, **more):
    return cases.sides("action", bass, treble, cases.DEPTH, fret=12, **more)


def nut_action(bass, treble, **more):
    return cases.sides("nut-action", bass, treble, cases.DEPTH, **more)


def pickup_height(value, **more):
    return [
        cases.read("pickup-height", value, cases.DIAL, side=side, pickup=pickup["name"], held=[22], **more)
        for pickup in cases.PICKUPS
        for side in ("bass", "treble")
    ]


def intonation(values, **more):
    return [
        cases.read("intonation", cents, cases.STROBE, string=number, fret=12, **more)
        for number, cents in enumerate(values, start=1)
    ]


def plan(readings, instrument=None, **changes) -> Plan:
    return make_plan(
        plan_input(
            CASE, readings=readings, instrument={**CASE["instrument"], **(instrument or {})}, **changes
        )
    )


def found(made: Plan, kind: str) -> Step:
    return next(step for step in made.steps if step.kind == kind)


def kinds(made: Plan) -> list[str]:
    return [step.kind for step in made.steps]


def codes(made: Plan) -> set[str]:
    return {note.code for note in made.notes}


def turned(step: Step) -> list[Move]:
    return [move for move in step.moves if move.turns or move.amount]


GOOD = [relief(0.20), *action(1.7, 1.5), *nut_action(0.45, 0.35)]
HIGH_NUT = [relief(0.20), *action(1.7, 1.5), *nut_action(0.80, 0.70), *nut_action(0.80, 0.70)]
"""Read twice: nothing irreversible rests on a quantity that was read once."""
HIGH = [relief(0.20), *action(2.2, 1.9), *nut_action(0.50, 0.40)]
