"""A bench that plays a whole job as a policy says, counts minutes, and watches over what may never happen."""

from __future__ import annotations

import time
from dataclasses import dataclass, field, replace

import numpy as np

from shimstock_calc.plan.model import Adjustment, Part, Quantity, Reading, ReadingWanted

from .hidden import Hidden
from .instruments import Scenario, make_instrument
from .policy import Act, Answer, Do, Job, Policy, Read, Spot, spot_of
from .rod import DAY
from .rules import Rules
from .tools import Tools

MINUTES_READING: dict[Quantity, float] = {
    "relief": 1.0,
    "twist": 1.0,
    "action": 0.5,
    "nut-action": 0.75,
    "pickup-height": 0.375,
    "saddle-out": 0.5,
    "intonation": 0.75,
}
"""Minutes of a reading of one side, string or end of a pickup; judgement."""

MINUTES_PART: dict[Part, float] = {
    "truss-rod": 1.0,
    "bridge-post": 1.5,
    "saddle-screw": 1.5,
    "saddle": 15.0,
    "nut-slot": 1.0,
    "pickup-screw": 0.5,
    "saddle-position": 1.5,
    "spring-claw": 5.0,
    "strings": 15.0,
}
"""Minutes of each screw, saddle or pass; both posts, or both ends of a saddle, are one; judgement."""

ONCE: frozenset[Part] = frozenset({"bridge-post", "saddle"})
DETUNES: frozenset[Part] = frozenset(
    {"truss-rod", "bridge-post", "saddle-screw", "saddle", "spring-claw", "strings"}
)
"""Parts after which every string is tuned; slots and saddles along the string: its own, in their minutes."""

FLOATING = frozenset({"floating-tremolo", "locking-tremolo"})
LOOK_OVER, RETUNE, RETUNE_FLOATING = 3.0, 2.0, 4.0
"""Minutes of looking over, and of tuning every string; judgement."""

MOST_PROMPTS, MOST_PASSES = 60, 40

SUSPECTED = 0.3
"""Stated chance of a dead or reversed rod from which it counts as suspected."""


@dataclass
class Outcome:
    """How one job went."""

    seed: int
    kind: str
    health: str
    ended: str
    """The policy's last word, or `no word`, or `loop`."""
    truly: bool
    """Every quantity of the spec in its limits a day after hand-over."""
    inner: bool
    """The inner strings' heights too."""
    minutes: float
    readings: int
    prompts: int
    visits: int
    broken: list[str]
    out: list[str]
    chances: list[tuple[float, bool]] = field(default_factory=list)
    scores: list[tuple[str, float]] = field(default_factory=list)
    """Quantity and deviation of each reading from its forecast, in stated standard deviations."""
    suspected_after: float | None = None
    """Turns past the play when the rod was first suspected."""
    given_up_after: float | None = None
    rod_past_play: float = 0.0
    answers: int = 0
    seconds: float = 0.0
    """Processor time of the policy."""


