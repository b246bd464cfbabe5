"""The demo's bench session: one whole job, from the counter to the card, through the real client over HTTP.

The instrument is computed (`demo_instrument.py`); everything else is the service as it is: every sheet, plan,
adjustment and move is a request, and what is printed is what came back.
"""

from __future__ import annotations

import argparse
import json
import sys
import textwrap
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

from demo_instrument import DemoInstrument
from processes import PATIENT

from shimstock_client import (
    Client,
    Instrument,
    Job,
    NewReading,
    PartMove,
    Quantity,
    ReadingWanted,
    Recommendation,
    ShimstockError,
    Step,
    Technician,
    Tool,
    as_planned,
)
from shimstock_client.cli._layout import print_card
from shimstock_client.cli._plan_layout import print_step, print_verdicts, surprise_line, turns
from shimstock_client.cli._reading import everything
from shimstock_client.cli._speaking import visible
from shimstock_client.cli._tables import Console

SERIAL = "K-0117"
WIDTH = 98
MOST_ROUNDS = 40
BEGAN = timedelta(hours=8)
"""How long before now the bench's simulated clock starts."""
ROOM = {"temperature": Quantity(21, "degC"), "relative_humidity": Quantity(46, "percent")}
TOOLS = {"relief": "feeler", "twist": "feeler", "intonation": "strobe tuner"}
USUAL_TOOL = "digital depth gauge"
MINUTES = {"reading": 1.5, "rod": 6.0, "part": 2.0}
"""What each act takes on the bench's clock, tuning included."""


class SessionError(Exception):
    """The session cannot go on; the message says why."""


@dataclass
class Bench:
    """The bench with its clients, its instrument, and its own clock."""

    counter: Client
    client: Client
    technician: Technician
    held: DemoInstrument = field(default_factory=DemoInstrument)
    now: datetime = field(default_factory=lambda: datetime.now(UTC) - BEGAN)
    tools: dict[str, Tool] = field(default_factory=dict)
    warned: set[str] = field(default_factory=set)
    """Codes of the cautions that were printed."""

    def pass_time(self, minutes: float) -> None:
        """Let the bench's clock and the neck go on."""
        self.now += timedelta(minutes=minutes)
        self.held.wait(minutes)

    def tool_for(self, quantity: str) -> Tool:
        """Return the tool that this bench reads a quantity with."""
        wanted = TOOLS.get(quantity, USUAL_TOOL)
        fitting = [
            one for name, one in sorted(self.tools.items()) if wanted in name and quantity in one.quantities
        ]
        if not fitting:
            raise SessionError(f"the shop has no tool {wanted!r} for {quantity}")
        return fitting[0]


# ------------------------------------------------------------ speaking


def say(text: str = "", *, lead: str = "") -> None:
    """Print a paragraph."""
    print(textwrap.fill(visible(text), WIDTH, initial_indent=lead, subsequent_indent=" " * len(lead)))


def chapter(bench: Bench, title: str) -> None:
    """Print what begins now, by the bench's clock."""
    print(f"\n{bench.now.astimezone():%H:%M}  {title}")


def console() -> Console:
    """Return where plans and cards are printed."""
    return Console(width=WIDTH)


# ------------------------------------------------------------ the counter


def find_instrument(client: Client) -> Instrument:
    """Find the demo's instrument."""
    found = next(client.instruments.list(serial=SERIAL), None)
    if found is None:
        raise SessionError(f"the shop has no instrument with serial number {SERIAL}; load seed/ first")
    return found


def put_back_leftovers(bench: Bench) -> None:
    """Give back what an interrupted session left on the bench, so that it starts clean."""
    for state in ("on-bench", "final-check"):
        for job in bench.client.jobs.list(state=state):
            if job.claim is None or job.claim.technician_id != bench.technician.id:
                continue
            if state == "final-check":
                job = bench.client.jobs.move(job, "on-bench", reason="an interrupted session")  # noqa: PLW2901
            bench.client.jobs.give_back(job)
            say(f"Job {job.number} was left by an interrupted session; it is back in the queue.")


