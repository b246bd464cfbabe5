"""Plays the year that the demo's shop has behind it, and writes it as `seed/past.json`.

    python -m tests.calc.population.past

Instruments of the shop's own models come in through the seasons, some of them twice. Their hidden rods,
necks and woods, the hands, the tools and the minutes of the benches are simulated; the service's plan is
followed. What is kept is what a bench would have entered: readings, adjustments, rests, and how the job
ended; and behind each reading what the service would have expected of it. All figures of this shop are
judgement.
"""

from __future__ import annotations

import json
import math
import random
from dataclasses import dataclass, field, replace
from datetime import timedelta
from typing import Any

import numpy as np
from sqlalchemy import select
from sqlalchemy.orm import Session

from shimstock_calc.plan.model import Consent, Finding, PlanInput
from shimstock_calc.wood import wood_moisture
from shimstock_server.bench import entries_of_job
from shimstock_server.database.tables.catalogue import InstrumentModel
from shimstock_server.database.tables.jobs import Job
from shimstock_server.database.tables.owners import Instrument
from shimstock_server.database.words import JobState
from shimstock_server.operations.seeding_past import day_of
from shimstock_server.operations.seeding_rooms import air_on
from tests.house.files import CHECKOUT

from . import bench
from .bench import DETUNES, Bench
from .hidden import Hidden
from .instruments import Scenario, make_instrument
from .past_forecasts import add_forecasts, shop
from .plan_policy import PlanPolicy
from .policy import Answer, Do, Read

SEED = 2_000_000
"""First seed of the past: no test and no tuning uses it."""

JOBS = 300
DAYS = 365
SCENARIO = Scenario("the demo's past")

SHARES = {
    "Kessim": 26, "Herrow": 34, "Herrow II": 12, "Plovane": 18, "Ternall": 14, "Curlet": 10, "Wagmere": 8,
    "Swithe": 6, "Aldegrove": 36, "Aldegrove P": 8, "Bargel": 18,
}  # fmt: skip
"""How many instruments of each model the shop knows."""

RODS = {"Kessim": -0.46, "Herrow": -0.33, "Plovane": -0.30, "Aldegrove": -0.52, "Bargel": -0.27}
"""Relief per turn of a model's rods [mm per turn]; others -0.38."""

WOODS = {"Aldegrove": 0.035, "Aldegrove P": 0.035, "Bargel": -0.012}
"""Relief of a model's necks per moisture [mm/% MC]; others 0.018."""

READING = {"relief": 1.4, "twist": 1.1, "action": 0.45, "nut-action": 0.9, "pickup-height": 0.4,
           "saddle-out": 0.6, "intonation": 1.0}  # fmt: skip
PART = {"truss-rod": 1.6, "bridge-post": 1.2, "saddle-screw": 1.1, "saddle": 19.0, "nut-slot": 1.5,
        "pickup-screw": 0.7, "saddle-position": 2.0, "spring-claw": 6.0}  # fmt: skip
"""What the benches of this shop really need [min]."""

BENCHES = {"Aldegrove": 1, "Aldegrove P": 1, "Bargel": 0}
"""Bench of a model's jobs; others turn about between the first and the last."""

TOOLS = {
    "feeler leaves 0.05 mm": "feeler leaves, 0.05 mm steps",
    "strobe tuner at fret 12": "strobe tuner",
    "ordinary tuner at fret 12": "ordinary tuner",
}
"""Tools of the simulation under their names in the shop."""

ENDS = {"done": "ready", "rod given up": "the rod does not answer", "beyond a setup": "more than a setup",
        "waits for the owner": "no consent to what is left"}  # fmt: skip