class Bench:
    """One instrument on a bench."""

    def __init__(self, seed: int, scenario: Scenario, hidden: Hidden | None = None) -> None:
        self.seed, self.scenario = seed, scenario
        self.hidden: Hidden = hidden or make_instrument(seed, scenario)
        self.tools = Tools(seed, scenario)
        self.instrument = self.hidden.plan_input.instrument
        self.readings: list[Reading] = []
        self.adjustments: list[Adjustment] = []
        self.rules = Rules(self.hidden)
        self.clock = self.minutes = 0.0
        self.order = 0
        self.in_tune = False
        self.visits, self.prompts, self.answers = 1, 0, 0
        self.seconds = 0.0
        self.suspected: float | None = None
        self.hands: dict[tuple[object, ...], np.random.Generator] = {}
        self.expected: dict[Spot, tuple[float, float]] = {}
        self.scores: list[tuple[str, float]] = []

    # -------------------------------------------------------- doing

    def spend(self, minutes: float) -> None:
        """Work for so long."""
        self.minutes += minutes
        self.pass_time(minutes)

    def pass_time(self, minutes: float) -> None:
        """Let time pass."""
        self.clock += minutes
        self.hidden.wait(minutes)

    def tune(self) -> None:
        """Tune every string, unless they are in tune."""
        if not self.in_tune:
            self.spend(RETUNE_FLOATING if self.instrument.bridge.kind in FLOATING else RETUNE)
            self.in_tune = True

    def read(self, sheet: Read) -> None:
        """Take the readings of a sheet."""
        if not sheet.wanted:
            return
        self.tune()
        taken = []
        for wanted in sheet.wanted:
            tool = self.tools.used(wanted)
            self.spend(MINUTES_READING[wanted.quantity])
            value = self.tools.shown(self.hidden, wanted, tool)
            self.order += 1
            reading = Reading(
                id=f"r{self.order:04}",
                quantity=wanted.quantity,
                value=value,
                zero_or_less=value is None,
                order=self.order,
                side=wanted.side,
                string=wanted.string,
                pickup=wanted.pickup,
                fret=wanted.fret,
                held=wanted.held,
                method="straightedge" if wanted.method == "straightedge" else None,
                tool=tool.name,
                resolution=tool.resolution,
                repeatability=tool.repeatability,
                noise=self.tools.known.get(tool.name, 1.0),
            )
            taken.append(reading)
            self.compare(reading)
        for reading in taken:
            self.readings.append(replace(reading, at=self.clock))
            self.rules.saw(reading, self.clock)

    def compare(self, reading: Reading) -> None:
        """Score a reading against its forecast."""
        expected = self.expected.pop(spot_of(reading), None)
        if expected is not None and reading.value is not None:
            mean, spread = expected
            self.scores.append((reading.quantity, (reading.value - mean) / spread))

    def hand(self, act: Act) -> float:
        """What the hand does as a share of what it meant to do: right to a tenth."""
        key = (act.part, act.side, act.string, act.pickup)
        stream = self.hands.get(key)
        if stream is None:
            place = sorted(MINUTES_PART).index(act.part)
            side = {None: 0, "bass": 1, "treble": 2}[act.side]
            pickups = [None, *[each.name for each in self.instrument.pickups]]
            more = [side, act.string or 0, pickups.index(act.pickup)]
            stream = self.hands[key] = np.random.default_rng([self.seed, 3, place, *more])
        return float(stream.uniform(0.9, 1.1))

    def do(self, together: Do) -> None:
        """Adjust parts together."""
        self.expected.clear()  # a forecast holds until something is changed
        self.rules.about_to(together)
        spent: set[Part] = set()
        for act in together.acts:
            if act.part == "nut-slot":
                self.file_slot(act)
                continue
            if act.part not in ONCE or act.part not in spent:
                self.spend(MINUTES_PART[act.part])
            spent.add(act.part)
            self.hidden.do(act, self.hand(act))
            self.enter(act)
            if act.part in DETUNES:
                self.in_tune = False
        self.rules.did(together, self.clock)

    def enter(self, act: Act) -> None:
        """Enter what was done; a shim is entered as less than nothing taken off."""
        self.order += 1
        shim = act.part == "saddle" and not act.filing and act.amount is not None
        self.adjustments.append(
            Adjustment(
                id=f"a{self.order:04}",
                part=act.part,
                order=self.order,
                at=self.clock,
                turns=act.turns,
                amount=-(act.amount or 0.0) if shim else act.amount,
                side=act.side,
                string=act.string,
                pickup=act.pickup,
            )
        )

    def file_slot(self, act: Act) -> None:
        """File a slot in passes, reading after each, until the reading has come down to the stop."""
        number = act.string or 1
        side = self.hidden.side_of(number)
        wanted = ReadingWanted("nut-action", side, None if side else number)
        self.tune()
        left = act.amount or 0.05
        for _ in range(MOST_PASSES):
            # no more than a tenth of a millimetre a pass, and less toward the stop
            amount = round(min(0.10, max(0.7 * left, 0.02)), 3)
            self.spend(MINUTES_PART["nut-slot"])
            one = replace(act, amount=amount)
            self.hidden.do(one, self.hand(act))
            self.enter(one)
            self.read(Read((wanted,)))
            value = self.readings[-1].value
            if act.stop is None or value is None or value <= act.stop:
                return
            left = value - act.stop

    def rest(self, until: float) -> None:
        """Let the job rest; it comes back for another visit."""
        if until > self.clock:
            self.pass_time(until - self.clock)
            self.visits += 1
            self.in_tune = False

    # -------------------------------------------------------- the whole job

    def job(self) -> Job:
        """Return what the service knows now."""
        known = replace(
            self.hidden.plan_input,
            instrument=self.instrument,
            readings=tuple(self.readings),
            adjustments=tuple(self.adjustments),
        )
        return Job(known, self.tools.of)

    def play(self, policy: Policy) -> Outcome:
        """Play the job to its end, hand the instrument over and look a day later."""
        self.spend(LOOK_OVER)
        ended = "loop"
        answer = Answer()
        while self.prompts < MOST_PROMPTS:
            answer = self.ask(policy)
            if answer.word is not None or not (answer.steps or answer.rest_until):
                ended = answer.word or "no word"
                break
            self.prompts += 1
            self.follow(answer)
        given_up = self.hidden.rod.past_play if ended == "rod given up" else None
        self.hidden.wait(DAY)
        return self.outcome(ended, answer, given_up)

    def ask(self, policy: Policy) -> Answer:
        """Ask the policy what to do."""
        job = self.job()
        begun = time.process_time()
        answer = policy.answer(job)
        self.seconds += time.process_time() - begun
        self.answers += 1
        self.expected = dict(answer.forecasts)
        if self.suspected is None and answer.rod_doubt >= SUSPECTED:
            self.suspected = self.hidden.rod.past_play
        return answer

    def follow(self, answer: Answer) -> None:
        """Do what the policy says, in order."""
        for step in answer.steps:
            if isinstance(step, Read):
                self.read(step)
            else:
                self.do(step)
        if answer.rest_until is not None:
            self.rest(answer.rest_until)
            if answer.after_rest is not None:
                self.read(answer.after_rest)

    def outcome(self, ended: str, answer: Answer, given_up: float | None) -> Outcome:
        """Judge the hidden truth as it stands."""
        hidden = self.hidden
        refused = self.rules.refuses("nut-filing")
        inside = {
            spot: hidden.inside(spot, item) or (refused and spot.quantity == "nut-action")
            for spot, item in hidden.spots()
        }
        return Outcome(
            seed=self.seed,
            kind=self.instrument.bridge.kind if self.instrument.kind != "bass" else "bass",
            health=hidden.rod.health,
            ended=ended,
            truly=all(inside.values()),
            inner=refused or hidden.inner_inside(),
            minutes=self.minutes,
            readings=len(self.readings),
            prompts=self.prompts,
            visits=self.visits,
            broken=sorted(self.rules.broken),
            out=sorted({spot.quantity for spot, fine in inside.items() if not fine}),
            chances=[(answer.chances[spot], fine) for spot, fine in inside.items() if spot in answer.chances],
            scores=self.scores,
            suspected_after=self.suspected,
            given_up_after=given_up,
            rod_past_play=hidden.rod.past_play,
            answers=self.answers,
            seconds=self.seconds,
        )


def play(seed: int, scenario: Scenario, policy: Policy) -> Outcome:
    """Play the job of one instrument."""
    return Bench(seed, scenario).play(policy)