def check_in(bench: Bench) -> Job:
    """Receive the instrument with the owner's wishes and consent, and put the job into the queue."""
    instrument = find_instrument(bench.counter)
    model = bench.counter.instrument_models.get(instrument.model_id)
    owner = bench.counter.owners.get(str(instrument.owner_id))
    chapter(bench, "At the counter")
    job = bench.counter.jobs.create(
        instrument_id=instrument.id,
        owner_id=owner.id,
        priority=6,
        complaints="The action feels high up the neck, and chords are sharp at the 12th fret.",
        condition="Played; no cracks; frets good.",
        wants={"playing_style": "rhythm and lead, medium attack", "note": "low but without buzz"},
        room=ROOM,
        skills=["setup"],
        consents=[{"covers": "general", "given": True, "given_by": owner.name, "how": "in-person"}],
    )
    job = bench.counter.jobs.move(job, "queued")
    say(
        f"{owner.name} brings a {model.maker} {model.name} (serial {instrument.serial}): {job.complaints} "
        f"It becomes job {job.number}; a general consent to what cannot be undone is given. It is queued.",
        lead="       ",
    )
    return job


# ------------------------------------------------------------ the bench


def take(bench: Bench, job: Job) -> Job:
    """Take the job and look it over."""
    chapter(bench, f"{bench.technician.name} takes job {job.number}")
    job = bench.client.jobs.claim(job)
    say(
        "Looked over: frets level, no crack, bridge and nut sound, the rod's nut turns freely.",
        lead="       ",
    )
    bench.client.reading_sheets.post(
        job, [], stage="as-received", at_pitch=True, taken_at=bench.now, looked_over=True
    )
    bench.pass_time(10)
    return job


def post_sheet(bench: Bench, job: Job, asked: Iterable[ReadingWanted], stage: str, *, note: str = "") -> None:
    """Take the readings that are asked for with the bench's tools, and send them as one sheet."""
    readings = []
    for wanted in asked:
        bench.pass_time(MINUTES["reading"])
        shown = bench.held.read(
            wanted.quantity, side=wanted.side, string=wanted.string, fret=wanted.fret, pickup=wanted.pickup
        )
        readings.append(
            NewReading(
                quantity=wanted.quantity,
                value=Quantity(shown, "cents" if wanted.quantity == "intonation" else "mm"),
                side=wanted.side,
                string=wanted.string,
                pickup=wanted.pickup,
                fret=wanted.fret,
                held=wanted.held or None,
                tool_id=bench.tool_for(wanted.quantity).id,
            )
        )
    sent = bench.client.reading_sheets.post(
        job, readings, stage=stage, at_pitch=True, taken_at=bench.now, room=ROOM, note=note or None
    )
    say("Read: " + "; ".join(reading_in_words(one) for one in readings) + ".", lead="       ")
    for surprise in sent.surprises:
        say(surprise_line(surprise), lead="       ")


def reading_in_words(reading: NewReading) -> str:
    """Write a reading as a technician notes it."""
    place = [reading.pickup, reading.side, f"string {reading.string}" if reading.string else None]
    named = " ".join(one for one in (reading.quantity.replace("-", " "), *place) if one)
    sign = "+" if reading.quantity == "intonation" and reading.value and reading.value.value > 0 else ""
    return f"{named} {sign}{reading.value}"


def receive(bench: Bench, job: Job) -> None:
    """Read everything as it comes in, so that the card can show before and after, and show the whole plan."""
    chapter(bench, "Readings as received")
    post_sheet(bench, job, everything(bench.client.recommendations.of_job(job)), "as-received")
    plan = bench.client.recommendations.of_job(job)
    chapter(bench, "The plan")
    print_verdicts(console(), plan.verdicts)
    for step in plan.steps:
        show_step(bench, step)


