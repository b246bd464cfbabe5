"""Readings that do not fit: asked again, set aside, or taken as a sign that something moved."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

from ..plan.inputs import PlanInput, Reading
from ..plan.records import not_shared, tool_of
from .expected import Expected
from .update import Belief

FAR = 3.5
"""Distance from which a reading is asked again [standard deviations]; judgement."""

FAR_AFTER_TURN = 2.0
"""The same for relief after a turn of the rod [standard deviations]; judgement."""

SURELY_WRONG = 0.9
"""Chance of being wrong from which a reading is set aside [-]; judgement."""

WRONG_OR_MOVED = 0.95
"""The same for 'wrong, or something moved', once this reading and a later one agree [-]; judgement."""

MOST_LOOKS = 8
"""Most readings of a job that are weighed one after another [-]."""

LOOK_BACK = 3
"""Earlier readings of a level that may be the wrong one [-]."""


@dataclass(frozen=True)
class Surprise:
    """A reading that does not fit what was known before it.

    Attributes
    ----------
    expected : Expected
        The reading and what it was expected to show.
    wrong : mapping
        By id of a reading: the chance that it is wrong [-].
    moved : float
        The chance of an unrecorded move [-].
    aside : str or None
        Id of the reading that is set aside.
    open : bool
        Whether another reading is needed before any further step.
    """

    expected: Expected
    wrong: Mapping[str, float]
    moved: float
    aside: str | None = None
    open: bool = False


@dataclass(frozen=True)
class Weighed:
    """A belief whose readings were weighed against each other."""

    belief: Belief
    surprises: tuple[Surprise, ...]

    @property
    def open(self) -> tuple[Surprise, ...]:
        """Surprises that ask for another reading before any further step."""
        return tuple(each for each in self.surprises if each.open)

    @property
    def aside(self) -> frozenset[str]:
        """Ids of the readings that are set aside."""
        return self.belief.aside


def surprising(expected: Expected) -> bool:
    """Whether a reading is asked again: too far from what was expected, or against the rod's turn.

    Parameters
    ----------
    expected : Expected
        The reading, and what it was expected to show [mm; cents].

    Returns
    -------
    bool
        Whether it is.
    """
    if expected.first:
        return False
    if expected.distance > FAR:
        return True
    if expected.reading.quantity != "relief" or not expected.after_turn:
        return False
    return expected.distance > FAR_AFTER_TURN or _against_turn(expected)


def _against_turn(expected: Expected) -> bool:
    if expected.before is None or expected.reading.zero_or_less:
        return False
    resolution, _ = tool_of(expected.reading)
    change = (expected.value - expected.before) * math.copysign(1.0, expected.after_turn)
    return change >= (resolution or 0.0) - 1e-9 and change > 0.0


def weigh(plan_input: PlanInput, *, closed: bool = False) -> Weighed:
    """Make the belief of a job, setting aside what is wrong and widening what moved.

    Parameters
    ----------
    plan_input : PlanInput
        The job.
    closed : bool
        Whether nothing more will be read: what is likeliest holds, and no other reading is asked for.

    Returns
    -------
    Weighed
        The belief, and every reading that did not fit, with what became of it.

    Notes
    -----
    Hypotheses, each against all readings of the job: none is wrong; one reading of the level is (0.01,
    anywhere in the plausible range); something moved (0.003). Judgement.

    A reading that was confirmed was looked at twice: it is not suspected, nor asked again. One that was
    weighed once is not weighed again, so that the loop ends.
    """
    belief = Belief(plan_input)
    surprises: dict[str, Surprise] = {}
    for _ in range(MOST_LOOKS):
        found = next(
            (each for each in belief.expected if surprising(each) and each.reading.id not in surprises), None
        )
        if found is None:
            break
        surprise, belief = _weigh_one(belief, found, closed)
        surprises[found.reading.id] = surprise
    return Weighed(belief, tuple(surprises.values()))


def _weigh_one(belief: Belief, found: Expected, closed: bool) -> tuple[Surprise, Belief]:
    """Weigh who is wrong, and return the belief that follows from it."""
    alike = [each for each in belief.expected if each.spot == found.spot]
    place = next(at for at, each in enumerate(alike) if each.reading.id == found.reading.id)
    suspects = [each for each in alike[max(0, place - LOOK_BACK) : place + 1] if not each.reading.confirmed]
    later = [each.reading for each in alike[place + 1 :]]
    distance = (found.value - found.expected) ** 2
    others = {each.reading.id: belief.otherwise(each.reading, aside=True) for each in suspects}
    moved = belief.otherwise(found.reading, more=distance)
    logs = {name: other.likelihood for name, other in others.items()}
    top = max(belief.likelihood, moved.likelihood, *logs.values())
    weights = {name: math.exp(log - top) for name, log in logs.items()}
    fits, shifted = math.exp(belief.likelihood - top), math.exp(moved.likelihood - top)
    total = fits + shifted + sum(weights.values())
    wrong = {name: weight / total for name, weight in weights.items()}
    surprise = Surprise(found, wrong, shifted / total)
    agreed = found.reading.confirmed or any(_agrees(reading, found.reading) for reading in later)
    if wrong:
        worst = max(wrong, key=lambda name: wrong[name])
        either = wrong[worst] + surprise.moved
        if wrong[worst] > SURELY_WRONG or (either > WRONG_OR_MOVED and agreed and worst != found.reading.id):
            return replace(surprise, aside=worst), others[worst]
    if not later and not closed and not found.reading.confirmed:
        return replace(surprise, open=True), moved
    return surprise, (belief if fits / total >= 0.5 else moved)


def _agrees(one: Reading, other: Reading) -> bool:
    """Whether two readings agree within twice their uncertainty."""
    resolution, repeatability = tool_of(one)
    spread = math.hypot(repeatability or 0.0, (resolution or 0.0) / math.sqrt(12.0))
    apart = math.sqrt(2.0 * spread**2 + not_shared(one, other))
    return abs((one.value or 0.0) - (other.value or 0.0)) <= 2.0 * apart