@dataclass
class PastBench(Bench):
    """A bench that keeps what it enters."""

    hidden: Hidden
    seed: int
    scenario: Scenario = SCENARIO
    entries: list[list[Any]] = field(default_factory=list)

    def __post_init__(self) -> None:
        super().__init__(self.seed, self.scenario, self.hidden)
        self.pace = np.random.default_rng([self.seed, 9])
        self.spots: dict[tuple[Any, ...], int] = {}
        self.stage = "as-received"

    def spend(self, minutes: float) -> None:
        """Work for about so long; now and then somebody calls."""
        if self.pace.random() < 0.01:
            self.pass_time(float(self.pace.uniform(5.0, 20.0)))
        super().spend(minutes * float(np.exp(self.pace.normal(0.0, 0.3))))

    def read(self, sheet: Read) -> None:
        """Take a sheet."""
        known = len(self.readings)
        super().read(sheet)
        taken = self.readings[known:]
        if taken:
            self.entries.append([self.clock, self.stage, taken])

    def do(self, together: Do) -> None:
        """Adjust parts, tune, and say so."""
        self.stage = "in-progress"
        for entry in self.entries:
            entry[1] = "in-progress" if entry[1] == "final" else entry[1]
        known, begun = len(self.adjustments), self.clock
        super().do(together)
        done = self.adjustments[known:]
        if any(each.part == "nut-slot" for each in done):
            self._between_readings(done)
            return
        if any(each.part in DETUNES for each in done):
            self.tune()
        self.adjustments[known:] = [replace(each, at=self.clock) for each in done]
        said = round(self.clock - begun) if self.pace.random() < 0.3 else None
        self.entries.append([self.clock, "done", done, said])

    def _between_readings(self, done: list[Any]) -> None:
        """Passes over slots, in their place among the readings after each."""
        self.entries += [[each.at, "done", [each], None] for each in done]
        self.entries.sort(key=lambda entry: entry[0])

    def rest(self, until: float) -> None:
        """Let the job rest."""
        if until > self.clock:
            self.entries.append([self.clock, "rest", until])
        super().rest(until)

    def follow(self, answer: Answer) -> None:
        """Follow the plan, and know which readings are the last."""
        plan = self.policy.plan
        last = plan is not None and any(step.do_now and step.kind == "final-readings" for step in plan.steps)
        self.stage = "final" if last and self.adjustments else self.stage
        super().follow(answer)

    def work(self) -> str:
        """Play the job, and return how it ended."""
        self.policy = PlanPolicy()
        return self.play(self.policy).ended


@dataclass
class Owned:
    """One instrument of the past."""

    model: str
    hidden: Hidden
    wood: float
    bent: float = 0.0
    """Relief that its wood holds now [mm]."""

    def season(self, moisture: float) -> None:
        """Let the wood follow the air of a day."""
        bend = self.wood * (moisture - 8.5)
        self.hidden._bend(bend - self.bent, by_rod=False)
        self.bent = bend


def main() -> None:
    """Play, and write."""
    with shop() as session:
        jobs, spots = play(inputs(session))
        past = {
            "note": "Invented jobs of a year; tests/calc/population/past.py played them.",
            "months": air_of_year(),
            "instruments": SHARES,
            "spots": spots,
            "studies": [study()],
            "checks": [check(bench) for bench in range(3)],
            "jobs": jobs,
        }
        add_forecasts(session, past)
    write(past)


def play(known: dict[str, PlanInput]) -> tuple[list[list[Any]], list[tuple[Any, ...]]]:
    """Play the jobs, and return them and the spots at which they were read."""
    bench.MINUTES_READING.update(READING)  # type: ignore[typeddict-item]
    bench.MINUTES_PART.update(PART)  # type: ignore[typeddict-item]
    chance = random.Random(SEED)
    months = air_of_year()
    names = [name for name, share in SHARES.items() for _ in range(share)]
    first = [chance.uniform(0.0, DAYS) for _ in names]
    visits = [(day, number) for number, day in enumerate(first)]
    again = chance.sample(range(len(names)), JOBS - len(names))
    visits += [(first[number] + chance.uniform(0.25, 0.6) * DAYS, number) for number in again]
    owned = [instrument(number, name, known[name], chance) for number, name in enumerate(names)]
    spots: dict[tuple[Any, ...], int] = {}
    jobs = []
    for place, (day, number) in enumerate(visits):
        one = owned[number]
        one.season(moisture(day, months))
        at = PastBench(one.hidden, SEED + 1000 + place)
        word = at.work()
        which = BENCHES.get(one.model, 2 * (place % 2))
        end = ENDS.get(word, ENDS["beyond a setup"])
        minute = chance.randrange(540, 720)
        jobs.append([number, int(day) % DAYS, minute, which, end, *entries(at, spots)])
    return jobs, list(spots)


def air_of_year() -> list[list[float]]:
    """The months of the shop's room log."""
    log = json.loads((CHECKOUT / "seed/seasons.json").read_text())["room_logs"][0]
    months: list[list[float]] = log["months"]
    return months


def write(past: dict[str, Any]) -> None:
    """Write the file, a job a line."""
    head = {name: value for name, value in past.items() if name != "jobs"}
    lines = ",\n".join(_short(job) for job in past["jobs"])
    text = f'{{"past":{_short(head)[:-1]},"jobs":[\n{lines}\n]}}}}\n'
    (CHECKOUT / "seed/past.json").write_text(text, encoding="utf-8")


OFFSETS = (0.0, 0.02, -0.01)
"""By how much each bench reads high [mm]."""