def work(bench: Bench, job: Job) -> Job:
    """Do all that the plan wants done now, read what it asks for, until only the final readings are left."""
    for number in range(MOST_ROUNDS):
        plan = bench.client.recommendations.of_job(job)
        steps = [step for step in plan.steps if step.do_now and step.kind != "final-readings"]
        if not steps:
            return job
        if number > 0:
            chapter(bench, "The plan goes on")
            for step in steps:
                show_step(bench, step)
        now = [step for step in steps if step.kind != "settle"]
        if not now:
            job = settle(bench, job, steps[0], plan.settle_for.value if plan.settle_for else 0.0)
            continue
        for step in now:
            if step.changes_instrument:
                follow(bench, job, plan, step)
        post_sheet(bench, job, asked_of(now), "in-progress")
    raise SessionError(f"the plan is not done after {MOST_ROUNDS} rounds")


def asked_of(steps: Iterable[Step]) -> list[ReadingWanted]:
    """Return the readings that steps ask for, each place once."""
    found: dict[tuple[object, ...], ReadingWanted] = {}
    for step in steps:
        for wanted in step.readings_next:
            place = (wanted.quantity, wanted.side, wanted.string, wanted.pickup)
            found[place] = wanted if wanted.finest else found.get(place, wanted)
    return list(found.values())


def show_step(bench: Bench, step: Step) -> None:
    """Print a step; what to take care of is said once."""
    new = [each for each in step.cautions if each.code not in bench.warned]
    bench.warned |= {each.code for each in new}
    print_step(console(), replace(step, cautions=new))


def follow(bench: Bench, job: Job, plan: Recommendation, step: Step) -> None:
    """Do what a step says, on the instrument and in the service's books."""
    began = bench.now
    for move in step.moves:
        apply(bench.held, move)
        bench.pass_time(MINUTES["rod" if move.part == "truss-rod" else "part"])
    minutes: int | None = round((bench.now - began).total_seconds() / 60)
    for body in as_planned(step):
        bench.client.adjustments.record(
            job, body.pop("part"), plan=plan.digest, done_at=bench.now, minutes=minutes, **body
        )
        minutes = None  # of the whole step, and counted once
    done = "; ".join(move_in_words(move) for move in step.moves if move.direction != "leave")
    tuned = "" if all(move.part == "pickup-screw" for move in step.moves) else " Tuned again."
    say(f"Done and recorded: {done}.{tuned}", lead="       ")


def apply(instrument: DemoInstrument, move: PartMove) -> None:
    """Turn or file what a move of the plan says."""
    amount = move.turns.value if move.turns else 0.0
    if move.part == "truss-rod":
        instrument.turn_rod(amount)
    elif move.part == "bridge-post":
        instrument.turn_post(str(move.side), amount)
    elif move.part == "saddle-position":
        instrument.move_saddle(int(move.string or 0), amount)
    elif move.part == "pickup-screw":
        instrument.turn_pickup(str(move.pickup), str(move.side), amount)
    elif move.part == "nut-slot" and move.amount:
        instrument.file_slot(move.string, move.side, move.amount.value)
    else:
        raise SessionError(f"the demo's bench has no {move.part}")


def move_in_words(move: PartMove) -> str:
    """Write what was turned or filed."""
    place = [move.pickup, move.side, f"string {move.string}" if move.string else None]
    named = " ".join(one for one in (*place, move.part.replace("-", " ")) if one)
    return f"{named} {move.direction} {turns(move.turns) if move.turns else move.amount}"


def settle(bench: Bench, job: Job, step: Step, minutes: float) -> Job:
    """Let the neck settle after the last turn of the rod, and read relief once it has."""
    until = datetime.now(UTC) + timedelta(minutes=minutes)
    job = bench.client.jobs.move(bench.client.jobs.get(job), "settling", available_at=until)
    say(
        f"The job leaves the bench; for everybody else it rests until {until.astimezone():%H:%M}. The "
        f"bench's simulated clock goes on by {minutes:.0f} minutes, and its last technician takes the job "
        "back early.",
        lead="       ",
    )
    bench.pass_time(minutes + 1)
    job = bench.client.jobs.claim(job)
    chapter(bench, "The neck has rested")
    post_sheet(bench, job, step.readings_next, "in-progress", note="settled reading")
    return job


