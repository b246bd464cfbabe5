"""How long a plan takes when a job has many readings and adjustments, beside a filter's bare arithmetic.

Processor time of this process alone, the least of several rounds: what runs beside takes none of it.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from shimstock_calc.belief.surprise import weigh
from shimstock_calc.plan.build import make_plan
from shimstock_calc.plan.draft import Draft
from shimstock_calc.plan.model import PlanInput
from tests import cases
from tests.calc.plan_inputs import plan_input
from tests.calc.plan_made import CASE, action, intonation, nut_action, pickup_height, relief
from tests.depth import amount

pytestmark = pytest.mark.speed

ROUNDS = amount(15, deep=60)
READINGS, ADJUSTMENTS = 80, 20
SIDES = ("bass", "treble")


SET = [3.0, 3.0, 3.0, 3.0, 8.0, 8.0]
"""Intonation once the first four saddles were moved [cents]."""


class Visits:
    """Sheets and adjustments of one job, an hour or less after each other."""

    def __init__(self) -> None:
        self.readings: list[dict[str, Any]] = []
        self.adjustments: list[dict[str, Any]] = []
        self.at = 0.0

    def read(self, *readings: dict[str, Any], after: float = 5.0) -> None:
        """Take one sheet."""
        self.at += after
        for each in readings:
            self.readings.append({**each, "order": self._order(), "at": self.at})

    def adjust(self, part: str, *moves: dict[str, Any]) -> None:
        """Do one step."""
        self.at += 2.0
        for each in moves:
            self.adjustments.append({"part": part, "order": self._order(), "at": self.at, **each})

    def _order(self) -> int:
        return len(self.readings) + len(self.adjustments)


def everything(
    bow: float, high: float, slot: float, under: float, cents: list[float]
) -> list[dict[str, Any]]:
    """One sheet with every quantity of the spec."""
    return [
        relief(bow),
        *action(high, high - 0.2),
        *nut_action(slot, slot - 0.1),
        *pickup_height(under),
        *intonation(cents),
    ]


def long_job(slips: bool = False) -> PlanInput:
    """A job that took long: rod, bridge, nut, pickups and saddles, each read after what moved it."""
    job = Visits()
    job.read(*everything(0.95, 2.9, 0.72, 2.6, [8.0] * 6))
    for turn in range(8):
        job.adjust("truss-rod", {"turns": 0.25})
        job.read(*[relief(round(0.87 - 0.085 * turn, 2))] * (1 if turn < 3 else 2))
    job.read(relief(0.22), after=120.0)
    job.read(*action(2.0, 1.8), *nut_action(0.60, 0.50))
    job.adjust("bridge-post", *({"side": side, "turns": -0.25} for side in SIDES))
    job.read(*action(1.84, 1.64), *nut_action(0.58, 0.48))
    job.adjust("nut-slot", *({"side": side, "amount": 0.1} for side in SIDES))
    job.read(*action(1.80, 1.60), *nut_action(0.48, 0.38))
    names = [each["name"] for each in cases.PICKUPS]
    job.adjust(
        "pickup-screw", *({"pickup": name, "side": side, "turns": 0.5} for name in names for side in SIDES)
    )
    job.read(*pickup_height(2.1))
    job.adjust("saddle-position", *({"string": string, "turns": 1.0} for string in range(1, 5)))
    job.read(*intonation(SET))
    job.read(*everything(0.21, 1.79, 0.47, 2.1, SET), after=60.0)
    job.read(*everything(0.21, 1.80, 0.48, 2.1, SET)[:14])
    if slips:
        for place, by in SLIPS.items():
            job.readings[place]["value"] = round(job.readings[place]["value"] + by, 3)
    return plan_input({**CASE, "readings": job.readings, "adjustments": job.adjustments})


SLIPS = {17: 0.3, 33: 0.5, 35: 0.5, 42: 1.0, 46: 20.0}
"""Readings that are misread, and by how much [mm; cents]."""

NUMBERS = 23
"""Levels, responses and couplings that are believed of an electric guitar [-]."""

BARE = 0.40
"""What the bare updates take where the limits hold as they stand [ms]; elsewhere these grow with them.

The limits leave room for a busy machine: what is measured stands in the figures.
"""


def least(work: Callable[[], object]) -> float:
    """Return the least processor time of some rounds [ms]; the first, which fills caches, does not count."""
    took = []
    for _ in range(ROUNDS + 1):
        start = time.process_time()
        work()
        took.append(time.process_time() - start)
    return 1000.0 * min(took[1:])


def chosen(job: PlanInput) -> None:
    """Believe, and weigh what every quantity is worth; without steps and words."""
    draft = Draft(job)
    for known in draft.known.values():
        draft.choice.adjusts(known)


def bare(job: PlanInput) -> None:
    """Take in as many entries as the job has, each by one update of rank one, and no more."""
    mean, covariance = np.zeros(NUMBERS), np.eye(NUMBERS)
    for place in range(len(job.readings) + len(job.adjustments)):
        shared = covariance[place % NUMBERS]
        gain = shared / (shared[place % NUMBERS] + 0.01)
        mean += gain * (0.1 - mean[place % NUMBERS])
        covariance = covariance - gain[:, None] * shared


@pytest.mark.parametrize(
    "slips, believing, planning", [(False, 5.0, 6.5), (True, 34.0, 36.0)], ids=["plain", "five slips"]
)
def test_a_plan_takes_milliseconds(
    slips: bool, believing: float, planning: float, figure: Callable[[str], None]
) -> None:
    job = long_job(slips)
    assert (len(job.readings), len(job.adjustments)) == (READINGS, ADJUSTMENTS)
    assert len(weigh(job).surprises) == (len(SLIPS) if slips else 0)
    floor, belief, plan = least(lambda: bare(job)), least(lambda: chosen(job)), least(lambda: make_plan(job))
    figure(
        f"{READINGS} readings, {ADJUSTMENTS} adjustments, {len(SLIPS) if slips else 'no'} slips: "
        f"belief and choice {belief:.1f} ms, whole plan {plan:.1f} ms (bare updates {floor:.2f} ms)"
    )
    slower = max(1.0, floor / BARE)
    assert belief < believing * slower
    assert plan < planning * slower