def study() -> dict[str, Any]:
    """Three benches read the height of six blocks three times."""
    rng = np.random.default_rng([SEED, 1])
    blocks = (1.0, 1.2, 1.5, 1.8, 2.1, 2.5)
    values = [
        [[round(block + off + float(rng.normal(0.0, 0.02)), 2) for _ in range(3)] for off in OFFSETS]
        for block in blocks
    ]
    return {
        "name": "action on six blocks", "quantity": "action", "tool": "digital depth gauge", "back": 95,
        "seed": 7, "trials": 3, "pieces": [f"block {block:.1f}" for block in blocks], "values": values,
    }  # fmt: skip


def check(bench: int) -> dict[str, Any]:
    """A bench reads its check piece, on most days of the last ten weeks; the last bench's gauge drifts."""
    rng = np.random.default_rng([SEED, 2, bench])
    days = []
    for back in range(70, 0, -1):
        if rng.random() < 0.25:
            continue
        level = 2.0 + OFFSETS[bench] + float(rng.normal(0.0, 0.006))
        level += 0.002 * max(20 - back, 0) if bench == 2 else 0.0
        days.append([back, *[round(level + float(rng.normal(0.0, 0.012)), 2) for _ in range(3)]])
    return {
        "name": f"block 2.00, bench {bench + 1}", "quantity": "action", "tool": "digital depth gauge",
        "bench": bench, "stated": 2.0, "days": days,
    }  # fmt: skip


def _short(value: Any) -> str:
    return json.dumps(value, separators=(",", ":"))


def moisture(day: float, months: list[list[float]]) -> float:
    """Moisture of a neck on a day of the year: what the air of a fortnight before stands for [% MC]."""
    warm, damp = air_on(day_of(int(day) % DAYS) - timedelta(days=14), months)
    return float(wood_moisture(damp, warm))


def instrument(number: int, name: str, known: PlanInput, chance: random.Random) -> Owned:
    """Make one instrument of a model."""
    hidden = make_instrument(SEED + number, SCENARIO, known)
    usual = RODS.get(name, -0.38)
    hidden.rod.response = usual * math.exp(chance.gauss(0.0, 0.12))
    if known.instrument.rod.reversed:
        hidden.rod.health = "reversed"  # as its catalogue says
    elif hidden.rod.health == "reversed":
        hidden.rod.health = "healthy"
    return Owned(name, hidden, WOODS.get(name, 0.018) + chance.gauss(0.0, 0.008))


def entries(at: PastBench, spots: dict[tuple[Any, ...], int]) -> list[list[Any]]:
    """Return what a bench entered, as short as it goes; nothing is expected of a reading yet."""
    told: list[list[Any]] = []
    for clock, what, *rest in at.entries:
        minute = round(clock, 1)
        if what == "rest":
            told.append([minute, "rest", round(rest[0], 1)])
        elif what == "done":
            acts = [
                [each.part, each.side, each.string, each.pickup, each.turns, each.amount] for each in rest[0]
            ]
            told.append([minute, "done", rest[1], *acts])
        else:
            values: list[Any] = []
            for each in rest[0]:
                spot = (
                    each.quantity, each.side, each.string, each.pickup, each.fret, each.held or None,
                    TOOLS.get(str(each.tool), each.tool),
                )  # fmt: skip
                shown = None if each.zero_or_less else each.value
                values += [spots.setdefault(spot, len(spots)), shown, 0]
            told.append([minute, what, *values])
    return told


def inputs(session: Session) -> dict[str, PlanInput]:
    """What the service's plan knows of an instrument of each model, before anything is read."""
    return {name: _input(session, name) for name in SHARES}


def _input(session: Session, name: str) -> PlanInput:
    model = session.scalars(select(InstrumentModel).where(InstrumentModel.name == name)).one()
    of_model = session.scalars(select(Instrument).where(Instrument.model_id == model.id)).first()
    if of_model is None:
        raise SystemExit(f"seed/owners.json has no {name}: give somebody one")
    job = Job(instrument_id=of_model.id, state=JobState.RECEIVED, number=0, spec_ids=[])
    known = entries_of_job(session, job)
    whole = (1, known.instrument.frets)
    spec = tuple(
        replace(item, held=item.held or whole) if item.quantity == "relief" else item for item in known.spec
    )
    return replace(
        known,
        spec=spec,
        consents=(Consent("general", given=True),),
        findings=(Finding("plate-level", 0),) if "tremolo" in known.instrument.bridge.kind else (),
        looked_over=True,
    )


if __name__ == "__main__":
    main()