def finish(bench: Bench, job: Job) -> Job:
    """Read what the plan still asks for, and say that the job is ready."""
    chapter(bench, "Final check")
    job = bench.client.jobs.move(bench.client.jobs.get(job), "final-check")
    for number in range(MOST_ROUNDS):
        plan = bench.client.recommendations.of_job(job)
        step = next((step for step in plan.steps if step.do_now), None)
        if step is None:
            if number == 0:
                say("Nothing has moved since it was last read: no readings are asked for.", lead="       ")
            break
        if step.changes_instrument:
            raise SessionError(f"the final readings ask for more work: {step.what}")
        print_step(console(), step)
        post_sheet(bench, job, step.readings_next, "final")
    judge(bench, job)
    return bench.client.jobs.move(bench.client.jobs.get(job), "ready")


def judge(bench: Bench, job: Job) -> None:
    """Print the verdicts on the final readings."""
    plan = bench.client.recommendations.of_job(job)
    print_verdicts(console(), plan.verdicts)
    out = [one for one in plan.verdicts if one.verdict == "out of spec"]
    if out:
        raise SessionError(f"{len(out)} readings are out of spec after the work")


def show_card(bench: Bench, job: Job, folder: Path, places: Path | None) -> None:
    """Print the card, and keep it as a page."""
    chapter(bench, f"Job {job.number} is {job.state}")
    print_card(console(), bench.client.cards.get(job))
    page = folder / "card.html"
    page.write_text(bench.client.cards.page(job), encoding="utf-8")
    if places is not None:
        places.write_text(
            json.dumps({"card": str(page), "job": f"{bench.client.url}/v1/jobs/{job.id}"}), encoding="utf-8"
        )


def look_ahead(bench: Bench, job: Job) -> None:
    """Tell when the season will have moved the wood."""
    forecast = bench.client.forecasts.get(str(job.instrument_id), step=31)
    chapter(bench, "What the seasons will do to it")
    say(forecast.sentence, lead="       ")
    if forecast.recheck_on is not None:
        say(
            f"The worker notes a reminder for {forecast.recheck_on}, beside those of strings and settling: "
            "shimstock reminders --all.",
            lead="       ",
        )


def bench_key(keys: dict[str, str]) -> str:
    """Return the key of the first bench in the file."""
    found = next((key for name, key in keys.items() if name not in ("manager", "booking")), None)
    if found is None or "manager" not in keys:
        raise SessionError("the file of keys needs a key named manager and at least one bench's key")
    return found


def play(url: str, keys: dict[str, str], folder: Path, places: Path | None) -> Bench:
    """Play the whole session, and return the bench as it stands at the end."""
    with Client(url, keys["manager"], timeout=PATIENT) as counter:
        technician = next(
            (one for one in counter.technicians.list() if one.active and "setup" in one.skills), None
        )
        if technician is None:
            raise SessionError("the shop has no technician who does setups")
        with Client(url, bench_key(keys), technician.id, timeout=PATIENT) as client:
            bench = Bench(counter, client, technician)
            bench.tools = {tool.name: tool for tool in counter.tools.list(limit=500) if tool.active}
            say(
                "One job on a computed instrument. The bench's clock is simulated, eight hours behind: every "
                "sheet and adjustment carries the bench's own time, and the service keeps beside it when it "
                "received it. The plan counts the bench's hours. In the service's own time nobody waits: the "
                "last technician may take a settling job back early, and does."
            )
            put_back_leftovers(bench)
            job = take(bench, check_in(bench))
            receive(bench, job)
            job = finish(bench, work(bench, job))
            show_card(bench, job, folder, places)
            look_ahead(bench, job)
            return bench


def main() -> int:
    """Read the command line and play the session."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--url", required=True, help="where the service is")
    parser.add_argument(
        "--keys", required=True, type=Path, help="JSON file: name to key, manager and benches"
    )
    parser.add_argument("--places", type=Path, help="write here where the card is, as JSON")
    arguments = parser.parse_args()
    try:
        play(arguments.url, json.loads(arguments.keys.read_text()), arguments.keys.parent, arguments.places)
    except SessionError as error:
        print(f"The session cannot go on: {error}", file=sys.stderr)
        return 1
    except ShimstockError as error:
        print(f"The service could not do it: {error}", file=sys.stderr)
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
