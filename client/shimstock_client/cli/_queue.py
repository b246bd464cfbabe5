"""Commands about jobs: take, jobs, job, due, give-back, hand-over."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import click

from ._bench import Bench, at_bench, on_job, on_job_or_number
from ._exits import Exit, Stop
from ._speaking import echo

if TYPE_CHECKING:
    from .. import Job, JobState

BOARD: dict[JobState, str] = {
    "on-bench": "On a bench",
    "final-check": "In final check",
    "settling": "Settling",
    "queued": "In the queue",
    "waiting": "Waiting",
    "received": "Received, not yet in the queue",
    "booked": "Booked",
    "ready": "Ready for the owner",
}


@click.command("take")
@click.argument("number", required=False)
@click.option(
    "--take-over", is_flag=True, help="Take a job that somebody left overnight; say why with --reason."
)
@click.option("--reason", help="Why it is taken over.")
@at_bench
def take(bench: Bench, number: str | None, take_over: bool, reason: str | None) -> None:
    """Take the next job that suits your bench, or the one with this number or this instrument's serial.

    Nobody else can then take it. A settling job that is due comes first; you may take your own settling job
    early by its number.

    \b
    shimstock take
    shimstock take 17
    shimstock take K-0117
    """
    if take_over and not number:
        raise Stop("which job do you take over? Give its number", Exit.USAGE)
    if take_over and not reason:
        raise Stop("--reason is missing: say why it is taken over", Exit.USAGE)
    if number is None:
        taken = bench.client.jobs.claim_next()
        if taken is None:
            raise Stop("no job waits for this bench", Exit.NOTHING)
    else:
        taken = bench.client.jobs.claim(bench.named_job(number), take_over=take_over, reason=reason)
    bench.remember_job(taken)
    show_job(bench, taken, lead="Taken. ")


@click.command("job")
@on_job_or_number
@at_bench
def job(bench: Bench, number: str | None) -> None:
    """Show the job on your bench, or the one with this number."""
    found = bench.job(number)
    show_job(bench, bench.client.jobs.get(found))


def show_job(bench: Bench, job: Job, *, lead: str = "") -> None:
    """Answer with a job: its JSON, or with instrument, owner and spec in words."""

    def say() -> None:
        from ._layout import print_job

        if lead:
            bench.console.print(lead.strip(), style="bold")
        print_job(bench.console, job, **_around(bench, job))

    bench.show(job.raw, say)


def _around(bench: Bench, job: Job) -> dict[str, Any]:
    from .. import NotFound

    client = bench.client
    instrument = client.instruments.get(job.instrument_id) if job.instrument_id else None
    model = client.instrument_models.get(instrument.model_id) if instrument and instrument.model_id else None
    owner = client.owners.get(job.owner_id).name if job.owner_id else None
    try:
        spec = client.setup_specs.of_job(job).items if instrument else []
    except NotFound:
        spec = []
    return {"instrument": instrument, "model": model, "owner": owner, "spec": spec}


@click.command("jobs")
@click.option("--state", type=click.Choice(list(BOARD)), help="Only these.")
@click.option("--mine", is_flag=True, help="Only those that you hold.")
@at_bench
def jobs(bench: Bench, state: JobState | None, mine: bool) -> None:
    """List the open jobs by what happens to them, like the board on the wall."""
    groups: dict[str, list[Job]] = {}
    for each in [state] if state else list(BOARD):
        found = list(bench.client.jobs.list(state=each))
        if mine:
            found = [one for one in found if one.claim is not None and one.claim.technician_id == bench.me]
        if found:
            groups[BOARD[each]] = found
    if not groups:
        raise Stop("no open jobs", Exit.NOTHING, {"items": []})

    def say() -> None:
        from ._layout import print_jobs

        print_jobs(bench.console, groups, bench.technicians, _instruments(bench, groups))

    bench.show({"items": [one.raw for found in groups.values() for one in found]}, say)


def _instruments(bench: Bench, groups: Mapping[str, Sequence[Job]]) -> dict[str, str]:
    """Name the instrument of every job, by the instrument's id."""
    client, models, named = bench.client, {}, {}
    for one in {job.instrument_id for found in groups.values() for job in found if job.instrument_id}:
        instrument = client.instruments.get(one)
        if instrument.model_id and instrument.model_id not in models:
            models[instrument.model_id] = client.instrument_models.get(instrument.model_id).name
        named[one] = " ".join(
            part for part in (models.get(instrument.model_id or ""), instrument.serial) if part
        )
    return named


@click.command("due")
@click.option("--all", "everything", is_flag=True, help="Also those that still rest.")
@at_bench
def due(bench: Bench, everything: bool) -> None:
    """List the settling jobs that can be looked at again now."""
    found = list(bench.client.settling.list(due=not everything))
    if not found:
        none = "no job settles" if everything else "no settling job is due"
        raise Stop(none, Exit.NOTHING, {"items": []})

    def say() -> None:
        from ._layout import local

        for one in found:
            since = f"due for {one.late_minutes} min" if one.due else f"rests until {local(one.available_at)}"
            mine = ", yours" if one.last_technician_id == bench.sign_in.technician else ""
            echo(f"job {one.number}: {since}{mine}; shimstock take {one.number}")

    bench.show({"items": [one.raw for one in found]}, say)


@click.command("give-back")
@on_job
@at_bench
def give_back(bench: Bench, job: str | None) -> None:
    """Give the job back to the queue; anybody can then take it."""
    held = _on_a_bench(bench.job(job))
    given = bench.client.jobs.give_back(held)
    bench.show(given.raw, lambda: echo(f"Job {given.number} is back in the queue."))


def _on_a_bench(job: Job) -> Job:
    if job.claim is None:
        raise Stop(f"job {job.number} is not on a bench", Exit.CONFLICT)
    return job


@click.command("hand-over")
@click.argument("technician")
@click.option("--note", "-n", help="What the next one must know.")
@on_job
@at_bench
def hand_over(bench: Bench, technician: str, note: str | None, job: str | None) -> None:
    """Pass the job on to another TECHNICIAN, with a note.

    \b
    shimstock hand-over "Kim" --note "relief is settled, nut still to do"
    """
    from ._signing import the_one

    held = _on_a_bench(bench.job(job))
    other = the_one([one for one in bench.technicians.values() if one.active], technician)
    passed = bench.client.jobs.hand_over(held, other, note=note)
    bench.show(passed.raw, lambda: echo(f"Job {passed.number} is now {other.name}'s."))
