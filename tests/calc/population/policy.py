"""What a policy sees of a job, and what it answers; it knows nothing of the simulation.

A policy is given what the service is given: the instrument as its catalogue describes it, the spec, the tools
of the bench, and what was entered so far. It answers as a plan does: what to do and read now, in order, until
when to rest, or the word that ends the job.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal, NamedTuple, Protocol, TypeAlias

from shimstock_calc.plan.model import Part, PlanInput, Quantity, Reading, ReadingWanted, Side

SIDES: tuple[Side, Side] = ("bass", "treble")

Word: TypeAlias = Literal["done", "rod given up", "beyond a setup", "waits for the owner"]


class Spot(NamedTuple):
    """Where a quantity is read; what is read at an outermost string names its side, not the string."""

    quantity: Quantity
    side: Side | None = None
    string: int | None = None
    pickup: str | None = None


def spot_of(read: Reading | ReadingWanted) -> Spot:
    """Spot of a reading that was taken or is wanted."""
    return Spot(read.quantity, read.side, read.string, read.pickup)


@dataclass(frozen=True)
class Tool:
    """A tool of the bench, as the shop lists it."""

    name: str
    resolution: float
    repeatability: float


@dataclass(frozen=True)
class Job:
    """A job as the service knows it."""

    plan_input: PlanInput
    """Instrument, spec, findings, consents, readings (those of one sheet share `at`) and adjustments."""
    tools: Mapping[Quantity, tuple[Tool, ...]]
    """Tools for each quantity: the usual one first, the finest last."""


@dataclass(frozen=True)
class Read:
    """A sheet of readings to take."""

    wanted: tuple[ReadingWanted, ...]


@dataclass(frozen=True)
class Act:
    """One part to turn, file, shim or shift."""

    part: Part
    turns: float | None = None
    """As entered, signed as the plan's records say [turns]."""
    amount: float | None = None
    """As entered, signed as the plan's records say; filing is positive [mm]."""
    side: Side | None = None
    string: int | None = None
    pickup: str | None = None
    filing: bool = False
    """Takes material off: cannot be undone."""
    stop: float | None = None
    """Reading of nut action at which filing a slot stops [mm]."""
    by_hand: float | None = None
    """Where the words for the hand mean another direction than `turns`: what the hand does [turns]."""


@dataclass(frozen=True)
class Do:
    """Parts to adjust together, then to tune."""

    acts: tuple[Act, ...]


Step: TypeAlias = Read | Do


@dataclass(frozen=True)
class Answer:
    """What a policy says."""

    steps: tuple[Step, ...] = ()
    """To do now, in order."""
    rest_until: float | None = None
    """After the steps the job rests until then [min, the job's clock]."""
    after_rest: Read | None = None
    """Readings to take when it comes back: a policy knows the time from the newest entry alone."""
    word: Word | None = None
    """Ends the job."""
    chances: Mapping[Spot, float] = field(default_factory=dict)
    """Stated chance that a spot is in spec a day after hand-over; those of the last answer count."""
    forecasts: Mapping[Spot, tuple[float, float]] = field(default_factory=dict)
    """Stated mean and standard deviation of the first reading of a spot that this answer asks for."""
    rod_doubt: float = 0.0
    """Stated chance that the rod is dead or reversed."""


class Policy(Protocol):
    """Plays one job; a new one is made for every job."""

    def answer(self, job: Job) -> Answer:
        """Answer to the job as it stands."""
        ...
